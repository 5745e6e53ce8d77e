"""Looking for one oscillation, growing or dying, that several ripples share.

The model is a damped sinusoid, ``a exp(growth (t - middle)) cos(2 pi f (t - middle) + phase)``, with one frequency
and one growth for all signals and an amplitude and phase for each, held over an unknown span of at least three
cycles, in noise whose density varies slowly with frequency. The search is a generalised likelihood ratio test:
windows of several lengths are correlated with such sinusoids, and the correlations, measured against the noise
about the same frequency, are Hotelling's T² in complex form. With one signal and no growth this is the harmonic
F test of Thomson. Chop fills its neighbourhood as well as the line itself, and so does not stand out.

References
----------
.. [1] D. J. Thomson, Spectrum estimation and harmonic analysis, Proc. IEEE 70 (1982) 1055-1096,
   doi:10.1109/PROC.1982.12433, section XIII (harmonic F test).
.. [2] N. C. Giri, On the complex analogues of T²- and R²-tests, Ann. Math. Statist. 36 (1965) 664-670,
   doi:10.1214/aoms/1177700173.
.. [3] D. C. Rife, R. R. Boorstyn, Single-tone parameter estimation from discrete-time observations, IEEE Trans.
   Inf. Theory 20 (1974) 591-598, doi:10.1109/TIT.1974.1055282 (Fisher information of frequency and amplitude).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.signal.windows import tukey
from scipy.stats import f as f_distribution

from telemetry.frames import BoolArray, FloatArray
from telemetry.ripple import Floor, Ripple, gain, noise_coherency, noise_floor

ComplexArray = npt.NDArray[np.complex128]

LEAST_CYCLES = 3.0
_WINDOWS_S = (1.0, 1.6, 2.5, 4.0)
# Growth over a whole window that is tried, as a power of e; the fit then refines it.
_GROWTHS = np.array([-1.5, 0.0, 1.5])
_MOST_GROWTH_PER_S = 2.5
# Faster than this the first and third of three cycles differ by more than e: a jolt, not an oscillation.
_MOST_GROWTH_PER_CYCLE = 0.5
_LEAST_COVERED = 0.85
_COVERAGE_95 = 1.96


@dataclass(frozen=True)
class Witness:
    """A ripple with the noise it stands in."""

    ripple: Ripple
    floor: Floor

    @classmethod
    def of(cls, ripple: Ripple, band: tuple[float, float]) -> Witness:
        """Measure the noise of a ripple."""
        return cls(ripple, noise_floor(ripple, band))


@dataclass(frozen=True)
class Share:
    """What one signal has of a line.

    Attributes
    ----------
    name : str
        The signal.
    amplitude : float
        In the middle of the line's span, in the signal's unit.
    phase_rad : float
        Of the cosine in the middle of the span.
    p_value : float
        Of so strong a correlation in noise alone, at the line's own place.
    dominance : float
        Share of the octave about the line that the line explains, 0 to 1: near 1 for an oscillation, small for
        chop.
    """

    name: str
    amplitude: float
    phase_rad: float
    p_value: float
    dominance: float


@dataclass(frozen=True)
class Line:
    """One oscillation.

    Attributes
    ----------
    frequency_hz, frequency_u95_hz, growth_per_s, growth_u95_per_s : float
        With half-widths of 95 % intervals.
    start_s, end_s : float
        On the speed log's clock.
    p_value : float
        Chance that noise alone shows so strong a line anywhere in the span and band searched.
    shares : tuple of Share
        One for each signal, in their order.
    """

    frequency_hz: float
    frequency_u95_hz: float
    growth_per_s: float
    growth_u95_per_s: float
    start_s: float
    end_s: float
    p_value: float
    shares: tuple[Share, ...]

    @property
    def cycles(self) -> float:
        """How many cycles it lasts."""
        return (self.end_s - self.start_s) * self.frequency_hz

    @property
    def middle_s(self) -> float:
        """Middle of its span [s]."""
        return 0.5 * (self.start_s + self.end_s)


@dataclass(frozen=True)
class _Scale:
    """Correlations for one window length: ``z[signal, window, frequency, growth]``, of unit noise power."""

    starts: npt.NDArray[np.int64]
    width: int
    f_hz: FloatArray
    growth_per_s: FloatArray
    z: ComplexArray
    covered: BoolArray


@dataclass(frozen=True)
class Scan:
    """All correlations of some ripples on one grid.

    Attributes
    ----------
    witnesses : tuple of Witness
    band : (float, float)
        Searched [Hz].
    scales : tuple
        One for each window length.
    coherency : ndarray of complex or None
        Of the noise of the two signals; None for a single one.
    """

    witnesses: tuple[Witness, ...]
    band: tuple[float, float]
    scales: tuple[_Scale, ...]
    coherency: ComplexArray | None

    @property
    def trials(self) -> float:
        """About how many independent places the search looks at, for each of which noise has a chance."""
        t_s = self.witnesses[0].ripple.t_s
        return max(
            1.0, _TRIALS_PER_CELL * len(self.scales) * (t_s[-1] - t_s[0]) * (self.band[1] - self.band[0])
        )


# Windows overlap, frequencies interleave and three growths are tried; found by counting on white noise, where
# the resulting p-values are uniform or a little large.
_TRIALS_PER_CELL = 3.0


@lru_cache(maxsize=128)
def _basis(
    width: int, step_s: float, low_hz: float, high_hz: float
) -> tuple[FloatArray, FloatArray, ComplexArray]:
    """Frequencies, growths and conjugate damped sinusoids, shape (width, frequencies x growths)."""
    span_s = width * step_s
    low = max(low_hz, LEAST_CYCLES / span_s)
    f = np.arange(low, high_hz + 1e-9, 1.0 / (2.0 * span_s))
    g = _GROWTHS / span_s
    t = (np.arange(width) - (width - 1) / 2.0) * step_s
    rate = g[None, :] - 2j * np.pi * f[:, None]
    # The rounded ends keep strong chop at one frequency from leaking into a quiet part of the band.
    return f, g, tukey(width, 0.5)[:, None] * np.exp(t[:, None] * rate.reshape(1, -1))


def scan(witnesses: Sequence[Witness], band: tuple[float, float]) -> Scan:
    """Correlate ripples on one grid with damped sinusoids in windows of several lengths.

    Parameters
    ----------
    witnesses : sequence of Witness
        One or two, on the same grid.
    band : (float, float)
        To search [Hz].
    """
    first = witnesses[0].ripple
    step_s = round(first.step_s, 9)
    n = first.t_s.size
    values = np.stack([w.ripple.values for w in witnesses])
    ok = np.stack([w.ripple.ok for w in witnesses]).astype(np.float64)
    scales = []
    for span_s in _WINDOWS_S:
        width = round(span_s / step_s)
        if width > n or width < 8:
            continue
        f, g, basis = _basis(width, step_s, *band)
        if f.size == 0:
            continue
        starts = np.arange(0, n - width + 1, max(1, width // 4))
        rows = starts[:, None] + np.arange(width)
        seen = ok[:, rows]
        energy = seen @ np.abs(basis[:, : g.size]) ** 2
        density = np.stack([np.interp(f, w.floor.f_hz, w.floor.density) for w in witnesses])
        raw = (values[:, rows] @ basis).reshape(len(witnesses), starts.size, f.size, g.size)
        noise = np.maximum(energy, 1e-9)[:, :, None, :] * density[:, None, :, None] / (2.0 * step_s)
        scales.append(
            _Scale(starts, width, f, g, raw / np.sqrt(noise), seen.mean(axis=2).min(axis=0) >= _LEAST_COVERED)
        )
    coherency = None
    if len(witnesses) == 2:
        coherency = noise_coherency(witnesses[0].floor, witnesses[1].floor, band)
    return Scan(tuple(witnesses), band, tuple(scales), coherency)


def _score(z: ComplexArray, coherency: ComplexArray | None) -> FloatArray:
    """Hotelling's T² of unit-noise correlations along the first axis."""
    power = np.sum(np.abs(z) ** 2, axis=0)
    if coherency is None or z.shape[0] == 1:
        return np.asarray(power)
    crossed = 2.0 * np.real(np.conj(z[0]) * coherency * z[1])
    return np.asarray((power - crossed) / (1.0 - np.abs(coherency) ** 2))


