"""Detect false spikes: speeds a hull cannot reach, or that the positions contradict.

Two tests, both over short windows around suspect samples, so that a clean log costs next to nothing:

* **Reach.** Between two true samples the speed can rise no faster than the hull accelerates and, short of a
  crash, fall no faster than water drags. Around every impossible step the largest set of samples that can
  follow one another is kept; the others are false. A persistent collapse (a crash) is allowed at a price of a
  few samples, so that a short false start is cut and a real stop is kept.
* **Positions.** Over a second or two the integrated speed must agree with the distance made good, apart from
  what a receiver's lag can explain.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from telemetry.cleaning.timeline import window_bounds
from telemetry.core.frames import BoolArray, FloatArray, cumulative_integral, true_runs


@dataclass(frozen=True, slots=True, kw_only=True)
class HullLimits:
    """Limits of what a fast model hull can do.

    Attributes
    ----------
    rise_mps2, sustained_rise_mps2 : float
        Greatest forward acceleration for half a second, and beyond it; 2 g is more than a propeller finds
        grip for (common practice, no source).
    grip_mps : float
        Speed beyond which power, not grip, limits the acceleration (common practice, no source).
    fall_mps2, sustained_fall_mps2 : float
        The same for deceleration without hitting something (common practice, no source).
    step_mps : float
        Speed step between two samples that noise alone may explain.
    corner_mps2 : float
        Greatest change of acceleration within one sample step, as at a throttle cut.
    crash_samples, crash_s
        Price of a collapse faster than ``fall_mps2``: it must outlast this many samples, and this long.
    """

    rise_mps2: float = 20.0
    sustained_rise_mps2: float = 10.0
    grip_mps: float = 25.0
    fall_mps2: float = 40.0
    sustained_fall_mps2: float = 25.0
    step_mps: float = 0.6
    corner_mps2: float = 30.0
    hump_mps2: float = 12.0
    crash_samples: float = 2.5
    crash_s: float = 0.35

    def rise_mps(self, dt_s: FloatArray, from_mps: FloatArray) -> FloatArray:
        """Compute the greatest gain of speed over a time from a speed, any shape [m/s].

        Grip limits a slow hull, power a fast one: beyond ``grip_mps`` the acceleration falls as one over the
        speed.
        """
        share = self.grip_mps / np.maximum(from_mps, self.grip_mps)
        return self.step_mps + share * _ramp(dt_s, self.rise_mps2, self.sustained_rise_mps2)

    def fall_mps(self, dt_s: FloatArray) -> FloatArray:
        """Compute the greatest loss of speed over a time without a crash, any shape [m/s]."""
        return self.step_mps + _ramp(dt_s, self.fall_mps2, self.sustained_fall_mps2)


_BURST_S = 0.5


def _ramp(dt_s: FloatArray, burst_mps2: float, sustained_mps2: float) -> FloatArray:
    beyond_s = np.maximum(dt_s - _BURST_S, 0.0)
    return np.asarray(np.minimum(dt_s, _BURST_S) * burst_mps2 + beyond_s * sustained_mps2)


_CONTEXT_S = 4.0
_REACH_S = 4.0
_HUMP_S = 0.6
_MAX_SHOULDERS, _SHOULDER_S, _DENSE_S = 4, 1.2, 0.13


def _merged(centres: FloatArray, half_s: float) -> list[tuple[float, float]]:
    spans: list[tuple[float, float]] = []
    for c in centres.tolist():
        if spans and c - half_s <= spans[-1][1]:
            spans[-1] = (spans[-1][0], c + half_s)
        else:
            spans.append((c - half_s, c + half_s))
    return spans


def _longest_chain(
    t_s: FloatArray, v_mps: FloatArray, weight: FloatArray, limits: HullLimits, step_s: float
) -> BoolArray:
    """Mark the heaviest subset of samples in which each can follow the one before it."""
    n = t_s.size
    crash_price = max(limits.crash_samples, limits.crash_s / step_s)
    # The best chain to each sample by how it ends: continuing, or collapsing. A collapse is paid once,
    # however many samples it takes.
    best = np.vstack([weight, np.full(n, -np.inf)])
    before = np.full((2, n, 2), -1)
    first = np.searchsorted(t_s, t_s - _REACH_S)
    # Samples from before the reach limit nothing: of those only the heaviest matters.
    settled, heaviest = 0, (-np.inf, 0, -1)
    for i in range(1, n):
        j = slice(int(first[i]), i)
        for k in range(settled, j.start):
            how = int(best[1, k] > best[0, k])
            heaviest = max(heaviest, (float(best[how, k]), -how, k), key=lambda one: one[:2])
        settled = j.start
        if settled > 0:
            score_before, how_before, k = heaviest
            best[0, i] = weight[i] + score_before
            before[0, i] = -how_before, k
        if j.start == i:
            continue
        dt = t_s[i] - t_s[j]
        dv = v_mps[i] - v_mps[j]
        collapse = dv < -limits.fall_mps(dt)
        reached = np.where(dv > limits.rise_mps(dt, v_mps[j]), -np.inf, best[:, j])
        goes_on = np.where(collapse, -np.inf, reached)
        falls = np.where(collapse, reached - np.array([[crash_price], [0.0]]), -np.inf)
        for ending, score in enumerate((goes_on, falls)):
            how, k = divmod(int(np.argmax(score)), i - j.start)
            if score[how, k] > 0.0 and weight[i] + score[how, k] > best[ending, i]:
                best[ending, i] = weight[i] + score[how, k]
                before[ending, i] = how, j.start + k
    keep = np.zeros(n, dtype=np.bool_)
    how, i = divmod(int(np.argmax(best)), n)
    while i >= 0:
        keep[i] = True
        how, i = before[how, i].tolist()
    return keep


def _short_excursions(t_s: FloatArray, v_mps: FloatArray, limits: HullLimits, step_s: float) -> BoolArray:
    """Mark short humps: up and back within a second, both faster than a hull can."""
    bad = np.zeros(t_s.size, dtype=np.bool_)
    widest = max(_HUMP_S, step_s)
    # Narrow humps first: once cut, they do not make a wide hump of the good samples next to them.
    for k in range(1, int(widest / step_s + 1e-6) + 1):
        w = k * step_s
        good = np.flatnonzero(~bad)
        t, v = t_s[good], v_mps[good]
        left = np.interp(t - w, t, v, left=np.inf)
        right = np.interp(t + w, t, v, right=np.inf)
        core = np.flatnonzero(v - np.maximum(left, right) > limits.hump_mps2 * w + limits.step_mps)
        for a_s, b_s in _merged(t[core], w + 1.5 * step_s):
            if b_s - a_s > 4.0 * widest:
                continue
            a, b = np.searchsorted(t, (a_s, b_s - 1e-9))
            a, b = max(int(a) - 1, 0), min(int(b), t.size - 1)
            # Across a silence, as after a crash, the line would lead to another state of motion.
            a += int(a_s - t[a] > 2.0 * step_s)
            b -= int(t[b] - b_s > 2.0 * step_s)
            base = np.interp(t[a : b + 1], t[[a, b]], v[[a, b]])
            bad[good[a : b + 1]] |= v[a : b + 1] - base > limits.step_mps
    return bad


def grow_runs(t_s: FloatArray, v_mps: FloatArray, bad: BoolArray, limits: HullLimits) -> BoolArray:
    """Grow runs of false speeds over neighbours that are above the good samples around them.

    If a spike sits on a corner, its last samples can pass for the motion itself. A line across a run of more
    than about a second, as after a crash, does not represent the motion; nor does a line through less than
    eight samples a second, above which any hull lies that nears its top.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (n,)
        Strictly increasing times and speeds without NaN [s, m/s].
    bad : ndarray of bool, shape (n,)
        Samples found false.
    limits : HullLimits
        What the hull can do.
    """
    out = bad.copy()
    if np.median(np.diff(t_s)) > _DENSE_S:
        return out
    for first, last in true_runs(bad):
        a, b = first, last
        for _ in range(_MAX_SHOULDERS):
            if a < 2 or b > t_s.size - 3 or out[a - 2 : a].any() or out[b : b + 2].any():
                break
            if v_mps[a - 1] - v_mps[b] > limits.fall_mps(t_s[b] - t_s[a - 1]):
                break  # a crash: the speeds before it are above those after it, and are true
            left = np.interp(t_s[a - 1], t_s[[a - 2, b]], v_mps[[a - 2, b]])
            right = np.interp(t_s[b], t_s[[a - 1, b + 1]], v_mps[[a - 1, b + 1]])
            if v_mps[b] - right > limits.step_mps:
                out[b] = True
                b += 1
            elif v_mps[a - 1] - left > limits.step_mps and t_s[b] - t_s[a - 1] <= _SHOULDER_S:
                a -= 1
                out[a] = True
            else:
                break
    return out


def unreachable(
    t_s: FloatArray,
    v_mps: FloatArray,
    doubtful: BoolArray,
    limits: HullLimits | None = None,
    sure: BoolArray | None = None,
) -> BoolArray:
    """Mark speeds that cannot be part of one motion with their neighbours.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (n,)
        Strictly increasing times and measured speeds without NaN [s, m/s].
    doubtful : ndarray of bool, shape (n,)
        Samples close to a loss of fix: they weigh a third of the others.
    limits : HullLimits, optional
    sure : ndarray of bool, shape (n,), optional
        Samples that the positions confirm: they weigh three times as much.

    Returns
    -------
    ndarray of bool, shape (n,)
        True where the speed is false.
    """
    lim = limits or HullLimits()
    bad = np.zeros(t_s.size, dtype=np.bool_)
    if t_s.size < 3:
        return bad
    dt = np.diff(t_s)
    dv = np.diff(v_mps)
    step_s = float(np.median(dt))
    impossible = (dv > lim.rise_mps(dt, v_mps[:-1])) | (dv < -lim.fall_mps(dt))
    # A lone sample above the line through its neighbours, by more than any change of acceleration explains.
    # If a step next to it is impossible the neighbour may be the false one, or the boat has crashed.
    bend = v_mps[1:-1] - (v_mps[:-2] * dt[1:] + v_mps[2:] * dt[:-1]) / (dt[:-1] + dt[1:])
    short = np.maximum(dt[:-1], dt[1:]) < 3 * step_s
    plain = short & ~impossible[:-1] & ~impossible[1:]
    bad[1:-1] = plain & (bend > lim.step_mps + lim.corner_mps2 * dt[:-1] * dt[1:] / (dt[:-1] + dt[1:]))
    bad |= _short_excursions(t_s, v_mps, lim, step_s)
    if sure is None:
        sure = np.zeros(t_s.size, dtype=np.bool_)
    weight = np.where(doubtful, 1.0 / 3.0, 1.0) * np.where(sure, 3.0, 1.0)
    weight[bad] = 1e-3  # found false already: no chain may be built on it
    for a_s, b_s in _merged(t_s[:-1][impossible], _CONTEXT_S):
        i, j = np.searchsorted(t_s, (a_s, b_s), side="left")
        rows = slice(int(i), int(j) + 1)
        bad[rows] |= ~_longest_chain(t_s[rows], v_mps[rows], weight[rows], lim, step_s)
    # A lone sample left between two runs would end a shoulder too early.
    return grow_runs(t_s, v_mps, bad | isolated_samples(t_s, v_mps, bad, lim), lim)


def isolated_samples(t_s: FloatArray, v_mps: FloatArray, false: BoolArray, limits: HullLimits) -> BoolArray:
    """Mark the few samples left inside a spike that rise with it: the tests cut it from both sides.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (n,)
        Strictly increasing times and speeds without NaN [s, m/s].
    false : ndarray of bool, shape (n,)
        Samples found false already.

    Returns
    -------
    ndarray of bool, shape (n,)
        Samples between two runs of false ones that stand above the line through the good ones around.
    """
    out = np.zeros_like(false)
    step_s = float(np.median(np.diff(t_s))) if t_s.size > 1 else 0.0
    for (_, a), (b, _) in pairwise(true_runs(false)):
        if t_s[b] - t_s[a - 1] > _ISLAND_S + 2.0 * step_s:
            continue
        before, after = np.flatnonzero(~false[:a]), b + np.flatnonzero(~false[b:])
        if before.size and after.size:
            left, right = before[-1], after[0]
            line = np.interp(t_s[a:b], t_s[[left, right]], v_mps[[left, right]])
            out[a:b] = v_mps[a:b] - line > limits.step_mps
    return out


_ISLAND_S = 0.2
_AGREE_WINDOWS_S = (0.6, 1.5)
_AGREE_M = 0.5
_AGREE_SIGMAS = 5.0
_AGREE_SHARE = 0.01
_CORNER_SHARE = 0.15  # of a sample step: a trapezoid over a corner is off by at most an eighth of it
_LAG_GAIN_MPS = 3.0
_LAG_LEAST = 20
_LAG_DOUBT_S = (0.1, 0.35)  # if the lag is measured, and if not (common practice, no source)
_DENIED_MPS = 1.5
# Share of the agreement for a steady speed, and of the excess speed: a ripple may swing as far.
_BORNE_OUT, _BORNE_OUT_LEVEL = 0.5, 0.6
_LONGEST_BEARING_S = 1.05
_LONG_STEP_M = 5.0


def path_made_good_m(t_s: FloatArray, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
    """Sum the positions' steps along the direction of travel, shape (n,) [m].

    Each step is projected on the direction that the positions make over about a second. On a straight the sum
    telescopes, so that the noise of the positions in between cancels; in a turn it follows the arc. A long
    step is its own direction: after a boat has stopped, a second has no direction any more.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Strictly increasing [s].
    east_m, north_m : ndarray, shape (n,)
        Positions in a local frame [m].
    """
    lo, hi = window_bounds(t_s, 1.0)
    de, dn = east_m[hi] - east_m[lo], north_m[hi] - north_m[lo]
    far = np.maximum(np.hypot(de, dn), 1e-9)
    e, n = de / far, dn / far
    de, dn = np.diff(east_m), np.diff(north_m)
    straight_m = np.hypot(de, dn)
    projected_m = de * 0.5 * (e[1:] + e[:-1]) + dn * 0.5 * (n[1:] + n[:-1])
    step = np.where(straight_m > _LONG_STEP_M, straight_m, projected_m)
    return np.asarray(np.r_[0.0, np.cumsum(step)])


def _lag(gain_mps: FloatArray, excess_m: FloatArray) -> tuple[float, float]:
    """Estimate how much the speed lags the positions, and the uncertainty of that [s].

    The median over all windows in which the speed changes, so that the false ones among them do not matter.
    """
    changing = np.abs(gain_mps) > _LAG_GAIN_MPS
    if changing.sum() < _LAG_LEAST:
        return 0.0, _LAG_DOUBT_S[1]
    return float(-np.median(excess_m[changing] / gain_mps[changing])), _LAG_DOUBT_S[0]


def _steady_m(noise_m: float, made_m: FloatArray) -> FloatArray:
    """Tolerance between the integral of a steady speed and the distance made good, any shape [m]."""
    return np.asarray(
        _AGREE_M + _AGREE_SIGMAS * np.sqrt(2.0) * noise_m + _AGREE_SHARE * np.abs(made_m), dtype=np.float64
    )


def confirmed_by_positions(
    t_s: FloatArray, v_mps: FloatArray, way_m: FloatArray, noise_m: float
) -> BoolArray:
    """Mark speeds that the distance made good on one side confirms, whatever is on the other side.

    The last speeds before a crash are true, though every window around them holds the tumble too.

    Parameters
    ----------
    t_s, v_mps, way_m : ndarray, shape (n,)
        Usable samples, strictly increasing in time, and the distance made good [s, m/s, m].
    noise_m : float
        Standard deviation of a position from one sample to the next [m].

    Returns
    -------
    ndarray of bool, shape (n,)
        Where the integrated speed agrees with the distance of the last (or the next) six tenths of a second
        or more, and the speed is not beyond the trend of that distance. Nowhere in a log below one sample a
        second.
    """
    out = np.zeros(t_s.size, dtype=np.bool_)
    usual_s = float(np.median(np.diff(t_s)))
    # A log of few samples a second uses a single step: more would look back too far.
    span_s = max(_AGREE_WINDOWS_S[0], min(4.0 * usual_s, _LONGEST_BEARING_S))
    if usual_s > _LONGEST_BEARING_S:
        return out
    least = min(3, int(span_s / usual_s + 0.5))
    summed_m = cumulative_integral(t_s, v_mps)
    here = np.arange(t_s.size)
    before = np.searchsorted(t_s, t_s - span_s - 1e-9)
    after = np.searchsorted(t_s, t_s + span_s + 1e-9, side="right") - 1
    for lo, hi, near, far in (
        (before, here, before, before[before]),
        (here, after, after, after[after]),
    ):
        span = np.maximum(t_s[hi] - t_s[lo], 1e-9)
        made_m = way_m[hi] - way_m[lo]
        excess_m = summed_m[hi] - summed_m[lo] - made_m
        # The mean speed before (or after), extrapolated to now with its change.
        beyond_s = np.abs(t_s[near] - t_s[far])
        earlier_mps = np.abs(way_m[near] - way_m[far]) / np.maximum(beyond_s, 1e-9)
        mean_mps = made_m / span
        level_mps = mean_mps + 0.5 * (mean_mps - earlier_mps)
        whole = (span > 0.75 * span_s) & (beyond_s > 0.75 * span_s) & (hi - lo >= least)
        # A hull that nears its top gains less and less: it need not have reached the extrapolated speed,
        # while a false speed is one that exceeds it.
        tolerance_mps = _BORNE_OUT_LEVEL * _DENIED_MPS + 3.0 * noise_m / span_s
        level = v_mps <= level_mps + tolerance_mps
        level &= v_mps >= np.minimum(level_mps, mean_mps) - tolerance_mps
        out |= whole & level & (np.abs(excess_m) <= _BORNE_OUT * _steady_m(noise_m, made_m))
    return out


def denied_by_positions(
    t_s: FloatArray, v_mps: FloatArray, way_m: FloatArray, sure: BoolArray, noise_m: float
) -> BoolArray:
    """Mark speeds that the distance made good contradicts.

    Parameters
    ----------
    t_s, v_mps, way_m : ndarray, shape (n,)
        Usable samples only, strictly increasing in time, no NaN, and the distance made good [s, m/s, m].
    sure : ndarray of bool, shape (n,)
        Speeds that :func:`confirmed_by_positions` confirms: no window around them counts against these.
    noise_m : float
        Standard deviation of a position from one sample to the next [m].

    Returns
    -------
    ndarray of bool, shape (n,)

    Notes
    -----
    Over windows of two lengths the integrated speed is compared with the distance made good. A receiver's
    speed lags its positions, which shortens the integral while the speed rises; that lag is measured over the
    whole log and removed. The tolerance beyond it: five standard deviations of the two positions at the ends,
    a share of the distance, the remaining lag, and what a corner between two samples hides.
    """
    n = t_s.size
    bad = np.zeros(n, dtype=np.bool_)
    if n < 4:
        return bad
    usual_s = float(np.median(np.diff(t_s)))
    summed_m = cumulative_integral(t_s, v_mps)
    for width_s in _AGREE_WINDOWS_S:
        lo, hi = window_bounds(t_s, width_s)
        span_s = t_s[hi] - t_s[lo]
        made_m = way_m[hi] - way_m[lo]
        made_mps = made_m / span_s
        gain_mps = made_mps[hi] - made_mps[lo]
        excess_m = summed_m[hi] - summed_m[lo] - made_m
        lag_s, doubt_s = _lag(gain_mps, excess_m)
        allowed_m = _steady_m(noise_m, made_m) + (doubt_s + _CORNER_SHARE * usual_s) * np.abs(gain_mps)
        # Next to a gap the window is lopsided and the change is not visible: let such samples pass.
        whole = span_s < 1.5 * max(width_s, 2.0 * usual_s)
        excess_m = excess_m + lag_s * gain_mps
        # Too low a speed is accepted against the positions unless it is nearly zero: a position that jumps
        # ahead must not cost the good speeds next to it.
        guilty = whole & ((excess_m > allowed_m) | ((excess_m < -allowed_m) & (v_mps < 0.5 * made_mps)))
        # The whole window is suspect; false are the samples that deviate from the distance made good.
        tolerance_mps = _DENIED_MPS + (3.0 * noise_m + (abs(lag_s) + doubt_s) * np.abs(gain_mps)) / span_s
        high = v_mps - made_mps > tolerance_mps
        low = made_mps - v_mps > np.maximum(tolerance_mps, 0.5 * made_mps)
        for a_s, b_s in _merged(t_s[guilty], max(width_s / 2, usual_s)):
            rows = slice(int(np.searchsorted(t_s, a_s)), int(np.searchsorted(t_s, b_s)) + 1)
            bad[rows] |= (whole & (high | low) & ~sure)[rows]
    return bad
