"""Smoothed speed and smoothed way on motions that are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.kinematics.models import (
    CORNER_FACTOR,
    USUAL_DENSITY,
    AlongTrackData,
    ReceiverModel,
    estimate_noise_and_jerk,
    refine_nodes,
    smooth_along,
    smooth_speed,
)

T = np.arange(0.0, 20.0, 0.1)
ALL = np.arange(T.size)
COUPLED = np.ones(T.size - 1, dtype=bool)
SD = np.full(T.size, 0.05)
RNG = np.random.default_rng(8)


def test_nodes_fill_long_steps_evenly_and_none_across_a_break() -> None:
    node_t, at, coupled = refine_nodes(
        np.array([0.0, 0.2, 1.2, 9.0, 9.25]), 0.25, np.array([0, 0, 1, 0], dtype=bool)
    )
    np.testing.assert_allclose(node_t, [0.0, 0.2, 0.45, 0.7, 0.95, 1.2, 9.0, 9.25])
    assert at.tolist() == [0, 1, 5, 6, 7]
    assert coupled.tolist() == [True] * 5 + [False, True]


def test_a_single_sample_is_a_single_node() -> None:
    node_t, at, coupled = refine_nodes(np.array([4.0]), 0.25, np.zeros(0, dtype=bool))
    assert (node_t.tolist(), at.tolist(), coupled.size) == ([4.0], [0], 0)


def test_smoothing_takes_most_of_the_white_noise_off_a_cruise() -> None:
    true = 25.0 + 0.3 * np.sin(0.4 * T)
    chain = smooth_speed(T, COUPLED, ALL, true + 0.05 * RNG.standard_normal(T.size), SD)
    rms = float(np.sqrt(np.mean((chain.posterior.mean[:, 0] - true) ** 2)))
    assert rms < 0.03
    assert (chain.density < CORNER_FACTOR * USUAL_DENSITY).all()


def test_a_corner_is_let_through() -> None:
    true = np.interp(T, [5.0, 7.0], [5.0, 25.0])
    chain = smooth_speed(T, COUPLED, ALL, true + 0.05 * RNG.standard_normal(T.size), SD)
    assert np.abs(chain.posterior.mean[:, 0] - true).max() < 0.25
    lively = T[:-1][chain.density > CORNER_FACTOR * USUAL_DENSITY]
    assert np.abs(lively - 5.0).min() < 0.3
    assert np.abs(lively - 7.0).min() < 0.3
    assert ((np.abs(lively - 5.0) < 1.0) | (np.abs(lively - 7.0) < 1.0)).all()


def test_one_wild_speed_does_not_drag_the_curve() -> None:
    v = np.full(T.size, 20.0)
    v[100] = 24.0
    chain = smooth_speed(T, COUPLED, ALL, v, SD)
    assert np.abs(chain.posterior.mean[:, 0] - 20.0).max() < 0.6


def test_nothing_passes_a_break() -> None:
    v = np.where(T < 10.0, 5.0, 30.0)
    broken = COUPLED & (np.abs(T[:-1] - 9.9) > 0.01)
    chain = smooth_speed(T, broken, ALL, v, SD)
    np.testing.assert_allclose(chain.posterior.mean[:, 0], v, atol=0.02)


@pytest.mark.parametrize("sd", [0.02, 0.05, 0.12])
def test_the_noise_of_a_log_is_measured_on_it(sd: float) -> None:
    t = np.arange(0.0, 60.0, 0.1)
    v = 25.0 + 0.5 * np.sin(0.5 * t) + sd * np.random.default_rng(3).standard_normal(t.size)
    found, _ = estimate_noise_and_jerk(t, np.ones(t.size - 1, dtype=bool), np.arange(t.size), v, 0.01)
    assert found == pytest.approx(sd, rel=0.15)


def test_a_livelier_hull_is_found_livelier() -> None:
    t = np.arange(0.0, 60.0, 0.1)
    noise = 0.03 * np.random.default_rng(3).standard_normal(t.size)
    calm, lively = (
        estimate_noise_and_jerk(
            t, np.ones(t.size - 1, dtype=bool), np.arange(t.size), 25.0 + a * np.sin(2.0 * t) + noise, 0.01
        )[1]
        for a in (0.02, 0.8)
    )
    assert lively > 5.0 * calm


def along_data(lag_s: float = 0.0, speeds: bool = True) -> AlongTrackData:
    v = np.interp(T, [4.0, 8.0], [12.0, 24.0])
    s = np.r_[0.0, np.cumsum(0.05 * (v[1:] + v[:-1]))]
    logged = np.interp(T - lag_s, T, v)
    m = ALL if speeds else ALL[:0]
    return AlongTrackData(
        T, np.full(T.size - 1, 5.0), ALL, s + 30.0, 0.05, m, logged[m], np.full(m.size, 0.05), lag_s
    )


def test_the_way_keeps_the_origin_of_the_positions() -> None:
    chain = smooth_along(along_data())
    assert chain.along_m[0] == pytest.approx(30.0, abs=0.3)
    assert chain.along_m[-1] - chain.along_m[0] == pytest.approx(24 * 11.9 + 18 * 4 + 12 * 4, abs=0.1)


def test_a_known_lag_of_the_speed_is_taken_out_of_it() -> None:
    data = along_data(lag_s=0.4)
    knowing, not_knowing = smooth_along(data), smooth_along(replace(data, lag_s=0.0))
    true = np.interp(T, [4.0, 8.0], [12.0, 24.0])
    middle = (T > 4.5) & (T < 7.5)
    assert np.abs(knowing.along_mps - true)[middle].max() < 0.1
    assert np.abs(not_knowing.along_mps - true)[middle].max() > 0.5


def test_positions_alone_are_enough() -> None:
    chain = smooth_along(along_data(speeds=False))
    assert np.interp(15.0, T, chain.along_mps) == pytest.approx(24.0, abs=0.05)


def test_crossings_of_a_way_run_against_the_line_are_found_too() -> None:
    forth = smooth_along(along_data())
    data = along_data()
    back = smooth_along(replace(data, along_m=-data.along_m, along_mps=-data.along_mps))
    marks = np.array([60.0, 150.0])
    np.testing.assert_allclose(back.crossing_s(-marks), forth.crossing_s(marks), atol=1e-6)
    assert np.isnan(forth.crossing_s(np.array([-5.0, 1e4]))).all()


def test_weights_pick_the_way_between_two_nodes() -> None:
    chain = smooth_along(along_data())
    weights, speed = chain.way_weights(np.array([12.03]))
    way = float(np.einsum("nd,nd->", weights[:, :, 0], chain.posterior.mean))
    origin = chain.along_m[0] - chain.posterior.mean[0, 0]
    assert way + origin == pytest.approx(float(np.interp(12.03, T, chain.along_m)))
    assert speed[0] == pytest.approx(24.0, abs=0.05)


def test_a_receiver_with_wilder_positions_leaves_the_way_less_sure() -> None:
    spans = np.zeros((T.size, 5, 1))
    spans[50, 0], spans[100, 0] = -1.0, 1.0
    usual, wild = (
        float(
            smooth_along(along_data(speeds=False), ReceiverModel(position_sd_m=sd)).posterior.covariance(
                spans
            )[0, 0]
        )
        for sd in (2.0, 6.0)
    )
    assert wild > 3.0 * usual
