"""Joining clocks on logs that are made here, with their relation known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sample_logs.boats import CATAMARAN
from sample_logs.outing import Outing, simulate_outing
from telemetry.cleaning.clean import Cleaned, clean
from telemetry.core.frames import LogMeta, MotorLog, Track, make_motor_log, make_track
from telemetry.core.geo import LocalFrame
from telemetry.kinematics.whole_log import Motion, smooth_log
from telemetry.motor.sync.clock import MotorClock, match_clock

_FRAME = LocalFrame(38.5, -36.25)


def prepared(outing: Outing) -> tuple[Cleaned, Motion]:
    cleaned = clean(outing.track)
    return cleaned, smooth_log(cleaned, _FRAME)


@pytest.fixture(scope="module")
def outing() -> Outing:
    return simulate_outing(7, boat=CATAMARAN, motor_clock_drift_ppm=800.0, motor_clock_offset_s=-31.0)


@pytest.fixture(scope="module")
def speed(outing: Outing) -> tuple[Cleaned, Motion]:
    return prepared(outing)


def error_s(clock: MotorClock, outing: Outing, started_s: float = 0.0) -> float:
    """Largest error over the motor log; the receiver's lag, which speeds cannot show, counts as one."""
    ends = outing.motor.t_s[[0, -1]]
    return float(np.max(np.abs(clock.to_speed_log(ends - started_s) - outing.motor_clock.to_speed_log(ends))))


