"""One damped sinusoid in a few signals: how well it explains them, and how sure its figures are.

The model is an oscillation of one frequency and one growth that all signals share, with an amplitude and a
phase for each, over one span, in noise of known density. Least squares then gives amplitudes and phases for
any frequency, growth and span, and what they explain is a log likelihood.

Which span it was, and how quickly the oscillation set in and let go, is as uncertain as its growth, and goes
with it: half of one that dies may be taken for a shorter one that does not, and one that sets in slowly for
one that grows. :meth:`SinusoidLikelihood.sure` therefore averages over all of these, weighted by
likelihood, where the Fisher information of a known span [1]_ would claim too much.

References
----------
.. [1] D. C. Rife, R. R. Boorstyn, Single-tone parameter estimation from discrete-time observations, IEEE
   Trans. Inf. Theory 20 (1974) 591-598, doi:10.1109/TIT.1974.1055282 (Fisher information of frequency).
.. [2] R. E. Kass, A. E. Raftery, Bayes factors, J. Am. Stat. Assoc. 90 (1995) 773-795,
   doi:10.1080/01621459.1995.10476572 (averaging over models by their likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from telemetry.core.frames import BoolArray, ComplexArray, FloatArray, IntArray
from telemetry.core.size_cache import SizeCache

MIN_CYCLES = 3.0
_MAX_GROWTH_PER_S = 2.5
# Faster than this the first and third of three cycles differ by more than e: a jolt, not an oscillation.
_MAX_GROWTH_PER_CYCLE = 0.5
# How many cycles an oscillation may take to set in, and to let go; which is not known.
_FADES_CYCLES = (0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0)
# Spans this far below the likeliest, in log likelihood, have no say; of the others the best are enough.
_SPANS_WITHIN = 12.0
_AT_ONCE = 128
_MAX_SPANS = 200
_STEPS, _WIDE = 33, 8.0
# The grid on which a peak is looked for, and how close it is drawn, of its first width.
_GRID = np.linspace(-1.0, 1.0, 5)
_CLOSE = 0.04
_MAX_EDGES = 96  # beyond, all pairs take too much to be remembered


@dataclass(frozen=True)
class FrequencyPosterior:
    """What a fit knows of a line's frequency and growth.

    Attributes
    ----------
    f_hz, f_sd_hz, growth_per_s, growth_sd_per_s : float
        Means and standard deviations.
    """

    f_hz: float
    f_sd_hz: float
    growth_per_s: float
    growth_sd_per_s: float


def most_growth(f_hz: float) -> float:
    """Fastest growth or decay that is still an oscillation's [1/s]."""
    return min(_MAX_GROWTH_PER_S, _MAX_GROWTH_PER_CYCLE * f_hz)


def amplitude_of(corr: ComplexArray, energy: FloatArray, mirror: ComplexArray) -> ComplexArray:
    """Complex amplitude of a real damped sinusoid by least squares.

    The sinusoid's own mirror image at negative frequency is not quite orthogonal to it over a few cycles.

    Parameters
    ----------
    corr, energy, mirror : ndarray
        Sums over the samples of value times sinusoid, of its squared magnitude, and of its square.
    """
    scale = np.maximum(energy**2 - np.abs(mirror) ** 2, 1e-12)
    return np.asarray(2.0 * (energy * corr - mirror * np.conj(corr)) / scale)


