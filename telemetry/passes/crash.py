"""Crashes: a hull that stops faster than water can stop it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import BoolArray, FloatArray, IntArray
from telemetry.kinematics.whole_log import Motion

# A planing hull that drags, its throttle cut and its bow dropping, loses about 1 g at most; twice that is
# more than water takes from a hull that still runs on it (common practice, no source).
DRAG_LIMIT_MPS2: Final = 20.0
FROM_SHARE: Final = 0.5
TO_SHARE: Final = 0.35
_WILD_SHARE = 1.1
_DROP_WITHIN_S = 1.2
_LOOK_AFTER_S = 4.0
_TROUBLE_S = 3.0
# Receivers drop single epochs every day; only a gap longer than a second, which is several samples of any log
# dense enough to show a fall, is a sign that something befell them (common practice, no source).
_SILENT_S: Final = 1.0
_AT_REST_MPS = 3.0
_SPARSE_S = 0.26
_TUMBLES_STEPS, _SEEN_AGAIN_S = 2.5, 15.0
_GOES_WITH = 2.0


@dataclass(frozen=True, slots=True)
class Deceleration:
    """A fall of speed that water drag cannot make, and what confirms it.

    Attributes
    ----------
    before, after : int
        Samples of the log: the last at speed, and the first after the fall.
    from_mps, to_mps : float
        Speeds at these.
    seen_by : str
        ``speed``; ``place`` where its readings tumble at once and the boat is next seen at rest, too near to
        have run out; ``nothing`` where it is not seen again.
    signs : tuple of str
        What came after and confirms it: none when nothing does.
    way_m : float
        How far from the last sample at speed the boat is next seen, where its place tells [m].
    """

    before: int
    after: int
    from_mps: float
    to_mps: float
    seen_by: str
    signs: tuple[str, ...]
    way_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class SpeedSamples:
    """Speeds of a log in which to look, arrays of shape (n,): measured ones, or those made of positions."""

    mps: FloatArray
    ok: BoolArray


def speeds_of(cleaned: Cleaned, motion: Motion) -> SpeedSamples:
    """Take the measured speeds where there are any: a smoothed one spreads a fall over a second."""
    measured = cleaned.track.column("speed_mps")
    if measured is None:
        return SpeedSamples(motion.speed_mps, cleaned.position_ok)
    return SpeedSamples(measured, cleaned.speed_ok)


def samples_around(
    cleaned: Cleaned, speeds: SpeedSamples, span_s: tuple[float, float], top_mps: float
) -> IntArray:
    """List the samples of a pass and some seconds after it, without the wild speeds of a tumble.

    Cleaning may not tell a fall this fast from a false reading, so what it set aside is looked at again.
    """
    t_s = cleaned.track.t_s
    first, last = (
        int(np.searchsorted(t_s, span_s[0])),
        int(np.searchsorted(t_s, span_s[1] + _LOOK_AFTER_S, "right")),
    )
    return first + np.flatnonzero(speeds.mps[first:last] <= _WILD_SHARE * top_mps)


def find_sudden_stop(
    cleaned: Cleaned, motion: Motion, span_s: tuple[float, float], top_mps: float
) -> Deceleration | None:
    """Find the fall that ends a pass, should it end in one.

    Parameters
    ----------
    cleaned, motion
        Of one log.
    span_s : tuple of float
        First and last moment of the pass; the fall may lie some seconds later [s].
    top_mps : float
        How fast the pass was.

    Returns
    -------
    Fall or None
    """
    t_s, speeds = cleaned.track.t_s, speeds_of(cleaned, motion)
    rows = samples_around(cleaned, speeds, span_s, top_mps)
    if rows.size < 3 or speeds.ok[rows].sum() < 2:
        return None
    t, v, ok = t_s[rows], speeds.mps[rows], speeds.ok[rows]
    found = _steepest(t, v, ok, top_mps)
    if found is None:
        return _unseen(cleaned, motion, speeds, rows, top_mps)
    i, j = found
    end_s = float(t[j])
    after = ok & (t > end_s) & (t <= end_s + _LOOK_AFTER_S)
    drifts = bool(after.any()) and float(np.median(v[after])) < _AT_REST_MPS
    signs = (["the boat then only drifts"] if drifts else []) + _troubles(cleaned, float(t[i]), end_s)
    return Deceleration(int(rows[i]), int(rows[j]), float(v[i]), float(v[j]), "speed", tuple(signs))


def _troubles(cleaned: Cleaned, start_s: float, end_s: float) -> list[str]:
    """Say what befell the receiver and its log in the seconds from a fall's start on."""
    codes = cleaned.cut
    near = (codes["t_s"] > start_s) & (codes["t_s"] <= end_s + _TROUBLE_S)
    trouble = set(codes[near]["code"].tolist())
    signs = []
    if "no-fix" in trouble:
        signs.append("the receiver loses its fix")
    if trouble & {"false-spike", "position-jump"}:
        signs.append("its speeds or positions tumble")
    gaps_s = [
        (f.start_s, f.end_s)
        for f in cleaned.findings
        if f.code in ("break", "dropout") and f.start_s is not None and f.end_s is not None
    ]
    # A gap that ends where the fall begins came before it.
    silent = any(
        last_s > start_s and first_s <= end_s + _TROUBLE_S and last_s - first_s > _SILENT_S
        for first_s, last_s in gaps_s
    )
    if silent or cleaned.track.t_s[-1] < end_s + _TROUBLE_S:
        signs.append("the log falls silent")
    return signs


