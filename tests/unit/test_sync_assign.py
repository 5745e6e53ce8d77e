"""Which of several motor logs tells of a pass, and what is said where none does."""

from __future__ import annotations

import numpy as np
import pytest
from analysis_fixture import FRAME, one_pass

from telemetry.core.frames import LogMeta, make_motor_log
from telemetry.kinematics.whole_log import Motion
from telemetry.motor.power import PowerOptions, power_report
from telemetry.motor.sync.assign import MotorAssignment, motor_covering, pass_power_of, why_no_power
from telemetry.motor.sync.clock import MotorClock
from telemetry.motor.what_if import PowerTrainChange
from telemetry.motor.what_if_start import what_if_from

PASSES = (one_pass("P1", 20.0, 90.0, 25.0), one_pass("P2", 60.0, 270.0, 25.0))


def joined(file: str, start_s: float, end_s: float, refused: str = "", speed_log: int = 0) -> MotorAssignment:
    """A motor log that shares a part with the speed log, its clock refused where a reason is given."""
    t_s = np.arange(0.0, 120.0, 0.04)
    log = make_motor_log({"rpm": np.full(t_s.size, 20000.0)}, t_s, LogMeta(file, "table"))
    clock = MotorClock(
        offset_s=0.0,
        drift_ppm=0.0,
        u95_s=0.01,
        method="given",
        trusted=not refused,
        why=refused,
        start_s=start_s,
        end_s=end_s,
    )
    still = np.zeros(1200)
    at_s = np.arange(1200) / 10.0
    motion = Motion(FRAME, at_s, still + 25.0, still, still, still, still, False, 0.05, 0.5)
    return MotorAssignment(
        log, clock, speed_log, power_report(log, clock, PASSES, motion, PowerOptions()), (clock,)
    )


def test_the_log_that_covers_most_of_a_pass_tells_of_it() -> None:
    part, whole = joined("part.csv", 0.0, PASSES[0].end_s - 2.0), joined("whole.csv", 0.0, 120.0)
    for motors in ((part, whole), (whole, part)):
        assert motor_covering(motors, PASSES[0]) is whole
        told = pass_power_of(motors, PASSES[0])
        assert told is not None
        assert told == whole.power.of("P1")
    twin = joined("twin.csv", 0.0, 120.0)
    assert motor_covering((whole, twin), PASSES[0]) is whole


def test_a_log_that_covers_part_of_a_pass_tells_its_ride_and_no_figure() -> None:
    part = joined("part.csv", 0.0, PASSES[0].end_s - 2.0)
    assert motor_covering((part,), PASSES[0]) is part
    assert pass_power_of((part,), PASSES[0]) is None
    assert motor_covering((part,), PASSES[1]) is None


@pytest.mark.parametrize(
    ("motors", "why"),
    [
        ((), "no motor log"),
        ((joined("a.csv", 0.0, 30.0),), "no motor log covers it"),
        (
            (joined("a.csv", 0.0, 120.0, "too short"), joined("b.csv", 0.0, 120.0, "of another boat")),
            "a.csv is not matched: too short; b.csv is not matched: of another boat",
        ),
        (
            (joined("a.csv", 0.0, 120.0, "too short", 1), joined("b.csv", 0.0, 30.0)),
            "no matched motor log covers it; a.csv is not matched: too short",
        ),
    ],
)
def test_every_log_that_might_have_told_says_why_it_does_not(
    motors: tuple[MotorAssignment, ...], why: str
) -> None:
    assert why_no_power(motors, PASSES[1]) == why
    assert why in what_if_from(PASSES[1], motors, PowerOptions(), PowerTrainChange()).refused
