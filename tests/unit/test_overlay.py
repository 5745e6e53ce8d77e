"""Passes laid over one another: what is kept, where nought lies, and what is said of what cannot be laid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from analysis_fixture import analysis, undated

from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse
from telemetry.core.errors import CallError
from telemetry.core.frames import MotorLog
from telemetry.core.geo import LocalFrame
from telemetry.motor.power import PowerOptions
from telemetry.pass_overlay import SPEED, PassCurves, align, in_one_frame, pass_curves, read_at, sheet_groups
from telemetry.readers import ReadOptions
from telemetry.setup import Reading, SetupSheet

PITCH_MM = 63.0


def sample(*names: str, **power: float) -> Analysis:
    files = [data_folder() / name for name in names]
    request = Request(power=PowerOptions(**power))
    return read_and_analyse(files, request, ReadOptions(pole_pairs=2))


@pytest.fixture(scope="module")
def four_passes() -> Analysis:
    return sample("four_passes.gpx", "four_passes_motor.csv", pitch_mm=PITCH_MM)


@pytest.fixture(scope="module")
def curves(four_passes: Analysis) -> tuple[PassCurves, ...]:
    return pass_curves(four_passes, [p.id for p in four_passes.passes])


def test_a_pass_keeps_the_samples_of_its_log(four_passes: Analysis, curves: tuple[PassCurves, ...]) -> None:
    t_s = four_passes.speed_logs[0].cleaned.track.t_s
    for one in curves:
        assert np.isin(one.t_s, t_s).all()
        assert one.one.takeoff is not None
        assert one.t_s[0] == pytest.approx(one.one.takeoff.start_s - 2.0, abs=0.11)
        assert one.t_s[-1] == pytest.approx(one.one.end_s + 2.0, abs=0.11)
        assert (np.diff(np.searchsorted(t_s, one.t_s)) == 1).all()


def test_the_speed_is_the_one_that_the_figures_come_from(
    four_passes: Analysis, curves: tuple[PassCurves, ...]
) -> None:
    for one, measured in zip(curves, four_passes.measured, strict=True):
        inside = (one.t_s >= one.one.start_s) & (one.t_s <= one.one.end_s)
        data = measured.data
        at = np.searchsorted(data.t_s, one.t_s[inside])
        assert np.array_equal(one.signals[SPEED].value[inside], data.speed_mps[at])
        u95 = one.signals[SPEED].u95
        assert u95 is not None
        # At its top the band is as wide as the peak's own interval, which also holds the crests of a chop.
        top = int(np.argmax(np.where(inside, one.signals[SPEED].value, 0.0)))
        assert 0.5 * one.one.peak_u95_mps < u95[top] < 1.1 * one.one.peak_u95_mps


def test_the_way_is_as_long_as_the_measured_distances(
    curves: tuple[PassCurves, ...],
) -> None:
    for one in curves:
        for d in one.one.distances:
            a, b = np.interp([d.start_s, d.end_s], one.t_s, one.way_m)
            assert b - a == pytest.approx(d.distance_m, abs=0.02)
        assert np.interp(one.one.start_s, one.t_s, one.way_m) == 0.0


def test_the_motor_s_rows_are_its_log_on_the_joined_clock(
    four_passes: Analysis, curves: tuple[PassCurves, ...]
) -> None:
    (motor,) = four_passes.motors
    assert isinstance(motor.log, MotorLog)
    volts = motor.log.column("voltage_v")
    assert volts is not None
    for one in curves:
        signal = one.signals["voltage_v"]
        at = np.searchsorted(motor.log.t_s, motor.clock.to_motor(signal.t_s) - 1e-6)
        assert np.array_equal(signal.value, volts[at])
        assert {"current_a", "rpm", "slip"} <= set(one.signals)


def test_slip_is_reckoned_from_pitch_and_shaft_speed_as_in_the_power_report(
    four_passes: Analysis, curves: tuple[PassCurves, ...]
) -> None:
    (motor,) = four_passes.motors
    for one in curves:
        told = motor.power.of(one.one.id)
        assert told is not None
        assert told.slip is not None
        slip = one.signals["slip"]
        second = (slip.t_s >= told.best_start_s) & (slip.t_s <= told.best_start_s + 1.0)
        assert np.nanmean(slip.value[second]) == pytest.approx(told.slip, abs=0.005)
        outside = (slip.t_s < one.one.start_s) | (slip.t_s > one.one.end_s)
        assert np.isnan(slip.value[outside]).all()


def test_a_motor_log_that_is_not_joined_gives_nothing_but_the_reason(four_passes: Analysis) -> None:
    (motor,) = four_passes.motors
    refused = replace(motor, clock=replace(motor.clock, trusted=False, why="it does not match"))
    (one,) = pass_curves(replace(four_passes, motors=(refused,)), ["P1"])
    assert set(one.signals) == {SPEED, "ripple vertical_mps"}
    assert f"{refused.log.meta.file} is not matched: it does not match" in one.notes
    (alone,) = pass_curves(replace(four_passes, motors=()), ["P1"])
    assert "no motor log" in alone.notes


def test_without_positions_the_way_is_the_speed_summed() -> None:
    (one,) = pass_curves(analysis(), ["P1"])  # made up, without a course line
    assert one.way_source == "speed"
    assert one.east_m is None
    speed = one.signals[SPEED].value
    assert np.diff(one.way_m) == pytest.approx(0.5 * (speed[1:] + speed[:-1]) * np.diff(one.t_s))
    overlay = align([one], "distance", "peak")
    assert overlay.notes == ("1 pass: its log has no positions: the distance is the integrated speed",)
    (left_out,) = align([one], "distance", "course").left_out
    assert left_out == (0, "its log has no positions, so it cannot be placed on a course line")


def test_a_pass_that_is_not_there_is_refused_with_those_that_are() -> None:
    with pytest.raises(
        CallError, match=r"there is no pass P9\. Fix: choose one of the passes found: P1 to P2"
    ):
        pass_curves(analysis(), ["P9"])


def test_where_a_pass_has_no_take_off_its_start_stands_in_and_that_is_said(
    curves: tuple[PassCurves, ...],
) -> None:
    bare = replace(curves[0], one=replace(curves[0].one, takeoff=None))
    overlay = align([bare, curves[1]], "time", "take-off")
    assert overlay.notes == ("1 pass: its log has no take-off: its start is used",)
    assert overlay.laid[0].origin_s == bare.one.start_s
    assert curves[1].one.takeoff is not None
    assert overlay.laid[1].origin_s == curves[1].one.takeoff.start_s


def test_the_time_of_day_needs_a_day_and_says_when_there_are_several(curves: tuple[PassCurves, ...]) -> None:
    first = curves[0]
    assert first.start_utc is not None
    later = replace(first, start_utc=first.start_utc + pd.Timedelta(days=2))
    unknown = replace(first, start_utc=None)
    overlay = align([first, later, unknown], "day", "start")
    assert np.array_equal(overlay.laid[0].x, overlay.laid[1].x)
    assert overlay.notes == ("These are 2 days, aligned by the time of day, UTC",)
    assert overlay.left_out == ((2, "its log does not state the day, so its time of day is unknown"),)
    seconds = overlay.laid[0].at(first.one.start_s)
    assert first.one.start_utc is not None
    assert first.one.start_utc.floor("D") + pd.Timedelta(seconds=float(seconds)) == pytest.approx(
        first.one.start_utc, abs=pd.Timedelta(microseconds=10)
    )
    assert align(pass_curves(undated(analysis()), ["P1"]), "day", "start").laid == ()


def test_on_the_common_line_opposite_passes_meet_at_the_gates_of_their_two_way(
    four_passes: Analysis, curves: tuple[PassCurves, ...]
) -> None:
    overlay = align(curves, "distance", "course")
    assert [one.index for one in overlay.laid] == [0, 1, 2, 3]
    assert [np.sign(np.median(np.diff(one.x))) for one in overlay.laid] == [1, -1, 1, -1]
    two_way = four_passes.two_ways[0]
    first, second = (int(name[1:]) - 1 for name in two_way.passes)
    (a_in, a_out), (b_in, b_out) = two_way.crossings_s
    # Both ways cross the same two gates: the first one's entrance is the second one's exit.
    a, b = overlay.laid[first], overlay.laid[second]
    assert float(a.at(a_in)) == pytest.approx(float(b.at(b_out)), abs=0.3)
    assert float(a.at(a_out)) == pytest.approx(float(b.at(b_in)), abs=0.3)


def test_other_water_is_left_out_of_a_common_line_and_another_lake_of_the_plan_view(
    curves: tuple[PassCurves, ...],
) -> None:
    first, second = curves[:2]
    assert first.course is not None
    turned = replace(second, course=replace(first.course, heading_deg=first.course.heading_deg + 60.0))
    away = replace(second, frame=LocalFrame(second.frame.lat0_deg + 1.0, second.frame.lon0_deg))
    for other in (turned, away):
        overlay = align([first, other], "distance", "course")
        assert overlay.left_out == ((1, "it ran on another stretch of water than the first pass"),)
        assert [one.index for one in overlay.laid] == [0]
    assert [place is None for place in in_one_frame([first, turned, away])] == [False, False, True]


def test_an_overlay_does_not_ask_which_frame_a_log_was_counted_in(curves: tuple[PassCurves, ...]) -> None:
    first, second = curves[:2]
    other = LocalFrame(second.frame.lat0_deg + 0.02, second.frame.lon0_deg - 0.03)
    assert second.east_m is not None
    assert second.north_m is not None
    assert second.course is not None
    to_other = other.to_local(*second.frame.to_geodetic(second.east_m, second.north_m))
    line0 = other.to_local(*second.frame.to_geodetic(second.course.east0_m, second.course.north0_m))
    course = replace(second.course, east0_m=float(line0[0]), north0_m=float(line0[1]))
    moved = replace(second, frame=other, east_m=to_other[0], north_m=to_other[1], course=course)
    here, there = (align([first, one], "distance", "course").laid[1].x for one in (second, moved))
    assert there == pytest.approx(here, abs=1e-3)


def test_a_reading_lies_between_its_two_samples(curves: tuple[PassCurves, ...]) -> None:
    (one,) = align(curves[:1], "time", "peak").laid
    at_peak = read_at(one, SPEED, 0.0)
    assert at_peak is not None
    assert at_peak.value == pytest.approx(one.curves.one.peak_mps, abs=one.curves.one.peak_u95_mps)
    k = 40
    middle = read_at(one, SPEED, float(one.x[k] + one.x[k + 1]) / 2.0)
    assert middle is not None
    assert middle.value == pytest.approx(one.curves.signals[SPEED].value[k : k + 2].mean())
    assert read_at(one, SPEED, float(one.x[-1]) + 1.0) is None
    assert read_at(one, "ripple gy_dps", 0.0) is None


def test_sheets_of_one_content_are_one_and_others_are_told_against_the_first() -> None:
    first = SetupSheet("Tern", {"strut_depth_mm": Reading(2.0)}, name="flat water")
    again = SetupSheet("Tern", {"strut_depth_mm": Reading(2.0)}, name="as before")
    deeper = SetupSheet("Tern", {"strut_depth_mm": Reading(3.0)}, name="deeper")
    groups = sheet_groups([None, first, deeper, again])
    assert [group.members for group in groups] == [(0,), (1, 3), (2,)]
    assert groups[0].sheet is None
    assert groups[1].changes == ()
    (change,) = groups[2].changes
    assert (change.item.name, change.difference) == ("strut_depth_mm", 1.0)
