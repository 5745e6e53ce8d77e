"""Looking for one oscillation, growing or dying, that several ripples share.

The model is a damped sinusoid, ``a exp(growth (t - middle)) cos(2 pi f (t - middle) + phase)``, with one
frequency and one growth for all signals and an amplitude and phase for each, held over an unknown span of at
least three cycles, in noise whose density varies slowly with frequency. The search is a generalised
likelihood ratio test: windows of several lengths are correlated with such sinusoids and the best is fitted;
what it explains against the noise that is left about the same frequency is Hotelling's T² in complex form
[2]_. With one signal and no growth this is the harmonic F test of Thomson [1]_. Chop fills its neighbourhood
as well as the line itself, and so does not stand out.

References
----------
.. [1] D. J. Thomson, Spectrum estimation and harmonic analysis, Proc. IEEE 70 (1982) 1055-1096,
   doi:10.1109/PROC.1982.12433, section XIII (harmonic F test).
.. [2] N. C. Giri, On the complex analogues of T²- and R²-tests, Ann. Math. Statist. 36 (1965) 664-670,
   doi:10.1214/aoms/1177700173.
.. [3] D. C. Rife, R. R. Boorstyn, Single-tone parameter estimation from discrete-time observations, IEEE
   Trans. Inf. Theory 20 (1974) 591-598, doi:10.1109/TIT.1974.1055282 (Fisher information of frequency).
.. [4] F. J. Harris, On the use of windows for harmonic analysis with the discrete Fourier transform, Proc.
   IEEE 66 (1978) 51-83, doi:10.1109/PROC.1978.10837.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from telemetry.core.frames import BoolArray, ComplexArray, FloatArray
from telemetry.core.size_cache import SizeCache
from telemetry.core.stats import Z95
from telemetry.ride.damped_sinusoid import MIN_CYCLES, SinusoidLikelihood, fit_amplitudes, most_growth
from telemetry.ride.detrend import (
    NoiseSpectrum,
    Ripple,
    detrend_gain,
    noise_coherency,
    noise_floor,
    undo_detrend,
)

_WINDOWS_S = (1.0, 1.6, 2.5, 4.0)
# Growth over a whole window that is tried, as a power of e; the fit then refines it.
_GROWTHS = np.array([-1.5, 0.0, 1.5])
_MIN_COVERED = 0.85
# Below this no search over even the smallest span and band is significant.
_MIN_SCORE = 8.0
_CANDIDATES = 3
_CANDIDATES_APART_HZ = 0.8
_STARTS, _START_SHARE = 3, 0.5
_ROUNDS = 2
_HOPELESS = 30.0
_WIDEST_KEPT = 256  # samples: 4 s of 64 a second


@dataclass(frozen=True)
class Spectrum:
    """A ripple with its spectrum."""

    ripple: Ripple
    floor: NoiseSpectrum

    @classmethod
    def of(cls, ripple: Ripple, band: tuple[float, float]) -> Spectrum:
        """Take the spectrum of a ripple."""
        return cls(ripple, noise_floor(ripple, band))


@dataclass(frozen=True)
class Component:
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
        Share of the octave about the line that the line explains, 0 to 1: near 1 for an oscillation, small
        for chop.
    """

    name: str
    amplitude: float
    phase_rad: float
    p_value: float
    dominance: float


@dataclass(frozen=True)
class Oscillation:
    """One oscillation.

    Attributes
    ----------
    frequency_hz, frequency_u95_hz, growth_per_s, growth_u95_per_s : float
        With half-widths of 95 % intervals.
    start_s, end_s : float
        On the speed log's clock.
    p_value : float
        Chance that noise alone shows so strong a line anywhere in the span and band searched.
    shares : tuple of Component
        One for each signal, in their order.
    at_limit : bool
        Whether frequency or growth ran into the limit of what is searched.
    """

    frequency_hz: float
    frequency_u95_hz: float
    growth_per_s: float
    growth_u95_per_s: float
    start_s: float
    end_s: float
    p_value: float
    shares: tuple[Component, ...]
    at_limit: bool

    @property
    def is_oscillation(self) -> bool:
        """Whether it lasts three cycles, and frequency and growth lie inside what was searched.

        A fit that runs into the limits describes a jolt, or what is left of a change of speed.
        """
        return not self.at_limit and self.cycles >= MIN_CYCLES - 0.25

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
    """Correlations for one window length: ``power[signal, window, frequency, growth]``, of unit noise."""

    starts: npt.NDArray[np.int64]
    width: int
    f_hz: FloatArray
    growth_per_s: FloatArray
    power: FloatArray
    covered: BoolArray