def test_rpm_joins_within_its_interval(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    clock = match_clock(outing.motor, *speed)
    assert clock.trusted, clock.why
    assert clock.method == "rpm against speed"
    assert error_s(clock, outing) < 0.1
    assert error_s(clock, outing) <= clock.u95_s + outing.receiver.lag_s
    assert clock.start_s == pytest.approx(0.0)
    assert clock.end_s <= outing.track.t_s[-1]


@pytest.mark.parametrize(("kept", "method"), [("current_a", "current"), ("throttle_pct", "throttle")])
def test_without_rpm_current_or_throttle_serves(
    outing: Outing, speed: tuple[Cleaned, Motion], kept: str, method: str
) -> None:
    motor = MotorLog(outing.motor.frame[[kept]], outing.motor.meta)
    clock = match_clock(motor, *speed)
    assert clock.trusted, clock.why
    assert clock.method == f"{method} against speed"
    assert error_s(clock, outing) < 0.1


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
def test_positions_alone_join_no_earlier_than_speeds_do(rate_hz: float) -> None:
    """A speed made of positions is a mean over half a second, in which a take-off seems to begin sooner."""
    errors_s = []
    for seed in range(2):
        outing = simulate_outing(seed, rate_hz=rate_hz)
        columns = {name: outing.track.frame[name].to_numpy() for name in ("lat_deg", "lon_deg")}
        track = make_track(columns, outing.track.t_s, LogMeta("positions", "simulated"))
        clock = match_clock(outing.motor, *prepared(replace(outing, track=track)))
        assert clock.trusted, clock.why
        ends = outing.motor.t_s[[0, -1]]
        error = clock.to_speed_log(ends) - outing.motor_clock.to_speed_log(ends) - outing.receiver.lag_s
        errors_s.append(float(error.mean()))
        assert np.abs(error).max() <= clock.u95_s
    assert abs(np.mean(errors_s)) < 0.08


def test_a_known_lag_of_the_speed_is_taken_off(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    plain, corrected = match_clock(outing.motor, *speed), match_clock(outing.motor, *speed, lag_s=0.2)
    assert corrected.offset_s == pytest.approx(plain.offset_s - 0.2)
    assert corrected.drift_ppm == plain.drift_ppm


def test_a_log_of_another_outing_is_refused(speed: tuple[Cleaned, Motion]) -> None:
    clock = match_clock(simulate_outing(8, boat=CATAMARAN).motor, *speed)
    assert not clock.trusted
    assert clock.why


def test_a_part_is_joined_where_it_belongs(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    second, fourth = outing.passes[1], outing.passes[3]
    first_s, last_s = (
        outing.motor_clock.from_speed_log(t) for t in (second.start_s - 8.0, fourth.end_s + 5.0)
    )
    frame = outing.motor.frame
    part = frame[(frame.index >= first_s) & (frame.index <= last_s)]
    started_s = float(part.index[0])
    clock = match_clock(MotorLog(part.set_axis(part.index - started_s), outing.motor.meta), *speed)
    assert clock.trusted, clock.why
    assert error_s(clock, outing, started_s) < 0.1
    assert clock.start_s == pytest.approx(second.start_s - 8.0, abs=0.2)


def test_one_run_alone_is_refused(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    second = outing.passes[1]
    first_s, last_s = (
        outing.motor_clock.from_speed_log(t) for t in (second.start_s - 8.0, second.end_s + 5.0)
    )
    frame = outing.motor.frame
    part = frame[(frame.index >= first_s) & (frame.index <= last_s)]
    clock = match_clock(MotorLog(part, outing.motor.meta), *speed)
    assert not clock.trusted


def test_columns_of_one_table_share_their_clock() -> None:
    meta = LogMeta("both.csv", "table", pd.Timestamp("2025-06-14T08:30:00Z"), sha256="ab")
    t_s = np.arange(400) / 10.0
    cleaned = clean(make_track({"speed_mps": np.full(400, 3.0)}, t_s, meta))
    motor = make_motor_log({"rpm": np.full(400, 900.0)}, t_s, meta)
    clock = match_clock(motor, cleaned, smooth_log(cleaned, _FRAME))
    assert (clock.offset_s, clock.drift_ppm, clock.u95_s, clock.trusted) == (0.0, 0.0, 0.0, True)


def test_a_log_with_nothing_to_compare_says_so(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    warm = MotorLog(outing.motor.frame[["esc_temp_c"]], outing.motor.meta)
    assert "neither rpm, current nor throttle" in match_clock(warm, *speed).why
    idle = make_motor_log({"rpm": np.zeros(4000)}, np.arange(4000) / 20.0, LogMeta("idle.csv", "table"))
    assert not match_clock(idle, *speed).trusted


def test_a_wrong_start_time_does_no_harm(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    plain = match_clock(outing.motor, *speed)
    start = outing.track.meta.start_utc
    assert start is not None
    for off_s in (-31.0, 3600.0):
        meta = replace(outing.motor.meta, start_utc=start + pd.Timedelta(seconds=off_s))
        clock = match_clock(MotorLog(outing.motor.frame, meta), *speed)
        assert clock.trusted
        assert clock.offset_s == pytest.approx(plain.offset_s, abs=2e-3)


def test_a_stamp_years_away_costs_no_memory_and_moves_nothing(
    outing: Outing, speed: tuple[Cleaned, Motion]
) -> None:
    clock = match_clock(outing.motor, *speed)
    for years_s in (3e8, 3e9):
        t_s = outing.track.t_s.copy()
        t_s[-3:] += years_s
        strayed = replace(
            outing, track=Track(outing.track.frame.set_axis(t_s).rename_axis("t_s"), outing.track.meta)
        )
        assert match_clock(outing.motor, *prepared(strayed)).offset_s == pytest.approx(
            clock.offset_s, abs=1e-3
        )
        late_s = outing.motor.t_s.copy()
        late_s[-3:] += years_s
        motor = MotorLog(outing.motor.frame.set_axis(late_s).rename_axis("t_s"), outing.motor.meta)
        assert "too coarse" in match_clock(motor, *speed).why  # at that far stamp nothing holds the drift
    slow = Track(outing.track.frame.set_axis(outing.track.t_s * 1e4).rename_axis("t_s"), outing.track.meta)
    refused = match_clock(outing.motor, *prepared(replace(outing, track=slow)))
    assert not refused.trusted
    assert "split it" in refused.why


def test_the_contract_is_plain(outing: Outing, speed: tuple[Cleaned, Motion]) -> None:
    told = match_clock(outing.motor, *speed).to_dict()
    assert {"offset_s", "drift_ppm", "u95_s", "method", "trusted"} <= set(told)
    assert told["trusted"] is True


def test_both_ways_undo_each_other() -> None:
    clock = MotorClock(
        offset_s=-12.5, drift_ppm=700.0, u95_s=0.02, method="", trusted=True, why="", start_s=0.0, end_s=1.0
    )
    t_s = np.array([0.0, 10.0, 600.0])
    np.testing.assert_allclose(clock.to_motor(clock.to_speed_log(t_s)), t_s, atol=1e-9)
    assert clock.to_speed_log(np.array([1000.0]))[0] == pytest.approx(1000.7 - 12.5)
