"""Blow-overs and veers: a pass that ends in a crash, or leaves its line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import FloatArray
from telemetry.kinematics.whole_log import Motion, turn_rate_dps
from telemetry.passes.crash import (
    DRAG_LIMIT_MPS2,
    FROM_SHARE,
    TO_SHARE,
    find_sudden_stop,
    samples_around,
    speeds_of,
)
from telemetry.passes.find import Pass

_BEFORE_S = 1.0
_ACCELERATING_MPS2 = 1.0
_TURNING_DPS = 8.0
# How far a driver on the bank lets a boat that runs straight wander off (common practice, no source).
VEER_LIMIT_M = 4.0
_POSSIBLE_SHARE = 0.8
_VEER_SIGMAS = 6.0
_LEAD_IN_S = 1.5
_HELD_S = 0.8

RideVerdict = Literal["shown", "possible", "not seen", "cannot tell"]


@dataclass(frozen=True)
class Incident:
    """What was found of a blow-over or a veer in one pass.

    Attributes
    ----------
    verdict : str
    start_s, end_s : float
        On the log's clock.
    why : str
        The evidence in one or two sentences.
    preceded_by : tuple of str
        For a blow-over: ``accelerating``, ``turning``.
    """

    verdict: RideVerdict
    start_s: float
    end_s: float
    why: str
    preceded_by: tuple[str, ...] = ()


def _mean_slope(t_s: FloatArray, values: FloatArray) -> float:
    t = t_s - t_s.mean()
    spread = float(t @ t)
    return float(t @ values) / spread if spread > 0 else 0.0


def blow_over(cleaned: Cleaned, motion: Motion, a_pass: Pass) -> Incident:
    """Look for a stop faster than water drag allows, and for what confirms it.

    Parameters
    ----------
    cleaned, motion
        Of the log.
    a_pass : Pass
        The stop may lie some seconds past its end.

    Returns
    -------
    Upset
        ``shown`` when the boat then drifts, or the receiver loses its fix, tumbles or falls silent;
        ``possible`` without any of these, or where drag might just have made so short a stop; ``cannot tell``
        when the log ends at speed, its speed is missing, or the boat is not seen again.
    """
    t_all, speeds = cleaned.track.t_s, speeds_of(cleaned, motion)
    span_s = (a_pass.start_s, a_pass.end_s)
    rows = samples_around(cleaned, speeds, span_s, a_pass.peak_mps)
    t, v, ok = t_all[rows], speeds.mps[rows], speeds.ok[rows]
    if rows.size < 3 or ok.sum() < 2:
        return Incident("cannot tell", *span_s, "too few usable speeds in the pass")
    fall = find_sudden_stop(cleaned, motion, span_s, a_pass.peak_mps)
    if fall is None:
        return _no_stop(cleaned, a_pass, t[ok], v[ok], t_all[speeds.ok])
    start_s, end_s = float(t_all[fall.before]), float(t_all[fall.after])
    if fall.seen_by == "nothing":
        text = f"the speed is lost at {fall.from_mps:.1f} m/s: {', '.join(fall.signs)}"
        return Incident("cannot tell", start_s, start_s, text)
    drag = f"water drag on a hull stays below about {DRAG_LIMIT_MPS2:.0f} m/s²"
    if fall.seen_by == "place":
        rate_mps2 = fall.from_mps**2 / (2.0 * max(fall.way_m, motion.position_sd_m))
        text = (
            f"the boat goes at {fall.from_mps:.1f} m/s and is next seen at rest {fall.way_m:.0f} m from there"
        )
        text += f" (a stop at {rate_mps2:.0f} m/s² or more; {drag})"
    else:
        rate_mps2 = (fall.from_mps - fall.to_mps) / (end_s - start_s)
        text = f"speed falls from {fall.from_mps:.1f} to {fall.to_mps:.1f} m/s in {end_s - start_s:.2f} s"
        text += f" ({rate_mps2:.0f} m/s²; {drag})"

    before = (t >= start_s - _BEFORE_S) & (t <= start_s)
    before &= v >= FROM_SHARE * a_pass.peak_mps
    preceded = []
    if before.sum() >= 3 and _mean_slope(t[before], v[before]) > _ACCELERATING_MPS2:
        preceded.append("accelerating")
    if before.any() and not np.isnan(motion.course_deg[rows]).any():
        rate_dps = np.abs(turn_rate_dps(motion.t_s, motion.course_deg))[rows][before]
        # The course is smoothed over a second: its last half already sees the crash.
        calm = t[before] <= start_s - 0.5
        if calm.any() and float(np.median(rate_dps[calm])) > _TURNING_DPS:
            preceded.append("turning")
    if not fall.signs:
        text += ", but nothing afterwards confirms it"
        return Incident("possible", start_s, end_s, text, tuple(preceded))
    text += f", and {', '.join(fall.signs)}"
    verdict: RideVerdict = "shown" if rate_mps2 >= DRAG_LIMIT_MPS2 else "possible"
    return Incident(verdict, start_s, end_s, text, tuple(preceded))


def _no_stop(cleaned: Cleaned, a_pass: Pass, t: FloatArray, v: FloatArray, seen_s: FloatArray) -> Incident:
    """Judge a pass whose usable speeds hold no sudden stop."""
    ends_s = float(cleaned.track.t_s[-1])

    def goes_on() -> bool:
        later = int(np.searchsorted(seen_s, t[-1], "right"))
        near_s = max(1.0, 1.5 * float(np.median(np.diff(seen_s))))
        return later < seen_s.size and float(seen_s[later] - t[-1]) <= near_s

    if v[-1] > FROM_SHARE * a_pass.peak_mps and not goes_on():
        lost = "the log ends" if ends_s - t[-1] < 1.0 else "the speed is lost"
        return Incident(
            "cannot tell",
            float(t[-1]),
            float(t[-1]),
            f"{lost} at {v[-1]:.1f} m/s: what came then is not in it",
        )
    return Incident(
        "not seen",
        a_pass.start_s,
        a_pass.end_s,
        f"no lasting fall from {FROM_SHARE:.0%} of its peak or more to {TO_SHARE:.0%} or less is faster than"
        f" the {DRAG_LIMIT_MPS2:.0f} m/s² that water drag can do",
    )


def veer(cleaned: Cleaned, motion: Motion, a_pass: Pass, until_s: float) -> Incident:
    """Look for a departure from the course line that goes one way and is held.

    Parameters
    ----------
    cleaned, motion
        Of the log.
    a_pass : Pass
    until_s : float
        When the driver lifted, or the pass ends: what comes after is steering.

    Returns
    -------
    Upset

    Notes
    -----
    For each moment the line through the positions before it is carried on; the departure is how far the track
    then keeps to one side of it. It must exceed what position noise and carrying the line on may be wrong by,
    six times over, and what a driver's hand lets pass.
    """
    first, last = np.searchsorted(motion.t_s, a_pass.start_s), np.searchsorted(motion.t_s, until_s, "right")
    rows = int(first) + np.flatnonzero(cleaned.position_ok[first:last])
    span = (a_pass.start_s, until_s)
    if not motion.has_positions or rows.size < 6 or np.isnan(a_pass.heading_deg):
        return Incident("cannot tell", *span, "too few usable positions to hold against a course line")
    t = motion.t_s[rows]
    h = np.radians(a_pass.heading_deg)
    e, n = motion.east_m[rows] - motion.east_m[rows[0]], motion.north_m[rows] - motion.north_m[rows[0]]
    along, across = e * np.sin(h) + n * np.cos(h), e * np.cos(h) - n * np.sin(h)
    best: tuple[float, float, float, float] | None = None
    least_m = np.inf
    for at_s in np.arange(t[0] + _LEAD_IN_S, t[-1] - _HELD_S, 0.2):
        k = int(np.searchsorted(t, at_s))
        if k < 4 or t.size - k < 2:
            continue
        s, d = along[:k], across[:k]
        mean, mean_across = s.mean(), d.mean()
        ahead, aside = s - mean, d - mean_across
        spread = float(ahead @ ahead)
        if spread < 1.0:
            continue
        slope = float(ahead @ aside) / spread
        rest = aside - slope * ahead
        sd = max(float(np.sqrt(rest @ rest / max(k - 2, 1))), motion.position_sd_m)
        off = across[k:] - mean_across - slope * (along[k:] - mean)
        # Wandering is slow: neighbours are not independent, so the line is known from a handful of values.
        known = min(k, 4)
        error = sd * np.sqrt(1.0 + 1.0 / known + (along[-1] - mean) ** 2 / spread * k / known)
        limit = max(VEER_LIMIT_M, _VEER_SIGMAS * error)
        least_m = min(least_m, limit)
        held = t[k:] >= t[-1] - _HELD_S
        kept = float(np.min(off[held])) if off[-1] > 0 else float(-np.max(off[held]))
        if kept <= 0 or (best is not None and kept / limit <= best[0]):
            continue
        if np.mean(np.sign(off) == np.sign(off[-1])) > 0.9:
            best = (kept / limit, kept, float(t[k]), float(np.sign(off[-1])))
    if not np.isfinite(least_m):
        return Incident("cannot tell", *span, "too short to hold its end against the line of its beginning")
    if best is None or best[0] < _POSSIBLE_SHARE:
        return Incident("not seen", *span, f"no departure of {least_m:.0f} m or more is held to its end")
    ratio, kept, start_s, side = best
    where = "right" if side > 0 else "left"
    text = (
        f"the track leaves its line to the {where} and stays {kept:.1f} m off it until the throttle is closed"
    )
    if ratio >= 1.0:
        return Incident("shown", start_s, until_s, text)
    return Incident(
        "possible", start_s, until_s, f"{text}, hardly more than steering and position noise explain"
    )
