"""False spikes: speeds a hull could not have had, or that the positions deny.

Two judges, both over short windows around trouble, so that a clean log costs next to nothing:

* **Reach.** Between two true samples the speed can rise no faster than the hull accelerates and, short of a
  crash, fall no faster than water drags. Around every impossible step the largest set of samples that can
  follow one another is kept; the others are false. A persistent collapse (a crash) is allowed at a price of a
  few samples, so that a short false start is cut and a real stop is kept.
* **Positions.** Over a second or two the summed speed must agree with the way made good, apart from what a
  receiver's lag can explain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.frames import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class HullLimits:
    """What a fast model hull can do.

    Attributes
    ----------
    rise_mps2 : float
        Greatest forward acceleration; 2 g is beyond what a propeller finds grip for (common practice, no
        source).
    fall_mps2 : float
        Greatest deceleration without hitting something (common practice, no source).
    step_mps : float
        Speed step between two samples that noise alone may explain.
    corner_mps2 : float
        Greatest change of acceleration within one sample step, as at a throttle cut.
    crash_samples, crash_s
        Price of a collapse faster than ``fall_mps2``: it must outlast this many samples, and this long.
    """

    rise_mps2: float = 20.0
    fall_mps2: float = 40.0
    step_mps: float = 0.6
    corner_mps2: float = 30.0
    crash_samples: float = 2.5
    crash_s: float = 0.35


_CONTEXT_S = 4.0
_REACH_S = 4.0


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
    best = weight.copy()
    before = np.full(n, -1)
    first = np.searchsorted(t_s, t_s - _REACH_S)
    for i in range(1, n):
        j = slice(int(first[i]), i)
        dt = t_s[i] - t_s[j]
        dv = v_mps[i] - v_mps[j]
        score = best[j] - np.where(dv < -(limits.fall_mps2 * dt + limits.step_mps), crash_price, 0.0)
        score[dv > limits.rise_mps2 * dt + limits.step_mps] = -np.inf
        if score.size == 0:
            continue
        k = int(np.argmax(score))
        if score[k] > 0.0:
            best[i] += score[k]
            before[i] = j.start + k
    keep = np.zeros(n, dtype=np.bool_)
    i = int(np.argmax(best))
    while i >= 0:
        keep[i] = True
        i = int(before[i])
    return keep


def unreachable(
    t_s: FloatArray, v_mps: FloatArray, doubtful: BoolArray, limits: HullLimits | None = None
) -> BoolArray:
    """Mark speeds that cannot be part of one motion with their neighbours.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (n,)
        Strictly increasing times and measured speeds without NaN [s, m/s].
    doubtful : ndarray of bool, shape (n,)
        Samples beside a loss of fix: they weigh a third of the others.
    limits : HullLimits, optional

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
    impossible = (dv > lim.rise_mps2 * dt + lim.step_mps) | (dv < -(lim.fall_mps2 * dt + lim.step_mps))
    # A lone sample off the line through its neighbours, further than any change of acceleration takes it.
    bend = v_mps[1:-1] - (v_mps[:-2] * dt[1:] + v_mps[2:] * dt[:-1]) / (dt[:-1] + dt[1:])
    short = np.maximum(dt[:-1], dt[1:]) < 3 * step_s
    lone = short & (np.abs(bend) > lim.step_mps + lim.corner_mps2 * dt[:-1] * dt[1:] / (dt[:-1] + dt[1:]))
    # A neighbour of a spike bends too, by half; only the greatest bend of a neighbourhood is the spike.
    size = np.abs(bend)
    rival = np.maximum(np.r_[0.0, size[:-1]], np.r_[size[1:], 0.0])
    bad[1:-1] = lone & (size > rival)
    weight = np.where(doubtful, 1.0 / 3.0, 1.0)
    for a_s, b_s in _merged(t_s[:-1][impossible], _CONTEXT_S):
        i, j = np.searchsorted(t_s, (a_s, b_s), side="left")
        rows = slice(int(i), int(j) + 1)
        bad[rows] |= ~_longest_chain(t_s[rows], v_mps[rows], weight[rows], lim, step_s)
    return bad


_AGREE_WINDOW_S = 1.5
_AGREE_M = 1.5
_LAG_S = 0.35


def denied_by_positions(
    t_s: FloatArray, v_mps: FloatArray, east_m: FloatArray, north_m: FloatArray, noise_m: float
) -> BoolArray:
    """Mark speeds that the way made good denies.

    Parameters
    ----------
    t_s, v_mps, east_m, north_m : ndarray, shape (n,)
        Usable samples only, strictly increasing in time, no NaN [s, m/s, m].
    noise_m : float
        Standard deviation of a position from one sample to the next [m].

    Returns
    -------
    ndarray of bool, shape (n,)

    Notes
    -----
    The speed is compared with the distance between the positions at both ends of a window. A weaving hull
    goes further than its positions show, so the allowance grows with the distance; a receiver's speed lags
    its positions by some tenths of a second, so it grows with the speed change the positions themselves show.
    """
    n = t_s.size
    bad = np.zeros(n, dtype=np.bool_)
    if n < 4:
        return bad
    summed_m = np.r_[0.0, np.cumsum(0.5 * (v_mps[1:] + v_mps[:-1]) * np.diff(t_s))]
    half = _AGREE_WINDOW_S / 2
    lo = np.maximum(np.minimum(np.searchsorted(t_s, t_s - half), np.arange(n) - 1), 0)
    hi = np.minimum(np.maximum(np.searchsorted(t_s, t_s + half, side="right") - 1, np.arange(n) + 1), n - 1)
    made_m = np.hypot(east_m[hi] - east_m[lo], north_m[hi] - north_m[lo])
    span_s = t_s[hi] - t_s[lo]
    made_mps = made_m / span_s
    change_mps = np.abs(made_mps[hi] - made_mps[lo])
    # Beside a gap the window is lopsided and the change is not seen: let such samples pass.
    whole = span_s < 2.5 * max(half, float(np.median(np.diff(t_s))))
    allowed_m = _AGREE_M + 5.0 * noise_m + 0.05 * made_m + _LAG_S * change_mps
    excess_m = summed_m[hi] - summed_m[lo] - made_m
    guilty = whole & (np.abs(excess_m) > allowed_m)
    # The whole window is accused; false is what stands out in it against the way made good.
    tolerance_mps = 2.0 + _LAG_S * change_mps / np.maximum(span_s, 1e-3)
    for a_s, b_s in _merged(t_s[guilty], half):
        rows = slice(int(np.searchsorted(t_s, a_s)), int(np.searchsorted(t_s, b_s)) + 1)
        bad[rows] |= np.abs(v_mps[rows] - made_mps[rows]) > tolerance_mps[rows]
    return bad
