"""From the sample files to slip and resistance, against the truth written beside them."""

from __future__ import annotations

import json

import numpy as np
import pytest

import sample_logs
from telemetry.analysis import read_and_analyse
from telemetry.motor.power import PowerOptions, power_report
from telemetry.motor.sync.clock import match_clock
from telemetry.readers.base import ReadOptions

DATA = sample_logs.data_folder()


@pytest.mark.parametrize("name", ["four_passes", "porpoising", "blow_over"])
def test_a_sample_outing_end_to_end(name: str) -> None:
    truth = json.loads((DATA / f"{name}_truth.json").read_text(encoding="utf-8"))
    boat = truth["boat"]
    files = [DATA / truth["speed_logs"][0], DATA / truth["motor_log"]]
    analysis = read_and_analyse(files, options=ReadOptions(pole_pairs=boat["pole_pairs"]))
    (motor,), log = analysis.motor_logs, analysis.speed_logs[0]

    clock = match_clock(motor, log.cleaned, log.motion)
    assert clock.trusted, clock.why
    ends = motor.t_s[[0, -1]]
    true = ends * (1.0 + 1e-6 * truth["motor_clock"]["drift_ppm"]) + truth["motor_clock"]["offset_s"]
    assert np.abs(clock.to_speed_log(ends) - true).max() <= min(0.1, clock.u95_s + truth["receiver"]["lag_s"])

    options = PowerOptions(
        pitch_mm=boat["pitch_mm"],
        diameter_mm=boat["diameter_mm"],
        kv_rpm_per_v=boat["kv_rpm_per_v"],
        cells=boat["cells"],
    )
    told = power_report(motor, clock, analysis.passes, log.motion, options)
    assert told.pack is not None
    assert told.pack.resistance_ohm == pytest.approx(truth["pack_resistance_ohm"], rel=0.02)
    assert len(told.passes) == len(truth["passes"])
    for one, ridden in zip(told.passes, truth["passes"], strict=True):
        assert one.slip == pytest.approx(ridden["slip"], abs=0.01)
        assert one.energy_wh is not None
        assert one.energy_wh > 0.0