@dataclass(frozen=True)
class CorrelationScan:
    """All correlations of some ripples on one grid.

    Attributes
    ----------
    witnesses : tuple of Spectrum
    band : (float, float)
        Searched [Hz].
    scales : tuple
        One for each window length.
    """

    witnesses: tuple[Spectrum, ...]
    band: tuple[float, float]
    scales: tuple[_Scale, ...]

    @property
    def trials(self) -> float:
        """Roughly how many independent places the search looks at, for each of which noise has a chance."""
        t_s = self.witnesses[0].ripple.t_s
        cells = float(t_s[-1] - t_s[0]) * (self.band[1] - self.band[0])
        return max(1.0, _TRIALS_PER_CELL * len(self.scales) * cells)


# Windows overlap, frequencies interleave and three growths are tried; found by counting on white noise, where
# the resulting p-values are uniform or a little large.
_TRIALS_PER_CELL = 12.0


def _rounded(width: int) -> FloatArray:
    """Window whose first and last quarter rise and fall like a raised cosine, shape (width,).

    Harris's Tukey window with a parameter of a half [4]_; the library that has it takes as long to load as
    all else together.
    """
    from_end = np.minimum(np.arange(width), np.arange(width)[::-1]) / (width - 1)
    return np.asarray(np.sin(np.pi * np.minimum(from_end / 0.5, 0.5)) ** 2)


_Basis = tuple[FloatArray, FloatArray, ComplexArray]


# The passes of a log share them; those of logs far denser than any receiver's take megabytes each, and
# each log has a step of its own.
@partial(SizeCache, maxsize=64, largest=_WIDEST_KEPT)
def _basis(width: int, step_s: float, low_hz: float, high_hz: float) -> _Basis:
    """Frequencies, growths and conjugate damped sinusoids, shape (width, frequencies x growths)."""
    span_s = width * step_s
    low = max(low_hz, MIN_CYCLES / span_s)
    f = np.arange(low, high_hz + 1e-9, 1.0 / (2.0 * span_s))
    g = _GROWTHS / span_s
    t = (np.arange(width) - (width - 1) / 2.0) * step_s
    rate = g[None, :] - 2j * np.pi * f[:, None]
    # The rounded ends keep strong chop at one frequency from leaking into a quiet part of the band.
    return f, g, _rounded(width)[:, None] * np.exp(t[:, None] * rate.reshape(1, -1))


def correlate_signals(witnesses: Sequence[Spectrum], band: tuple[float, float]) -> CorrelationScan:
    """Correlate ripples on one grid with damped sinusoids in windows of several lengths.

    Parameters
    ----------
    witnesses : sequence of Spectrum
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
        density = np.stack([np.interp(f, w.floor.f_hz, w.floor.smooth) for w in witnesses])
        raw = (values[:, rows] @ basis).reshape(len(witnesses), starts.size, f.size, g.size)
        noise = np.maximum(energy, 1e-9)[:, :, None, :] * density[:, None, :, None] / (2.0 * step_s)
        scales.append(
            _Scale(
                starts,
                width,
                f,
                g,
                (raw.real**2 + raw.imag**2) / noise,
                seen.mean(axis=2).min(axis=0) >= _MIN_COVERED,
            )
        )
    return CorrelationScan(tuple(witnesses), band, tuple(scales))


def _score(z: ComplexArray, coherency: ComplexArray | None) -> FloatArray:
    """Hotelling's T² of unit-noise correlations along the first axis."""
    power = np.sum(np.abs(z) ** 2, axis=0)
    if coherency is None or z.shape[0] == 1:
        return np.asarray(power)
    crossed = 2.0 * np.real(np.conj(z[0]) * coherency * z[1])
    return np.asarray((power - crossed) / (1.0 - np.abs(coherency) ** 2))


