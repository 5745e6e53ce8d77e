"""The banded smoother against plain dense algebra."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.kinematics.banded import (
    Chain,
    jerk_precision,
    jerk_transition,
    snap_covariance,
    snap_transition,
)

DT = np.array([0.1, 0.35, 1.0])


def integrated(dt: float, order: int) -> np.ndarray:
    """Covariance of an ``order`` times integrated white noise over a step, by fine sums."""
    s = (np.arange(20000) + 0.5) / 20000 * dt
    powers = [(dt - s) ** k / [1.0, 1.0, 2.0][k] for k in range(order - 1, -1, -1)]
    return np.array([[float(np.sum(a * b) * dt / 20000) for b in powers] for a in powers])


def test_the_precisions_invert_the_covariances_of_integrated_noise() -> None:
    for dt, jerk, snap in zip(DT, jerk_precision(DT), np.linalg.inv(snap_covariance(DT)), strict=True):
        np.testing.assert_allclose(jerk @ integrated(dt, 2), np.eye(2), atol=1e-5)
        np.testing.assert_allclose(snap @ integrated(dt, 3), np.eye(3), atol=1e-4)


def test_the_transitions_carry_a_parabola() -> None:
    for dt, jerk, snap in zip(DT, jerk_transition(DT), snap_transition(DT), strict=True):
        np.testing.assert_allclose(jerk @ [3.0, 2.0], [3.0 + 2.0 * dt, 2.0])
        np.testing.assert_allclose(snap @ [1.0, 3.0, 2.0], [1 + 3 * dt + dt**2, 3 + 2 * dt, 2.0])


def small_chain() -> tuple[Chain, np.ndarray, np.ndarray]:
    """Four nodes, a break after the second; with its dense precision and right-hand side."""
    coupled = np.array([True, False, True])
    f, p = jerk_transition(DT), jerk_precision(DT)
    node, z, r = np.array([0, 1, 2, 3]), np.array([1.0, 1.4, 7.0, 6.0]), np.array([4.0, 2.0, 1.0, 3.0])
    chain = Chain(4, 2)
    chain.step(slice(0, 2), f, p, coupled)
    chain.prior(slice(None), 1, 0.3, mean=0.5)
    chain.observe(node, np.array([1.0, 0.2]), z, r)

    dense, rhs = np.zeros((8, 8)), np.zeros(8)
    for k in np.flatnonzero(coupled):
        g = np.zeros((2, 8))
        g[:, 2 * k : 2 * k + 2], g[:, 2 * k + 2 : 2 * k + 4] = -f[k], np.eye(2)
        dense += g.T @ p[k] @ g
    for k in range(4):
        h = np.zeros(8)
        h[2 * k], h[2 * k + 1] = 1.0, 0.2
        dense += r[k] * np.outer(h, h)
        rhs += r[k] * z[k] * h
        dense[2 * k + 1, 2 * k + 1] += 0.3
        rhs[2 * k + 1] += 0.3 * 0.5
    return chain, dense, rhs


def test_the_mean_and_determinant_are_those_of_the_dense_system() -> None:
    chain, dense, rhs = small_chain()
    posterior = chain.solve()
    np.testing.assert_allclose(posterior.mean.ravel(), np.linalg.solve(dense, rhs), rtol=1e-9)
    assert posterior.half_log_det == pytest.approx(0.5 * np.linalg.slogdet(dense)[1])


def test_covariances_of_weighted_sums_are_those_of_the_dense_inverse() -> None:
    chain, dense, _ = small_chain()
    weights = np.random.default_rng(2).normal(size=(4, 2, 3))
    flat = weights.reshape(8, 3)
    np.testing.assert_allclose(
        chain.solve().covariance(weights), flat.T @ np.linalg.inv(dense) @ flat, rtol=1e-9
    )


def test_draws_scatter_as_the_covariance_says() -> None:
    chain, dense, _ = small_chain()
    posterior = chain.solve()
    drawn = posterior.sample(np.random.default_rng(4).standard_normal((8, 40000))).reshape(8, -1)
    np.testing.assert_allclose(drawn.mean(axis=1), posterior.mean.ravel(), atol=0.05)
    expected = np.linalg.inv(dense)
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    np.testing.assert_allclose(np.cov(drawn) / scale, expected / scale, atol=0.03)


def test_what_lies_beyond_a_break_has_no_say() -> None:
    chain, _, _ = small_chain()
    other, _, _ = small_chain()
    other.observe(np.array([3]), np.array([1.0, 0.0]), np.array([500.0]), np.array([9.0]))
    before, after = chain.solve().mean, other.solve().mean
    np.testing.assert_allclose(after[:2], before[:2])
    assert after[3, 0] > before[3, 0] + 100.0


def test_a_state_that_nothing_determines_is_an_error() -> None:
    chain = Chain(2, 2)
    chain.observe(np.array([0]), np.array([1.0, 0.0]), np.array([1.0]), np.array([1.0]))
    with pytest.raises(np.linalg.LinAlgError):
        chain.solve()
