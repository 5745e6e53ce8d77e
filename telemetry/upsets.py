"""Blow-overs and veers: a pass that ends in a crash, or leaves its line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from telemetry.cleaning import Cleaned
from telemetry.frames import BoolArray, FloatArray
from telemetry.motion import Motion, turn_rate_dps
from telemetry.passes import Pass

# A planing hull that drags, its throttle cut and its bow dropping, loses about 1 g at most; twice that is
# more than water takes from a hull that still runs on it (common practice, no source).
DRAG_LIMIT_MPS2 = 20.0
_FROM_SHARE, _TO_SHARE = 0.5, 0.35
_WILD_SHARE = 1.1
_DROP_WITHIN_S = 1.2
_LOOK_AFTER_S = 4.0
_AT_REST_MPS = 3.0
_BEFORE_S = 1.0
_ACCELERATING_MPS2 = 1.0
_TURNING_DPS = 8.0
# How far a driver on the bank lets a boat that runs straight wander off (common practice, no source).
VEER_LIMIT_M = 4.0
_POSSIBLE_SHARE = 0.8
_VEER_SIGMAS = 6.0
_LEAD_IN_S = 1.5
_HELD_S = 0.8

Verdict = Literal["shown", "possible", "not seen", "cannot tell"]


@dataclass(frozen=True)
class Upset:
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

    verdict: Verdict
    start_s: float
    end_s: float
    why: str
    preceded_by: tuple[str, ...] = ()


def _mean_slope(t_s: FloatArray, values: FloatArray) -> float:
    t = t_s - t_s.mean()
    spread = float(t @ t)
    return float(t @ values) / spread if spread > 0 else 0.0


def blow_over(cleaned: Cleaned, motion: Motion, a_pass: Pass) -> Upset:
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
        ``possible`` without any of these; ``cannot tell`` when the log ends at speed or its speed is missing.
    """
    t_all = cleaned.track.t_s
    measured = cleaned.track.column("speed_mps")
    v_all = motion.speed_mps if measured is None else measured
    ok_all = cleaned.position_ok if measured is None else cleaned.speed_ok
    # Cleaning may not tell a fall this fast from a false reading, so what it set aside is looked at again;
    # only the wild speeds of a tumble stay out.
    near = (t_all >= a_pass.start_s) & (t_all <= a_pass.end_s + _LOOK_AFTER_S)
    rows = np.flatnonzero(near & (v_all <= _WILD_SHARE * a_pass.peak_mps))
    if rows.size < 3 or ok_all[rows].sum() < 2:
        return Upset("cannot tell", a_pass.start_s, a_pass.end_s, "too few usable speeds in the pass")
    t, v, ok = t_all[rows], v_all[rows], ok_all[rows]
    found = _steepest_fall(t, v, ok, a_pass.peak_mps)
    if found is None:
        return _no_stop(cleaned, a_pass, t[ok], v[ok])
    i, j = found
    start_s, end_s = float(t[i]), float(t[j])
    rate = (v[i] - v[j]) / (t[j] - t[i])

    after = ok & (t > end_s) & (t <= end_s + _LOOK_AFTER_S)
    codes = cleaned.cut
    trouble = codes[(codes["t_s"] > start_s) & (codes["t_s"] <= end_s + 3.0)]["code"].tolist()
    silent = [
        f for f in cleaned.findings if f.code in ("break", "dropout") and f.touches(start_s, end_s + 3.0)
    ]
    signs = []
    if after.any() and float(np.median(v[after])) < _AT_REST_MPS:
        signs.append("the boat then only drifts")
    if "no-fix" in trouble:
        signs.append("the receiver loses its fix")
    if "false-spike" in trouble or "position-jump" in trouble:
        signs.append("its speeds or positions tumble")
    if silent or t_all[-1] < end_s + 3.0:
        signs.append("the log falls silent")

    before = (t >= start_s - _BEFORE_S) & (t <= start_s)
    before &= v >= _FROM_SHARE * a_pass.peak_mps
    preceded = []
    if before.sum() >= 3 and _mean_slope(t[before], v[before]) > _ACCELERATING_MPS2:
        preceded.append("accelerating")
    if before.any() and not np.isnan(motion.course_deg[rows]).any():
        rate_dps = np.abs(turn_rate_dps(motion.t_s, motion.course_deg))[rows][before]
        # The course is smoothed over a second: its last half already sees the crash.
        calm = t[before] <= start_s - 0.5
        if calm.any() and float(np.median(rate_dps[calm])) > _TURNING_DPS:
            preceded.append("turning")
    text = (
        f"speed falls from {v[i]:.1f} to {v[j]:.1f} m/s in {t[j] - t[i]:.2f} s ({rate:.0f} m/s²; water drag"
        f" on a hull stays below about {DRAG_LIMIT_MPS2:.0f} m/s²)"
    )
    if signs:
        return Upset("shown", start_s, end_s, f"{text}, and {', '.join(signs)}", tuple(preceded))
    return Upset("possible", start_s, end_s, f"{text}, but nothing afterwards confirms it", tuple(preceded))


