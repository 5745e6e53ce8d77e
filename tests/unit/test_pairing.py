"""Which passes share a course, and where the gates are placed on it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from made_tracks import HEADING_DEG, LAKE, OUT_ONLY, made_track

from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track
from telemetry.core.geo import CourseLine, wrap_deg
from telemetry.kinematics.whole_log import smooth_log
from telemetry.passes.find import find_windows
from telemetry.passes.measure import PassSpeeds, crossing_sd_s, measure_passes
from telemetry.twoway.pairing import Course, CoursePass, Pair, _timetables, find_courses, find_pairs
from telemetry.twoway.rules import Rule, load_rule

WATER, LAND = load_rule("water"), load_rule("land")


def measured(*tracks: Track) -> list[PassSpeeds]:
    out: list[PassSpeeds] = []
    for track in tracks:
        cleaned = clean(track)
        motion = smooth_log(cleaned, LAKE)
        out += measure_passes(cleaned, motion, find_windows(cleaned, motion), ())
    return out


def courses_of(passes: list[PassSpeeds], given: CourseLine | None = None) -> list[Course]:
    return find_courses(passes, [LAKE] * len(passes), given)


def pairs_of(
    passes: list[PassSpeeds], distance_m: float, rule: Rule = WATER, **given: Any
) -> tuple[list[Pair], list[str]]:
    may = given.pop("may", np.ones((len(passes), len(passes)), dtype=bool))
    line, gates_m = given.pop("line", None), given.pop("gates_m", None)
    return find_pairs(courses_of(passes, line), passes, distance_m, gates_m, rule, may)


def shared_m(a: CoursePass, b: CoursePass) -> float:
    return min(a.reach_m[1], b.reach_m[1]) - max(a.reach_m[0], b.reach_m[0])


OUT_BACK = measured(made_track(noise_mps=0.04))


def test_passes_up_and_down_the_same_water_share_a_line_and_run_opposite() -> None:
    (course,) = courses_of(OUT_BACK)
    assert abs(float(wrap_deg(course.line.heading_deg - HEADING_DEG))) < 0.2
    assert [p.sense for p in course.passes] == [1, -1]
    assert all(low < high for low, high in (p.reach_m for p in course.passes))


@pytest.mark.parametrize(("aside", "courses"), [(60.0, 1), (140.0, 2)])
def test_water_far_aside_is_another_course(aside: float, courses: int) -> None:
    other = measured(made_track(noise_mps=0.04, across_m=aside))
    assert len(courses_of(OUT_BACK + other)) == courses


@pytest.mark.parametrize(("turned", "courses"), [(10.0, 1), (35.0, 2)])
def test_another_heading_is_another_course(turned: float, courses: int) -> None:
    # Both start at the same point, so that only the heading parts them.
    other = measured(
        made_track(((0, 0), (2, 0), (5, 25), (8, 25), (10, 0)), heading_deg=HEADING_DEG + turned)
    )
    near = measured(made_track(((0, 0), (2, 0), (5, 25), (8, 25), (10, 0)), noise_mps=0.04))
    assert len(courses_of(near + other)) == courses


def test_a_pass_without_a_place_is_on_no_course() -> None:
    assert courses_of(measured(made_track(columns=("speed_mps",), noise_mps=0.04))) == []


def test_given_gates_take_all_passes_roughly_along_them() -> None:
    line = CourseLine(0.0, 0.0, HEADING_DEG + 180.0)
    (course,) = courses_of(OUT_BACK, line)
    assert course.line == line
    assert [p.sense for p in course.passes] == [-1, 1]
    across = CourseLine(0.0, 0.0, HEADING_DEG + 90.0)
    assert courses_of(OUT_BACK, across) == []


def test_gates_are_placed_where_the_pair_is_fastest() -> None:
    # Out ever faster, back steady: the fastest part for both is the far end of what they share.
    corners = ((0, 0), (4, 0), (8, 20), (18, 26), (22, 0), (24, 0), (28, -24), (38, -24), (42, 0), (46, 0))
    passes = measured(made_track(corners, noise_mps=0.04))
    (pair,), misses = pairs_of(passes, 100.0)
    assert misses == []
    low, high = sorted(pair.gates_m)
    assert high - low == pytest.approx(100.0)
    shared_high = min(pair.a.reach_m[1], pair.b.reach_m[1])
    assert shared_high - high < 45.0  # the last metres are lost to the throttle being shut
    assert low > max(pair.a.reach_m[0], pair.b.reach_m[0]) + 30.0
    assert all(leave > enter for enter, leave in pair.spans_s)


def test_gates_run_in_the_direction_of_the_earlier_pass() -> None:
    (pair,), _ = pairs_of(OUT_BACK, 100.0)
    assert pair.a.index < pair.b.index
    assert (pair.gates_m[1] - pair.gates_m[0]) * pair.a.sense == pytest.approx(100.0)


def test_passes_the_same_way_make_no_pair() -> None:
    twice = measured(made_track(OUT_ONLY, noise_mps=0.04), made_track(OUT_ONLY, noise_mps=0.05))
    assert pairs_of(twice, 100.0) == ([], [])


def test_passes_that_may_not_be_paired_are_not() -> None:
    assert pairs_of(OUT_BACK, 100.0, may=np.zeros((2, 2), dtype=bool)) == ([], [])


def test_a_distance_longer_than_what_they_share_is_told_in_metres() -> None:
    pairs, (miss,) = pairs_of(OUT_BACK, 400.0)
    a, b = courses_of(OUT_BACK)[0].passes
    assert pairs == []
    assert miss.startswith(f"P1 and P2 share {shared_m(a, b):.0f} m of course")
    assert 200.0 < shared_m(a, b) < 280.0


def test_passes_that_do_not_meet_share_less_than_nothing() -> None:
    first = measured(made_track(OUT_ONLY, noise_mps=0.04))
    far_back = ((0, 0), (2, 0), (30, 40), (40, 0), (44, 0), (48, -25), (56, -25), (60, 0), (64, 0))
    second = measured(made_track(far_back, noise_mps=0.04))[-1:]
    a, b = courses_of(first + second)[0].passes
    assert shared_m(a, b) < 0.0
    pairs, misses = pairs_of(first + second, 100.0)
    assert pairs == []
    assert all("share 0 m" in miss for miss in misses)


def test_given_gates_that_one_pass_misses_are_told_with_its_reach() -> None:
    line = CourseLine(0.0, 0.0, HEADING_DEG)
    pairs, misses = pairs_of(OUT_BACK, 100.0, line=line, gates_m=(900.0, 1000.0))
    assert pairs == []
    assert [m[:2] for m in misses] == ["P1", "P2"]
    assert all("of the 100.000 m between them" in m for m in misses)


def test_a_crossing_is_timed_where_the_boat_was() -> None:
    line = CourseLine(0.0, 0.0, HEADING_DEG)
    (pair,), _ = pairs_of(OUT_BACK, 100.0, line=line, gates_m=(100.0, 200.0))
    # 50 m by 10 s, then 25 m/s: 100 m at 12 s and 200 m at 16 s.
    assert pair.spans_s[0] == pytest.approx((12.0, 16.0), abs=0.02)
    assert pair.b.span_s(np.array([[100.0, 200.0]]))[0] == pytest.approx(pair.spans_s[1])
    assert pair.spans_s[1][1] - pair.spans_s[1][0] == pytest.approx(100.0 / 24.0, abs=3 * pair.sd_s[1])


def test_the_rule_decides_where_the_average_is_best() -> None:
    corners = ((0, 0), (4, 0), (8, 16), (18, 34), (22, 0), (24, 0), (28, -36), (38, -14), (42, 0), (46, 0))
    passes = measured(made_track(corners, noise_mps=0.04))
    for rule in (WATER, LAND):
        (pair,), _ = pairs_of(passes, 60.0, rule)
        here = [60.0 / (leave - enter) for enter, leave in pair.spans_s]
        for aside in (-15.0, 15.0):
            moved = np.array([sorted(pair.gates_m)]) + aside
            v = [60.0 / float(np.diff(p.span_s(moved)[0])[0]) for p in (pair.a, pair.b)]
            mean = (lambda a, b: (a + b) / 2) if rule is WATER else (lambda a, b: 2 * a * b / (a + b))
            assert mean(*here) >= mean(*v) - 1e-6


def test_a_pass_at_the_end_of_nowhere_does_not_stretch_the_grid_of_gates() -> None:
    def stub(index: int, low_m: float, high_m: float) -> Any:
        return SimpleNamespace(index=index, reach_m=(low_m, high_m), span_s=lambda gates: gates / 20.0)

    near, other, far = stub(0, 0.0, 300.0), stub(1, 40.0, 350.0), stub(2, 6.3e6, 6.4e6)
    tables = _timetables([near, other, far], 100.0)
    assert tables[0].start_m.size < 1000
    np.testing.assert_allclose(tables[0].speed_mps[~np.isnan(tables[0].speed_mps)], 20.0)
    assert np.isnan(tables[2].speed_mps).all()
    long = _timetables([stub(0, 0.0, 1e6), stub(1, 0.0, 1e6)], 100.0)
    assert long[0].start_m.size < 30_000


@pytest.mark.parametrize("gains_in_s", [1.5, 3.0])
def test_a_run_up_from_rest_makes_no_crossing_less_sure(gains_in_s: float) -> None:
    # A crossing's time is as sure as the position over the speed there; the run-up is not there.
    up, back = 6.0 + gains_in_s, 30.0 + gains_in_s
    corners = ((0, 0), (6, 0), (up, 25), (18, 25), (22, 0), (30, 0), (back, -25), (42, -25), (46, 0), (50, 0))
    passes = measured(made_track(corners, noise_mps=0.04))
    length_m = 40.0 + 0.5 * 25.0 * gains_in_s
    h = np.radians(HEADING_DEG)
    line = CourseLine(0.0, 0.0, HEADING_DEG)
    first_m = float(line.along_across(length_m * np.sin(h), length_m * np.cos(h))[0])
    (pair,), _ = pairs_of(passes, 100.0, line=line, gates_m=(first_m, first_m + 100.0))
    for p, span, sd_s in zip((pair.a, pair.b), pair.spans_s, pair.sd_s, strict=True):
        assert sd_s == pytest.approx(float(crossing_sd_s(p.chain, np.array([span]))[0]), rel=1e-6)
        assert sd_s < 0.01
