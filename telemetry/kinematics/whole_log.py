"""Smoothed speed, course and position of a whole log, for finding passes and for plots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from telemetry.cleaning.clean import Cleaned
from telemetry.cleaning.timeline import break_after_s, window_bounds
from telemetry.core.frames import TRACK_COLUMNS, FloatArray
from telemetry.core.geo import LocalFrame, wrap_deg
from telemetry.kinematics.models import ReceiverModel, smooth_speed

# Positions that scatter more say nothing about a pass, and their weight would be lost in rounding.
_LARGEST_SD_M = 1000.0
DIFFERENCED_OVER_S = 0.5  # a speed made of positions is a mean over this, or over the steps on either side


@dataclass(frozen=True)
class Motion:
    """The smoothed whole log, for finding passes and for plots.

    Attributes
    ----------
    frame : LocalFrame
        Origin of the metres.
    t_s, speed_mps, acceleration_mps2, course_deg, east_m, north_m : ndarray, shape (n,)
        On the cleaned track's samples; positions that were set aside are interpolated. The course is NaN
        throughout where the log has neither courses nor positions.
    has_positions : bool
        Whether east_m and north_m mean anything.
    speed_sd_mps, position_sd_m : float
        White noise of one measured speed, and of one position in each axis, as the log shows it.
    """

    frame: LocalFrame
    t_s: FloatArray
    speed_mps: FloatArray
    acceleration_mps2: FloatArray
    course_deg: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    has_positions: bool
    speed_sd_mps: float
    position_sd_m: float


def white_sd(values: FloatArray, least: float) -> float:
    """Estimate the white noise on a smooth signal by its third differences.

    A parabola has none; white noise of variance s² has third differences of variance 20 s². The median makes
    it indifferent to corners. Where the sampling is slower than the motion it errs to the high side.
    """
    third = np.abs(np.diff(values, 3))
    third = third[~np.isnan(third)]
    if third.size < 8:
        return max(least, 0.1)
    return max(least, float(np.median(third)) / 0.6745 / float(np.sqrt(20.0)))


def blur_s(t_s: FloatArray) -> float:
    """Time over which a speed made of positions is a mean [s]."""
    lo, hi = window_bounds(t_s, DIFFERENCED_OVER_S)
    return float(np.median(t_s[hi] - t_s[lo]))


def differenced_speed(t_s: FloatArray, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
    """Speed between the ends of half a second about each sample, or its neighbours, shape (n,) [m/s]."""
    lo, hi = window_bounds(t_s, DIFFERENCED_OVER_S)
    span = t_s[hi] - t_s[lo]  # nothing for a log of one sample
    span = np.where((span > 0.0) & (span <= break_after_s(0.0)), span, np.nan)
    return np.asarray(np.hypot(east_m[hi] - east_m[lo], north_m[hi] - north_m[lo]) / span)


def _course(
    t_s: FloatArray, logged_deg: FloatArray | None, east_m: FloatArray, north_m: FloatArray
) -> FloatArray:
    """Course over ground smoothed over about a second, shape (n,) [deg]."""
    if logged_deg is not None and not np.isnan(logged_deg).all():
        e, n = np.sin(np.radians(logged_deg)), np.cos(np.radians(logged_deg))
        lost = np.isnan(e)
        if lost.any():
            de, dn = np.gradient(east_m, t_s), np.gradient(north_m, t_s)
            moves = lost & (np.hypot(de, dn) > 0.0)
            e[moves], n[moves] = (d[moves] / np.hypot(de, dn)[moves] for d in (de, dn))
            lost &= ~moves  # neither a course nor positions: what stands on either side is the best guess
            e[lost] = np.interp(t_s[lost], t_s[~lost], e[~lost])
            n[lost] = np.interp(t_s[lost], t_s[~lost], n[~lost])
    else:
        e, n = np.gradient(east_m, t_s), np.gradient(north_m, t_s)
    step = float(np.median(np.diff(t_s)))
    width = max(3, round(1.0 / step) | 1)
    return np.asarray(np.degrees(np.arctan2(uniform_filter1d(e, width), uniform_filter1d(n, width))) % 360.0)


def smooth_log(cleaned: Cleaned, frame: LocalFrame, receiver: ReceiverModel | None = None) -> Motion:
    """Smooth a whole cleaned log, for finding passes and for plots.

    Parameters
    ----------
    cleaned : Cleaned
    frame : LocalFrame
        Where east and north are counted from.
    receiver : ReceiverModel, optional

    Returns
    -------
    Motion
        Speeds are NaN throughout where the log has none that may be used, or but one sample.
    """
    receiver = receiver or ReceiverModel()
    track = cleaned.track
    t_s = track.t_s
    broken = np.ones(t_s.size - 1, dtype=np.bool_)
    for a, b in cleaned.stretches:
        broken[a : b - 1] = False

    has_positions = int(cleaned.position_ok.sum()) >= 2
    east_m, north_m = np.zeros(t_s.size), np.zeros(t_s.size)
    position_sd_m = receiver.position_sd_m
    if has_positions:
        ok = np.flatnonzero(cleaned.position_ok)
        lat, lon = track.column("lat_deg"), track.column("lon_deg")
        assert lat is not None
        assert lon is not None
        e, n = frame.to_local(lat[ok], lon[ok])
        east_m, north_m = np.interp(t_s, t_s[ok], e), np.interp(t_s, t_s[ok], n)
        position_sd_m = float(np.hypot(white_sd(e, 0.0), white_sd(n, 0.0)) / np.sqrt(2.0))
        position_sd_m = float(np.clip(position_sd_m, receiver.least_position_sd_m, _LARGEST_SD_M))

    measured = track.column("speed_mps")
    if measured is None:
        measured = differenced_speed(t_s, east_m, north_m)
        measured[measured > TRACK_COLUMNS["speed_mps"].high] = np.nan
        use = np.flatnonzero(cleaned.position_ok & ~np.isnan(measured))
    else:
        use = np.flatnonzero(cleaned.speed_ok)
    if use.size == 0 or t_s.size < 2:
        blank = np.full(t_s.size, np.nan)
        return Motion(frame, t_s, blank, blank, blank, east_m, north_m, has_positions, np.nan, position_sd_m)
    sd = white_sd(measured[use], receiver.least_speed_sd_mps)
    chain = smooth_speed(t_s, ~broken, use.astype(np.int64), measured[use], np.full(use.size, sd), rounds=2)
    logged = track.column("course_deg")
    known = has_positions or logged is not None
    course = _course(t_s, logged, east_m, north_m) if known else np.full(t_s.size, np.nan)
    return Motion(
        frame,
        t_s,
        chain.posterior.mean[:, 0],
        chain.posterior.mean[:, 1],
        course,
        east_m,
        north_m,
        has_positions,
        sd,
        position_sd_m,
    )


def turn_rate_dps(t_s: FloatArray, course_deg: FloatArray) -> FloatArray:
    """Rate of change of course, shape (n,) [deg/s]."""
    step = wrap_deg(np.diff(course_deg))
    return np.asarray(np.gradient(np.r_[0.0, np.cumsum(step)], t_s))
