"""What the power train is said to have done, on a motor log whose every figure is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis_fixture import FRAME, one_pass

from telemetry.core.frames import Finding, FloatArray, LogMeta, MotorLog, make_motor_log
from telemetry.kinematics.whole_log import Motion
from telemetry.motor.channels import channels
from telemetry.motor.pack import PackEstimate, estimate_pack
from telemetry.motor.power import USUAL_LIMITS_SOURCE, YOURS, Limits, PowerOptions, best_second, power_report
from telemetry.motor.sync.clock import MotorClock

OHM, REST_V, CELLS = 0.020, 25.2, 6
PITCH_MM, RPM, SPEED_MPS = 60.0, 30000.0, 27.0
OFFSET_S = -5.0
OPTIONS = PowerOptions(pitch_mm=PITCH_MM, diameter_mm=45.0, kv_rpm_per_v=1500.0, cells=CELLS)
CLOCK = MotorClock(
    offset_s=OFFSET_S,
    drift_ppm=0.0,
    u95_s=0.01,
    method="given",
    trusted=True,
    why="",
    start_s=0.0,
    end_s=120.0,
)


def flat_out(t_s: FloatArray) -> FloatArray:
    """1 in the two passes at 20-32 and 60-72 s of the speed log, ramped over two seconds."""
    return np.interp(t_s, [18, 20, 32, 33, 58, 60, 72, 73], [0, 1, 1, 0, 0, 1, 1, 0])


def motor(**columns: FloatArray | None) -> MotorLog:
    """A 25 Hz motor log of 120 s; columns given replace the usual ones, None takes one out."""
    t_s = np.arange(3000) / 25.0
    on = flat_out(t_s + OFFSET_S)
    amps = 120.0 * on
    drawn_ah = np.cumsum(amps) / 25.0 / 3600.0
    usual: dict[str, FloatArray | None] = {
        "voltage_v": REST_V - 0.8 * drawn_ah - OHM * amps,
        "current_a": amps,
        "rpm": RPM * on,
        "throttle_pct": 100.0 * on,
        "motor_temp_c": 30.0 + 25.0 * np.clip((t_s - 25.0) / 30.0, 0.0, 1.0),
        "charge_mah": 1000.0 * drawn_ah,
    }
    kept = {k: v for k, v in (usual | columns).items() if v is not None}
    return make_motor_log(kept, t_s, LogMeta("motor.csv", "table", clock="controller"))


def motion() -> Motion:
    t_s = np.arange(1200) / 10.0
    speed = SPEED_MPS * flat_out(t_s)
    still = np.zeros(t_s.size)
    return Motion(FRAME, t_s, speed, np.gradient(speed, t_s), still, still, still, False, 0.05, 0.5)


PASSES = (one_pass("P1", 20.0, 90.0, SPEED_MPS), one_pass("P2", 60.0, 270.0, SPEED_MPS))


def test_every_figure_of_a_pass() -> None:
    told = power_report(motor(), CLOCK, PASSES, motion(), OPTIONS)
    one = told.of("P1")
    assert one is not None
    assert one.notes == ()
    assert one.speed_mps == pytest.approx(SPEED_MPS)
    assert one.rpm == pytest.approx(RPM)
    assert one.slip == pytest.approx(1.0 - SPEED_MPS / (0.060 * RPM / 60.0))
    assert one.slip_u95 == pytest.approx((1 - one.slip) * PASSES[0].held_1s_u95_mps / SPEED_MPS, rel=0.1)
    assert one.current_a == pytest.approx(120.0)
    assert one.peak_current_a == pytest.approx(120.0)
    assert one.mean_current_a == pytest.approx(120.0, rel=0.01)
    assert one.charge_mah == pytest.approx(120.0 * 12.0 / 3.6, rel=0.01)
    assert one.sag_v == pytest.approx(OHM * 120.0, rel=0.01)
    assert one.lowest_cell_v == pytest.approx(one.lowest_voltage_v / CELLS)
    volts = one.mean_power_w / one.mean_current_a
    assert one.energy_wh == pytest.approx(volts * 120.0 * 12.0 / 3600.0, rel=0.01)
    assert one.wh_per_km == pytest.approx(one.energy_wh / PASSES[0].length_m * 1000.0)
    assert one.rpm_share == pytest.approx(RPM / (1500.0 * one.voltage_v))
    assert one.rpm_share_rest == pytest.approx(RPM / (1500.0 * one.rest_voltage_v))
    assert one.rpm_share_rest < one.rpm_share


def test_uneven_steps_weigh_means_by_time_as_they_do_energy() -> None:
    """A log that quickens while the current is low: 120 A for six of twelve seconds and 40 A for the rest."""
    even = motor()
    at_s = even.t_s + OFFSET_S
    lowered = np.interp(at_s, [26.0, 26.2], [1.0, 1.0 / 3.0])
    frame = even.frame.assign(
        current_a=even.frame["current_a"] * lowered,
        rpm=even.frame["rpm"] * np.interp(at_s, [20, 32], [1, 0.5]),
    )
    # Of the first half only one sample in five, so that the second has five times as many.
    kept = (at_s >= 26.0) | (np.arange(at_s.size) % 5 == 0)
    told = [
        power_report(MotorLog(part, even.meta), CLOCK, PASSES, motion(), OPTIONS).of("P1")
        for part in (frame, frame[kept])
    ]
    assert told[0] is not None
    assert told[1] is not None
    for one in told:
        assert one.mean_power_w == pytest.approx(one.energy_wh * 3600.0 / 12.0, rel=1e-6)
    for name in ("mean_current_a", "mean_power_w", "energy_wh"):
        assert getattr(told[1], name) == pytest.approx(getattr(told[0], name), rel=5e-3)


def test_the_best_seconds_means_are_weighed_by_time_too() -> None:
    """The last tenth of the best second, where the shaft is slower, has ten times as many samples."""
    even = motor()
    begin_s, _ = best_second(motion(), PASSES[0].start_s, PASSES[0].end_s)
    fine = begin_s + np.r_[0.9 + np.arange(1, 41) / 400.0]
    t_s = np.sort(np.r_[even.t_s, fine - OFFSET_S])
    frame = even.frame.reindex(t_s).interpolate("index")
    frame["rpm"] = RPM * np.interp(t_s + OFFSET_S - begin_s, [0.9, 1.0], [1.0, 0.5])
    one = power_report(MotorLog(frame.rename_axis("t_s"), even.meta), CLOCK, PASSES, motion(), OPTIONS).of(
        "P1"
    )
    assert one is not None
    assert one.rpm == pytest.approx(RPM * (0.9 + 0.1 * 0.75), rel=2e-3)


def test_heat_goes_on_after_the_pass() -> None:
    one = power_report(motor(), CLOCK, PASSES, motion(), OPTIONS).of("P1")
    assert one is not None
    assert one.motor_heat is not None
    assert one.motor_heat.start_c == pytest.approx(30.0, abs=0.1)
    assert one.motor_heat.highest_after_c == pytest.approx(55.0)
    assert one.motor_heat.highest_after_c > one.motor_heat.end_c
    # Warmest at 55 s on the motor log's clock, 50 s on the speed log's; the pass ended at 32 s.
    assert one.motor_heat.highest_after_s == pytest.approx(18.0, abs=0.1)
    assert one.esc_heat is None


def test_limits_say_whose_they_are() -> None:
    limits = Limits(cell_v=4.0, motor_temp_c=50.0, current_a=100.0, charge_mah=300.0, rpm=40000.0)
    one = power_report(motor(), CLOCK, PASSES, motion(), replace(OPTIONS, limits=limits)).of("P1")
    assert one is not None
    passed = {e.name: e for e in one.exceeded}
    assert set(passed) == {
        "current",
        "motor temperature",
        "lowest cell voltage (the pack's over its cells)",
        "charge drawn since the start of the log",
    }
    assert passed["current"].limit == 100.0
    assert {e.source for e in passed.values()} == {YOURS}
    hot = motor(motor_temp_c=np.full(3000, 95.0))
    usual = power_report(hot, CLOCK, PASSES, motion(), OPTIONS).of("P2")
    assert usual is not None
    assert [(e.name, e.source) for e in usual.exceeded] == [("motor temperature", USUAL_LIMITS_SOURCE)]


def test_what_is_missing_is_told() -> None:
    one = power_report(motor(rpm=None), CLOCK, PASSES, motion(), OPTIONS).of("P1")
    assert one is not None
    assert one.slip is None
    assert "slip needs the shaft speed" in one.notes
    bare = power_report(motor(), CLOCK, PASSES, motion()).of("P1")
    assert bare is not None
    assert bare.slip is None
    assert bare.rpm_share is None
    assert "slip needs the propeller's pitch" in bare.notes
    wrong = power_report(motor(), CLOCK, PASSES, motion(), replace(OPTIONS, pitch_mm=20.0)).of("P1")
    assert wrong is not None
    assert "wrong pitch" in wrong.notes[0]


def test_an_untrusted_clock_tells_nothing_of_the_passes() -> None:
    clock = replace(CLOCK, trusted=False, why="it is of another outing")
    told = power_report(motor(), clock, PASSES, motion(), OPTIONS)
    assert told.passes == ()
    assert told.pack is not None  # the pack needs no clock
    assert "it is of another outing" in told.notes[-1]


def test_a_pass_outside_the_motor_log_is_left_out() -> None:
    told = power_report(motor(), replace(CLOCK, end_s=50.0), PASSES, motion(), OPTIONS)
    assert [p.pass_id for p in told.passes] == ["P1"]
    assert "P2: the motor log does not cover it" in told.notes


def test_false_values_leave_gaps_not_figures() -> None:
    t_s = np.arange(3000) / 25.0
    rpm = RPM * flat_out(t_s + OFFSET_S)
    rpm[(t_s > 26.0) & (t_s < 36.0)] = np.nan
    one = power_report(motor(rpm=rpm), CLOCK, PASSES, motion(), OPTIONS).of("P1")
    assert one is not None
    assert one.rpm is None
    assert one.current_a == pytest.approx(120.0)


def test_held_values_are_not_used() -> None:
    log = motor()
    held = Finding("held-value", "current_a: the value stands still", 100, 30.0, 34.0)
    known = channels(replace(log, findings=(held,))).current_a
    assert known is not None
    inside = (log.t_s >= 30.0) & (log.t_s <= 34.0)
    assert np.isnan(known[inside]).all()
    assert np.isfinite(known[~inside]).all()


def test_an_offset_at_rest_is_taken_off() -> None:
    t_s = np.arange(3000) / 25.0
    log = motor(current_a=120.0 * flat_out(t_s + OFFSET_S) + 3.0, charge_mah=None)
    told = power_report(log, CLOCK, PASSES, motion(), OPTIONS)
    one = told.of("P1")
    assert one is not None
    assert one.current_a == pytest.approx(120.0)
    assert any("+3.0 A at rest" in note for note in told.notes)
    assert channels(log).drawn_ah is not None
    assert one.charge_mah == pytest.approx(400.0, rel=0.01)


def test_the_contract_is_plain() -> None:
    told = power_report(motor(), CLOCK, PASSES, motion(), OPTIONS)
    power = told.to_dict()
    assert power is not None
    assert {"pack_resistance_ohm", "u95_ohm", "rest_voltage_v"} <= set(power)
    assert told.passes[0].to_dict()["slip"] == told.passes[0].slip
    nothing = power_report(motor(voltage_v=None), replace(CLOCK, trusted=False, why="no"), PASSES, motion())
    assert nothing.to_dict() is None


def test_best_second_is_the_fastest() -> None:
    t_s = np.arange(200) / 10.0
    speed = np.interp(t_s, [0, 8, 10, 20], [10, 20, 20, 5])
    still = np.zeros(200)
    begin_s, mean = best_second(
        Motion(FRAME, t_s, speed, still, still, still, still, False, 0.1, 0.1), 0.0, 19.0
    )
    assert 8.0 <= begin_s <= 9.01
    assert mean == pytest.approx(20.0)


def test_pack_is_told_from_the_log() -> None:
    pack = estimate_pack(channels(motor()), CELLS)
    assert isinstance(pack, PackEstimate)
    assert pack.resistance_ohm == pytest.approx(OHM, rel=1e-6)
    assert pack.cell_resistance_ohm == pytest.approx(OHM / CELLS, rel=1e-6)
    assert pack.rest_voltage_v == pytest.approx(REST_V, rel=1e-5)
    assert pack.rest_v(1.0) == pytest.approx(REST_V - 0.8, rel=1e-3)


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        ({"current_a": None, "charge_mah": None}, "needs voltage and current"),
        ({"current_a": np.full(3000, 40.0)}, "hardly changes"),
        ({"voltage_v": 20.0 + 2.0 * flat_out(np.arange(3000) / 25.0 + OFFSET_S)}, "does not fall"),
    ],
)
def test_pack_says_why_it_cannot_tell(columns: dict[str, FloatArray | None], why: str) -> None:
    told = estimate_pack(channels(motor(**columns)))
    assert isinstance(told, str)
    assert why in told
