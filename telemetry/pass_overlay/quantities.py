"""The quantities of an overlay, one row of plots each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from telemetry.core.units import SPEED_UNITS, Unit


@dataclass(frozen=True, slots=True)
class OverlayQuantity:
    """One row of an overlay: its title, and the usual display unit of its SI values."""

    title: str
    unit: Unit


SPEED: Final = "speed_mps"
SLIP: Final = "slip"
RIPPLE: Final = "ripple "
"""Prefix of the column whose ripple it is."""

# In the order of the rows. Which signal shows the hull's vertical motion depends on the log, and the ripples
# of two signals cannot be compared: each has a row of its own.
QUANTITIES: Final[Mapping[str, OverlayQuantity]] = {
    SPEED: OverlayQuantity("Speed", SPEED_UNITS["m/s"]),
    "current_a": OverlayQuantity("Current", Unit("A", 1.0, 1)),
    "voltage_v": OverlayQuantity("Pack voltage", Unit("V", 1.0, 2)),
    "rpm": OverlayQuantity("Shaft speed", Unit("rpm", 1.0, 0)),
    SLIP: OverlayQuantity("Slip", Unit("%", 0.01, 1)),
    f"{RIPPLE}vertical_mps": OverlayQuantity("Vertical ripple", Unit("m/s", 1.0, 2)),
    f"{RIPPLE}az_mps2": OverlayQuantity("Ripple of the upward acceleration", Unit("m/s²", 1.0, 1)),
    f"{RIPPLE}gy_dps": OverlayQuantity("Ripple of the pitch rate", Unit("°/s", 1.0, 1)),
    f"{RIPPLE}alt_m": OverlayQuantity("Ripple of the altitude", Unit("m", 1.0, 2)),
}