def _log_p(score: FloatArray, signals: int, cells: FloatArray) -> FloatArray:
    """Logarithm of the chance of a greater T² in noise, whose density is itself an estimate.

    ``score (cells - signals + 1) / (cells signals)`` follows F with ``2 signals`` and
    ``2 (cells - signals + 1)`` degrees of freedom, whose tail is elementary for one and two signals.
    """
    log_u = -np.log1p(score / cells)
    if signals == 1:
        return np.asarray(cells * log_u)
    left = np.maximum(cells - 1.0, 1.0)
    return np.asarray(left * log_u + np.log1p(-left * np.expm1(log_u)))


def most_significant(
    scan: CorrelationScan,
    signals: Sequence[int],
    allowed: Callable[[FloatArray, FloatArray], BoolArray] | None = None,
    chance: float = 1.0,
    worth: Callable[[Oscillation], bool] | None = None,
) -> Oscillation | None:
    """Find the most significant line of some of the scanned signals.

    Parameters
    ----------
    scan : CorrelationScan
    signals : sequence of int
        Which of its signals must share the line.
    allowed : callable, optional
        From starts and ends of windows, shape (m,) [s], to whether a window may be looked at.
    chance : float
        Largest chance in noise alone at which a line is worth returning.
    worth : callable, optional
        Tells whether a line is worth returning by all but its frequency and growth. These are averaged over
        all that its span may be, which is dear, only then.

    Returns
    -------
    Line or None
        None where nothing could be examined or nothing is that unlikely.
    """
    members = [scan.witnesses[c] for c in signals]
    best: _Weighed | None = None
    for starts in _candidates(scan, signals, allowed, chance):
        # A fit is dear; from a start this far from significant it would not get there.
        if (
            chance < 1.0
            and _expected_false_alarms(_parts(members, scan.band, *starts[0].place), scan) > _HOPELESS
        ):
            continue
        weighed = _weigh(members, scan, *_refine(members, scan.band, starts, allowed))
        # A line that is not worth telling must not hide the next one, which may be.
        if worth is not None and weighed.line.p_value <= chance and not worth(weighed.line):
            continue
        if best is None or weighed.line.p_value < best.line.p_value:
            best = weighed
        if best.line.p_value <= chance < 1.0:
            break
    if best is None or best.line.p_value > chance or (worth is not None and not worth(best.line)):
        return None
    return _average_over_span(members, best)


def _candidates(
    scan: CorrelationScan,
    signals: Sequence[int],
    allowed: Callable[[FloatArray, FloatArray], BoolArray] | None,
    chance: float,
) -> Iterator[list[_Start]]:
    """Find frequencies worth a fit, the strongest first, each with windows to start from."""
    t_s = scan.witnesses[0].ripple.t_s
    scores: list[tuple[_Scale, FloatArray]] = []
    for scale in scan.scales:
        windows = scale.covered.copy()
        if allowed is not None:
            windows &= allowed(t_s[scale.starts], t_s[scale.starts + scale.width - 1])
        if windows.any():
            score = scale.power[list(signals)].sum(axis=0)
            score[~windows] = -1.0
            scores.append((scale, score))
    for _ in range(_CANDIDATES if scores else 0):
        scale, score = max(scores, key=lambda pair: float(pair[1].max()))
        w, k, g = np.unravel_index(int(np.argmax(score)), score.shape)
        # A smooth curve is no noise estimate, but far below it nothing can be significant.
        if score[w, k, g] < (_MIN_SCORE if chance < 1.0 else 0.0):
            return
        f_hz, top = float(scale.f_hz[k]), float(score[w, k, g])
        starts = [_best_near(scale, score, f_hz) for scale, score in scores]
        starts = [start for start in starts if start.score >= _START_SHARE * top]
        yield sorted(starts, key=lambda start: -start.score)[:_STARTS]
        for other, its_score in scores:
            its_score[:, _near(other, f_hz)] = -1.0


@dataclass(frozen=True)
class _Start:
    """Where a fit starts: a window of the search, with its best frequency and growth."""

    score: float
    window: tuple[int, int]
    f_hz: float
    growth: float

    @property
    def place(self) -> tuple[tuple[int, int], float, float]:
        """Window, frequency and growth."""
        return self.window, self.f_hz, self.growth


