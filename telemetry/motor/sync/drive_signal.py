"""Which motor quantity represents the shaft when clocks are matched, and how well.

References
----------
.. [1] D. Gerr, Propeller Handbook, 1989 (from memory): power with the cube of shaft speed in the ideal, with
   the power 2.7 on average.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.core.frames import FloatArray, MotorLog, cumulative_integral
from telemetry.motor.sync.speed_steps import Drive, integrate_drive


@dataclass(frozen=True, slots=True)
class DriveSignal:
    """A motor quantity that represents the shaft, as its power whose square follows the thrust.

    Attributes
    ----------
    column, name : str
    power : float
    power_sd : float
        Relative standard deviation of ``power``.
    """

    column: str
    name: str
    power: float
    power_sd: float


# Thrust goes with shaft speed squared in the ideal and with the power 1.7 on average (reference 1, as in the
# what-if): half of 0.15. Pack current at nearly constant volts is electrical power, which goes with shaft
# speed cubed, on average with the power 2.7. A shaft that turns with 75 to 90 % of rpm/V x volts under full
# load, and with all of it under little (common practice, no source), follows the throttle with about the
# power 0.85.
PROXIES = (
    DriveSignal("rpm", "rpm", 1.0, 0.075),
    DriveSignal("current_a", "current", 1.0 / 3.0, 0.1),
    DriveSignal("throttle_pct", "throttle", 0.85, 0.1),
)


def choose_drive_signal(motor: MotorLog, blur_s: float = 0.0) -> tuple[DriveSignal, Drive] | None:
    """Choose the quantity that follows the shaft best, scaled so that its square follows the thrust.

    Parameters
    ----------
    motor : MotorLog
    blur_s : float
        Time over which the compared speed is a mean [s]: the thrust is averaged likewise.
    """
    for proxy in PROXIES:
        values = motor.column(proxy.column)
        if values is None or np.isfinite(values).mean() < 0.5:
            continue
        if np.nanpercentile(values, 99.5) <= max(
            2.0 * np.nanmedian(np.abs(values - np.nanmedian(values))), 1e-6
        ):
            continue
        pulls = np.maximum(values, 0.0) ** proxy.power
        return proxy, integrate_drive(motor.t_s, _blurred(motor.t_s, pulls, blur_s) if blur_s else pulls)
    return None


def _blurred(t_s: FloatArray, value: FloatArray, over_s: float) -> FloatArray:
    """Compute the root mean square over a time around each sample, shape of ``value``."""
    known = np.isfinite(value)
    t, square = t_s[known], value[known] ** 2
    way = cumulative_integral(t, square)
    begin, end = (np.clip(t_s + side * 0.5 * over_s, t[0], t[-1]) for side in (-1.0, 1.0))
    mean = (np.interp(end, t, way) - np.interp(begin, t, way)) / np.maximum(end - begin, 1e-9)
    return np.sqrt(np.maximum(mean, 0.0))