def _log_p(score: FloatArray, signals: int, cells: FloatArray) -> FloatArray:
    """Logarithm of the chance of a greater T² in noise, whose density is itself an estimate."""
    left = np.maximum(cells - signals + 1, 1.0)
    return np.asarray(
        f_distribution.logsf(score * left / (np.maximum(cells, 1.0) * signals), 2 * signals, 2 * left)
    )


def strongest(
    scan: Scan, signals: Sequence[int], allowed: Callable[[FloatArray, FloatArray], BoolArray] | None = None
) -> Line | None:
    """Find the most significant line of some of the scanned signals.

    Parameters
    ----------
    scan : Scan
    signals : sequence of int
        Which of its signals must share the line.
    allowed : callable, optional
        From starts and ends of windows, shape (m,) [s], to whether a window may be looked at.

    Returns
    -------
    Line or None
        None where nothing could be examined. Its ``p_value`` says whether it means anything.
    """
    chosen = list(signals)
    t_s = scan.witnesses[0].ripple.t_s
    best: tuple[float, _Scale, int, float, float] | None = None
    for scale in scan.scales:
        windows = scale.covered.copy()
        if allowed is not None:
            windows &= allowed(t_s[scale.starts], t_s[scale.starts + scale.width - 1])
        if not windows.any():
            continue
        coherency, cells = _noise_at(scan, chosen, scale.f_hz)
        score = _score(scale.z[chosen], None if coherency is None else coherency[:, None])
        score = np.where(windows[:, None, None], score, -1.0)
        log_p = _log_p(score.max(axis=(0, 2)), len(chosen), cells)
        k = int(np.argmin(log_p))
        if best is None or log_p[k] < best[0]:
            w, g = np.unravel_index(int(np.argmax(score[:, k])), score[:, k].shape)
            best = (float(log_p[k]), scale, int(w), float(scale.f_hz[k]), float(scale.growth_per_s[g]))
    if best is None:
        return None
    log_p_best, scale, w, f_hz, growth = best
    start = int(scale.starts[w])
    p_value = -float(np.expm1(-np.exp(min(log_p_best + np.log(scan.trials), 5.0))))
    return _refine(scan, chosen, (start, start + scale.width), f_hz, growth, p_value, allowed)