def fit_amplitudes(
    values: FloatArray, ok: FloatArray, sinusoid: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Complex amplitude of a real damped sinusoid in each signal, and its correlation with it."""
    corr = values @ sinusoid
    return amplitude_of(corr, ok @ np.abs(sinusoid) ** 2, ok @ sinusoid**2), corr


@dataclass(frozen=True)
class SinusoidLikelihood:
    """Likelihood of a damped sinusoid in a few signals, the noise being known.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
        Even grid [s].
    values : ndarray, shape (signals, n)
        The signals, 0 where not ``ok``.
    ok : ndarray, shape (signals, n), or (1, n) where all have the same samples
        1 where there is a sample, else 0.
    variance : ndarray, shape (signals,)
        Of a sample's noise about the frequency.
    cells : float
        Of how many independent complex values, all signals together, the variances are estimates.
    """

    t_s: FloatArray
    values: FloatArray
    ok: FloatArray
    variance: FloatArray
    cells: float = np.inf

    @property
    def step_s(self) -> float:
        """Grid step [s]."""
        return float(self.t_s[1] - self.t_s[0])

    def explained(self, a: int, b: int, f_hz: FloatArray, growth: FloatArray) -> FloatArray:
        """Share in the log likelihood of each frequency with each growth on samples ``a`` to ``b``.

        That of the least-squares fit of a real damped sinusoid, summed over the signals.

        Returns
        -------
        ndarray, shape (f_hz.size, growth.size)
        """
        t = self.t_s[a:b] - 0.5 * (self.t_s[a] + self.t_s[b - 1])
        values, ok = self.values[:, a:b], self.ok[:, a:b]
        # A damped sinusoid is one of the two times the other, and both are few.
        grown, turned = np.exp(growth[:, None] * t), np.exp(-2j * np.pi * f_hz[:, None] * t)
        weight = ok[:, None, :] * grown**2
        corr = turned @ np.swapaxes(values[:, None, :] * grown, 1, 2)
        mirror = turned**2 @ np.swapaxes(weight, 1, 2)
        return self._likelihood(corr, weight.sum(axis=2)[:, None, :], mirror)

    def _likelihood(self, corr: ComplexArray, energy: FloatArray, mirror: ComplexArray) -> FloatArray:
        """Gain in log likelihood over noise alone, all signals together, shape of one signal's.

        ``Re(conj(amplitude) corr) / (2 variance)`` with :func:`amplitude_of`, in real numbers.
        """
        re, im = corr.real, corr.imag
        re2, im2 = re * re, im * im
        mirrored = mirror.real * (re2 - im2) + 2.0 * mirror.imag * (re * im)
        scale = np.maximum(energy**2 - (mirror.real**2 + mirror.imag**2), 1e-12)
        variance = self.variance.reshape(-1, *([1] * (corr.ndim - 1)))
        return np.asarray(((energy * (re2 + im2) - mirrored) / (scale * variance)).sum(axis=0))

    def peak(
        self, a: int, b: int, f_hz: float, growth: float, band: tuple[float, float]
    ) -> tuple[float, float]:
        """Most likely frequency and growth on samples ``a`` to ``b``.

        By a grid drawn closer and closer; within it the likelihood is a paraboloid's, whose summit the closer
        grid need only surround.
        """
        span_s = (b - a) * self.step_s
        wide = 1.0
        while wide > _CLOSE:
            most = most_growth(f_hz)
            f = np.minimum(np.maximum(f_hz + 0.6 / span_s * wide * _GRID, band[0]), band[1])
            g = np.minimum(np.maximum(growth + 2.0 / span_s * wide * _GRID, -most), most)
            score = self.explained(a, b, f, g)
            k, m = divmod(int(score.argmax()), g.size)
            f_hz, growth = float(f[k]), float(g[m])
            off = _summit(score[k - 1 : k + 2, m - 1 : m + 2])
            # Where the grid was cut off at a limit its steps are uneven, and the limit itself is the answer.
            if off is None or f[0] == f[1] or f[3] == f[4] or g[0] == g[1] or g[3] == g[4]:
                wide *= 0.45
                continue
            f_hz += off[0] * float(f[3] - f[2])
            growth += off[1] * float(g[3] - g[2])
            wide *= 0.15
        return f_hz, growth

    def span(self, a: int, b: int, f_hz: float, growth: float) -> tuple[int, int]:
        """Most likely first and last sample of a known sinusoid, about samples ``a`` to ``b``."""
        first, last, score = self._spans(a, b, f_hz, growth)
        if first.size == 0:
            return a, b
        k = int(np.argmax(score))
        return int(first[k]), int(last[k])

    def _spans(
        self, a: int, b: int, f_hz: float, growth: float, steps_a_cycle: int = 8
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """List first and last sample of spans of three cycles or more, and what each explains."""
        lo, hi = max(0, a - (b - a)), min(self.t_s.size, b + (b - a))
        t = self.t_s[lo:hi] - 0.5 * (self.t_s[lo] + self.t_s[hi - 1])
        # Beyond exp(12) from end to end, differences of sums lose their digits.
        most = 12.0 / max(float(t[-1] - t[0]), self.step_s)
        sinusoid = np.exp(t * (np.clip(growth, -most, most) - 2j * np.pi * f_hz))
        stride = max(1, int(1.0 / (steps_a_cycle * f_hz * self.step_s)))
        edges = np.r_[np.arange(0, hi - lo, stride), hi - lo]
        first, last = _pairs(edges.size)
        long_enough = (edges[last] - edges[first]) * self.step_s * f_hz >= MIN_CYCLES
        first, last = first[long_enough], last[long_enough]

        def sums(each: npt.NDArray[Any]) -> npt.NDArray[Any]:
            total = np.zeros((each.shape[0], edges.size), each.dtype)
            np.cumsum(np.add.reduceat(each, edges[:-1], axis=1), axis=1, out=total[:, 1:])
            return np.asarray(total.take(last, axis=1) - total.take(first, axis=1))

        values, ok = self.values[:, lo:hi], self.ok[:, lo:hi]
        corr = sums(values * sinusoid)
        energy, mirror = sums(ok * np.abs(sinusoid) ** 2), sums(ok * sinusoid**2)
        return lo + edges[first], lo + edges[last], self._likelihood(corr, energy, mirror)

    def sure(self, a: int, b: int, f_hz: float, growth: float, sd: float) -> FrequencyPosterior:
        """Mean and standard deviation of frequency and growth, over all that the span may be.

        Parameters
        ----------
        a, b : int
            Half-open range of samples of the likeliest span.
        f_hz, growth : float
            Likeliest there.
        sd : float
            Standard error of growth [1/s] and of angular frequency [rad/s] on a known span: what is looked at
            reaches eight of them either way.

        Notes
        -----
        Spans and the ways in which an oscillation sets in and lets go are equally likely beforehand.
        """
        windows = self._windows(a, b, f_hz, growth, sd)
        reach = np.linspace(-_WIDE, _WIDE, _STEPS) * sd
        most = most_growth(f_hz)
        grown = np.unique(np.clip(growth + reach, -most, most))
        turned = np.maximum(f_hz + reach / (2.0 * np.pi), 0.0)
        g_mean, g_sd = self._moments(windows, np.full(grown.size, f_hz), grown, grown)
        f_mean, f_sd = self._moments(windows, turned, np.full(turned.size, g_mean), turned)
        return FrequencyPosterior(f_mean, f_sd, g_mean, g_sd)

    def _windows(self, a: int, b: int, f_hz: float, growth: float, sd: float) -> FloatArray:
        """Draw the spans that have a say, each with every way of setting in and letting go, (k, n)."""
        most = most_growth(f_hz)
        tried = np.unique(np.clip(growth + sd * np.array([-2.0, 0.0, 2.0]), -most, most))
        spans = [self._spans(a, b, f_hz, g, 4) for g in tried.tolist()]
        first, last, _ = spans[0]
        if first.size == 0:
            first, last, score = np.array([a]), np.array([b]), np.zeros(1)
        else:
            score = np.max([x for _, _, x in spans], axis=0)
        best = np.argsort(-score)[:_MAX_SPANS]
        # A sample stands for the step about it, so that a span's first has begun to set in.
        middle = np.arange(self.t_s.size) + 0.5
        since = np.asarray(middle - first[best, None], dtype=np.float64)
        left = np.asarray(last[best, None] - middle, dtype=np.float64)
        fades = list(product(_FADES_CYCLES, repeat=2))
        cycle = 1.0 / (f_hz * self.step_s)

        def drawn(which: BoolArray | slice, fade_in: float, fade_out: float) -> FloatArray:
            inside = (since[which] > 0) & (left[which] > 0)
            rises, falls = _fade(since[which], fade_in * cycle), _fade(left[which], fade_out * cycle)
            return np.asarray(inside * rises * falls)

        # A span alone says little of how likely it is: one that sets in slowly looks too long without.
        pairs = np.full(tried.size, f_hz), tried
        logs = np.stack([self._explained_by(drawn(slice(None), *fade), *pairs).max(axis=0) for fade in fades])
        heard = logs > logs.max() - _SPANS_WITHIN
        return np.vstack([drawn(which, *fade) for which, fade in zip(heard, fades, strict=True)])

    def _log_weight(self, short: FloatArray) -> FloatArray:
        """Log likelihood by how far it falls short of the greatest, the noise being an estimate itself.

        Averaged over what the variance may be, the Gaussian's ``-short`` becomes Student's.
        """
        return -short if np.isinf(self.cells) else np.asarray(-self.cells * np.log1p(short / self.cells))

    def _moments(
        self, windows: FloatArray, f_hz: FloatArray, growth: FloatArray, of: FloatArray
    ) -> tuple[float, float]:
        """Mean and standard deviation of ``of`` over pairs of frequency and growth and over all windows."""
        # All windows at once would hold more than the whole log.
        parts = np.split(windows, range(_AT_ONCE, windows.shape[0], _AT_ONCE))
        logs = np.hstack([self._explained_by(part, f_hz, growth) for part in parts])
        weight = np.exp(self._log_weight(logs.max() - logs)).sum(axis=1)
        weight /= weight.sum()
        mean = float(weight @ of)
        return mean, float(np.sqrt(weight @ (of - mean) ** 2))

    def _explained_by(self, windows: FloatArray, f_hz: FloatArray, growth: FloatArray) -> FloatArray:
        """Gain in log likelihood by pairs of frequency and growth in windows, shape (pairs, windows)."""
        used = np.flatnonzero(windows.any(axis=0))
        lo, hi = int(used[0]), int(used[-1]) + 1
        shape, values, ok = windows[:, lo:hi].T, self.values[:, lo:hi], self.ok[:, lo:hi]
        t = self.t_s[lo:hi] - 0.5 * (self.t_s[lo] + self.t_s[hi - 1])
        sinusoid = np.exp(t * (growth[:, None] - 2j * np.pi * f_hz[:, None]))
        squared = shape**2
        corr = _complex_product(values[:, None, :] * sinusoid, shape)
        mirror = _complex_product(ok[:, None, :] * sinusoid**2, squared)
        energy = (ok[:, None, :] * np.abs(sinusoid) ** 2) @ squared
        return self._likelihood(corr, energy, mirror)


@partial(SizeCache, maxsize=32, largest=_MAX_EDGES)
def _pairs(size: int) -> tuple[IntArray, IntArray]:
    """List all pairs of a smaller and a greater number below ``size``."""
    return np.triu_indices(size, 1)


def _summit(score: FloatArray) -> tuple[float, float] | None:
    """Where a paraboloid through nine points is highest, in steps from the middle one.

    None where they are not nine, or where that is not next to the middle one.
    """
    if score.shape != (3, 3):
        return None
    (nw, n, ne), (w, o, e), (sw, s, se) = score.tolist()
    down, right = 0.5 * (s - n), 0.5 * (e - w)
    bend, across, twist = n + s - 2.0 * o, e + w - 2.0 * o, 0.25 * (nw + se - ne - sw)
    det = bend * across - twist**2
    if bend >= 0.0 or det <= 0.0:
        return None
    off = (twist * right - across * down) / det, (twist * down - bend * right) / det
    return off if max(abs(off[0]), abs(off[1])) <= 1.0 else None


def _complex_product(a: ComplexArray, b: FloatArray) -> ComplexArray:
    """Multiply a complex matrix by a real one, at half the cost of two complex ones."""
    return np.asarray(a.real @ b + 1j * (a.imag @ b))


def _fade(since: FloatArray, length: float) -> FloatArray:
    """Rise from 0 to 1 over some samples like a raised cosine, shape of ``since``."""
    if length == 0.0:
        return np.ones_like(since)
    return np.asarray(np.sin(0.5 * np.pi * np.clip(since / length, 0.0, 1.0)) ** 2)
