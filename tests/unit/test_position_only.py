"""Speeds of a log that has positions alone."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.kinematics.models import AlongTrackData, ReceiverModel
from telemetry.kinematics.position_only import estimate_jerk_psd, max_secant_speed, student_t_reweight

RATE_HZ, SD_M = 10.0, 0.1
_NONE = np.zeros(0)


def way(speed_mps: np.ndarray, seed: int = 0) -> AlongTrackData:
    n = speed_mps.size
    along_m = np.cumsum(speed_mps) / RATE_HZ + np.random.default_rng(seed).normal(0.0, SD_M, n)
    nodes = np.arange(n)
    none = np.zeros(0, dtype=np.int64)
    return AlongTrackData(nodes / RATE_HZ, np.ones(n - 1), nodes, along_m, SD_M, none, _NONE, _NONE, 0.0)


def test_a_calm_way_is_calmer_than_a_lively_one() -> None:
    t_s = np.arange(100) / RATE_HZ
    calm = estimate_jerk_psd([way(np.full(100, 30.0), k) for k in range(3)], ReceiverModel())
    lively = estimate_jerk_psd([way(30.0 + 4.0 * np.sin(2.0 * t_s), k) for k in range(3)], ReceiverModel())
    assert calm < 0.5 < 5.0 < lively


def test_a_corner_is_let_through_where_it_is_and_nowhere_else() -> None:
    t_s = np.arange(80) / RATE_HZ
    speed = np.where(t_s < 6.0, 30.0, 30.0 - 10.0 * (t_s - 6.0))
    density = student_t_reweight(way(speed), 0.1, ReceiverModel()).density
    assert abs(t_s[int(np.argmax(density))] - 6.0) <= 0.5
    assert np.median(density) == pytest.approx(0.1)


def test_the_top_between_two_positions_is_the_fastest_second() -> None:
    data = way(np.r_[np.full(50, 20.0), np.full(30, 30.0), np.full(50, 20.0)])
    assert max_secant_speed(data, (0.0, 13.0), 1.0) == pytest.approx(30.0, abs=5.0 * SD_M)
    assert np.isnan(max_secant_speed(data, (0.0, 0.5), 1.0))