def _noise_at(scan: Scan, chosen: list[int], f_hz: FloatArray) -> tuple[ComplexArray | None, FloatArray]:
    """Coherency of the noise at some frequencies, and how many independent values it is known from."""
    floors = [scan.witnesses[c].floor for c in chosen]
    cells = np.min([np.interp(f_hz, x.f_hz, x.cells) for x in floors], axis=0)
    if scan.coherency is None or len(chosen) < 2:
        return None, cells
    nearest = np.clip(np.round(f_hz / floors[0].f_hz[1]).astype(int), 0, scan.coherency.size - 1)
    return scan.coherency[nearest], cells


class _Fit:
    """Likelihood of a damped sinusoid in a few signals, the noise being known."""

    def __init__(self, scan: Scan, chosen: list[int], f_hz: float) -> None:
        self.scan, self.chosen = scan, chosen
        self.t_s = scan.witnesses[0].ripple.t_s
        self.step_s = scan.witnesses[0].ripple.step_s
        self.values = np.stack([scan.witnesses[c].ripple.values for c in chosen])
        self.ok = np.stack([scan.witnesses[c].ripple.ok for c in chosen]).astype(np.float64)
        self.variance = np.array(
            [
                np.interp(f_hz, scan.witnesses[c].floor.f_hz, scan.witnesses[c].floor.density)
                / (2.0 * self.step_s)
                for c in chosen
            ]
        )
        coherency, cells = _noise_at(scan, chosen, np.array([f_hz]))
        self.coherency, self.cells = coherency, cells

    def correlate(
        self, a: int, b: int, f_hz: FloatArray, growth: FloatArray
    ) -> tuple[ComplexArray, FloatArray]:
        """Correlation with, and energy of, each pair of frequency and growth on samples ``a`` to ``b``."""
        t = self.t_s[a:b] - 0.5 * (self.t_s[a] + self.t_s[b - 1])
        sinusoid = np.exp(t * (growth[:, None] - 2j * np.pi * f_hz[:, None]))
        return self.values[:, a:b] @ sinusoid.T, self.ok[:, a:b] @ (np.abs(sinusoid) ** 2).T

    def whitened(self, corr: ComplexArray, energy: FloatArray) -> ComplexArray:
        """Scale correlations to unit noise power."""
        return np.asarray(corr / np.sqrt(np.maximum(energy, 1e-9) * self.variance[:, None]))

    def peak(self, a: int, b: int, f_hz: float, growth: float) -> tuple[float, float]:
        """Most likely frequency and growth on samples ``a`` to ``b``, by a grid drawn closer and closer."""
        span_s = (b - a) * self.step_s
        wide_f, wide_g = 0.6 / span_s, 2.0 / span_s
        grid = np.linspace(-1.0, 1.0, 7)
        df, dg = (x.ravel() for x in np.meshgrid(grid, grid))
        for _ in range(5):
            most = min(_MOST_GROWTH_PER_S, _MOST_GROWTH_PER_CYCLE * f_hz)
            f = np.clip(f_hz + wide_f * df, self.scan.band[0], self.scan.band[1])
            g = np.clip(growth + wide_g * dg, -most, most)
            score = _score(self.whitened(*self.correlate(a, b, f, g)), self.coherency)
            k = int(np.argmax(score))
            f_hz, growth = float(f[k]), float(g[k])
            wide_f, wide_g = 0.4 * wide_f, 0.4 * wide_g
        return f_hz, growth

    def span(self, a: int, b: int, limits: tuple[int, int], f_hz: float, growth: float) -> tuple[int, int]:
        """Most likely first and last sample of a known sinusoid, about samples ``a`` to ``b``."""
        lo, hi = max(limits[0], a - (b - a)), min(limits[1], b + (b - a))
        t = self.t_s[lo:hi] - 0.5 * (self.t_s[lo] + self.t_s[hi - 1])
        sinusoid = np.exp(t * (growth - 2j * np.pi * f_hz))
        stride = max(1, int(1.0 / (8.0 * f_hz * self.step_s)))
        edges = np.r_[np.arange(0, hi - lo, stride), hi - lo]
        nought = np.zeros((len(self.chosen), 1))
        corr = np.hstack([nought, np.cumsum(self.values[:, lo:hi] * sinusoid, axis=1)])[:, edges]
        energy = np.hstack([nought, np.cumsum(self.ok[:, lo:hi] * np.abs(sinusoid) ** 2, axis=1)])[:, edges]
        first, last = np.triu_indices(edges.size, 1)
        long_enough = (edges[last] - edges[first]) * self.step_s * f_hz >= LEAST_CYCLES
        first, last = first[long_enough], last[long_enough]
        if first.size == 0:
            return a, b
        z = self.whitened(corr[:, last] - corr[:, first], energy[:, last] - energy[:, first])
        k = int(np.argmax(_score(z, self.coherency)))
        return lo + int(edges[first[k]]), lo + int(edges[last[k]])


