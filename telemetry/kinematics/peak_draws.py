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
    if k > 0 and here[k] < sample[-1]:
        a, b = here[k - 1], here[k]
        after_s = t_s[sample[np.searchsorted(sample, b) + 1]] - t_s[b]
        slope = (drawn_mps[b] - drawn_mps[a]) / (t_s[b] - t_s[a])
        if corner[b]:
            peak = np.maximum(peak, drawn_mps[b] + slope * share * after_s)
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
    return peak, held[int(np.argmax(held.mean(axis=1)))]


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