def _best_near(scale: _Scale, score: FloatArray, f_hz: float) -> _Start:
    near = _near(scale, f_hz)
    if near.start == near.stop:  # the window is too short for three cycles of so low a frequency
        return _Start(-1.0, (0, 0), f_hz, 0.0)
    masked = score[:, near]
    w, k, g = np.unravel_index(int(masked.argmax()), masked.shape)
    first = int(scale.starts[w])
    window = (first, first + scale.width)
    top, at_hz = float(masked[w, k, g]), float(scale.f_hz[near.start + k])
    return _Start(top, window, at_hz, float(scale.growth_per_s[g]))


def _near(scale: _Scale, f_hz: float) -> slice:
    """Which of a scale's frequencies are no candidates apart from a given one."""
    near = np.flatnonzero(np.abs(scale.f_hz - f_hz) < _CANDIDATES_APART_HZ)
    return slice(int(near[0]), int(near[-1]) + 1) if near.size else slice(0, 0)


def _fit(members: Sequence[Spectrum], f_hz: float) -> SinusoidLikelihood:
    """Prepare to fit ripples, in the noise that their smooth spectra show at a frequency."""
    ripples = [w.ripple for w in members]
    density = [float(np.interp(f_hz, w.floor.f_hz, w.floor.smooth)) for w in members]
    ok = np.stack([r.ok for r in ripples])
    ok = ok[:1] if (ok == ok[0]).all() else ok
    return SinusoidLikelihood(
        ripples[0].t_s,
        np.stack([r.values for r in ripples]),
        ok.astype(np.float64),
        np.array(density) / (2.0 * ripples[0].step_s),
    )


def _refine(
    members: Sequence[Spectrum],
    band: tuple[float, float],
    starts: Sequence[_Start],
    allowed: Callable[[FloatArray, FloatArray], BoolArray] | None,
) -> tuple[tuple[int, int], float, float]:
    """Fit frequency, growth and span in turn from each start, and keep the likeliest."""
    fit = _fit(members, starts[0].f_hz)
    best: tuple[float, int, int, float, float] | None = None
    for start in starts:
        (a, b), f_hz, growth = start.window, start.f_hz, start.growth
        for _ in range(_ROUNDS):
            f_hz, growth = fit.peak(a, b, f_hz, growth, band)
            a2, b2 = fit.span(a, b, f_hz, growth)
            if allowed is not None and not allowed(fit.t_s[[a2]], fit.t_s[[b2 - 1]])[0]:
                break
            a, b = a2, b2
        likelihood = float(fit.explained(a, b, np.array([f_hz]), np.array([growth]))[0, 0])
        if best is None or likelihood > best[0]:
            best = (likelihood, a, b, f_hz, growth)
    assert best is not None
    _, a, b, f_hz, growth = best
    for _ in range(2):
        f_hz, growth = fit.peak(a, b, f_hz, growth, band)
        whole = [_whole(w, (a, b), f_hz, growth) for w in members]
        fit = replace(fit, values=np.stack([ripple.values for ripple, _ in whole]))
    return (a, b), *fit.peak(a, b, f_hz, growth, band)


def _whole(witness: Spectrum, window: tuple[int, int], f_hz: float, growth: float) -> tuple[Ripple, complex]:
    """Give a ripple back what its detrending took of a line; with the line's complex amplitude."""
    a, b = window
    ripple = witness.ripple
    t = ripple.t_s[a:b] - 0.5 * (ripple.t_s[a] + ripple.t_s[b - 1])
    sinusoid = np.exp(t * (growth - 2j * np.pi * f_hz))
    ok, scale = ripple.ok[a:b].astype(np.float64), 1.0 / float(detrend_gain(f_hz, ripple.step_s))
    for _ in range(2):
        amplitude = complex(fit_amplitudes(ripple.values[a:b], ok, sinusoid)[0]) * scale
        line = np.zeros(ripple.t_s.size)
        line[a:b] = np.real(amplitude * np.exp(t * (growth + 2j * np.pi * f_hz)))
        ripple, scale = undo_detrend(witness.ripple, line), 1.0
    return ripple, amplitude


