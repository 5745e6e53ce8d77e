"""Smoothed speed and position with variances."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.frames import FloatArray
from telemetry.geo import LocalFrame


@dataclass(frozen=True)
class Motion:
    """The smoothed whole log, for finding passes and for plots.

    Attributes
    ----------
    frame : LocalFrame
        Origin of the metres; None is never used: a log without positions has ``has_positions`` False.
    t_s, speed_mps, acceleration_mps2, course_deg, east_m, north_m : ndarray, shape (n,)
        On the cleaned track's samples; NaN where a gap leaves nothing to say.
    has_positions : bool
        Whether east_m and north_m mean anything.
    """

    frame: LocalFrame
    t_s: FloatArray
    speed_mps: FloatArray
    acceleration_mps2: FloatArray
    course_deg: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    has_positions: bool