def _steepest_fall(t: FloatArray, v: FloatArray, ok: BoolArray, top_mps: float) -> tuple[int, int] | None:
    """Find the steepest fall from speed to a crawl from which the boat does not come back, as two samples."""
    lag = np.arange(1, max(2, int(np.searchsorted(t, t[0] + _DROP_WITHIN_S)) + 1))
    later = np.minimum(np.arange(t.size)[:, None] + lag, t.size - 1)
    span, drop = t[later] - t[:, None], v[:, None] - v[later]
    steep = (
        (v[:, None] >= _FROM_SHARE * top_mps)
        & (v[later] <= _TO_SHARE * top_mps)
        & (drop >= DRAG_LIMIT_MPS2 * span)
        & (span > 0)
    )
    # A boat that is fast again within seconds was never stopped: the fall was a false reading.
    fast = np.where(ok & (v > _FROM_SHARE * top_mps), t, -np.inf)
    again = np.maximum.accumulate(fast[::-1])[::-1][later] > t[later]
    steep &= ~again
    if not steep.any():
        return None
    i, k = np.unravel_index(int(np.argmax(np.where(steep, drop / np.maximum(span, 1e-6), -1.0))), steep.shape)
    first, last = int(i), int(later[i, k])
    # The whole fall, not only its steepest part.
    faster = np.diff(v) < -DRAG_LIMIT_MPS2 * np.diff(t)
    while first > 0 and faster[first - 1]:
        first -= 1
    while last < faster.size and faster[last]:
        last += 1
    return first, last


def _no_stop(cleaned: Cleaned, a_pass: Pass, t: FloatArray, v: FloatArray) -> Upset:
    """Judge a pass whose usable speeds hold no sudden stop."""
    ends_s = float(cleaned.track.t_s[-1])
    if v[-1] > _FROM_SHARE * a_pass.peak_mps:
        lost = "the log ends" if ends_s - t[-1] < 1.0 else "the speed is lost"
        return Upset(
            "cannot tell",
            float(t[-1]),
            float(t[-1]),
            f"{lost} at {v[-1]:.1f} m/s: what came then is not in it",
        )
    return Upset(
        "not seen",
        a_pass.start_s,
        a_pass.end_s,
        f"the speed never falls faster than {DRAG_LIMIT_MPS2:.0f} m/s², which water drag can do",
    )


def veer(cleaned: Cleaned, motion: Motion, a_pass: Pass, until_s: float) -> Upset:
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
    inside = cleaned.position_ok & (motion.t_s >= a_pass.start_s) & (motion.t_s <= until_s)
    rows = np.flatnonzero(inside)
    span = (a_pass.start_s, until_s)
    if not motion.has_positions or rows.size < 6 or np.isnan(a_pass.heading_deg):
        return Upset("cannot tell", *span, "too few usable positions to hold against a course line")
    t = motion.t_s[rows]
    h = np.radians(a_pass.heading_deg)
    e, n = motion.east_m[rows] - motion.east_m[rows[0]], motion.north_m[rows] - motion.north_m[rows[0]]
    along, across = e * np.sin(h) + n * np.cos(h), e * np.cos(h) - n * np.sin(h)
    best: tuple[float, float, float, float] | None = None
    for at_s in np.arange(t[0] + _LEAD_IN_S, t[-1] - _HELD_S, 0.2):
        k = int(np.searchsorted(t, at_s))
        if k < 4 or t.size - k < 2:
            continue
        s, d = along[:k], across[:k]
        mean = s.mean()
        spread = float((s - mean) @ (s - mean))
        if spread < 1.0:
            continue
        slope = float((s - mean) @ (d - d.mean())) / spread
        rest = d - d.mean() - slope * (s - mean)
        sd = max(float(np.sqrt(rest @ rest / max(k - 2, 1))), motion.position_sd_m)
        off = across[k:] - d.mean() - slope * (along[k:] - mean)
        # Wandering is slow: neighbours are not independent, so the line is known from a handful of values.
        error = sd * np.sqrt(1.0 + 1.0 / min(k, 4) + (along[-1] - mean) ** 2 / spread * k / min(k, 4) / k)
        held = t[k:] >= t[-1] - _HELD_S
        kept = float(np.min(off[held])) if off[-1] > 0 else float(-np.max(off[held]))
        same_side = np.mean(np.sign(off) == np.sign(off[-1]))
        if kept > 0 and same_side > 0.9:
            limit = max(VEER_LIMIT_M, _VEER_SIGMAS * error)
            if best is None or kept / limit > best[0]:
                best = (kept / limit, kept, float(t[k]), float(np.sign(off[-1])))
    if best is None or best[0] < _POSSIBLE_SHARE:
        return Upset("not seen", *span, f"the track keeps within {VEER_LIMIT_M:.0f} m of its line")
    ratio, kept, start_s, side = best
    where = "right" if side > 0 else "left"
    text = (
        f"the track leaves its line to the {where} and stays {kept:.1f} m off it until the throttle is closed"
    )
    if ratio >= 1.0:
        return Upset("shown", start_s, until_s, text)
    return Upset(
        "possible", start_s, until_s, f"{text}, hardly more than steering and position noise explain"
    )
