"""The fast part of a signal: taking the slow motion away, and measuring the noise that is left.

A boat gains 20 m/s in two seconds while the ripple that matters is a tenth of a metre a second. The slow
motion is removed by subtracting a local cubic fit, which takes away exactly any acceleration that changes no
faster than a parabola; what remains is called ripple. Its spectrum, lines left out, is the floor against
which :mod:`telemetry.ride.line_detector` looks for an oscillation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.fft import rfft, rfftfreq

from telemetry.core.frames import BoolArray, ComplexArray, FloatArray, IntArray
from telemetry.core.size_cache import SizeCache

# Half the span of the local cubic. With it half the amplitude passes at 0.8 Hz and all of it from 1.2 Hz up.
HALF_SPAN_S = 1.0
LOWEST_HZ = 1.2
HIGHEST_HZ = 12.0
NYQUIST_SHARE = 0.9
MIN_BAND_HZ = 0.5
_GAP_STEPS = 1.6
_MIN_SAMPLES = 8
_MIN_SHARE = 0.7
_TAPERS = 3
_SIDE_HZ = 1.5
_SHAPE_HZ = 2.5
_MIN_SIDE_HZ = 0.5


@dataclass(frozen=True)
class Ripple:
    """The ripple of one signal over one span, on an even grid.

    Attributes
    ----------
    name : str
        Column or quantity it comes from.
    t_s : ndarray, shape (n,)
        Even grid on the speed log's clock [s].
    values : ndarray, shape (n,)
        Signal less its local cubic, in the signal's unit; 0 where not ``ok``.
    ok : ndarray of bool, shape (n,)
        False inside gaps.
    """

    name: str
    t_s: FloatArray
    values: FloatArray
    ok: BoolArray

    @property
    def step_s(self) -> float:
        """Grid step [s]."""
        return float(self.t_s[1] - self.t_s[0])


@dataclass(frozen=True)
class NoiseSpectrum:
    """One-sided spectrum of a ripple, and the noise it stands on.

    Attributes
    ----------
    f_hz : ndarray, shape (m,)
        From 0 to half the sampling rate [Hz].
    spectrum, smooth, density : ndarray, shape (m,)
        The spectrum itself; a smooth curve through it that lines hardly lift; the mean about each frequency,
        on the side where it is greater [unit²/Hz].
    cells : ndarray, shape (m,)
        Of how many independent complex values ``density`` is the mean.
    tapered : ndarray of complex, shape (tapers, m)
        The tapered transforms, for cross spectra.
    """

    f_hz: FloatArray
    spectrum: FloatArray
    smooth: FloatArray
    density: FloatArray
    cells: FloatArray
    tapered: ComplexArray


def searched_band(rate_hz: float) -> tuple[float, float] | None:
    """Frequencies that a log with the given rate can be searched at [Hz]; None where too little is left.

    Parameters
    ----------
    rate_hz : float
        Samples a second.

    Notes
    -----
    A tenth of the band below half the sampling rate is left out, since a line there cannot be told from its
    mirror image over a few cycles. At 2 Hz and below nothing is left.

    Examples
    --------
    >>> searched_band(10.0)
    (1.2, 4.5)
    >>> searched_band(2.0) is None
    True
    """
    top = min(HIGHEST_HZ, NYQUIST_SHARE * rate_hz / 2.0)
    return (LOWEST_HZ, top) if top - LOWEST_HZ >= MIN_BAND_HZ else None


def aliases_hz(apparent_hz: float, rate_hz: float, highest_hz: float = HIGHEST_HZ) -> tuple[float, ...]:
    """Frequencies above half the sampling rate that would look the same [Hz].

    Parameters
    ----------
    apparent_hz : float
        As seen in the samples.
    rate_hz : float
        Samples a second.
    highest_hz : float
        Highest that a hull is expected to show.

    References
    ----------
    .. [1] C. E. Shannon, Communication in the presence of noise, Proc. IRE 37 (1949) 10-21,
       doi:10.1109/JRPROC.1949.232969 (sampled signals fold about multiples of half the rate).

    Examples
    --------
    >>> aliases_hz(4.0, 10.0)
    (6.0,)
    """
    k = np.arange(1, int(highest_hz / rate_hz) + 2)
    mirrored = np.sort(np.r_[k * rate_hz - apparent_hz, k * rate_hz + apparent_hz])
    return tuple(float(f) for f in mirrored if f <= highest_hz)


@partial(SizeCache, maxsize=32)
def _trend_kernel(half: int) -> FloatArray:
    """Weights of a local cubic fit's middle value, shape (2 half + 1,); biweight over the span."""
    x = np.arange(-half, half + 1) / (half + 1)
    weighted = np.vander(x, 4, increasing=True).T * (1.0 - x**2) ** 2
    return np.asarray(np.linalg.solve(weighted @ np.vander(x, 4, increasing=True), weighted)[0])


