"""Each check met, not met and not to be told; and the verdict they make."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from made_tracks import HEADING_DEG, LAKE, OUT_AND_BACK, START, altered, made_track

from telemetry.analysis import Request, analyse
from telemetry.core.frames import LogMeta, Track, make_track
from telemetry.core.geo import LocalFrame
from telemetry.twoway.checks import verdict_of
from telemetry.twoway.mean import Check, CheckResult, TwoWay
from telemetry.twoway.rules import Rule, load_rule

TRACK = made_track(noise_mps=0.04)
WATER = load_rule("water")
assert isinstance(WATER, Rule)


def gates(start_m: float, distance_m: float, across_m: float = 0.0) -> tuple[tuple[float, float], ...]:
    h = np.radians(HEADING_DEG)
    along = np.array([start_m, start_m + distance_m])
    lat, lon = LAKE.to_geodetic(
        along * np.sin(h) + across_m * np.cos(h), along * np.cos(h) - across_m * np.sin(h)
    )
    return (float(lat[0]), float(lon[0])), (float(lat[1]), float(lon[1]))


def judged(track: Track = TRACK, **request: object) -> TwoWay:
    (two_way,) = analyse([track], Request(**request)).two_ways
    return two_way


def check(two_way: TwoWay, name: str) -> Check:
    return next(c for c in two_way.checks if c.name == name)


def result(two_way: TwoWay, name: str) -> CheckResult:
    return check(two_way, name).result


def own_parts(two_way: TwoWay) -> float:
    """What the two passes' own errors would come to if they had nothing to do with each other [m/s]."""
    shared = [two_way.u_shared_mps * v / two_way.average_mps for v in two_way.speeds_mps]
    own = [(u / 1.959964) ** 2 - s**2 for u, s in zip(two_way.speed_u95_mps, shared, strict=True)]
    return 0.5 * float(np.sqrt(sum(own)))


def bent_track(bend_deg: float) -> Track:
    """Out on one heading and back on another, over the same middle."""
    t = TRACK.t_s
    out = t < 24.0
    east, north = LAKE.to_local(TRACK.frame["lat_deg"].to_numpy(), TRACK.frame["lon_deg"].to_numpy())
    b = np.radians(bend_deg)
    e0, n0 = east[180] / 2, north[180] / 2
    de, dn = east - e0, north - n0
    east = np.where(out, east, e0 + de * np.cos(b) + dn * np.sin(b))
    north = np.where(out, north, n0 - de * np.sin(b) + dn * np.cos(b))
    lat, lon = LAKE.to_geodetic(east, north)
    course = (TRACK.frame["course_deg"].to_numpy() + np.where(out, 0.0, bend_deg)) % 360.0
    data = {
        "lat_deg": lat,
        "lon_deg": lon,
        "course_deg": course,
        "speed_mps": TRACK.frame["speed_mps"].to_numpy(),
    }
    return make_track(data, t, LogMeta("bent", "made", TRACK.meta.start_utc))


@pytest.mark.parametrize(("bend_deg", "expected"), [(0.0, "met"), (8.0, "met"), (13.0, "not met")])
def test_opposite_directions(bend_deg: float, expected: CheckResult) -> None:
    two_way = judged(bent_track(bend_deg))
    assert result(two_way, "opposite directions") == expected
    assert (
        f"{bend_deg:.0f}." in check(two_way, "opposite directions").detail.split("and ")[1] or bend_deg == 0.0
    )
    assert (two_way.verdict == "counts") == (expected == "met")


def test_the_rule_sets_how_far_from_opposite() -> None:
    wide = judged(bent_track(13.0), rule=replace(WATER, heading_tolerance_deg=15.0))
    assert result(wide, "opposite directions") == "met"


