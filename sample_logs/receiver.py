"""What a GNSS receiver makes of the true motion."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_logs.boats import GRAVITY_MPS2
from sample_logs.noise import gauss_markov
from sample_logs.truth import Truth
from telemetry.core.frames import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """Error model of a receiver that measures speed by Doppler.

    East and north speed errors are each white noise plus a first-order Gauss-Markov process; position errors
    likewise, with longer times. No error depends on the motion.

    Attributes
    ----------
    rate_hz : float
        Fixes a second; 1, 2, 5, 10, 18 and 25 are usual.
    white_sd_mps, coloured_sd_mps, coloured_tau_s : float
        Speed error a component. A few cm/s in open sky in all: Algorithms 2024, 17(1), 2; data sheets say
        0.05 m/s. How it splits into white and coloured is common practice, no source.
    shared_scale : float
        Relative error common to every speed of the outing (antenna tilt, the receiver's filter).
    position_white_sd_m, position_walk_sd_m, position_walk_tau_s : float
        Position error a component (common practice, no source). 1 m a component is a 95 % radius of 2.4 m.
    vertical_sd_mps, altitude_white_sd_m, altitude_walk_sd_m : float
        The vertical is two to three times worse than the horizontal (common practice, no source).
    lag_s : float
        What is stamped t describes t - lag.
    speed_decimals, position_decimals, altitude_decimals : int
        As printed: m/s, degrees, metres.
    has_vertical : bool
        Whether the log has vertical velocity.
    has_imu : bool
        Whether the log has accelerations along and up (gravity included) and pitch rate, beside each fix.
    """

    rate_hz: float = 10.0
    white_sd_mps: float = 0.04
    coloured_sd_mps: float = 0.03
    coloured_tau_s: float = 8.0
    shared_scale: float = 0.0
    position_white_sd_m: float = 0.05
    position_walk_sd_m: float = 1.2
    position_walk_tau_s: float = 120.0
    vertical_sd_mps: float = 0.10
    altitude_white_sd_m: float = 0.05
    altitude_walk_sd_m: float = 2.5
    lag_s: float = 0.0
    speed_decimals: int = 3
    position_decimals: int = 7
    altitude_decimals: int = 2
    has_vertical: bool = True
    has_imu: bool = False

    @classmethod
    def drawn(cls, rng: np.random.Generator, rate_hz: float = 10.0) -> Receiver:
        """Draw a usual receiver: the ranges are those in the code below."""
        return cls(
            rate_hz=rate_hz,
            white_sd_mps=rng.uniform(0.02, 0.06),
            coloured_sd_mps=rng.uniform(0.02, 0.05),
            coloured_tau_s=float(np.exp(rng.uniform(np.log(3.0), np.log(20.0)))),
            shared_scale=rng.normal(0.0, 2e-4),
            position_white_sd_m=rng.uniform(0.02, 0.15),
            position_walk_sd_m=rng.uniform(1.0, 2.0),
            position_walk_tau_s=rng.uniform(60.0, 300.0),
            vertical_sd_mps=rng.uniform(0.08, 0.12),
            lag_s=rng.uniform(0.0, 0.05),
        )


def observe(
    rng: np.random.Generator, receiver: Receiver, truth: Truth
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Sample the truth as the receiver would, before any fault.

    Returns
    -------
    t_s : ndarray, shape (n,)
        Stamps, from 0.
    columns : dict of str to ndarray, shape (n,)
        By the names of the track frame.
    """
    n = math.floor(truth.t_s[-1] * receiver.rate_hz) + 1
    t = np.arange(n) / receiver.rate_hz
    at = t - receiver.lag_s
    step = 1 / receiver.rate_hz

    def component(name: str) -> FloatArray:
        return np.asarray(
            truth.at(name, at) * (1 + receiver.shared_scale)
            + receiver.white_sd_mps * rng.standard_normal(n)
            + gauss_markov(rng, n, step, receiver.coloured_sd_mps, receiver.coloured_tau_s)
        )

    def place(name: str) -> FloatArray:
        return np.asarray(
            truth.at(name, at)
            + receiver.position_white_sd_m * rng.standard_normal(n)
            + gauss_markov(rng, n, step, receiver.position_walk_sd_m, receiver.position_walk_tau_s)
        )

    ve, vn = component("east_mps"), component("north_mps")
    lat, lon = truth.frame.to_geodetic(place("east_m"), place("north_m"))
    altitude = (
        4.0
        + truth.at("heave_m", at)
        + receiver.altitude_white_sd_m * rng.standard_normal(n)
        + gauss_markov(rng, n, step, receiver.altitude_walk_sd_m, receiver.position_walk_tau_s)
    )
    columns = {
        "lat_deg": np.round(lat, receiver.position_decimals),
        "lon_deg": np.round(lon, receiver.position_decimals),
        "alt_m": np.round(altitude, receiver.altitude_decimals),
        "speed_mps": np.round(np.hypot(ve, vn), receiver.speed_decimals),
        "course_deg": np.round(np.degrees(np.arctan2(ve, vn)) % 360.0, 2) % 360.0,
    }
    vertical = truth.at("vertical_mps", at) + receiver.vertical_sd_mps * rng.standard_normal(n)
    if receiver.has_vertical:
        columns["vertical_mps"] = np.round(vertical, receiver.speed_decimals)
    if receiver.has_imu:
        columns |= _inertial(rng, truth, t)
    walk = gauss_markov(rng, n, step, 0.12, 60.0)
    columns["hdop"] = np.round(np.clip(0.8 + walk, 0.5, 2.0), 2)
    columns["satellites"] = np.round(np.clip(15 - 10 * walk, 6, 24))
    return t, columns


def _inertial(rng: np.random.Generator, truth: Truth, t_s: FloatArray) -> dict[str, FloatArray]:
    """Accelerations and pitch rate of the hull, without lag (noise: common practice, no source)."""

    def rate(values: FloatArray, sd: float) -> FloatArray:
        exact = np.interp(t_s, truth.t_s, np.gradient(values, truth.t_s))
        return np.round(exact + sd * rng.standard_normal(len(t_s)), 3)

    return {
        "ax_mps2": rate(truth.water_mps, 0.3),
        "az_mps2": rate(truth.vertical_mps, 0.5) + GRAVITY_MPS2,
        "gy_dps": rate(truth.pitch_deg, 1.5),
    }
