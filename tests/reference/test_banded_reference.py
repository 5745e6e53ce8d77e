"""The smoother against scipy's smoothing spline and statsmodels' Kalman smoother."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import make_smoothing_spline
from statsmodels.tsa.statespace.mlemodel import MLEModel

from telemetry.kinematics.banded import (
    Chain,
    jerk_precision,
    jerk_transition,
    snap_covariance,
    snap_transition,
)
from telemetry.kinematics.models import smooth_speed


def test_one_round_is_the_cubic_smoothing_spline() -> None:
    # Wahba 1978: the minimiser of sum (z - f)² / sd² + integral f''² / q is the posterior mean when the slope
    # is a random walk of density q; scipy minimises sum (z - f)² + lam integral f''², so lam = sd² / q.
    rng = np.random.default_rng(4)
    t = np.cumsum(rng.uniform(0.05, 0.3, 120))
    z = 30.0 + 3.0 * np.sin(t / 2.0) + rng.normal(0.0, 0.05, t.size)
    sd, density = 0.05, 2.0
    chain = smooth_speed(
        t, np.ones(t.size - 1, dtype=bool), np.arange(t.size), z, np.full(t.size, sd), density, rounds=1
    )
    spline = make_smoothing_spline(t, z, lam=sd**2 / density)
    # The vague priors that keep the ends from floating pull by less than a micrometre a second.
    np.testing.assert_allclose(chain.posterior.mean[:, 0], spline(t), atol=1e-5)
    np.testing.assert_allclose(chain.posterior.mean[:, 1], spline.derivative()(t), atol=1e-3)


class _Motion(MLEModel):
    """Way, speed and acceleration seen through noisy ways and speeds, as statsmodels writes it."""

    def __init__(self, z: np.ndarray, dt: float, density: float, sd: tuple[float, float], sd0: float) -> None:
        super().__init__(z, k_states=3, k_posdef=3)
        self["design"] = np.eye(2, 3)
        self["obs_cov"] = np.diag(np.square(sd))
        self["transition"] = snap_transition(np.array([dt]))[0]
        self["selection"] = np.eye(3)
        self["state_cov"] = density * snap_covariance(np.array([dt]))[0]
        self.initialize_known(np.zeros(3), np.eye(3) * sd0**2)


def test_mean_and_variance_are_those_of_the_kalman_smoother() -> None:
    rng = np.random.default_rng(7)
    n, dt, density, sd, sd0 = 60, 0.1, 3.0, (0.3, 0.05), 100.0
    speed = 20.0 + np.cumsum(rng.normal(0.0, 0.05, n))
    way = np.cumsum(speed) * dt
    z = np.column_stack([way + rng.normal(0.0, sd[0], n), speed + rng.normal(0.0, sd[1], n)])
    expected = _Motion(z, dt, density, sd, sd0).smooth([])
    steps = np.full(n - 1, dt)
    chain = Chain(n, 3)
    chain.step(
        slice(0, 3),
        snap_transition(steps),
        np.linalg.inv(snap_covariance(steps) * density),
        np.ones(n - 1, dtype=bool),
    )
    for state in range(3):
        chain.prior(0, state, sd0**-2)
    node = np.arange(n)
    for k in (0, 1):
        chain.observe(node, np.eye(3)[k], z[:, k], np.full(n, sd[k] ** -2.0))
    posterior = chain.solve()
    np.testing.assert_allclose(posterior.mean, expected.smoothed_state.T, atol=1e-4)
    pick = np.zeros((n, 3, 3))
    for m, (k, state) in enumerate([(0, 0), (30, 1), (59, 2)]):
        pick[k, state, m] = 1.0
    ours = np.diag(posterior.covariance(pick))
    theirs = [expected.smoothed_state_cov[s, s, k] for k, s in [(0, 0), (30, 1), (59, 2)]]
    np.testing.assert_allclose(ours, theirs, rtol=1e-4)


def test_draws_spread_as_the_covariance_says() -> None:
    n = 40
    steps = np.full(n - 1, 0.1)
    chain = Chain(n, 2)
    chain.step(slice(0, 2), jerk_transition(steps), jerk_precision(steps), np.ones(n - 1, dtype=bool))
    chain.prior(slice(None), 1, 1e-2)
    chain.observe(np.arange(n), np.array([1.0, 0.0]), np.zeros(n), np.full(n, 400.0))
    posterior = chain.solve()
    drawn = posterior.sample(np.random.default_rng(0).standard_normal((2 * n, 20_000)))[:, 0]
    pick = np.zeros((n, 2, 2))
    pick[10, 0, 0] = pick[12, 0, 1] = 1.0
    # 20 000 draws fix a variance to 1 %, three standard deviations of which are allowed.
    np.testing.assert_allclose(np.cov(drawn[[10, 12]]), posterior.covariance(pick), rtol=0.04)


@pytest.mark.parametrize("dt", [0.04, 0.1, 1.0])
def test_process_noise_is_the_covariance_of_integrated_white_noise(dt: float) -> None:
    # Rasmussen & Williams, Gaussian Processes for Machine Learning (2006), B.2; here by direct integration.
    u = np.linspace(0.0, dt, 200_001)
    gains = [(dt - u) ** 2 / 2.0, dt - u, np.ones_like(u)]
    covariance = np.array([[np.trapezoid(a * b, u) for b in gains] for a in gains])
    np.testing.assert_allclose(snap_covariance(np.array([dt]))[0], covariance, rtol=1e-6)
    np.testing.assert_allclose(jerk_precision(np.array([dt]))[0] @ covariance[1:, 1:], np.eye(2), atol=1e-5)