@pytest.mark.parametrize(("across_m", "expected"), [(0.0, "met"), (40.0, "met"), (80.0, "not met")])
def test_same_two_gates_means_near_the_line_between_them(across_m: float, expected: CheckResult) -> None:
    two_way = judged(gates=gates(100.0, 100.0, across_m))
    assert result(two_way, "same two gates") == expected
    assert "given by the user" in check(two_way, "same two gates").detail
    assert f"{across_m:.0f}" in check(two_way, "same two gates").detail


def test_placed_gates_say_who_placed_them() -> None:
    assert "placed by the program" in check(judged(), "same two gates").detail


@pytest.mark.parametrize(
    ("distance_m", "expected"), [(100.584, "met"), (100.62, "met"), (100.75, "not met"), (120.0, "not met")]
)
def test_given_gates_must_stand_the_rules_distance_apart(distance_m: float, expected: CheckResult) -> None:
    two_way = judged(rule="sixteenth-mile", window_s=3600.0, gates=gates(100.0, distance_m))
    assert result(two_way, "measured distance") == expected
    assert f"{distance_m:.3f} m between the gates" in check(two_way, "measured distance").detail


def test_a_rule_may_leave_the_distance_open() -> None:
    assert result(judged(gates=gates(100.0, 137.0)), "measured distance") == "met"


@pytest.mark.parametrize(("window_s", "expected"), [(3600.0, "met"), (30.0, "met"), (15.0, "not met")])
def test_time_window(window_s: float, expected: CheckResult) -> None:
    two_way = judged(window_s=window_s)
    (enter_s, _), (_, leave_s) = two_way.crossings_s
    assert result(two_way, "time window") == expected
    assert check(two_way, "time window").detail.startswith(f"{leave_s - enter_s:.1f} s")


def test_a_window_that_nobody_stated_cannot_be_told() -> None:
    two_way = judged(rule="sixteenth-mile")
    assert result(two_way, "time window") == "cannot tell"
    assert two_way.verdict == "cannot tell"


def without(part: np.ndarray) -> Track:
    data = {c: TRACK.frame[c].to_numpy()[~part] for c in TRACK.frame.columns}
    return make_track(data, TRACK.t_s[~part], TRACK.meta)


GATES = gates(90.0, 120.0)
ENTERED_S, LEFT_S = judged(gates=GATES).crossings_s[0]
WHOLE = "log whole between the gates"


@pytest.mark.parametrize(
    ("from_s", "to_s", "expected", "said"),
    [
        (ENTERED_S + 1.0, ENTERED_S + 1.5, "met", "usable samples inside"),
        (ENTERED_S - 0.9, ENTERED_S + 0.9, "cannot tell", "of entering the distance"),
        (LEFT_S - 0.9, LEFT_S + 0.9, "cannot tell", "of leaving the distance"),
        (ENTERED_S + 0.5, ENTERED_S + 3.7, "cannot tell", "have no usable sample"),
    ],
)
def test_a_dropout_is_judged_by_where_it_lies(
    from_s: float, to_s: float, expected: CheckResult, said: str
) -> None:
    t = TRACK.t_s
    two_way = judged(without((t > from_s) & (t < to_s)), gates=GATES)
    assert result(two_way, WHOLE) == expected
    assert said in check(two_way, WHOLE).detail.split("; ")[0]
    assert two_way.verdict == ("counts" if expected == "met" else "cannot tell")


def test_positions_that_leap_inside_the_distance_break_it() -> None:
    """A leap outside the gates splits no pass here; one inside leaves nothing to pair, or a doubt."""
    t = TRACK.t_s
    lat = TRACK.frame["lat_deg"].to_numpy() + np.where((t > 14.0) & (t < 24.0), 6e-4, 0.0)
    analysis = analyse([altered(TRACK, lat_deg=lat)], Request(gates=GATES))
    assert all(w.verdict != "counts" for w in analysis.two_ways)
    assert any(f.code == "position-break" for f in analysis.speed_logs[0].cleaned.findings)


