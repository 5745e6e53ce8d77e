"""What is compared: the figures of a two-way or a pass, with their words and the difference that matters."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

from telemetry.core.units import MPH_MPS

if TYPE_CHECKING:
    from collections.abc import Mapping

Kind = Literal["two-way", "pass"]
Quantity = Literal["speed", "share", "current", "temperature"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure that two sheets are compared by.

    Attributes
    ----------
    key : str
        Its name in ``Evidence.values``, which ends in its unit.
    title : str
        What the trade calls it.
    quantity : {"speed", "share", "current", "temperature"}
        How it is shown; a share is shown in percent.
    kind : {"two-way", "pass"}
        Which evidence it stands in.
    care : float
        Difference that is taken to matter where the user does not say, SI (common practice, no source).
    up, down : str
        The verdicts for a rise and a fall.
    """

    key: str
    title: str
    quantity: Quantity
    kind: Kind
    care: float
    up: str = "higher"
    down: str = "lower"


def _speed(key: str, title: str, kind: Kind) -> Measure:
    return Measure(key, title, "speed", kind, 0.5 * MPH_MPS, "faster", "slower")


_MEASURES: Final = (
    _speed("two_way_mps", "Two-way average", "two-way"),
    _speed("peak_mps", "Peak speed", "pass"),
    _speed("held_1s_mps", "Held speed, 1 s", "pass"),
    _speed("distance_mps", "Measured distance", "pass"),
    Measure("ripple_mps", "Ripple of the speed", "speed", "pass", 0.1),
    Measure("slip", "Slip", "share", "pass", 0.02),
    Measure("peak_current_a", "Peak current", "current", "pass", 5.0),
    Measure("motor_temp_c", "Motor temperature", "temperature", "pass", 5.0),
    Measure("esc_temp_c", "Controller temperature", "temperature", "pass", 5.0),
)
MEASURES: Final[Mapping[str, Measure]] = MappingProxyType({m.key: m for m in _MEASURES})
"""Every measure by its key, in the order in which a comparison shows them."""
