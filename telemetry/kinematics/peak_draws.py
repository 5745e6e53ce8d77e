"""The top of a curve that is known only as a sheaf of possible ones.

The top of a noisy curve is not the noisy curve's top: the highest value is taken of each curve drawn from
what the smoother knows, and their mean and spread are the estimate.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from telemetry.core.frames import BoolArray, FloatArray, IntArray

HELD_S: Final = 1.0
_SILENT_STEPS = 1.8
_SLOW_STEP_S = 0.27
_FADES = 0.5
_USUAL_DRAG_MPS2 = 8.0  # of a hull whose throttle is shut at speed (common practice, no source)
_LIFT_S = 1.5  # before the hardest deceleration the driver lifted
_TOP_MPS2 = 3.0  # a hull near its top gains no faster (common practice, no source)


def linearise_corners(
    t_s: FloatArray, at: IntArray, livelier: BoolArray, usual_step_s: float, drawn_mps: FloatArray
) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Draw straight lines through steps in which the throttle was moved.

    Between two samples on either side of a corner the smoother lets the speed go anywhere; the hull goes from
    one to the other without rising above both by more than :func:`peak_of_draws` allows for.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Nodes of one pass [s].
    at : ndarray of int
        Nodes that carry a sample, increasing.
    livelier : ndarray of bool, shape (n - 1,)
        Steps between nodes that hold a corner.
    usual_step_s : float
        Between samples of the log [s].
    drawn_mps : ndarray, shape (n, draws)

    Returns
    -------
    drawn_mps : ndarray, shape (n, draws)
    corner : ndarray of bool, shape (n,)
        Nodes that a corner follows.
    silent : ndarray of bool, shape (n,)
        Nodes a dropout follows, and those inside it.
    """
    n = t_s.size
    inner = np.ones(n, dtype=np.bool_)
    inner[at] = False
    left = np.maximum(np.searchsorted(at, np.arange(n), side="right") - 1, 0)
    right = np.minimum(left + 1, at.size - 1)
    silent = t_s[at[right]] - t_s[at[left]] > _SILENT_STEPS * usual_step_s
    # A corner anywhere between two samples concerns all nodes between them.
    touched = np.zeros(at.size, dtype=np.bool_)
    touched[left[:-1][livelier]] = True
    between = inner & (np.arange(n) > at[0]) & (np.arange(n) < at[-1])
    lined = np.flatnonzero(between & (touched[left] | silent))
    a, b = at[left[lined]], at[right[lined]]
    share = ((t_s[lined] - t_s[a]) / (t_s[b] - t_s[a]))[:, None]
    out = drawn_mps.copy()
    out[lined] = drawn_mps[a] * (1.0 - share) + drawn_mps[b] * share
    follows = np.zeros(n, dtype=np.bool_)
    follows[at[touched]] = True
    return out, follows & ~silent, silent


