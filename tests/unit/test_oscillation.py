"""Where a hull swings: found where it does, not found in noise, and its crests counted."""

from __future__ import annotations

import numpy as np
import pytest
from honesty_study import outing_of

from telemetry.analysis import analyse
from telemetry.kinematics.models import SpeedSmoother, smooth_speed
from telemetry.kinematics.oscillation import find_oscillating_steps, jerk_psd_of_steps
from telemetry.kinematics.peak_draws import step_maxima

RATE_HZ, SD_MPS = 10.0, 0.04


def smoothed(v_mps: np.ndarray, sd_mps: float = SD_MPS) -> tuple[SpeedSmoother, np.ndarray, np.ndarray]:
    at = np.arange(v_mps.size)
    sd = np.full(v_mps.size, sd_mps)
    return smooth_speed(at / RATE_HZ, np.ones(at.size - 1, dtype=np.bool_), at, v_mps, sd), at, sd


def swings_of(v_mps: np.ndarray, sd_mps: float = SD_MPS) -> np.ndarray:
    chain, at, sd = smoothed(v_mps, sd_mps)
    return find_oscillating_steps(chain, at, v_mps, sd)


def riding(seed: int, amplitude_mps: float = 0.0) -> np.ndarray:
    """Sixty seconds at 30 m/s; a swing of 3 Hz from the 20th to the 23rd."""
    t_s = np.arange(600) / RATE_HZ
    swing = np.where((t_s >= 20.0) & (t_s < 23.0), amplitude_mps * np.sin(6.0 * np.pi * t_s), 0.0)
    return 30.0 + swing + np.random.default_rng(seed).normal(0.0, SD_MPS, t_s.size)


def test_noise_swings_once_in_many_logs_at_most() -> None:
    assert np.mean([swings_of(riding(seed)).any() for seed in range(40)]) <= 0.1


@pytest.mark.parametrize("believed_mps", [SD_MPS, 0.15])
def test_a_swing_is_found_where_it_is_even_if_it_was_taken_for_noise(believed_mps: float) -> None:
    steps_s = np.flatnonzero(swings_of(riding(1, 0.3), believed_mps)) / RATE_HZ
    assert 19.0 <= steps_s.min() <= 20.5
    assert 22.5 <= steps_s.max() <= 24.0


def test_a_swinging_hull_is_livelier_than_a_calm_one() -> None:
    v = riding(2, 0.3)
    chain, at, sd = smoothed(v)
    steps = find_oscillating_steps(chain, at, v, sd)
    assert jerk_psd_of_steps(chain, steps, at, v, SD_MPS) > 10.0 * jerk_psd_of_steps(
        chain, ~steps, at, v, SD_MPS
    )


def test_too_few_speeds_tell_nothing() -> None:
    assert not swings_of(np.array([30.0, 30.1, 29.9])).any()


def test_a_crest_between_two_nodes_is_that_of_the_cubic_through_them() -> None:
    # v = 30 + t - t² has its top at t = 0.5: 30.25; the cubic through both ends is the parabola itself.
    drawn = np.array([[[30.0], [1.0]], [[30.0], [-1.0]]])
    assert step_maxima(np.array([0.0, 1.0]), drawn, np.array([0])) == pytest.approx([30.25])
    assert step_maxima(np.array([0.0, 1.0]), drawn, np.array([], dtype=np.int64))[0] == -np.inf


@pytest.mark.parametrize(("seed", "rate_hz"), [(5049, 10.0), (5015, 18.0)])
def test_a_throttle_shut_where_the_hull_still_swings_leaves_the_last_speeds_standing(
    seed: int, rate_hz: float
) -> None:
    # A corner placed a step too early, inside the swing, cost the two speeds after it, and the peak stood 1.3
    # and 0.6 m/s above the fastest of the boat.
    outing = outing_of(seed, rate_hz, "porpoising")
    for found, true in zip(analyse([outing.track]).passes, outing.passes, strict=True):
        assert found.peak_mps - true.peak_mps < 0.3


def test_a_swing_stays_in_its_pass_where_the_next_one_begins_before_it_ends() -> None:
    # Passes are widened by some seconds, so that two close ones share a time.
    first_s, second_s = np.arange(0.0, 10.05, 0.1), np.arange(8.0, 18.05, 0.1)
    t_s = np.r_[first_s, second_s]
    swing = np.where((t_s >= 6.5) & (t_s < 7.9), 0.3 * np.sin(6.0 * np.pi * t_s), 0.0)
    v = 25.0 + swing + np.random.default_rng(5).normal(0.0, SD_MPS, t_s.size)
    coupled = np.ones(t_s.size - 1, dtype=np.bool_)
    coupled[first_s.size - 1] = False
    at, sd = np.arange(t_s.size), np.full(t_s.size, SD_MPS)
    swings = find_oscillating_steps(smooth_speed(t_s, coupled, at, v, sd), at, v, sd)
    assert swings[: first_s.size].any()
    assert not swings[first_s.size :].any()
