"""The what-if: what it moves, how far it trusts itself and where it stops."""

from __future__ import annotations

from dataclasses import replace

import pytest

from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, what_if

PACK, MOTOR, IDLE, PROPELLER = (24.0, 0.020, 0.01), (0.008, 0.15), (4.0, 0.15), (45.0, 63.0)
POINT = OperatingPoint(28000.0, 110.0, 26.0, *PACK, *MOTOR, *IDLE, *PROPELLER, 6, 1600.0, 0.05, ())
LARGER = PowerTrainChange(diameter_mm=49.5, pitch_mm=69.3)


def test_no_change_gives_the_measurement_and_its_own_doubt() -> None:
    same = what_if(POINT, PowerTrainChange())
    assert same.rpm is not None
    assert same.current_a is not None
    assert same.speed_mps is not None
    assert same.rpm.value == pytest.approx(28000.0)
    assert same.current_a.value == pytest.approx(110.0)
    assert same.speed_mps.value == pytest.approx(26.0)
    assert same.rpm.u95 < 1e-6 * 28000.0
    assert same.current_a.u95 == pytest.approx(1.96 * 0.01 * 110.0, rel=0.01)
    assert same.speed_mps.u95 == pytest.approx(1.96 * 0.05, rel=0.01)


@pytest.mark.parametrize(
    ("change", "rpm", "current"),
    [
        (LARGER, -1, 1),
        (PowerTrainChange(diameter_mm=41.0), 1, -1),
        (PowerTrainChange(pitch_mm=68.0), -1, 1),
        (PowerTrainChange(cells=7), 1, 1),
        (PowerTrainChange(kv_rpm_per_v=1450.0), -1, -1),
    ],
)
def test_directions_are_those_of_the_trade(change: PowerTrainChange, rpm: int, current: int) -> None:
    moved = what_if(POINT, change)
    assert moved.rpm is not None
    assert moved.current_a is not None
    assert moved.motor_heat_w is not None
    assert (moved.rpm.value - moved.rpm.measured) * rpm > 0
    assert (moved.current_a.value - moved.current_a.measured) * current > 0
    assert (moved.motor_heat_w.value - moved.motor_heat_w.measured) * current > 0


def test_the_interval_widens_away_from_what_was_measured() -> None:
    widths = []
    for ratio in (1.0, 1.03, 1.06, 1.1, 1.15, 1.2):
        moved = what_if(POINT, PowerTrainChange(diameter_mm=45.0 * ratio, pitch_mm=63.0 * ratio))
        assert moved.current_a is not None
        widths.append(moved.current_a.u95 / moved.current_a.value)
    assert widths == sorted(widths)
    assert widths[-1] > 3.0 * widths[0]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (PowerTrainChange(diameter_mm=60.0), "diameter"),
        (PowerTrainChange(pitch_mm=40.0), "pitch"),
        (PowerTrainChange(cells=10), "volts times motor constant"),
        (PowerTrainChange(kv_rpm_per_v=900.0), "volts times motor constant"),
        (PowerTrainChange(diameter_mm=56.0, pitch_mm=78.0, cells=8), "current"),
    ],
)
def test_too_far_is_refused(change: PowerTrainChange, why: str) -> None:
    answer = what_if(POINT, change)
    assert answer.rpm is None
    assert why in answer.refused
    assert answer.to_dict()["current_a"] is None


def test_what_the_sheet_lacks_is_asked_for() -> None:
    bare = replace(POINT, cells=None, kv_rpm_per_v=None)
    assert "number of cells" in what_if(bare, PowerTrainChange(cells=7)).refused
    assert "motor constant" in what_if(bare, PowerTrainChange(kv_rpm_per_v=1700.0)).refused
    assert what_if(bare, LARGER).rpm is not None


def test_an_impossible_slip_is_refused() -> None:
    assert "slip" in what_if(replace(POINT, pitch_mm=30.0), PowerTrainChange(cells=7)).refused


def test_assumptions_are_told() -> None:
    said = what_if(POINT, PowerTrainChange(cells=7, kv_rpm_per_v=1500.0)).assumptions
    assert any("same kind" in s for s in said)
    assert any("another winding" in s for s in said)


@pytest.mark.parametrize(
    ("point", "change", "why"),
    [
        (replace(POINT, motor_resistance_ohm=8.0), PowerTrainChange(), "check the unit"),
        (replace(POINT, motor_resistance_ohm=0.25), PowerTrainChange(), "check the unit"),
        (POINT, PowerTrainChange(motor_resistance_ohm=8.0), "check the unit"),
        (replace(POINT, no_load_current_a=120.0), PowerTrainChange(), "no-load current"),
        (POINT, PowerTrainChange(no_load_current_a=3000.0), "no-load current"),
    ],
)
def test_a_motor_that_cannot_be_is_refused_in_a_sentence(
    point: OperatingPoint, change: PowerTrainChange, why: str
) -> None:
    refused = what_if(point, change)
    assert refused.rpm is None
    assert why in refused.refused


def test_saying_a_figure_of_the_motor_again_makes_it_no_surer() -> None:
    plain = what_if(POINT, PowerTrainChange())
    again = what_if(POINT, PowerTrainChange(motor_resistance_ohm=0.008, no_load_current_a=4.0))
    assert plain.motor_heat_w is not None
    assert again.motor_heat_w is not None
    assert again.motor_heat_w.u95 > 0.9 * plain.motor_heat_w.u95