@dataclass(frozen=True)
class _Part:
    """One signal's part of a line: its correlation in units of the noise that is left without it.

    ``values`` are the signal's, with what the removal of its slow motion took of the line; ``y`` and ``rest``
    those of the span, with the line and without.
    """

    name: str
    f_hz: float
    amplitude: complex
    z: complex
    p_value: float
    floor: NoiseSpectrum
    cells: float
    values: FloatArray
    variance: float
    t_s: FloatArray
    y: FloatArray
    rest: FloatArray

    def share(self) -> Component:
        """Say what the signal has of the line, with how much of its octave the line explains."""
        t, f_hz, step_s = self.t_s, self.f_hz, float(self.t_s[1] - self.t_s[0])
        octave = np.arange(f_hz / np.sqrt(2.0), min(f_hz * np.sqrt(2.0), 0.5 / step_s), 0.5 / (t[-1] - t[0]))
        turned = np.exp(-2j * np.pi * octave[:, None] * t) @ np.stack([self.y, self.rest], axis=1)
        before, after = (turned.real**2 + turned.imag**2).sum(axis=0).tolist()
        return Component(
            self.name,
            abs(self.amplitude),
            float(np.angle(self.amplitude)),
            self.p_value,
            max(0.0, 1.0 - after / max(before, 1e-30)),
        )


def _part(
    witness: Spectrum, window: tuple[int, int], f_hz: float, growth: float, band: tuple[float, float]
) -> _Part:
    """Fit a line of known frequency, growth and span to a signal; the noise is what it leaves."""
    a, b = window
    ripple, _ = _whole(witness, window, f_hz, growth)
    y, ok, step_s = ripple.values[a:b], ripple.ok[a:b].astype(np.float64), ripple.step_s
    t = ripple.t_s[a:b] - 0.5 * (ripple.t_s[a] + ripple.t_s[b - 1])
    sinusoid = np.exp(t * (growth - 2j * np.pi * f_hz))
    energy = max(float(ok @ np.abs(sinusoid) ** 2), 1e-9)
    amplitude = complex(fit_amplitudes(y, ok, sinusoid)[0])
    rest = np.where(ok > 0, y - np.real(amplitude * np.exp(t * (growth + 2j * np.pi * f_hz))), 0.0)
    left = replace(ripple, values=np.concatenate((ripple.values[:a], rest, ripple.values[b:])))
    floor = noise_floor(left, band)
    cells = float(np.interp(f_hz, floor.f_hz, floor.cells))
    # The line took one of the cells with it.
    density = float(np.interp(f_hz, floor.f_hz, floor.density)) * cells / (cells - 1.0)
    z = 0.5 * amplitude * np.sqrt(energy / max(density / (2.0 * step_s), 1e-30))
    p_value = float(np.exp(_log_p(np.array(abs(z) ** 2), 1, np.array(cells - 1.0))))
    variance = density / (2.0 * step_s)
    return _Part(
        ripple.name, f_hz, amplitude, z, p_value, floor, cells - 1.0, ripple.values, variance, t, y, rest
    )


def _parts(
    members: Sequence[Spectrum],
    band: tuple[float, float],
    window: tuple[int, int],
    f_hz: float,
    growth: float,
) -> list[_Part]:
    return [_part(w, window, f_hz, growth, band) for w in members]


def _joint_score(parts: Sequence[_Part], band: tuple[float, float], f_hz: float) -> float:
    """Score of all signals together, the coherency of their noise allowed for."""
    coherency: ComplexArray | None = None
    if len(parts) == 2:
        whole = noise_coherency(parts[0].floor, parts[1].floor, band)
        coherency = whole[[min(round(f_hz / parts[0].floor.f_hz[1]), whole.size - 1)]]
    return float(_score(np.array([[p.z] for p in parts]), coherency)[0])


def _expected_false_alarms(parts: Sequence[_Part], scan: CorrelationScan) -> float:
    """Count the lines at least as strong that noise alone would show in the whole search."""
    score = _joint_score(parts, scan.band, parts[0].f_hz)
    log_p = float(_log_p(np.array(score), len(parts), np.array(min(p.cells for p in parts))))
    if len(parts) == 2:
        # Where the coherency of the noise is hardly known, the better signal of two may say more.
        log_p = min(log_p, float(np.log(2.0 * max(min(p.p_value for p in parts), 1e-300))))
    return float(np.exp(min(log_p + np.log(scan.trials), 50.0)))


