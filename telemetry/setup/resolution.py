"""Detection limits: the difference that two measurements of one item can resolve."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from telemetry.core.stats import Z95
from telemetry.setup.gauges import Reading
from telemetry.setup.items import Item

_ROUNDING: Final = 1e-6  # of the limit: 3.3 - 3.0 is one step of 0.3 and not more, in inches too
_NOTHING: Final = 1e-9  # between two counts or two printed values


@dataclass(frozen=True, slots=True)
class DetectionLimit:
    """The largest difference that two gauges can show for something that did not move.

    Attributes
    ----------
    u95 : float
        1.96 times the standard uncertainty of the difference: each reading's resolution as q/√12 and its
        known scatter, combined as independent (JCGM 100, 5.1.2).
    half_widths : float
        Half a step of both gauges together: what their steps alone can show without any movement (JCGM 100,
        F.2.2.1). One step of two equal gauges is therefore not a movement.
    """

    u95: float
    half_widths: float

    @property
    def value(self) -> float:
        """The larger of the two."""
        return max(self.u95, self.half_widths)

    def tells(self, difference: float) -> bool:
        """Whether a difference is larger than the gauges can show without a movement."""
        return abs(difference) > max(self.value * (1.0 + _ROUNDING), _NOTHING)


def detection_limit(item: Item, first: Reading, second: Reading) -> DetectionLimit:
    """Combine the resolutions of two readings of an item.

    Parameters
    ----------
    item : Item
        Its unit is that of the result, and its usual gauge is used if a reading names none.
    first, second : Reading
        The order does not matter.

    Returns
    -------
    DetectionLimit
        In the item's unit.

    References
    ----------
    JCGM 100:2008, 4.3.7, 5.1.2, F.2.2.1.

    Examples
    --------
    >>> from telemetry.setup.catalogue import ITEMS
    >>> from telemetry.setup.gauges import CALIPER, RULE
    >>> limit = detection_limit(ITEMS["strut_depth_mm"], Reading(3.0, RULE), Reading(3.4, CALIPER))
    >>> round(limit.u95, 3), round(limit.half_widths, 3), limit.tells(0.4)
    (0.288, 0.3, True)
    """
    gauges = [item.gauge_of(reading) for reading in (first, second)]
    u = math.hypot(*(gauge.u(item.unit) for gauge in gauges))
    return DetectionLimit(Z95 * u, sum(gauge.half_width(item.unit) for gauge in gauges))


def same_text(a: object, b: object) -> bool:
    """Whether two values are equal, ignoring blanks and capitals; flags and choices too.

    Examples
    --------
    >>> same_text("Sharpened  by me", "sharpened by me"), same_text(True, False)
    (True, False)
    """
    return " ".join(str(a).split()).casefold() == " ".join(str(b).split()).casefold()