def _half_span(step_s: float) -> int:
    """Count the samples to either side that the local cubic takes in."""
    return max(2, round(HALF_SPAN_S / step_s))


def detrend_gain(f_hz: FloatArray | float, step_s: float) -> FloatArray:
    """Share of an oscillation's amplitude that survives the removal of the slow motion, shape of ``f_hz``."""
    half = _half_span(step_s)
    lag = np.arange(-half, half + 1) * step_s
    f = np.asarray(f_hz, dtype=np.float64)
    return np.asarray(1.0 - np.cos(2 * np.pi * f[..., None] * lag) @ _trend_kernel(half))


def undo_detrend(ripple: Ripple, oscillation: FloatArray) -> Ripple:
    """Return to a ripple what the removal of the slow motion took of a known oscillation.

    An oscillation that begins or ends within the span leaves a trace in the slow motion there, which then is
    missing from the ripple.

    Parameters
    ----------
    ripple : Ripple
    oscillation : ndarray, shape (n,)
        On the ripple's grid, 0 where it is not there.
    """
    half = _half_span(ripple.step_s)
    taken = np.convolve(oscillation, _trend_kernel(half))[half : half + oscillation.size]
    return replace(ripple, values=np.where(ripple.ok, ripple.values + taken, 0.0))


def even_grid(t_s: FloatArray, span_s: tuple[float, float], step_s: float) -> FloatArray:
    """Lay an even grid over a span, beginning on the first sample inside it, so that samples are met [s]."""
    first = float(t_s[min(int(np.searchsorted(t_s, span_s[0] - 1e-9)), t_s.size - 1)])
    n = int((min(span_s[1], float(t_s[-1])) - first) / step_s + 1e-6) + 1
    return np.asarray(first + step_s * np.arange(max(n, 0)), dtype=np.float64)


@partial(SizeCache, maxsize=64)
def _passed(bins: int, half: int) -> FloatArray:
    """Share of power that survives the removal of the slow motion, on a spectrum's frequencies."""
    size = 2 * (bins - 1)
    # The gain at these very frequencies is the kernel's transform; as a sum of cosines it would take the
    # product of both lengths.
    around = np.zeros(size)
    np.add.at(around, np.arange(-half, half + 1) % size, _trend_kernel(half))
    return np.asarray(np.maximum((1.0 - rfft(around).real) ** 2, 1e-3))


