"""Find the samples of a log that cannot be trusted, without deleting any."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from telemetry.cleaning.corrections import CUT, ByHand, cut_findings, in_stretches
from telemetry.cleaning.despike import (
    HullLimits,
    confirmed_by_positions,
    denied_by_positions,
    grow_runs,
    isolated_samples,
    path_made_good_m,
    unreachable,
)
from telemetry.cleaning.flags import SampleFlags
from telemetry.cleaning.reflections import find_reflections
from telemetry.cleaning.timeline import gap_findings, longest_increasing_run, stamp_findings, window_bounds
from telemetry.core.frames import (
    TRACK_COLUMNS,
    BoolArray,
    Finding,
    FloatArray,
    Track,
    cumulative_integral,
    true_runs,
)
from telemetry.core.geo import LocalFrame

# Below walking pace a repeated fix is a boat at rest, not a frozen receiver.
_MOVING_MPS = 2.0
_HELD_S = 3.0
_HDOP_LIMIT = 20.0
_MIN_SATELLITES = 4
_BESIDE_LOSS_S = 1.0
_JUMP_M = 4.0
_JUMP_BACK_S = 5.0
_SETTLING_S = 2.0
_STRAYS_S = 3.0
_STRAY_M = 0.5
_MIN_LEFT = 2


@dataclass(frozen=True)
class Cleaned:
    """A track in strictly increasing time with flags on every sample.

    Attributes
    ----------
    track : Track
        Samples sorted in time; values as logged.
    speed_ok, position_ok : ndarray of bool, shape (n,)
        Whether the sample's measured speed and its position may be used.
    cut : pandas.DataFrame
        The samples (also those dropped from ``track``) that are excluded, for plots: columns ``t_s``,
        ``speed_mps``, ``lat_deg``, ``lon_deg`` (NaN where absent) and ``code``.
    stretches : tuple of (int, int)
        Half-open index ranges without a break in time or a position jump between them.
    findings : tuple of Finding
        The reader's findings and those made here, in time order.
    """

    track: Track
    speed_ok: BoolArray
    position_ok: BoolArray
    cut: pd.DataFrame
    stretches: tuple[tuple[int, int], ...]
    findings: tuple[Finding, ...]


def _column(track: Track, name: str) -> FloatArray:
    values = track.column(name)
    return np.full(track.t_s.size, np.nan) if values is None else values


def _no_fix(track: Track) -> BoolArray:
    """Mark rows on which the receiver reports that it had no usable fix."""
    n = track.t_s.size
    bad = np.zeros(n, dtype=np.bool_)
    fix, hdop, satellites = (track.column(c) for c in ("fix", "hdop", "satellites"))
    if fix is not None:
        bad |= fix == 0
    if hdop is not None:
        bad |= hdop > _HDOP_LIMIT
    if satellites is not None and (satellites >= _MIN_SATELLITES).any():
        bad |= satellites < _MIN_SATELLITES
    return bad


def _same_as_before(*columns: FloatArray) -> BoolArray:
    same = np.ones(columns[0].size, dtype=np.bool_)
    same[0] = False
    for c in columns:
        same[1:] &= (c[1:] == c[:-1]) | (np.isnan(c[1:]) & np.isnan(c[:-1]))
    return same


def _long_runs(same: BoolArray, t_s: FloatArray, least_s: float, least: int, excused: BoolArray) -> BoolArray:
    """Keep only repeats in runs that last long enough and are not mostly excused."""
    out = np.zeros_like(same)
    for a, b in true_runs(same):
        long = b - a >= least and t_s[b - 1] - t_s[a - 1] >= least_s
        if long and excused[a:b].mean() <= 0.5:
            out[a:b] = True
    return out


def _judge_repeats(judge: SampleFlags, lat: FloatArray, lon: FloatArray, speed: FloatArray) -> None:
    moving = speed > _MOVING_MPS
    has_position = ~np.isnan(lat)
    same_place = _same_as_before(lat, lon) & has_position
    frozen = same_place & _same_as_before(speed) & moving
    judge.reject(
        frozen, "frozen-fix", "the same fix repeated while under way: excluded", speed=True, position=True
    )
    stuck = _long_runs(same_place & moving & ~frozen, judge.t_s, 0.0, 2, frozen)
    judge.reject(
        stuck, "frozen-position", "the position is frozen while the speed is not", speed=False, position=True
    )
    # A coarsely rounded speed repeats by itself. Where the positions advance they judge it like any other;
    # elsewhere it counts as held if it lasts longer than the rounding can explain.
    goes_on = has_position & np.r_[False, has_position[:-1]] & ~same_place
    repeats = _same_as_before(speed) & moving
    held = _long_runs(repeats, judge.t_s, _HELD_S, 4, goes_on)
    judge.reject(
        held,
        "held-speed",
        "the same speed repeated for seconds: only its first is used",
        speed=True,
        position=False,
    )


def _position_noise_m(t_s: FloatArray, v_mps: FloatArray, east_m: FloatArray, north_m: FloatArray) -> float:
    """Noise of a position between neighbouring samples, by the median misfit of its steps to the speed [m].

    The motion itself drops out, whatever the sampling rate; 0.6745 turns a median into a standard deviation.
    """
    if east_m.size < 8:
        return 1.0
    misfit = np.diff(path_made_good_m(t_s, east_m, north_m)) - 0.5 * (v_mps[1:] + v_mps[:-1]) * np.diff(t_s)
    return float(np.median(np.abs(misfit - np.median(misfit))) / 0.6745 / np.sqrt(2.0))


def _jumps(
    t_s: FloatArray,
    v_mps: FloatArray,
    false: BoolArray,
    east_m: FloatArray,
    north_m: FloatArray,
    noise_m: float,
) -> tuple[BoolArray, BoolArray]:
    """Find positions that jump away and back, and steps after which they stay away.

    ``false`` marks samples whose speed is false: a position may stray with them and jump back afterwards.

    Returns
    -------
    away : ndarray of bool, shape (n,)
        Samples between a jump and the jump back.
    stays : ndarray of bool, shape (n - 1,)
        Steps that are not undone.
    """
    n = t_s.size
    away = np.zeros(n, dtype=np.bool_)
    stays = np.zeros(max(n - 1, 0), dtype=np.bool_)
    if n < 3:
        return away, stays
    dt = np.diff(t_s)
    de, dn = np.diff(east_m), np.diff(north_m)
    reach_m = np.maximum(v_mps[1:], v_mps[:-1]) * dt
    allowed_m = _JUMP_M + 6.0 * noise_m + 1.3 * reach_m + 10.0 * np.minimum(dt, 3.0) ** 2
    leaps = np.flatnonzero(np.hypot(de, dn) > allowed_m)
    k = 0
    while k < leaps.size:
        a = int(leaps[k])
        back = None
        for m in range(k + 1, leaps.size):
            b = int(leaps[m])
            if t_s[b + 1] - t_s[a] > _JUMP_BACK_S:
                break
            # Undone if the boat can have reached the fix after this jump from the fix before the first.
            span = t_s[b + 1] - t_s[a]
            fastest = max(v_mps[a], v_mps[b + 1])
            home = np.hypot(east_m[b + 1] - east_m[a], north_m[b + 1] - north_m[a])
            if home <= _JUMP_M + 6.0 * noise_m + 1.3 * fastest * span + 10.0 * span**2:
                back = m
        if back is None:
            strayed = np.flatnonzero(false[: a + 1] & (t_s[a] - t_s[: a + 1] < _JUMP_BACK_S))
            if t_s[a] - t_s[0] < _SETTLING_S:
                away[: a + 1] = True  # the first fixes, while the receiver was still settling
            elif strayed.size and strayed[-1] >= a - 1:
                away[strayed[0] : a + 1] = True  # it strayed together with the speed and jumps back
            else:
                stays[a] = True
            k += 1
        else:
            away[a + 1 : int(leaps[back]) + 1] = True
            k = back + 1
    return away, stays


def _differenced(t_s: FloatArray, east_m: FloatArray, north_m: FloatArray) -> FloatArray:
    """Speed over about a second from positions alone, for these tests only, shape (n,) [m/s].

    Limited to any boat's: a wild position must not widen its own tolerance.
    """
    lo, hi = window_bounds(t_s, 1.0)
    made_mps = np.hypot(east_m[hi] - east_m[lo], north_m[hi] - north_m[lo]) / (t_s[hi] - t_s[lo])
    return np.asarray(np.minimum(made_mps, TRACK_COLUMNS["speed_mps"].high))


def _beside_loss(t_s: FloatArray, lost: BoolArray) -> BoolArray:
    """Mark samples shortly after a loss of fix or a gap, shape (n,)."""
    step = np.diff(t_s)
    after = np.flatnonzero((step > 1.8 * np.median(step)) | (lost[:-1] & ~lost[1:])) + 1
    last = np.searchsorted(t_s[after], t_s, side="right") - 1
    since = np.where(last >= 0, t_s - t_s[after[np.maximum(last, 0)]], np.inf) if after.size else np.inf
    return np.asarray(np.broadcast_to(since, t_s.shape) < _BESIDE_LOSS_S)


def _judge_positions(judge: SampleFlags, track: Track, limits: HullLimits) -> BoolArray:
    """Flag position jumps, then the speeds by the remaining positions.

    Returns
    -------
    ndarray of bool, shape (n - 1,)
        Steps at which the position jumps and stays away.
    """
    t_s = track.t_s
    lat, lon, speed = (_column(track, c) for c in ("lat_deg", "lon_deg", "speed_mps"))
    broken = np.zeros(t_s.size - 1, dtype=np.bool_)
    use = np.flatnonzero(judge.position_ok)
    if use.size < 2:
        return broken
    frame = LocalFrame(float(np.median(lat[use])), float(np.median(lon[use])))
    east_m, north_m = frame.to_local(lat[use], lon[use])
    if use.size < 4:
        way_m = np.hypot(np.diff(east_m), np.diff(north_m))
        if (way_m > TRACK_COLUMNS["speed_mps"].high * np.diff(t_s[use])).any():
            text = "the position jumps, and too few others show which is true: excluded"
            judge.reject(judge.position_ok, "position-jump", text, speed=False, position=True)
        return broken
    good = judge.speed_ok[use]
    v = (
        np.interp(t_s[use], t_s[use][good], speed[use][good])
        if good.any()
        else _differenced(t_s[use], east_m, north_m)
    )
    noise_m = _position_noise_m(t_s[use], v, east_m, north_m)
    false = np.zeros(use.size, dtype=np.bool_)
    if good.sum() > 2:
        rows = use[good]
        false[good] = unreachable(t_s[rows], speed[rows], np.zeros(rows.size, dtype=np.bool_), limits)
    away, stays = _jumps(t_s[use], v, false, east_m, north_m, noise_m)
    bad = np.zeros(t_s.size, dtype=np.bool_)
    bad[use] = away
    judge.reject(
        bad, "position-jump", "the position jumps away and back: excluded", speed=False, position=True
    )
    for k in np.flatnonzero(stays):
        a, b = int(use[k]), int(use[k + 1])
        broken[b - 1] = True
        far_m = np.hypot(east_m[k + 1] - east_m[k], north_m[k + 1] - north_m[k])
        text = f"the position jumps by {far_m:.0f} m and stays: nothing is measured across it"
        judge.findings.append(Finding("position-break", text, 1, float(t_s[a]), float(t_s[b])))
    keep = ~away & good
    rows = use[keep]
    denied = np.zeros(t_s.size, dtype=np.bool_)
    if rows.size > 3:
        way_m = path_made_good_m(t_s[rows], east_m[keep], north_m[keep])
        sure = confirmed_by_positions(t_s[rows], speed[rows], way_m, noise_m)
        judge.sure[rows] = sure
        denied[rows] = denied_by_positions(t_s[rows], speed[rows], way_m, sure, noise_m)
    judge.reject(
        denied, "false-spike", "a speed that the positions contradict: excluded", speed=True, position=False
    )
    return broken


def _judge_reach(judge: SampleFlags, track: Track, limits: HullLimits) -> None:
    """Flag the remaining speeds by what a hull can do."""
    use = np.flatnonzero(judge.speed_ok)
    if use.size < 3:
        return
    beside = _beside_loss(track.t_s, judge.code == "no-fix")
    denied = judge.false.copy()
    false = np.zeros(track.t_s.size, dtype=np.bool_)
    speed = _column(track, "speed_mps")
    false[use] = unreachable(track.t_s[use], speed[use], beside[use], limits, judge.sure[use])
    judge.reject(false, "false-spike", "a speed the hull cannot reach: excluded", speed=True, position=False)
    # What either test left of a spike that the other cut.
    use = np.flatnonzero(judge.speed_ok | judge.false)
    left = np.zeros(track.t_s.size, dtype=np.bool_)
    left[use] = isolated_samples(track.t_s[use], speed[use], judge.false[use], limits)
    left[use] |= grow_runs(track.t_s[use], speed[use], denied[use], limits) & judge.speed_ok[use]
    judge.reject(
        left,
        "false-spike",
        "as high as the false speeds next to it: excluded",
        speed=True,
        position=False,
    )


def _judge_reflections(judge: SampleFlags, track: Track) -> None:
    """Set aside short stretches that are faster than the hull can have become, and their positions."""
    # What the other judges cut of one would hide its edges.
    use = np.flatnonzero(judge.speed_ok | judge.false)
    speed = _column(track, "speed_mps")
    for one in find_reflections(track.t_s[use], speed[use]):
        rows = use[one.first : one.last]
        false = np.zeros(track.t_s.size, dtype=np.bool_)
        false[rows] = True
        lasts_s = float(track.t_s[rows[-1]] - track.t_s[rows[0]])
        text = (
            f"{one.excess_mps:.1f} m/s faster for {lasts_s:.1f} s out of a calm ride, as with a reflected "
            "signal: set aside"
        )
        judge.reject(false, "reflection", text, speed=True, position=False)
        # The position goes along, and comes back within some seconds.
        strayed = (track.t_s >= track.t_s[rows[0]]) & (track.t_s <= track.t_s[rows[-1]] + _STRAYS_S)
        strayed &= judge.position_ok
        judge.reject(
            strayed,
            "reflection",
            "a position that a reflected signal may have carried along: set aside",
            speed=False,
            position=True,
        )


def _astray(judge: SampleFlags, track: Track) -> BoolArray:
    """Mark positions that strayed together with false speeds and came back with them, shape (n,).

    A receiver that filters carries its position along with a false speed. The position follows one of two
    paths from the last good fix: the integral of the false speeds, or that of the good speeds around them. A
    run that does not end on the good path, as after a crash, is left alone.
    """
    lat, lon, speed = (_column(track, c) for c in ("lat_deg", "lon_deg", "speed_mps"))
    astray = np.zeros(track.t_s.size, dtype=np.bool_)
    if track.meta.speed_source != "measured":
        return astray
    whole = np.flatnonzero(judge.speed_ok & judge.position_ok)
    for a, _ in true_runs(judge.false & ~judge.speed_ok):
        k = int(np.searchsorted(whole, a))
        if k == 0 or k == whole.size or track.t_s[whole[k]] - track.t_s[whole[k - 1]] > _JUMP_BACK_S:
            continue
        rows = np.arange(whole[k - 1], whole[k] + 1)
        rows = rows[~np.isnan(speed[rows]) & ~np.isnan(lat[rows]) & ~np.isnan(lon[rows])]
        t_s = track.t_s[rows]
        by_good_m, by_all_m = (
            cumulative_integral(t_s, v)
            for v in (np.interp(t_s, t_s[[0, -1]], speed[rows[[0, -1]]]), speed[rows])
        )
        frame = LocalFrame(float(lat[rows[0]]), float(lon[rows[0]]))
        made_m = np.hypot(*frame.to_local(lat[rows], lon[rows]))
        false = np.abs(made_m - by_all_m) < np.abs(made_m - by_good_m)
        if not false[-1]:
            astray[rows[1:-1]] |= false[1:-1] & (by_all_m - by_good_m > _STRAY_M)[1:-1]
    return astray


def _judged(
    track: Track, limits: HullLimits, by_hand: ByHand, astray: BoolArray
) -> tuple[SampleFlags, BoolArray]:
    """Flag all samples, given stray positions; return also the steps at which positions jump and stay."""
    judge = SampleFlags(track, by_hand)
    lat, lon, speed = (_column(track, c) for c in ("lat_deg", "lon_deg", "speed_mps"))
    judge.reject(
        _no_fix(track), "no-fix", "the receiver had no usable fix: excluded", speed=True, position=True
    )
    judge.speed_ok &= ~np.isnan(speed)
    judge.position_ok &= ~(np.isnan(lat) | np.isnan(lon))
    judge.set_aside(in_stretches(track.t_s, by_hand.cuts), CUT)
    text = "a false speed that moves the position too: both excluded"
    judge.reject(astray, "false-spike", text, speed=True, position=True)
    if track.t_s.size < 2:
        return judge, np.zeros(0, dtype=np.bool_)
    if track.meta.speed_source == "measured":
        _judge_repeats(judge, lat, lon, speed)
    broken = _judge_positions(judge, track, limits)
    _judge_reach(judge, track, limits)
    if track.meta.speed_source == "measured":
        _judge_reflections(judge, track)
    return judge, broken


def _holds(gap: Finding, cut: Finding) -> bool:
    return cut.count > 0 and cut.start_s == gap.start_s and cut.end_s == gap.end_s


def clean(track: Track, limits: HullLimits | None = None, by_hand: ByHand | None = None) -> Cleaned:
    """Flag every sample of a track.

    Parameters
    ----------
    track : Track
        As a reader returns it.
    limits : HullLimits, optional
        What the hull can do.
    by_hand : ByHand, optional
        What a person cut from this log or restored in it. A cut stretch is judged as if the log had been
        silent there.

    Returns
    -------
    Cleaned
        No value is changed; samples are excluded with a reason.
    """
    limits, by_hand = limits or HullLimits(), by_hand or ByHand()
    keep = longest_increasing_run(track.t_s)
    stamp, stamp_codes = stamp_findings(track.t_s, keep)
    cut_out = keep & in_stretches(track.t_s, by_hand.cuts)
    cuts = cut_findings(track.t_s[keep], by_hand.cuts) if by_hand.cuts else []
    if (keep & ~cut_out).sum() < _MIN_LEFT:
        cut_out[:] = False  # a log needs samples: they stay in it, excluded
    out_codes = np.full(track.t_s.size, CUT, dtype=object)
    out_codes[~keep] = stamp_codes
    keep &= ~cut_out
    ordered = Track(track.frame[keep], track.meta, track.findings, track.motion)
    gaps, broken = gap_findings(ordered.t_s)
    # A gap that was cut by hand is reported as a cut.
    reported = [*stamp, *cuts, *(gap for gap in gaps if not any(_holds(gap, cut) for cut in cuts))]
    judge, leaps = _judged(ordered, limits, by_hand, np.zeros(ordered.t_s.size, dtype=np.bool_))
    astray = _astray(judge, ordered)
    if astray.any():
        # They had confirmed the false speeds, and contradicted the good ones next to them.
        judge, leaps = _judged(ordered, limits, by_hand, astray)
    judge.findings[:0] = reported
    broken = broken | leaps
    lat, lon, speed = (_column(ordered, c) for c in ("lat_deg", "lon_deg", "speed_mps"))
    judge.give_back(~np.isnan(speed), ~(np.isnan(lat) | np.isnan(lon)))

    columns = ["speed_mps", "lat_deg", "lon_deg"]
    cut = (
        pd.concat(
            [
                ordered.frame.reindex(columns=columns)[judge.code != ""].assign(
                    code=judge.code[judge.code != ""]
                ),
                track.frame[~keep].reindex(columns=columns).assign(code=out_codes[~keep]),
            ]
        )
        .rename_axis("t_s")
        .reset_index()
    )
    edges = np.r_[0, np.flatnonzero(broken) + 1, ordered.t_s.size]
    # The reader's count of all samples without a fix is replaced by one finding for each loss.
    read = [f for f in track.findings if f.code != "no-fix"]
    findings = sorted((*read, *judge.findings), key=lambda f: -1.0 if f.start_s is None else f.start_s)
    return Cleaned(
        ordered,
        judge.speed_ok,
        judge.position_ok,
        cut,
        tuple((int(a), int(b)) for a, b in pairwise(edges) if b > a),
        tuple(findings),
    )