def test_what_was_set_aside_inside_the_distance_is_told() -> None:
    speed = TRACK.frame["speed_mps"].to_numpy().copy()
    speed[np.searchsorted(TRACK.t_s, ENTERED_S + 1.0)] = 70.0
    two_way = judged(altered(TRACK, speed_mps=speed), gates=GATES)
    assert "1 false-spike" in check(two_way, WHOLE).detail
    assert two_way.verdict == "counts"


@pytest.mark.parametrize(("limit_percent", "expected"), [(1.0, "met"), (0.05, "cannot tell")])
def test_a_figure_less_sure_than_the_limit_gets_no_verdict(
    limit_percent: float, expected: CheckResult
) -> None:
    two_way = judged(rule=replace(WATER, u95_limit_percent=limit_percent))
    assert result(two_way, "uncertainty") == expected
    assert two_way.verdict == ("counts" if expected == "met" else "cannot tell")


@pytest.mark.parametrize(("mark_mps", "expected"), [(24.0, "met"), (24.5, "cannot tell"), (25.0, "not met")])
def test_margin_over_a_mark(mark_mps: float, expected: CheckResult) -> None:
    two_way = judged(mark_mps=mark_mps)
    assert result(two_way, "margin over the mark") == expected
    assert (
        two_way.verdict
        == {"met": "counts", "not met": "does not count", "cannot tell": "cannot tell"}[expected]
    )


def test_the_margin_of_the_rule_is_asked_on_top() -> None:
    asked = replace(WATER, margin_percent=3.0)
    assert result(judged(mark_mps=24.0, rule=asked), "margin over the mark") == "not met"
    assert "24.720 m/s are needed" in check(judged(mark_mps=24.0, rule=asked), "margin over the mark").detail


def test_without_a_mark_no_margin_is_asked() -> None:
    assert "margin over the mark" not in [c.name for c in judged().checks]


@pytest.mark.parametrize("results", list(product(["met", "not met", "cannot tell"], repeat=2)))
def test_one_not_met_decides_then_one_that_cannot_be_told(results: tuple[CheckResult, CheckResult]) -> None:
    verdict = verdict_of([Check("a", results[0], ""), Check("b", results[1], "")])
    if "not met" in results:
        assert verdict == "does not count"
    elif "cannot tell" in results:
        assert verdict == "cannot tell"
    else:
        assert verdict == "counts"


def test_what_averages_out_is_kept_apart_from_what_both_share() -> None:
    two_way = judged(gates=GATES)
    assert two_way.u_independent_mps == pytest.approx(own_parts(two_way), rel=1e-4)
    assert two_way.u95_mps == pytest.approx(
        1.959964 * np.hypot(two_way.u_independent_mps, two_way.u_shared_mps), rel=1e-6
    )
    assert two_way.times_s == tuple(pytest.approx(120.0 / v, rel=1e-4) for v in two_way.speeds_mps)


def test_the_mean_of_times_is_lower_by_what_the_formula_says() -> None:
    water, land = judged(gates=GATES), judged(gates=GATES, rule="land")
    v1, v2 = water.speeds_mps
    assert water.average_mps - land.average_mps == pytest.approx((v1 - v2) ** 2 / (2 * (v1 + v2)), abs=1e-9)
    assert land.mean == "of times"


def three_passes(third_mps: float) -> Track:
    corners = (*OUT_AND_BACK[:-1], (46, 0), (50, third_mps), (58, third_mps), (62, 0), (66, 0))
    return made_track(corners, noise_mps=0.04)


def test_the_best_is_the_surest_high_one_and_what_counts_comes_first() -> None:
    analysis = analyse([three_passes(27.0)], Request(gates=gates(100.0, 90.0)))
    assert [w.passes for w in analysis.two_ways] == [("P2", "P3"), ("P1", "P2")]
    assert [w.best for w in analysis.two_ways] == [True, False]
    # With the faster pair outside the window the slower one is the best that counts.
    elapsed = [w.crossings_s[1][1] - w.crossings_s[0][0] for w in analysis.two_ways]
    assert elapsed[0] != pytest.approx(elapsed[1], abs=0.1)
    window = float(np.mean(elapsed))
    narrow = analyse([three_passes(27.0)], Request(gates=gates(100.0, 90.0), window_s=window)).two_ways
    assert [w.verdict for w in narrow] == ["counts", "does not count"]
    assert [w.best for w in narrow] == [True, False]