def _steepest(t: FloatArray, v: FloatArray, ok: BoolArray, top_mps: float) -> tuple[int, int] | None:
    """Find the steepest fall from speed to a crawl from which the boat does not come back, as two samples."""
    if not (v <= TO_SHARE * top_mps).any():
        return None
    # As many samples as it may take anywhere: a gap at the pass's start must not shorten the look at its end.
    within = np.searchsorted(t, t + _DROP_WITHIN_S) - np.arange(t.size)
    lag = np.arange(1, max(2, int(within.max()) + 1))
    later = np.minimum(np.arange(t.size)[:, None] + lag, t.size - 1)
    span, drop = t[later] - t[:, None], v[:, None] - v[later]
    steep = (
        (v[:, None] >= FROM_SHARE * top_mps)
        & (v[later] <= TO_SHARE * top_mps)
        & (drop >= DRAG_LIMIT_MPS2 * span)
        & (span > 0)
    )
    # A boat that is fast again within seconds was never stopped: the fall was a false reading. One speed
    # alone, which the judges left of a tumble, is not the boat.
    fast = ok & (v > FROM_SHARE * top_mps)
    beside = np.r_[False, fast[:-1]] | np.r_[fast[1:], False]
    fast_s = np.where(fast & beside, t, -np.inf)
    again = np.maximum.accumulate(fast_s[::-1])[::-1][later] > t[later]
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


def _unseen(
    cleaned: Cleaned, motion: Motion, speeds: SpeedSamples, rows: IntArray, top_mps: float
) -> Deceleration | None:
    """Find where a log of few samples a second last saw a boat at speed before its readings tumble.

    Between two of its samples a hull can crash and the receiver begin to tumble, so that no speed tells of
    the fall. Where the boat is next seen tells how short it stopped.
    """
    t_s, known = cleaned.track.t_s, cleaned.position_ok
    step_s = cleaned.track.usual_step_s
    if not motion.has_positions or step_s <= _SPARSE_S:
        return None
    # A tumbling receiver's speed may lie in the pass's own range; then its positions do not go with it, or
    # not on in one direction.
    east_m, north_m = np.diff(motion.east_m, prepend=np.nan), np.diff(motion.north_m, prepend=np.nan)
    step_m = np.hypot(east_m, north_m)
    goes_mps = step_m / np.diff(t_s, prepend=np.nan)
    goes = (goes_mps >= speeds.mps / _GOES_WITH) & (goes_mps <= speeds.mps * _GOES_WITH)
    goes[1:] &= east_m[1:] * east_m[:-1] + north_m[1:] * north_m[:-1] > 0.5 * step_m[1:] * step_m[:-1]
    fast = rows[(speeds.ok & known & goes & (speeds.mps >= FROM_SHARE * top_mps))[rows]]
    if fast.size == 0:
        return None
    before = int(fast[-1])
    codes = cleaned.cut
    tumbles = codes["code"].isin(["false-spike", "position-jump"]) & (codes["t_s"] > t_s[before])
    if not (tumbles & (codes["t_s"] <= t_s[before] + _TUMBLES_STEPS * step_s)).any():
        return None
    signs = tuple(_troubles(cleaned, float(t_s[before]), float(t_s[before])))
    later = speeds.ok & known & (t_s > t_s[before]) & (t_s <= t_s[before] + _SEEN_AGAIN_S)
    again = np.flatnonzero(later & (speeds.mps < FROM_SHARE * top_mps))
    from_mps = float(speeds.mps[before])
    if again.size == 0:
        return Deceleration(before, min(before + 1, t_s.size - 1), from_mps, float("nan"), "nothing", signs)
    again = again[speeds.mps[again] < _AT_REST_MPS]
    if again.size == 0:  # one or two false speeds of a boat that goes on
        return None
    k = int(again[0])
    way_m = float(
        np.hypot(motion.east_m[k] - motion.east_m[before], motion.north_m[k] - motion.north_m[before])
    )
    if way_m > from_mps**2 / DRAG_LIMIT_MPS2:  # twice the shortest way: it may have run out
        return None
    return Deceleration(before, before + 1, from_mps, 0.0, "place", signs, way_m)
