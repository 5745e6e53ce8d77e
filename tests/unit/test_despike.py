"""What a hull cannot have done, and what its positions deny."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.cleaning.despike import (
    HullLimits,
    confirmed_by_positions,
    denied_by_positions,
    isolated_samples,
    path_made_good_m,
    unreachable,
)

T = np.arange(0, 20, 0.1)
SURE = np.zeros(T.size, dtype=bool)
LIMITS = HullLimits()


def flagged(v: np.ndarray, doubtful: np.ndarray = SURE) -> list[int]:
    return np.flatnonzero(unreachable(T, v, doubtful)).tolist()


def test_the_limits_are_a_burst_and_then_a_sustained_ramp() -> None:
    dt = np.array([0.5, 2.0])
    # step + 0.5 s of burst, then 1.5 s sustained: 0.6 + 10 (+ 15) and 0.6 + 20 (+ 37.5)
    assert LIMITS.rise_mps(dt, np.array([0.0, 0.0])).tolist() == pytest.approx([10.6, 25.6])
    assert LIMITS.fall_mps(dt).tolist() == pytest.approx([20.6, 58.1])


def test_beyond_the_grip_limit_acceleration_falls_as_one_over_speed() -> None:
    slow, fast = LIMITS.rise_mps(np.array([0.5, 0.5]), np.array([25.0, 50.0])) - LIMITS.step_mps
    assert fast == pytest.approx(slow / 2)


@pytest.mark.parametrize("rows", [slice(100, 101), slice(100, 105), slice(197, 200)])
def test_a_false_speed_is_marked_and_its_neighbours_are_not(rows: slice) -> None:
    v = np.full(T.size, 20.0)
    v[rows] += 15.0
    assert flagged(v) == list(range(*rows.indices(T.size)))


def test_a_false_start_costs_no_more_than_half_a_second() -> None:
    v = np.where(T < 0.25, 50.0, 20.0)
    assert {0, 1, 2} <= set(flagged(v)) <= set(range(8))


def test_a_short_false_stop_is_marked() -> None:
    v = np.full(T.size, 30.0)
    v[100:102] = 0.0
    assert flagged(v) == [100, 101]


def test_a_ramped_hump_is_marked_where_it_stands_out() -> None:
    v = np.full(T.size, 20.0)
    v[100:107] += 12.0 * np.sin(np.pi * np.arange(1, 8) / 8)
    assert flagged(v) == list(range(100, 107))


@pytest.mark.parametrize("stop_s", [0.05, 0.2, 0.3])
def test_a_crash_that_lasts_is_believed_on_both_sides(stop_s: float) -> None:
    v = np.interp(T, [10.0, 10.0 + stop_s], [30.0, 0.0])
    during = np.flatnonzero((v > 0.0) & (v < 30.0)).tolist()
    assert set(flagged(v)) <= set(during)


@pytest.mark.parametrize("up", [6.0, 12.0, 18.0])
def test_the_hardest_ride_is_believed(up: float) -> None:
    v = np.interp(T, [5.0, 5.0 + 9.0 / up, 12.0, 13.0], [0.0, 9.0, 9.0, 0.0])
    assert flagged(v) == []


def test_where_two_halves_contradict_each_other_the_doubtful_one_loses() -> None:
    v = np.where(np.arange(6) < 3, 5.0, 60.0)  # a rise no hull has in the half second between the ends
    for doubtful in (np.arange(6) < 3, np.arange(6) >= 3):
        assert (unreachable(T[:6], v, doubtful) == doubtful).all()


@pytest.mark.parametrize("n", [0, 1, 2])
def test_too_few_speeds_contradict_nothing(n: int) -> None:
    assert not unreachable(T[:n], np.array([0.0, 100.0])[:n], SURE[:n]).any()


def test_limits_of_another_hull_may_be_given() -> None:
    v = np.interp(T, [5.0, 6.0], [0.0, 14.0])
    assert flagged(v) == []
    tame = HullLimits(rise_mps2=4.0, sustained_rise_mps2=4.0)
    assert unreachable(T, v, SURE, tame).any()


def test_the_way_made_follows_an_arc_and_cuts_no_corner() -> None:
    angle = 0.5 * T  # 20 m/s on a circle of 40 m
    way = path_made_good_m(T, 40.0 * np.sin(angle), -40.0 * np.cos(angle))
    assert way[-1] == pytest.approx(20.0 * T[-1], rel=0.002)


def test_on_a_straight_the_noise_of_positions_drops_out_of_the_way() -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.5, (2, T.size))
    way = path_made_good_m(T, 20.0 * T + noise[0], noise[1])
    # Summed step by step the noise alone would add tens of metres.
    assert way[-1] == pytest.approx(20.0 * T[-1], abs=4.0)
    assert np.hypot(np.diff(20.0 * T + noise[0]), np.diff(noise[1])).sum() > 20.0 * T[-1] + 10.0


def denied(v: np.ndarray, east: np.ndarray, noise_m: float = 0.05) -> list[int]:
    way = path_made_good_m(T, east, np.zeros(T.size))
    return np.flatnonzero(
        denied_by_positions(T, v, way, confirmed_by_positions(T, v, way, noise_m), noise_m)
    ).tolist()


def test_a_speed_that_the_way_denies_is_marked() -> None:
    v = np.full(T.size, 20.0)
    east = np.cumsum(v) / 10
    v[90:100] = 28.0
    assert denied(v, east) == list(range(90, 100))


def test_a_speed_all_but_gone_while_the_boat_goes_on_is_marked() -> None:
    v = np.full(T.size, 20.0)
    east = np.cumsum(v) / 10
    v[90:100] = 2.0
    assert set(range(91, 99)) <= set(denied(v, east)) <= set(range(89, 101))


def test_a_speed_that_agrees_with_its_way_is_believed() -> None:
    v = np.interp(T, [2, 6, 12, 15], [0, 30, 30, 0])
    east = np.r_[0.0, np.cumsum(0.05 * (v[1:] + v[:-1]))]
    assert denied(v, east) == []


def test_the_lag_of_a_receiver_is_taken_out() -> None:
    corners = [2, 6, 12, 15], [0, 30, 30, 0]
    true = np.interp(T, *corners)
    east = np.r_[0.0, np.cumsum(0.05 * (true[1:] + true[:-1]))]
    assert denied(np.interp(T - 0.4, *corners), east) == []


def test_noisy_positions_deny_less() -> None:
    v = np.full(T.size, 20.0)
    east = np.cumsum(v) / 10
    v[90:100] = 24.0
    assert denied(v, east) != []
    assert denied(v, east, noise_m=1.0) == []


def test_three_positions_deny_nothing() -> None:
    assert not denied_by_positions(T[:3], np.array([0.0, 90.0, 0.0]), np.zeros(3), SURE[:3], 0.1).any()


def test_what_both_judges_left_of_a_spike_is_cut_and_a_true_sample_between_two_is_not() -> None:
    false = np.zeros(T.size, dtype=bool)
    false[100:110] = false[111] = True
    v = np.full(T.size, 20.0)
    v[100:112] = 23.5
    assert np.flatnonzero(isolated_samples(T, v, false, LIMITS)).tolist() == [110]
    v[110] = 20.1
    assert not isolated_samples(T, v, false, LIMITS).any()
    v[110] = 23.5
    false[111] = False  # a burst that goes on after the spike is another matter
    assert not isolated_samples(T, v, false, LIMITS).any()


def crash(seen_s: float = 12.0) -> tuple[np.ndarray, np.ndarray]:
    """Speed and way of a boat that gathers speed, stops dead at 12 s and is then said to race away."""
    v = np.where(seen_s > T, 30.0 + 0.5 * T, 0.5)
    way = np.r_[0.0, np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(T))]
    v[(T > 12.6) & (T < 13.3)] = 60.0
    return v, way


def test_the_last_speeds_before_a_crash_are_borne_out_and_a_spike_is_not() -> None:
    v, way = crash()
    sure = confirmed_by_positions(T, v, way, 0.05)
    before, false = (T > 2.0) & (T < 11.95), v == 60.0
    assert sure[before].all()
    assert not sure[false].any()


def test_one_sample_a_second_is_borne_out_by_the_step_to_it_and_fewer_by_nothing() -> None:
    v, way = crash()
    last, false = 119, 129  # 0.1 s before the crash, and in the tumble
    assert v[false] == 60.0
    rows = np.arange(9, T.size, 10)
    sure = confirmed_by_positions(T[rows], v[rows], way[rows], 0.05)
    assert sure[(T[rows] > 2.0) & (rows <= last)].all()
    assert not sure[v[rows] == 60.0].any()
    assert not confirmed_by_positions(T[::15], v[::15], way[::15], 0.05).any()


def test_a_hull_that_nears_its_top_is_borne_out_below_where_its_gain_led() -> None:
    t = np.arange(0.0, 8.0, 0.2)
    v = np.where(t < 4.0, 10.0 * t, 40.0 + 2.0 * (1.0 - np.exp(-(t - 4.0) / 0.3)))
    way = np.r_[0.0, np.cumsum(0.5 * (v[1:] + v[:-1]) * 0.2)]
    before_crash = t <= 4.9  # all that a log may hold
    sure = confirmed_by_positions(t[before_crash], v[before_crash], way[before_crash], 0.1)
    assert sure[t[before_crash] > 2.0].all()
    v[22] += 8.0
    assert not confirmed_by_positions(t[before_crash], v[before_crash], way[before_crash], 0.1)[22]


def test_a_crash_and_the_tumble_after_it_cost_no_true_speed_before_it() -> None:
    v, way = crash()
    sure = confirmed_by_positions(T, v, way, 0.05)
    kept = ~denied_by_positions(T, v, way, sure, 0.05)
    kept[kept] = ~unreachable(T[kept], v[kept], SURE[kept], sure=sure[kept])
    assert kept[(T > 2.0) & (T < 11.95)].all()
    assert not kept[v == 60.0].any()


@pytest.mark.parametrize("silent_s", [3.95, 4.5, 30.0])
@pytest.mark.parametrize("spikes", [(99,), (100,), (99, 100)])
def test_a_silence_beside_false_speeds_costs_no_true_one(silent_s: float, spikes: tuple[int, ...]) -> None:
    t = np.r_[np.arange(0, 10, 0.1), np.arange(9.9 + silent_s, 16 + silent_s, 0.1)]
    v = np.full(t.size, 20.0)
    v[list(spikes)] += 15.0
    assert np.flatnonzero(unreachable(t, v, np.zeros(t.size, dtype=bool))).tolist() == list(spikes)
