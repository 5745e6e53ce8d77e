"""Estimate a receiver from a log's own passes: scale, delay and low-pass of its speed.

A receiver reports a speed ``m`` that was delayed by ``d`` and low-passed with the time constant ``τ``: the
true speed is ``u(t) = m(t + d) + τ m'(t + d)``, so that the way is ``S(t + d) + τ m(t + d)`` with ``S`` the
summed measured speed. For short times that is ``S + D m + E m'`` with ``D = d + τ`` and ``E = d²/2 + τ d``:
regression coefficients of the positions on the smoothed speed, over all passes together, with the errors of
positions and speed as correlated noise. A delay and a low-pass share D; they differ where the acceleration
changes.

A low-pass that speed and positions share leaves nothing to compare. How sharply the speed turns where the
throttle is shut bounds it (:mod:`telemetry.kinematics.corners`).

References
----------
.. [1] A. C. Aitken, On least squares and linear combinations of observations, Proc. R. Soc. Edinburgh 55
   (1936) 42-48 (generalised least squares; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.core.frames import FloatArray
from telemetry.kinematics.corners import Corner
from telemetry.kinematics.models import ReceiverModel, Response

_MAX_BLOCKS = 64  # of a pass; more of them say no more of a delay
_MIN_POSITIONS = 6
# What is believed of a receiver's delay before the log is seen: one maker states 0.15 s for its Doppler
# velocity (novatel.com, "Receiver Velocity Calculation"), filters of consumer receivers reach a second (our
# assumption).
_PRIOR_DELAY_S, _PRIOR_DELAY_SD_S = 0.1, 0.3
_SCALE_SD = 0.001  # of an honest receiver's speed against its positions (our assumption, no source)
_SCALE_SIGMAS = 4.0
_MIN_SCALE, _MAX_SCALE = 0.2, 6.0  # beyond, speed and positions have nothing in common
_EXACT_FROM_S = 0.08  # of delay: below, two terms of the series are enough
_SHARES = np.linspace(0.0, 1.0, 21)
_DEVIATES = np.linspace(-2.5, 2.5, 11)
# Low-pass shared by speed and positions (our assumption, no source): none worth mentioning in half of all
# receivers, else exponential with this mean. A receiver whose speed is filtered against its positions hardly
# filters both once more.
_COMMON_MEAN_S, _COMMON_MEAN_SLOW_S, _COMMON_MEAN_BESIDE_S = 0.3, 0.5, 0.05
_NO_COMMON = 0.5
_COMMON_S = np.r_[0.0, np.geomspace(0.01, 1.6, 24)]
# What else rounds a corner: a trigger takes 0.1 to 0.4 s to shut, a standard deviation of 0.03 to 0.12 s;
# where there are few samples a second, the law of drag that was assumed. Medians and factors of one
# deviation.
_TRIGGER_S, _TRIGGER_FACTOR = 0.07, 1.6
_SLOW_TRIGGER_S, _SLOW_TRIGGER_FACTOR = 0.35, 1.5
_GENTLE, _GENTLE_S, _GENTLE_FACTOR = 0.25, 0.35, 1.8  # drivers who lift gently: their share and times
_CORNER_RATIO, _CORNER_FACTOR = 0.8, 1.5  # of a fitted to a true time: measured on simulated filters
_OUTLIER = 0.02  # a corner of another shape altogether
_SLOW_STEP_S = 0.27


@dataclass(frozen=True)
class PassWay:
    """One pass as the regression sees it.

    Attributes
    ----------
    t_s, speed_mps, gain_mps2, summed_m : ndarray, shape (n,)
        Nodes: time, smoothed measured speed along the pass's line, its derivative, and its sum.
    at_s, along_m : ndarray, shape (p,)
        Times of the positions, and the way along the line.
    """

    t_s: FloatArray
    speed_mps: FloatArray
    gain_mps2: FloatArray
    summed_m: FloatArray
    at_s: FloatArray
    along_m: FloatArray


@dataclass(frozen=True, kw_only=True)
class WayFit:
    """How the way by positions follows from the measured speed.

    Attributes
    ----------
    delay_s, filter_s, log_weight : ndarray, shape (k,)
        Delays and low-passes that were tried, and the logarithm of how likely each pair is.
    scale, scale_sd : float
        Relative excess of the speed over the positions.
    total_s, total_sd_s : float
        Delay and low-pass together.
    misfit : float
        Mean square of what the model leaves over, against what the assumed noise explains.
    passes : int
        How many were used.
    scale_free : bool
        Whether speed and positions contradict each other in scale.
    """

    delay_s: FloatArray
    filter_s: FloatArray
    log_weight: FloatArray
    scale: float
    scale_sd: float
    total_s: float
    total_sd_s: float
    misfit: float
    passes: int
    scale_free: bool


def _noise_covariance(t_s: FloatArray, position_sd_m: float, rx: ReceiverModel) -> FloatArray:
    """Covariance of position minus summed speed at some times, shape (p, p) [m²]."""
    apart = np.abs(t_s[:, None] - t_s)
    since = t_s - t_s[0]
    tau = rx.coloured_tau_s
    decays = np.exp(-since / tau)
    summed = (
        rx.coloured_sd_mps**2
        * tau
        * (
            2.0 * np.minimum(since[:, None], since)
            + tau * (decays[:, None] + decays - 1.0 - np.exp(-apart / tau))
        )
    )
    wander = rx.position_sd_m**2 * np.exp(-apart / rx.position_tau_s)
    return np.asarray(summed + wander + position_sd_m**2 * np.eye(t_s.size))


class _Whitener:
    """Turns columns at a pass's positions into independent rows, freed of the pass's unknown origin."""

    def __init__(self, one: PassWay, position_sd_m: float, rx: ReceiverModel) -> None:
        n = one.at_s.size
        per = -(-n // _MAX_BLOCKS)
        self._starts = np.arange(0, n, per)
        self._counts = np.diff(np.r_[self._starts, n])[:, None]
        times = np.add.reduceat(one.at_s, self._starts) / self._counts[:, 0]
        covariance = _noise_covariance(times, position_sd_m / float(np.sqrt(per)), rx)
        self._inverse = np.linalg.inv(np.linalg.cholesky(covariance))
        ones = self._inverse.sum(axis=1)
        self._unit = (ones / np.linalg.norm(ones))[:, None]

    def rows(self, columns: FloatArray) -> FloatArray:
        """Whiten columns, shape (p, c) -> (blocks, c)."""
        white = self._inverse @ (np.add.reduceat(columns, self._starts, axis=0) / self._counts)
        return np.asarray(white - self._unit @ (self._unit.T @ white))


def _columns(one: PassWay, shift_s: float) -> FloatArray:
    """Columns ``[S, m, m', way - S]`` at the positions, the speed read so much later, shape (p, 4)."""
    at = one.at_s + shift_s
    summed, speed, gain = (np.interp(at, one.t_s, c) for c in (one.summed_m, one.speed_mps, one.gain_mps2))
    # Beyond its ends the speed is taken to go on.
    summed += np.clip(at - one.t_s[-1], 0.0, None) * one.speed_mps[-1]
    return np.column_stack([summed, speed, gain, one.along_m - summed])


def fit_way(passes: Sequence[PassWay], position_sd_m: float, rx: ReceiverModel) -> WayFit | None:
    """Fit scale, delay and low-pass of the speed against the positions over all passes of a log.

    Parameters
    ----------
    passes : sequence of PassWay
    position_sd_m : float
        White noise of a position in one axis [m].
    rx : ReceiverModel
        Sizes and times of the wandering errors.

    Returns
    -------
    WayFit or None
        None where no pass has enough positions.
    """
    used = [one for one in passes if one.at_s.size >= _MIN_POSITIONS and one.t_s.size > 2]
    if not used:
        return None
    whiteners = [_Whitener(one, position_sd_m, rx) for one in used]

    def rows(shift_s: float) -> FloatArray:
        return np.vstack([w.rows(_columns(one, shift_s)) for w, one in zip(whiteners, used, strict=True)])

    table = rows(0.0)
    freedom = max(table.shape[0] - len(used) - 3, 1)
    prior = np.array([_SCALE_SD, _PRIOR_DELAY_SD_S, 0.5 * _PRIOR_DELAY_SD_S**2]) ** -2.0
    believed = np.array([0.0, _PRIOR_DELAY_S, 0.0])
    loose = prior * np.array([1e-6, 1.0, 1.0])

    def fitted(known: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, float]:
        theta, covariance, misfit = _solved(table, known, believed, freedom)
        total, sd = float(theta[1]), float(np.sqrt(covariance[1, 1]))
        if total > _EXACT_FROM_S:
            return _exact(rows, total + 2.0 * sd, known, freedom)
        return *_short(total, float(theta[2]), covariance[1:, 1:]), theta, covariance, misfit

    delay, tau, weight, theta, covariance, misfit = fitted(loose)
    free = abs(theta[0]) > _SCALE_SIGMAS * float(np.hypot(np.sqrt(covariance[0, 0]), _SCALE_SD))
    free = bool(free and _MIN_SCALE < 1.0 / (1.0 + theta[0]) < _MAX_SCALE)
    if not free:
        delay, tau, weight, theta, covariance, misfit = fitted(prior)
    share = np.exp(weight - weight.max())
    share /= share.sum()
    total = float(share @ (delay + tau))
    sd = float(np.sqrt(share @ (delay + tau - total) ** 2))
    return WayFit(
        delay_s=delay,
        filter_s=tau,
        log_weight=weight,
        scale=1.0 / (1.0 + float(theta[0])) - 1.0,
        scale_sd=float(np.sqrt(covariance[0, 0])),
        total_s=total,
        total_sd_s=sd,
        misfit=misfit,
        passes=len(used),
        scale_free=free,
    )


def _solved(
    table: FloatArray, prior: FloatArray, believed: FloatArray, freedom: int
) -> tuple[FloatArray, FloatArray, float]:
    """Solve for the coefficients of all columns but the last, under a prior; with the misfit."""
    x, y = table[:, :-1], table[:, -1]
    normal = x.T @ x
    theta = np.linalg.solve(normal + np.diag(prior), x.T @ y + prior * believed)
    left = y - x @ theta
    misfit = float(left @ left) / freedom
    covariance = np.linalg.inv(normal / max(misfit, 1.0) + np.diag(prior))
    return np.asarray(theta), np.asarray(covariance), misfit


def _short(
    total_s: float, bend_s2: float, covariance: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Try shares of low-pass in a short delay, by D and E alone."""
    sd = float(np.sqrt(covariance[0, 0]))
    d_all, share = (q.ravel() for q in np.meshgrid(total_s + sd * _DEVIATES, _SHARES, indexing="ij"))
    tau = np.where(d_all > 0.0, share * d_all, 0.0)
    delay = d_all - tau
    off = np.stack([d_all - total_s, 0.5 * delay**2 + tau * delay - bend_s2])
    inverse = np.linalg.inv(covariance)
    return delay, tau, -0.5 * np.einsum("ik,ij,jk->k", off, inverse, off)


def _exact(
    rows: Callable[[float], FloatArray], longest_s: float, prior: FloatArray, freedom: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, float]:
    """Try delays one by one, the speed read that much later; each leaves a low-pass to be solved for."""
    tried = []
    for delay in (longest_s * _SHARES).tolist():
        table = rows(delay)[:, [0, 1, 3]]
        known = np.array([prior[0], 1e-6])
        tried.append((delay, *_solved(table, known, np.zeros(2), freedom)))
    floor = max(min(t[3] for t in tried), 1.0)
    delay_all, tau_all, weight_all = [], [], []
    for delay, theta, covariance, misfit in tried:
        sd = float(np.sqrt(covariance[1, 1]))
        tau = float(theta[1]) + sd * _DEVIATES
        weight = -0.5 * misfit * freedom / floor - 0.5 * _DEVIATES**2
        weight = np.where(tau < 0.0, -np.inf, weight)
        tau_all.append(np.maximum(tau, 0.0))
        delay_all.append(np.full(tau.size, delay))
        weight_all.append(weight)
    best = min(tried, key=lambda t: t[3])
    weight = np.concatenate(weight_all)
    if not np.isfinite(weight).any():
        weight = np.zeros(weight.size)
    return np.concatenate(delay_all), np.concatenate(tau_all), weight, best[1], best[2], best[3]


def _corner_likelihood(total_s: FloatArray, corner: Corner, step_s: float) -> FloatArray:
    """Likelihood of a corner's time for a low-pass of so long in all, shape of ``total_s``."""
    slow = step_s > _SLOW_STEP_S
    middle, factor = (_SLOW_TRIGGER_S, _SLOW_TRIGGER_FACTOR) if slow else (_TRIGGER_S, _TRIGGER_FACTOR)
    deviate = np.linspace(-2.0, 2.0, 9)
    trigger = np.r_[middle * factor**deviate, np.hypot(middle, _GENTLE_S * _GENTLE_FACTOR**deviate)]
    weight = np.exp(-0.5 * deviate**2)
    weight = np.r_[(1.0 - _GENTLE) * weight, _GENTLE * weight]
    expected = _CORNER_RATIO * np.hypot(total_s[..., None], trigger)
    spread = float(np.hypot(np.log(_CORNER_FACTOR), corner.sd_s / corner.time_s))
    off = np.log(max(corner.time_s, 0.03) / np.maximum(expected, 0.03)) / spread
    return np.asarray((np.exp(-0.5 * off**2) * weight).sum(axis=-1) / weight.sum() + _OUTLIER)


def response_of(fit: WayFit | None, corner: Corner | None, step_s: float) -> Response:
    """Put together what a log says of delay and low-pass, with the interval that it leaves.

    Parameters
    ----------
    fit : WayFit or None
        None for a log without positions or without speed.
    corner : Corner or None
        None where no lift was seen.
    step_s : float
        Usual time between samples.
    """
    if fit is None:
        delay, tau, base = np.zeros(1), np.zeros(1), np.zeros(1)
    else:
        delay, tau, base = fit.delay_s, fit.filter_s, fit.log_weight
    beside = fit is not None and fit.total_s > max(5.0 * fit.total_sd_s, _EXACT_FROM_S)
    mean_s = _COMMON_MEAN_SLOW_S if step_s > _SLOW_STEP_S else _COMMON_MEAN_S
    mean_s = _COMMON_MEAN_BESIDE_S if beside else mean_s
    shared = np.exp(-_COMMON_S / mean_s) * np.gradient(_COMMON_S)
    shared *= (1.0 - _NO_COMMON) / shared.sum()
    shared[0] += _NO_COMMON
    total = np.hypot(tau[:, None], _COMMON_S)
    weight = np.exp(base - base.max())[:, None] * shared
    if corner is not None:
        weight = weight * _corner_likelihood(total, corner, step_s)
    weight = weight / weight.sum()
    both = [np.broadcast_to(q[:, None], total.shape) for q in (delay, tau)]
    means = [float((weight * q).sum()) for q in both]
    middle_s, common_sd_s = _held(weight.sum(axis=0), step_s)
    offs = [q - m for q, m in zip(both, means, strict=True)]
    spread = np.zeros((4, 4))
    for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
        spread[i, j] = float((weight * offs[i] * offs[j]).sum())
    spread[2, 2] = common_sd_s**2
    if fit is not None and fit.scale_free:
        spread[3, 3] = fit.scale_sd**2
    root = np.linalg.cholesky(spread + 1e-12 * np.eye(4))
    return Response(
        delay_s=means[0],
        filter_s=means[1],
        common_s=middle_s,
        scale=fit.scale if fit is not None and fit.scale_free else 0.0,
        root=tuple(tuple(float(v) for v in row) for row in root),
        misfit=fit.misfit if fit is not None else 0.0,
        checked=fit is not None,
    )


def _held(weight: FloatArray, step_s: float) -> tuple[float, float]:
    """Median and standard uncertainty of a shared low-pass, of which the weights on ``_COMMON_S`` are given.

    A receiver either filters or hardly does: the interval has to hold both, and so reaches as far as the
    weights do. Where there are few samples a second a corner says too little to correct a figure by it.
    """
    reached = np.cumsum(weight)
    low, middle, high = (float(np.interp(p, reached, _COMMON_S)) for p in (0.025, 0.5, 0.975))
    middle = 0.0 if step_s > _SLOW_STEP_S else middle
    return middle, max(middle - low, high - middle) / 1.96
