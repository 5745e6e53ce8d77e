"""Finding passes and take-offs in a smoothed log.

A pass is a straight stretch ridden flat out: the speed stays above three fifths of the stretch's own top and
reaches half of the outing's, the course hardly changes, and it lasts long enough to be more than a burst.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import Finding, FloatArray, true_runs
from telemetry.core.geo import CourseLine, fit_course, wrap_deg
from telemetry.kinematics.whole_log import Motion, turn_rate_dps
from telemetry.passes.crash import find_sudden_stop, speeds_of

# What separates a pass from pottering about: common practice, no source; a boat slower than the first is not
# on plane, whatever the outing's top.
_MIN_TOP_MPS = 5.0
_SHARE_OF_OUTING = 0.5
_SHARE_OF_OWN = 0.6
_MIN_S = 1.2
_MIN_M = 25.0
_CRASH_S = 1.0  # after a smoothed speed has fallen off, which sees a crash too early
_TURN_DPS = 20.0
_TURN_DEG = 25.0
_LIFT_S = 1.5
_REST_SHARE = 0.15
_ROLLING_SHARE = 0.45
_ON_PLANE_SHARE = 0.85
_EARNEST_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class DistanceSpeed:
    """Best average over one measured distance anywhere in a pass; times on the log's clock."""

    distance_m: float
    speed_mps: float
    u95_mps: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class TakeOff:
    """From leaving displacement speed to riding on plane, on the log's clock [s]."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Pass:
    """One straight flat-out stretch.

    Attributes
    ----------
    id : str
        ``P1``, ``P2`` ... in order of time over the whole analysis.
    log : int
        Which speed log of the analysis it is in.
    start_s, end_s : float
        On that log's clock [s].
    start_utc, end_utc : pandas.Timestamp or None
        None when the log does not say which day it was.
    heading_deg : float
        Direction of the fitted line through the pass [deg].
    length_m : float
        Way over ground from start to end [m].
    peak_mps, peak_u95_mps, peak_s : float
        Estimated highest speed over ground, half its 95 % interval, and when.
    held_1s_mps, held_1s_u95_mps : float
        Best mean over one second.
    distances : tuple of DistanceSpeed
        One for each asked distance that fits into the pass.
    takeoff : TakeOff or None
        None when the log does not show one (it began at speed, or the run-up is cut).
    findings : tuple of Finding
        Those of the log that touch the pass.
    """

    id: str
    log: int
    start_s: float
    end_s: float
    start_utc: pd.Timestamp | None
    end_utc: pd.Timestamp | None
    heading_deg: float
    length_m: float
    peak_mps: float
    peak_u95_mps: float
    peak_s: float
    held_1s_mps: float
    held_1s_u95_mps: float
    distances: tuple[DistanceSpeed, ...]
    takeoff: TakeOff | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Window:
    """Where a pass lies in its log.

    Attributes
    ----------
    first, last : int
        Half-open range of samples.
    stretch : tuple of (int, int)
        The unbroken stretch it lies in.
    course : CourseLine or None
        Line through its positions, in its direction; None for a log without positions.
    heading_deg : float
        NaN where neither positions nor a course are logged.
    takeoff : TakeOff or None
    crashed : bool
        Whether it ends with a crash, or in a tumble of the receiver that hides one, at a time between its
        last sample and the next.
    """

    first: int
    last: int
    stretch: tuple[int, int]
    course: CourseLine | None
    heading_deg: float
    takeoff: TakeOff | None
    crashed: bool = False


def _bridged(runs: list[tuple[int, int]], t_s: FloatArray) -> list[tuple[int, int]]:
    """Join runs that a short lift of the throttle parts."""
    out: list[tuple[int, int]] = []
    for a, b in runs:
        if out and t_s[a] - t_s[out[-1][1] - 1] < _LIFT_S:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def _straight_parts(motion: Motion, a: int, b: int) -> list[tuple[int, int]]:
    """Cut a fast run where it turns."""
    t, course = motion.t_s[a:b], motion.course_deg[a:b]
    if b - a < 3 or np.isnan(course).any():
        return [(a, b)]
    turning = np.abs(turn_rate_dps(t, course)) > _TURN_DPS
    turned = np.r_[0.0, np.cumsum(wrap_deg(np.diff(course)))]  # a whole circle comes out where it went in
    # A wobble is not a turn: the course has to come out elsewhere than it went in.
    for i, j in true_runs(turning):
        if abs(float(turned[min(j, b - a - 1)] - turned[max(i - 1, 0)])) < _TURN_DEG:
            turning[i:j] = False
    return [(a + i, a + j) for i, j in true_runs(~turning)]


def _flat_out(speed_mps: FloatArray, t_s: FloatArray, a: int, b: int) -> list[tuple[int, int]]:
    """Trim a run to where it stays above a share of its own top; a long lift makes two passes."""
    own = _SHARE_OF_OWN * float(speed_mps[a:b].max())
    return [(a + i, a + j) for i, j in _bridged(true_runs(speed_mps[a:b] >= own), t_s[a:b])]


def _takeoff(motion: Motion, window: tuple[int, int], stretch: tuple[int, int]) -> TakeOff | None:
    """Follow the speed back from a pass to where it left rest or its slowest."""
    v, t = motion.speed_mps, motion.t_s
    top = float(v[window[0] : window[1]].max())
    k = window[0]
    lowest = k
    while k > stretch[0]:
        k -= 1
        if v[k] < v[lowest]:
            lowest = k
        if v[k] <= _REST_SHARE * top or v[k] > v[lowest] + 0.1 * top:
            break
    if v[lowest] > _ROLLING_SHARE * top:
        return None
    end = lowest + int(np.flatnonzero(v[lowest : window[1]] >= _ON_PLANE_SHARE * top)[0])
    # Idling up to the course belongs to no take-off: it begins where the hull begins to gain in earnest.
    gain = motion.acceleration_mps2[lowest : end + 1]
    hardest = int(np.argmax(gain))
    idle = np.flatnonzero(gain[:hardest] < _EARNEST_SHARE * gain[hardest])
    start = lowest + (int(idle[-1]) if idle.size else 0)
    return TakeOff(float(t[start]), float(t[end]))


def find_windows(cleaned: Cleaned, motion: Motion) -> list[Window]:
    """Find the passes of one log.

    Parameters
    ----------
    cleaned : Cleaned
    motion : Motion
        Of the same log.

    Returns
    -------
    list of Window
        In order of time.
    """
    v, t = motion.speed_mps, motion.t_s
    if np.isnan(v).all():
        return []
    usable = cleaned.speed_ok | cleaned.position_ok
    top = float(np.nanmax(v[usable]))
    least = max(_MIN_TOP_MPS, _SHARE_OF_OUTING * top)
    windows: list[Window] = []
    for stretch in cleaned.stretches:
        seen = stretch[0] + np.flatnonzero(usable[stretch[0] : stretch[1]])
        if seen.size == 0:
            continue
        # Beyond what was seen a smoothed curve leads anywhere.
        a0, b0 = int(seen[0]), int(seen[-1]) + 1
        fast = _bridged(true_runs(v[a0:b0] >= _SHARE_OF_OWN * least), t[a0:b0])
        for a, b in fast:
            for i, j in _straight_parts(motion, a0 + a, a0 + b):
                if v[i:j].max() < least:
                    continue
                for first, last in _flat_out(v, t, i, j):
                    window = _window(cleaned, motion, first, last, stretch, least)
                    if window is not None:
                        windows.append(window)
    return windows


def _before_crash(cleaned: Cleaned, motion: Motion, first: int, last: int) -> int | None:
    """Find where a pass ends in a crash: one past the last sample before it, or None where it does not."""
    t_s, speeds = cleaned.track.t_s, speeds_of(cleaned, motion)
    usable = speeds.mps[first:last][speeds.ok[first:last]]
    if usable.size == 0:
        return None
    fall = find_sudden_stop(cleaned, motion, (float(t_s[first]), float(t_s[last - 1])), float(usable.max()))
    # A hull that had already slowed when it hit something ended its pass before.
    if fall is None or t_s[fall.before] > t_s[last - 1] + _CRASH_S:
        return None
    return fall.before + 1


def _window(
    cleaned: Cleaned, motion: Motion, first: int, last: int, stretch: tuple[int, int], least_mps: float
) -> Window | None:
    crash = _before_crash(cleaned, motion, first, last)
    last = crash or last
    v, t = motion.speed_mps[first:last], motion.t_s[first:last]
    # A log that measures speeds and lost them here shows a curve drawn from elsewhere.
    seen = cleaned.speed_ok if cleaned.track.meta.speed_source == "measured" else cleaned.position_ok
    usable = int(seen[first:last].sum())
    length_m = float(np.trapezoid(v, t))
    # A crash came at some time within the next step.
    lasts_s = float(t[-1] - t[0]) + (float(np.median(np.diff(motion.t_s))) if crash else 0.0)
    if lasts_s < _MIN_S or length_m < _MIN_M or v.max() < least_mps or usable < 2:
        return None
    course: CourseLine | None = None
    heading = float("nan")
    if not np.isnan(motion.course_deg[first:last]).any():
        c = np.radians(motion.course_deg[first:last])
        heading = float(np.degrees(np.arctan2(np.sin(c).mean(), np.cos(c).mean())) % 360.0)
    ok = np.flatnonzero(cleaned.position_ok[first:last])
    if ok.size >= 2:
        e, n = motion.east_m[first:last][ok], motion.north_m[first:last][ok]
        made_deg = float(np.degrees(np.arctan2(e[-1] - e[0], n[-1] - n[0])))
        course = fit_course(e, n, made_deg)
        heading = course.heading_deg
        made_m = float(np.hypot(e[-1] - e[0], n[-1] - n[0]))
        # Positions that do not follow a speed deny the pass as a whole.
        if made_m < 0.7 * float(np.trapezoid(v[ok[0] : ok[-1] + 1], t[ok[0] : ok[-1] + 1])):
            return None
    takeoff = _takeoff(motion, (first, last), stretch)
    return Window(first, last, stretch, course, heading, takeoff, crash is not None)