def _refine(
    scan: Scan,
    chosen: list[int],
    window: tuple[int, int],
    f_hz: float,
    growth: float,
    p_value: float,
    allowed: Callable[[FloatArray, FloatArray], BoolArray] | None,
) -> Line:
    """Fit frequency, growth and span in turn, from a window of the search."""
    fit = _Fit(scan, chosen, f_hz)
    a, b = window
    for _ in range(2):
        f_hz, growth = fit.peak(a, b, f_hz, growth)
        a2, b2 = fit.span(a, b, (0, fit.t_s.size), f_hz, growth)
        if allowed is not None and not allowed(fit.t_s[[a2]], fit.t_s[[b2 - 1]])[0]:
            break
        a, b = a2, b2
    f_hz, growth = fit.peak(a, b, f_hz, growth)
    sd = _standard_error(fit, a, b, f_hz, growth)
    return Line(
        f_hz,
        _COVERAGE_95 * sd / (2.0 * np.pi),
        growth,
        _COVERAGE_95 * sd,
        float(fit.t_s[a]),
        float(fit.t_s[b - 1]),
        p_value,
        tuple(share(scan.witnesses[c], (a, b), f_hz, growth) for c in chosen),
    )


def _standard_error(fit: _Fit, a: int, b: int, f_hz: float, growth: float) -> float:
    """Standard error of growth [1/s] and of angular frequency [rad/s], which are equal.

    The Fisher information of either is the sum of ``|amplitude|² exp(2 growth t) (t - mean)² / (2 variance)``, the
    mean weighted with ``exp(2 growth t)`` since amplitude and phase are unknown too.
    """
    f, g = np.array([f_hz]), np.array([growth])
    z = fit.whitened(*fit.correlate(a, b, f, g))
    t = fit.t_s[a:b] - 0.5 * (fit.t_s[a] + fit.t_s[b - 1])
    weight = np.exp(2.0 * growth * t)
    weight /= weight.sum()
    spread = float(weight @ (t - weight @ t) ** 2)
    # |z|² is |amplitude|² times the energy over four times the variance.
    information = 2.0 * float(_score(z, fit.coherency)[0]) * spread
    return float(1.0 / np.sqrt(max(information, 1e-12)))


