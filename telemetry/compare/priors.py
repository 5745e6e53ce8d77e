"""Priors of the comparison's model, in one place.

All are weak and, where no source is named, common practice without a source. Ratios are to the scatter within
an outing (days, outings) or to the total scatter of one two-way (drift, places, sheets), so that they hold
for every measure and unit.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from telemetry.compare.posterior import Axis, half_t_axis

if TYPE_CHECKING:
    from collections.abc import Mapping

_RATIOS: Final = (0.0, 0.25, 0.5, 0.9, 1.5, 2.4, 4.0, 7.5, 14.0)
OUTING_AXIS: Final[Axis] = half_t_axis(_RATIOS, scale=0.7)
"""Outings of one day and place share water and wind already: they differ by less than two-ways do."""
DAY_AXIS: Final[Axis] = half_t_axis(_RATIOS, scale=1.0, df=0.5)
"""Days can differ by many times what two-ways do: the tail is heavier than a half-Cauchy's."""
DRIFT_AXIS: Final[Axis] = half_t_axis((0.0, 0.02, 0.05, 0.1, 0.2, 0.4), scale=0.1)
"""Change from one day of running to the next: trend, and step of a random walk about it."""
PLACE_AXIS: Final[Axis] = half_t_axis((0.0, 0.3, 0.7, 1.5, 4.0), scale=0.7)
SHEET_AXIS: Final[Axis] = half_t_axis((0.0, 0.1, 0.2, 0.4, 0.7, 1.2, 2.5, 6.0), scale=0.7)
"""How far the sheets of one boat differ."""

RESPONSE_AXIS: Final[Axis] = half_t_axis((0.0, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0), scale=2.0)
"""How far sheets differ that were made by turning numbers: people turn what moves the speed."""

WALK_TERMS: Final = 6
"""Terms of the random walk's expansion: slower changes than a sixth of the season are followed."""

VOLTS_POWER: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "speed": (1.0, 0.5),
        "current": (2.0, 1.0),
        "ripple": (0.0, 1.0),
        "share": (0.0, 0.5),
        "temperature": (0.0, 1.0),
    }
)
"""Relative change of a measure for a relative change of the pack's voltage, mean and standard deviation.

A brushless motor's speed is proportional to its voltage and a propeller's at constant slip to the shaft's, so
that speed goes with the first power, and the current of a load that grows with the square of the speed with
the second; sag, slip and cavitation make the spread.
"""

ORDER_SCALE: Final = 1.0
"""Standard deviation of the change from one two-way to the next, in scatters within an outing."""
CONDITION_SCALE: Final = 5.0
"""Standard deviation of a slope on wind, or of a step between names, in scatters within an outing."""

SPOILED_PRIOR: Final = 0.02
"""How often an outing is spoiled by weed, a slipping coupling or a wet connector."""
