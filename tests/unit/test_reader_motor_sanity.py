"""False, held and offset values in motor logs."""

from __future__ import annotations

import numpy as np

from telemetry.readers.motor_sanity import check_motor

T_S = np.arange(500) / 20.0
RNG = np.random.default_rng(5)


def clean() -> dict[str, np.ndarray]:
    drive = np.clip(np.sin(T_S / 3.0), 0.0, None)
    return {
        "voltage_v": 25.0 - 2.0 * drive + RNG.normal(0, 0.02, T_S.size),
        "current_a": 150.0 * drive + np.abs(RNG.normal(0, 0.1, T_S.size)),
        "rpm": np.rint(30_000 * drive),
    }


def codes(columns: dict[str, np.ndarray], t_s: np.ndarray = T_S) -> dict[str, int]:
    return {f.code: f.count for f in check_motor(columns, t_s)[1]}


def test_a_clean_log_has_no_findings_and_keeps_every_value() -> None:
    columns = clean()
    kept, findings = check_motor(columns, T_S)
    assert findings == []
    for name, values in columns.items():
        np.testing.assert_array_equal(kept[name], values)


def test_values_no_power_train_has_are_set_aside() -> None:
    columns = clean()
    columns["voltage_v"][100] = -3.0
    columns["rpm"][100] = 1e6
    columns["current_a"][200] = 9999.0
    kept, findings = check_motor(columns, T_S)
    assert [f.code for f in findings] == ["false-value"] * 3
    assert np.isnan(kept["voltage_v"][100])
    assert np.isnan(kept["rpm"][100])
    assert np.isnan(kept["current_a"][200])
    assert findings[0].start_s == findings[0].end_s == T_S[100]


def test_a_lone_jump_is_set_aside_and_a_true_change_is_not() -> None:
    columns = clean()
    columns["rpm"][100] += 60_000
    columns["voltage_v"][300] = 4.0
    assert codes(columns) == {"false-value": 1}
    kept, findings = check_motor(columns, T_S)
    assert [(f.message.split(":")[0], f.count) for f in findings] == [("voltage_v", 1), ("rpm", 1)]
    assert np.isnan(kept["rpm"]).sum() == 1
    step = clean()
    step["rpm"] = np.where(T_S > 10, 30_000.0, 0.0)
    assert "false-value" not in codes(step)


def test_a_slow_log_may_hold_a_true_burst_of_one_sample() -> None:
    columns = clean()
    columns["current_a"][100] = 450.0
    assert codes(columns) == {"false-value": 1}
    assert codes(columns, T_S * 20) == {}


def test_a_held_value_is_reported_and_left() -> None:
    columns = clean()
    columns["voltage_v"][20:120] = 24.0
    kept, findings = check_motor(columns, T_S)
    (finding,) = findings
    assert (finding.code, finding.count) == ("held-value", 100)
    assert (kept["voltage_v"][20:120] == 24.0).all()


def test_a_current_offset_at_rest_is_reported_and_left() -> None:
    columns = clean()
    columns["current_a"] += 3.0
    kept, findings = check_motor(columns, T_S)
    (finding,) = findings
    assert finding.code == "current-offset"
    assert "3.1 A" in finding.message
    np.testing.assert_array_equal(kept["current_a"], columns["current_a"])
