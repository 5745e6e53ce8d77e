"""Which motor quantity stands for the shaft when clocks are joined, and how well.

References
----------
.. [1] D. Gerr, Propeller Handbook, 1989 (from memory): power with the cube of shaft speed in the ideal, with
   the power 2.7 on average.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.frames import MotorLog
from telemetry.increments import Driver, driver


@dataclass(frozen=True, slots=True)
class Proxy:
    """A motor quantity that stands for the shaft, as its power whose square follows the thrust.

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
    Proxy("rpm", "rpm", 1.0, 0.075),
    Proxy("current_a", "current", 1.0 / 3.0, 0.1),
    Proxy("throttle_pct", "throttle", 0.85, 0.1),
)


def driver_of(motor: MotorLog) -> tuple[Proxy, Driver] | None:
    """Take the quantity that follows the shaft best, scaled so that its square follows the thrust."""
    for proxy in PROXIES:
        values = motor.column(proxy.column)
        if values is None or np.isfinite(values).mean() < 0.5:
            continue
        if np.nanpercentile(values, 99.5) <= max(
            2.0 * np.nanmedian(np.abs(values - np.nanmedian(values))), 1e-6
        ):
            continue
        return proxy, driver(motor.t_s, np.maximum(values, 0.0) ** proxy.power)
    return None