def detrend(
    name: str, t_s: FloatArray, values: FloatArray, ok: BoolArray, grid_s: FloatArray
) -> Ripple | None:
    """Take the ripple of a signal.

    Parameters
    ----------
    name : str
    t_s, values : ndarray, shape (n,)
        Increasing times [s] and the signal, NaN where missing.
    ok : ndarray of bool, shape (n,)
        Samples to use.
    grid_s : ndarray, shape (m,)
        Even grid wanted [s]. Samples a second either side of it help to fit the slow motion.

    Returns
    -------
    Ripple or None
        None where fewer than eight samples, or less than seven tenths of the grid, can be used.

    References
    ----------
    .. [1] W. S. Cleveland, Robust locally weighted regression, J. Am. Stat. Assoc. 74 (1979) 829-836,
       doi:10.1080/01621459.1979.10481038 (local polynomial fits; here cubic and without its robust rounds).
    """
    if grid_s.size < _MIN_SAMPLES:
        return None
    step_s = float(grid_s[1] - grid_s[0])
    half = _half_span(step_s)
    a, b = np.searchsorted(t_s, [grid_s[0] - (half + 1) * step_s, grid_s[-1] + (half + 1) * step_s])
    use = ok[a:b] & ~np.isnan(values[a:b])
    t, v = t_s[a:b][use], values[a:b][use]
    if t.size < _MIN_SAMPLES:
        return None
    # The grid runs on to both sides, so that the span's ends are fitted like its middle.
    grid = grid_s[0] + step_s * np.arange(-half, grid_s.size + half)
    inside = (grid >= t[0] - 1e-6) & (grid <= t[-1] + 1e-6)
    lead, trail = int(np.argmax(inside)), int(np.argmax(inside[::-1]))
    if inside.sum() <= max(lead, trail, _MIN_SAMPLES):
        return None
    met = np.interp(grid[inside], t, v)
    # The straightest continuation where the log begins or ends at speed.
    filled = np.concatenate((_turned_about(met, lead), met, _turned_about(met[::-1], trail)[::-1]))
    slow = np.convolve(filled, _trend_kernel(half), "valid")
    right = np.clip(np.searchsorted(t, grid_s - 1e-6), 1, t.size - 1)
    good = (t[right] - t[right - 1] <= _GAP_STEPS * step_s) & inside[half : half + grid_s.size]
    if good.mean() < _MIN_SHARE:
        return None
    return Ripple(name, grid_s, np.where(good, filled[half : half + grid_s.size] - slow, 0.0), good)


def _turned_about(values: FloatArray, before: int) -> FloatArray:
    """Go on before the first of some values as after it, turned about that point by half a turn."""
    return np.asarray(2.0 * values[0] - values[before:0:-1])


@partial(SizeCache, maxsize=64)
def _sine_tapers(n: int) -> FloatArray:
    k = np.arange(1, _TAPERS + 1)[:, None]
    return np.asarray(np.sqrt(2.0 / (n + 1)) * np.sin(np.pi * k * np.arange(1, n + 1) / (n + 1)))


def spectrum(ripple: Ripple) -> tuple[FloatArray, FloatArray, ComplexArray]:
    """Multitaper spectrum of a ripple.

    Returns
    -------
    f_hz, density : ndarray, shape (m,)
        Frequencies [Hz] and one-sided power density [unit²/Hz].
    tapered : ndarray of complex, shape (tapers, m)
        Transforms whose squared magnitudes average to the density.

    References
    ----------
    .. [1] D. J. Thomson, Spectrum estimation and harmonic analysis, Proc. IEEE 70 (1982) 1055-1096,
       doi:10.1109/PROC.1982.12433.
    .. [2] K. S. Riedel, A. Sidorenko, Minimum bias multiple taper spectral estimation, IEEE Trans. Signal
       Process. 43 (1995) 188-195, doi:10.1109/78.365298 (the sine tapers used here).
    """
    n = ripple.t_s.size
    size = 2 * n
    share = float(ripple.ok.mean())
    tapered = rfft(_sine_tapers(n) * ripple.values, size, axis=1) * np.sqrt(2.0 * ripple.step_s / share)
    return rfftfreq(size, ripple.step_s), (tapered.real**2 + tapered.imag**2).mean(axis=0), tapered


@dataclass(frozen=True)
class _Sides:
    """The neighbourhoods below and above each of a spectrum's frequencies.

    Attributes
    ----------
    lo, hi : ndarray of int, shape (2, m)
        Half-open ranges of frequencies.
    widths_hz : ndarray, shape (2, m)
    wide : ndarray of bool, shape (2, m)
        Whether a side has room for an estimate of its own.
    """

    lo: IntArray
    hi: IntArray
    widths_hz: FloatArray
    wide: BoolArray

    def sums(self, density: FloatArray) -> FloatArray:
        """Sum over each neighbourhood, shape (2, m)."""
        cumulated = np.concatenate(([0.0], np.cumsum(density)))
        return np.asarray(cumulated[self.hi] - cumulated[self.lo])


@partial(SizeCache, maxsize=8)
def _sides(bins: int, df_hz: float, low_hz: float) -> _Sides:
    """Lay the neighbourhoods, for all the spectra of one pass."""
    f: FloatArray = np.asarray(df_hz * np.arange(bins), dtype=np.float64)

    def index(f_hz: FloatArray) -> FloatArray:
        return np.asarray(np.round(np.clip(f_hz, low_hz * 0.75, f[-1]) / df_hz))

    below, here, above = (index(f + off).astype(np.int64) for off in (-_SIDE_HZ, 0.0, _SIDE_HZ))
    lo, hi = np.stack([below, here]), np.stack([here, above])
    widths_hz: FloatArray = np.asarray((hi - lo) * df_hz, dtype=np.float64)
    return _Sides(lo, hi, widths_hz, widths_hz >= _MIN_SIDE_HZ)


