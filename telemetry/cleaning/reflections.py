"""Find stretches in which a hull at its top is faster for a moment than it can have become.

Near its top a hull gains some metres a second squared at most. A reflected signal adds one to three metres a
second within some tenths of a second and takes them off again within a second, and the position goes along.
No single step of it is beyond a hull, and the positions bear it out; its shape gives it away: a step up out
of a calm ride, and back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from telemetry.core.frames import FloatArray

_SLOWEST_STEP_S = 0.22  # of a log that can show it
_FAST_SHARE = 0.7  # of the top around: a slower hull has thrust to spare
_TOP_OVER_S = 4.0
_EDGE_S = 0.3
_LEAST_STEP_MPS = 0.6
_LEAST_GAIN_MPS2 = 2.2  # beyond what the hull gained just before (common practice, no source)
_BEFORE_S = 1.0
_CALM_SHARE = 0.25
_SHORTEST_S, _LONGEST_S = 0.19, 1.6
_BACK_SHARE = 0.4
_AT_ONCE_S, _AT_ONCE_SHARE = 0.41, 0.75
_FORMER_S, _NEW_SHARE = 2.0, 0.6


@dataclass(frozen=True)
class Reflection:
    """One stretch: half-open range of samples, and how far above the ride before it they stand [m/s]."""

    first: int
    last: int
    excess_mps: float


def find_reflections(t_s: FloatArray, v_mps: FloatArray) -> list[Reflection]:
    """Find them in the usable speeds of a log.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (n,)
        Strictly increasing times and measured speeds without NaN [s, m/s].

    Returns
    -------
    list of Reflection
        In order of time, apart from each other.
    """
    n = t_s.size
    if n < 8 or float(np.median(np.diff(t_s))) > _SLOWEST_STEP_S:
        return []
    back = np.searchsorted(t_s, t_s - _EDGE_S - 1e-6)
    rise = v_mps - v_mps[back]
    steep = rise > np.maximum(_LEAST_STEP_MPS, _LEAST_GAIN_MPS2 * (t_s - t_s[back]))
    steep &= t_s - t_s[back] < 2.0 * _EDGE_S
    # Of neighbouring rises the steepest stands for all; and a slow hull may gain as it likes.
    steep[1:-1] &= (rise[1:-1] >= rise[:-2]) & (rise[1:-1] >= rise[2:])
    wide = 2 * round(_TOP_OVER_S / float(np.median(np.diff(t_s)))) + 1
    steep &= v_mps[back] >= _FAST_SHARE * maximum_filter1d(v_mps, wide)
    out: list[Reflection] = []
    after = 0
    for k in np.flatnonzero(steep).tolist():
        if k < after:
            continue
        found = _one(t_s, v_mps, int(back[k]))
        if found is not None:
            out.append(found)
            after = found.last
    return out


def _one(t_s: FloatArray, v_mps: FloatArray, foot: int) -> Reflection | None:
    """Follow one steep rise back to a calm ride before it and on to its end."""
    a = int(np.searchsorted(t_s, t_s[foot] - _BEFORE_S))
    if foot - a < 4:
        return None
    t, v = t_s[a : foot + 1] - t_s[foot], v_mps[a : foot + 1]
    slope, level = np.polyfit(t, v, 1).tolist()
    calm = float(np.std(v - np.polyval([slope, level], t)))
    rest = slice(foot, int(np.searchsorted(t_s, t_s[foot] + _LONGEST_S)) + 1)
    since = t_s[rest] - t_s[foot]
    # A hull that gains goes on gaining less and less; one that loses may be caught again.
    expected = level + np.clip(slope, 0.0, None) * np.minimum(since, _EDGE_S)
    above = v_mps[rest] - expected
    top = int(np.argmax(above))
    excess = float(above[top])
    gained = excess / max(float(since[top]), _EDGE_S)
    if excess < _LEAST_STEP_MPS or calm > _CALM_SHARE * excess or abs(slope) > 0.5 * gained:
        return None
    # A hull that comes back to a speed that it had needs no explanation: its throttle was moved.
    former = slice(int(np.searchsorted(t_s, t_s[foot] - _FORMER_S)), foot + 1)
    if v_mps[foot + top] - float(v_mps[former].max()) < _NEW_SHARE * excess:
        return None
    # Nor is one that gains all the while: a reflection is there at once.
    if float(above[since <= _AT_ONCE_S].max()) < _AT_ONCE_SHARE * excess:
        return None
    ends = np.flatnonzero(above[top:] < _BACK_SHARE * excess)
    if ends.size == 0:
        return None
    begins = np.flatnonzero(above[: top + 1] > max(0.1 * excess, 3.0 * calm))
    if since[top + int(ends[0])] - since[int(begins[0])] < _SHORTEST_S:
        return None  # a spike, for other judges
    stands = np.flatnonzero(above[top + int(ends[0]) :] < max(0.1 * excess, 3.0 * calm))
    last = top + int(ends[0]) + (int(stands[0]) if stands.size else 1)
    then = slice(foot + last, int(np.searchsorted(t_s, t_s[min(foot + last, t_s.size - 1)] + _BEFORE_S)))
    if then.stop - then.start > 3:
        v = v_mps[then]
        if float(np.max(v - np.minimum.accumulate(v))) > _BACK_SHARE * excess:
            return None  # it goes on swinging
    return Reflection(foot + int(begins[0]), min(foot + last + 1, t_s.size), excess)