def share(witness: Witness, window: tuple[int, int], f_hz: float, growth: float) -> Share:
    """Measure what one signal has of a line whose frequency, growth and span are known.

    Parameters
    ----------
    witness : Witness
    window : (int, int)
        Half-open range of grid samples.
    f_hz, growth : float
        Of the line.
    """
    a, b = window
    ripple, floor = witness.ripple, witness.floor
    y, ok, step_s = ripple.values[a:b], ripple.ok[a:b], ripple.step_s
    t = ripple.t_s[a:b] - 0.5 * (ripple.t_s[a] + ripple.t_s[b - 1])
    sinusoid = np.exp(t * (growth - 2j * np.pi * f_hz))
    corr, energy = complex(y @ sinusoid), float(ok @ np.abs(sinusoid) ** 2)
    variance = float(np.interp(f_hz, floor.f_hz, floor.density)) / (2.0 * step_s)
    power = abs(corr) ** 2 / max(energy * variance, 1e-30)
    cells = float(np.interp(f_hz, floor.f_hz, floor.cells))
    amplitude = 2.0 * corr / max(energy, 1e-9)
    rest = np.where(ok, y - np.real(amplitude * np.exp(t * (growth + 2j * np.pi * f_hz))), 0.0)
    octave = np.arange(f_hz / np.sqrt(2.0), min(f_hz * np.sqrt(2.0), 0.5 / step_s), 0.5 / (t[-1] - t[0]))
    turn = np.exp(-2j * np.pi * octave[:, None] * t)
    before, after = float(np.sum(np.abs(turn @ y) ** 2)), float(np.sum(np.abs(turn @ rest) ** 2))
    return Share(
        ripple.name,
        abs(amplitude) / float(gain(f_hz, step_s)),
        float(np.angle(amplitude)),
        float(np.exp(_log_p(np.array(power), 1, np.array(cells)))),
        max(0.0, 1.0 - after / max(before, 1e-30)),
    )


def detectable_amplitude(scan: Scan, signal: int, chance: float, span_s: float) -> float:
    """Amplitude of a steady oscillation that would stand out of one signal's noise half the time.

    Parameters
    ----------
    scan : Scan
    signal : int
    chance : float
        Of a line in noise alone anywhere in the search.
    span_s : float
        How long the oscillation is held [s].

    Returns
    -------
    float
        In the signal's unit, for the middle of the band: ``sqrt(2 x density x score / span)``.
    """
    floor = scan.witnesses[signal].floor
    inside = (floor.f_hz >= scan.band[0]) & (floor.f_hz <= scan.band[1])
    density, cells = float(np.median(floor.density[inside])), float(np.median(floor.cells[inside]))
    score = float(f_distribution.isf(chance / scan.trials, 2, 2 * cells))
    return float(np.sqrt(2.0 * density * score / span_s))