def _smooth_shape(f_hz: FloatArray, density: FloatArray, low_hz: float, step_s: float) -> FloatArray:
    """Draw a smooth curve through a spectrum: a local cubic of its logarithm, without lines the second time.

    With it divided out the neighbourhoods of a frequency say the same wherever the spectrum slopes.
    """
    passed = _passed(f_hz.size, _half_span(step_s))
    first = int(np.searchsorted(f_hz, 0.8 * low_hz))
    level = np.log(np.maximum(density / passed, 1e-300))[first:]
    half = min(round(_SHAPE_HZ / f_hz[1]), level.size - 1)
    kernel = _trend_kernel(max(half, 2))
    for _ in range(2):
        # A spectrum is its own mirror image about half the sampling rate.
        padded = np.concatenate((_turned_about(level, half), level, level[-2 : -half - 2 : -1]))
        smooth = np.convolve(padded, kernel, "valid")
        level = np.minimum(level, smooth + 1.0)
    return np.asarray(np.exp(np.r_[np.full(first, smooth[0]), smooth]) * passed)


def noise_floor(ripple: Ripple, band: tuple[float, float]) -> NoiseSpectrum:
    """Spectrum of a ripple with the mean density about each frequency.

    The greater of the two neighbourhoods counts, so that the edge of a band of chop is not taken for a line;
    radar detectors meet the edge of a shower of rain in the same way.

    Parameters
    ----------
    ripple : Ripple
    band : (float, float)
        Searched band [Hz].

    References
    ----------
    .. [1] V. G. Hansen, J. H. Sawyers, Detectability loss due to "greatest of" selection in a cell-averaging
       CFAR, IEEE Trans. Aerosp. Electron. Syst. 16 (1980) 115-118 (from memory).
    """
    f, density, tapered = spectrum(ripple)
    shape = _smooth_shape(f, density, band[0], ripple.step_s)
    span_s = ripple.t_s.size * ripple.step_s
    sides = _sides(f.size, float(f[1]), band[0])
    sums, widths_hz = sides.sums(density / shape), sides.widths_hz
    means = np.where(sides.wide, sums / np.maximum(sides.hi - sides.lo, 1), -1.0)
    # Where neither side has room for an estimate of its own, as in the narrow band of a slow log, pool them.
    both_hz = widths_hz.sum(axis=0)
    pooled = f[1] * sums.sum(axis=0) / np.maximum(both_hz, f[1])
    alone, upper = sides.wide.any(axis=0), means[1] > means[0]
    floor = np.where(alone, np.where(upper, means[1], means[0]), pooled)
    cells = span_s * np.where(alone, np.where(upper, widths_hz[1], widths_hz[0]), both_hz)
    tiny = 1e-12 * max(float(density.max()), 1e-12)
    return NoiseSpectrum(
        f,
        density,
        np.maximum(shape, tiny),
        np.maximum(floor * shape, tiny),
        np.maximum(cells, 2.0),
        tapered,
    )


def noise_coherency(a: NoiseSpectrum, b: NoiseSpectrum, band: tuple[float, float]) -> ComplexArray:
    """Complex coherency of two ripples about each frequency, shape (m,).

    Waves that lift the hull also slow it, so that chop is seen by both signals; without this the joint test
    would count it twice.
    """
    cross = np.mean(a.tapered * np.conj(b.tapered), axis=0)
    sides = _sides(a.f_hz.size, float(a.f_hz[1]), band[0])
    total = [sides.sums(x).sum(axis=0) for x in (cross.real, cross.imag, a.spectrum, b.spectrum)]
    power = np.sqrt(np.maximum(total[2] * total[3], 1e-300))
    out = (total[0] + 1j * total[1]) / power
    size = np.abs(out)
    return np.asarray(out * np.minimum(1.0, 0.9 / np.maximum(size, 1e-12)))