def peak_of_draws(
    t_s: FloatArray,
    drawn_mps: FloatArray,
    sample: IntArray,
    corner: BoolArray,
    silent: BoolArray,
    window: tuple[float, float],
    share: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Highest sample and best one-second mean of each drawn curve inside a span, shape (draws,) each.

    The second is the mean over the one second that is best on average: over so long a time the noise hardly
    chooses. Where a corner follows the highest sample, the throttle was shut at a time unknown within the
    step: the speed went on for a ``share`` of it, uniform in (0, 1), as it went over the step before. Where a
    dropout follows it, the top itself may be missing: the interval widens by what was still being gained.
    """
    inside = (t_s >= window[0] - 1e-9) & (t_s <= window[1] + 1e-9)
    t, v = t_s[inside], drawn_mps[inside]
    here = sample[inside[sample]]
    peak = drawn_mps[here].max(axis=0)
    k = int(np.argmax(drawn_mps[here].mean(axis=1)))
    lift_held: FloatArray | None = None
    if k > 0 and here[k] < sample[-1]:
        a, b = here[k - 1], here[k]
        after_s = t_s[sample[np.searchsorted(sample, b) + 1]] - t_s[b]
        slope = (drawn_mps[b] - drawn_mps[a]) / (t_s[b] - t_s[a])
        steep = slope
        if k > 1 and after_s > _SLOW_STEP_S:
            # Over so long a step a hull that nears its top gains less than over the one before it.
            before = (drawn_mps[a] - drawn_mps[here[k - 2]]) / (t_s[a] - t_s[here[k - 2]])
            slope = slope * np.clip(slope / np.maximum(before, 1e-3), 0.0, 1.0)
        if corner[b] and after_s > _SLOW_STEP_S:
            on_s, drag = _went_on(t_s, drawn_mps, sample, int(np.searchsorted(sample, b)), slope, share)
            peak = np.maximum(peak, drawn_mps[b] + slope * on_s)
            rise = np.maximum(steep, 1e-3)
            # Of a line up and a line down the best second lies on both sides of the lift, as high at either
            # end.
            lift_held = drawn_mps[b] + slope * on_s - 0.5 * HELD_S * rise * drag / (rise + drag)
        elif corner[b]:
            # A trigger takes its time, in which the hull gains less and less.
            peak = np.maximum(peak, drawn_mps[b] + slope * (_FADES * share * after_s))
        elif silent[b]:
            unseen = np.clip(slope, 0.0, _TOP_MPS2) * after_s
            peak = peak + unseen * (share - 0.5)
    way = cumulative_distance(t, v)
    starts = t[t <= t[-1] - HELD_S + 1e-9]
    if starts.size == 0:
        return peak, np.full(v.shape[1], np.nan)
    later = starts + HELD_S
    k_later = np.clip(np.searchsorted(t, later, side="right") - 1, 0, t.size - 2)
    part = np.clip((later - t[k_later]) / (t[k_later + 1] - t[k_later]), 0.0, 1.0)[:, None]
    held = (way[k_later] * (1.0 - part) + way[k_later + 1] * part - way[: starts.size]) / HELD_S
    best = held[int(np.argmax(held.mean(axis=1)))]
    return peak, best if lift_held is None else np.maximum(best, lift_held)


def taken_off(
    t_s: FloatArray,
    states: FloatArray,
    sample: IntArray,
    livelier: BoolArray,
    window: tuple[float, float],
    filters_s: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Estimate what a receiver's low-pass takes off the highest speed and off the best second of a curve.

    Of the highest speed there are a lower and an upper estimate, shape (2, k); of the second one, (k,).

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Nodes of one pass [s].
    states : ndarray, shape (n, 2)
        Smoothed measured speed and its derivative.
    sample : ndarray of int
        Nodes that carry a sample, increasing.
    livelier : ndarray of bool, shape (n - 1,)
        Steps between nodes that hold a corner.
    window : (float, float)
        Span of the pass [s].
    filters_s : ndarray, shape (k,)
        Time constants of the low-pass.
    """
    inside = (t_s >= window[0] - 1e-9) & (t_s <= window[1] + 1e-9)
    speed, gain = states[:, :1], states[:, 1:]
    true = speed + gain * filters_s
    here = sample[inside[sample]]
    # A hull gains until its driver lifts, and is then faster than its filtered speed; in between it gains
    # little. The highest of all values, derivative and all, finds the highest error, the one at the lift may
    # be late: the truth lies between them.
    deepest = here[int(np.argmin(gain[here, 0]))]
    corners = np.flatnonzero(livelier[: deepest + 1])
    corners = corners[t_s[corners] > t_s[deepest] - _LIFT_S]
    lift = corners[0] if corners.size else here[int(np.argmax(speed[here, 0]))]
    at_lift = true[max(lift - 1, 0) : lift + 1].max(axis=0)
    filtered = speed[here].max()
    peak = np.stack([np.maximum(at_lift, filtered), true[here].max(axis=0)]) - filtered
    t = t_s[inside]
    starts = t[t <= t[-1] - HELD_S + 1e-9]
    if starts.size == 0:
        return peak, np.zeros(filters_s.size)
    both = np.hstack([speed, true])[inside]
    way = cumulative_distance(t, both)
    k = np.clip(np.searchsorted(t, starts + HELD_S, side="right") - 1, 0, t.size - 2)
    part = np.clip((starts + HELD_S - t[k]) / (t[k + 1] - t[k]), 0.0, 1.0)[:, None]
    held = ((way[k] * (1.0 - part) + way[k + 1] * part - way[: starts.size]) / HELD_S).max(axis=0)
    return peak, held[1:] - held[0]


def _went_on(
    t_s: FloatArray, drawn_mps: FloatArray, sample: IntArray, top: int, slope: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How long each curve went on gaining after its highest sample [s], and how hard it then slowed [m/s²].

    The step after tells how hard the hull slows: a line up and a line down meet where the driver lifted. Drag
    goes with the square of the speed, so that it was up to half as much again (common practice, no source).
    """
    b, c = sample[top], sample[top + 1]
    after_s = float(t_s[c] - t_s[b])
    if top + 2 >= sample.size:
        return share * after_s, np.full(share.shape, _USUAL_DRAG_MPS2)
    d = sample[top + 2]
    drag = (drawn_mps[c] - drawn_mps[d]) / (t_s[d] - t_s[c]) * (1.0 + 0.5 * share)
    down = np.maximum(drag + slope, 1e-3)
    met = (drawn_mps[c] - drawn_mps[b] + drag * after_s) / down
    seen = drag > 0.5
    return np.where(seen, np.clip(met, 0.0, after_s), share * after_s), np.where(seen, drag, _USUAL_DRAG_MPS2)


def between(low: float, high: float, share: FloatArray) -> FloatArray:
    """Draw values from half the difference of two below the lower one to as far above the upper one."""
    return np.asarray(low + (high - low) * (2.0 * share - 0.5))


def cumulative_distance(t_s: FloatArray, drawn_mps: FloatArray) -> FloatArray:
    """Way that each drawn curve makes from the first node on, shape of ``drawn_mps`` [m]."""
    steps_m = 0.5 * (drawn_mps[1:] + drawn_mps[:-1]) * np.diff(t_s)[:, None]
    return np.vstack([np.zeros(drawn_mps.shape[1]), np.cumsum(steps_m, axis=0)])


def step_maxima(t_s: FloatArray, drawn: FloatArray, steps: IntArray) -> FloatArray:
    """Highest speed of each drawn curve inside some steps, between their nodes, shape (draws,) [m/s].

    Where the hull swings a crest may stand between two samples. Between nodes a curve is the cubic through
    their speeds and accelerations, the most probable one.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
    drawn : ndarray, shape (n, 2, draws)
        Speeds and accelerations.
    steps : ndarray of int
        Nodes with which the steps begin; none where the hull rode calmly.
    """
    x = np.array([0.25, 0.5, 0.75])[:, None, None]
    dt = np.diff(t_s)[steps, None]
    v0, a0, v1, a1 = drawn[steps, 0], drawn[steps, 1], drawn[steps + 1, 0], drawn[steps + 1, 1]
    between = (
        v0 * (1.0 + 2.0 * x) * (1.0 - x) ** 2
        + dt * a0 * x * (1.0 - x) ** 2
        + v1 * x**2 * (3.0 - 2.0 * x)
        - dt * a1 * x**2 * (1.0 - x)
    )
    return np.asarray(between.max(axis=(0, 1), initial=-np.inf))