@dataclass(frozen=True)
class _Weighed:
    """A fitted line with what each signal has of it; frequency and growth as if its span were known.

    ``sd`` is their standard error then, of growth [1/s] and of angular frequency [rad/s].
    """

    line: Oscillation
    parts: list[_Part]
    window: tuple[int, int]
    sd: float


def _weigh(
    members: Sequence[Spectrum], scan: CorrelationScan, window: tuple[int, int], f_hz: float, growth: float
) -> _Weighed:
    """Weigh a fitted line against the noise that is left without it."""
    parts = _parts(members, scan.band, window, f_hz, growth)
    a, b = window
    t_s = members[0].ripple.t_s[a:b]
    sd = _standard_error(t_s - 0.5 * (t_s[0] + t_s[-1]), growth, _joint_score(parts, scan.band, f_hz))
    line = Oscillation(
        f_hz,
        Z95 * sd / (2.0 * np.pi),
        growth,
        Z95 * sd,
        float(t_s[0]),
        float(t_s[-1]),
        -float(np.expm1(-_expected_false_alarms(parts, scan))),
        tuple(p.share() for p in parts),
        abs(growth) > 0.98 * most_growth(f_hz) or not scan.band[0] < f_hz < scan.band[1],
    )
    return _Weighed(line, parts, window, sd)


def _average_over_span(members: Sequence[Spectrum], weighed: _Weighed) -> Oscillation:
    """Average a line's frequency and growth over all that its span may be."""
    parts, line = weighed.parts, weighed.line
    # Frequency, growth and both ends were chosen to leave little: they took two cells more, together.
    cells = np.array([p.cells for p in parts])
    left = np.maximum(cells - 2.0 / len(parts), 1.0)
    fit = replace(
        _fit(members, line.frequency_hz),
        values=np.stack([p.values for p in parts]),
        variance=np.array([p.variance for p in parts]) * cells / left,
        cells=float(left.sum()),
    )
    known = fit.sure(*weighed.window, line.frequency_hz, line.growth_per_s, weighed.sd)
    return replace(
        line,
        frequency_hz=known.f_hz,
        frequency_u95_hz=Z95 * known.f_sd_hz,
        growth_per_s=known.growth_per_s,
        growth_u95_per_s=Z95 * known.growth_sd_per_s,
    )


def _standard_error(t_s: FloatArray, growth: float, score: float) -> float:
    """Give the standard error of growth [1/s] and of angular frequency [rad/s], which are equal.

    The Fisher information of either is the sum of ``|amplitude|² exp(2 growth t) (t - mean)²`` over twice the
    noise variance, the mean weighted with ``exp(2 growth t)`` since amplitude and phase are unknown too [3]_.
    The score is a quarter of the same sum without ``(t - mean)²``, over the variance.
    """
    weight = np.exp(2.0 * growth * t_s)
    weight /= weight.sum()
    spread = float(weight @ (t_s - weight @ t_s) ** 2)
    return float(1.0 / np.sqrt(max(2.0 * score * spread, 1e-12)))


def measure_component(
    witness: Spectrum, window: tuple[int, int], line: Oscillation, band: tuple[float, float]
) -> Component:
    """Measure what one more signal has of a line that is known, told for the middle of the line's span.

    The signal's own samples put the middle of its window elsewhere: at 4 Hz half a step of 0.05 s is a tenth
    of a turn.

    Parameters
    ----------
    witness : Spectrum
    window : (int, int)
        Half-open range of grid samples.
    line : Oscillation
    band : (float, float)
        In which the noise is estimated [Hz].
    """
    found = _part(witness, window, line.frequency_hz, line.growth_per_s, band).share()
    t_s = witness.ripple.t_s[slice(*window)]
    later_s = line.middle_s - 0.5 * float(t_s[0] + t_s[-1])
    return replace(
        found,
        amplitude=found.amplitude * float(np.exp(line.growth_per_s * later_s)),
        phase_rad=found.phase_rad + 2.0 * np.pi * line.frequency_hz * later_s,
    )


def detectable_amplitude(scan: CorrelationScan, signal: int, chance: float, span_s: float) -> float:
    """Amplitude of a steady oscillation that would stand out of one signal's noise half the time.

    Parameters
    ----------
    scan : CorrelationScan
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
    score = cells * ((scan.trials / chance) ** (1.0 / cells) - 1.0)
    return float(np.sqrt(2.0 * density * score / span_s))