def test_nothing_that_does_not_count_is_best() -> None:
    two_way = judged(window_s=1.0)
    assert two_way.verdict == "does not count"
    assert not two_way.best


def test_gates_lie_on_the_globe_where_they_were_given_in_the_direction_of_the_first_pass() -> None:
    two_way = judged(gates=GATES)
    for gate, (lat, lon) in zip(two_way.gates, GATES, strict=True):
        assert (gate.lat_deg, gate.lon_deg) == pytest.approx((lat, lon), abs=1e-8)
    turned = judged(gates=GATES[::-1])
    assert [g.lat_deg for g in turned.gates] == pytest.approx([g.lat_deg for g in two_way.gates], abs=1e-8)
    assert turned.average_mps == pytest.approx(two_way.average_mps, abs=1e-3)


@pytest.mark.parametrize("first_is_home", [True, False])
def test_given_gates_belong_to_the_water_they_stand_on(first_is_home: bool) -> None:
    # Metres count from each water's own origin, so that the same metres are gates on both.
    here = made_track(noise_mps=0.04, file="here.gpx")
    elsewhere = made_track(
        noise_mps=0.04,
        frame=LocalFrame(LAKE.lat0_deg + 1.0, LAKE.lon0_deg),
        start_utc=START + pd.Timedelta("1D"),
        file="elsewhere.gpx",
    )
    tracks = [here, elsewhere] if first_is_home else [elsewhere, here]
    analysis = analyse(tracks, Request(gates=GATES))
    (two_way,) = analysis.two_ways
    files = [analysis.speed_logs[p.log].read.meta.file for p in analysis.passes if p.id in two_way.passes]
    assert files == ["here.gpx", "here.gpx"]
    assert two_way.gates[0].lat_deg == pytest.approx(GATES[0][0], abs=1e-6)


def gaining(rest_s: float, moved_m: float = 0.0) -> TwoWay:
    """Out and back, both ways gaining speed between the gates; ``moved_m`` is an error of every position."""
    out = ((0.0, 0.0), (6.0, 0.0), (22.0, 36.0), (26.0, 0.0))
    back = ((26.0 + rest_s, 0.0), (42.0 + rest_s, -36.0), (46.0 + rest_s, 0.0), (54.0 + rest_s, 0.0))
    track = made_track((*out, *back), noise_mps=0.04)
    east_m, north_m = LAKE.to_local(*(track.frame[c].to_numpy() for c in ("lat_deg", "lon_deg")))
    h = np.radians(HEADING_DEG)
    lat, lon = LAKE.to_geodetic(east_m + moved_m * np.sin(h), north_m + moved_m * np.cos(h))
    return judged(altered(track, lat_deg=lat, lon_deg=lon), gates=gates(120.0, 100.0))


def test_an_error_of_place_that_both_passes_share_all_but_cancels_where_both_gain_speed() -> None:
    right, wrong = gaining(20.0), gaining(20.0, moved_m=2.0)
    changed = np.subtract(wrong.speeds_mps, right.speeds_mps)
    assert changed[0] < -0.1
    assert changed[1] > 0.1
    assert abs(changed.sum()) < 0.2 * np.abs(changed).max()
    # The 2 m are one standard uncertainty of what is assumed: by so much the speeds are less sure.
    assert right.u_independent_mps < 0.7 * own_parts(right)
    assert right.u95_mps < min(right.speed_u95_mps) / np.sqrt(2.0)


def test_an_error_of_place_has_changed_twenty_minutes_later() -> None:
    later = gaining(1200.0)
    assert later.u_independent_mps == pytest.approx(own_parts(later), rel=1e-3)
