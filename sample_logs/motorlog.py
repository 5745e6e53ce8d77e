"""What the motor controller logs of the true power train, on its own clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_logs.boats import Boat
from sample_logs.truth import Truth
from telemetry.core.frames import FloatArray


@dataclass(frozen=True, slots=True)
class MotorClock:
    """How the controller's clock stands to the speed log's: ``t (1 + drift_ppm 1e-6) + offset_s``."""

    offset_s: float
    drift_ppm: float

    def to_speed_log(self, motor_s: FloatArray) -> FloatArray:
        """Motor time to seconds after the speed log's start, any shape [s]."""
        return np.asarray(motor_s * (1 + self.drift_ppm * 1e-6) + self.offset_s)

    def from_speed_log(self, t_s: float) -> float:
        """Invert :meth:`to_speed_log` [s]."""
        return (t_s - self.offset_s) / (1 + self.drift_ppm * 1e-6)


def log_motor(
    rng: np.random.Generator, boat: Boat, truth: Truth, clock: MotorClock, rate_hz: float, after_s: float
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Sample the truth as a controller would.

    Resolutions and noise (0.02 V, 1 % + 0.4 A, 10 electrical rpm, 1 degree) are common practice, no source.

    Returns
    -------
    t_s : ndarray, shape (n,)
        On the controller's clock, from 0 at power-on until ``after_s`` past the speed log's end.
    columns : dict of str to ndarray, shape (n,)
        By the names of the motor frame.
    """
    n = max(int(clock.from_speed_log(float(truth.t_s[-1]) + after_s) * rate_hz), 2)
    t = np.arange(n) / rate_hz
    at = clock.to_speed_log(t)

    def noisy(name: str, sd: float, share: float, step: float) -> FloatArray:
        values = truth.at(name, at)
        noise = sd * rng.standard_normal(n) + share * values * rng.standard_normal(n)
        return np.asarray(np.round((values + noise) / step) * step)

    rpm_step = 10.0 / boat.pole_pairs
    rpm = noisy("rpm", 0.0, 0.002, rpm_step)
    columns: dict[str, FloatArray] = {
        "voltage_v": np.round(noisy("voltage_v", 0.02, 0.0, 0.01), 2),
        "current_a": np.round(noisy("current_a", 0.4, 0.01, 0.1).clip(min=0.0), 1),
        "rpm": rpm.clip(min=0.0),
        "throttle_pct": np.round(noisy("throttle_pct", 0.0, 0.0, 1.0)),
        "esc_temp_c": np.round(truth.at("esc_temp_c", at)),
        "motor_temp_c": np.round(truth.at("motor_temp_c", at)),
        "charge_mah": np.round(truth.at("charge_mah", at)),
    }
    return t, columns
