"""Measuring tools and their uncertainty.

A gauge of resolution q shows one mark for everything within half a mark of it: the value is anywhere in
``± q/2`` with equal chance, a standard uncertainty of q/√12. The scatter of repeated measurements (hinge
slop, how the hull sits on the plate) is added if the user knows it.

References
----------
JCGM 100:2008, 4.3.7 and F.2.2.1 (resolution), 5.1.2 (independent contributions combined).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from telemetry.core.errors import SetupError
from telemetry.core.stats import Z95
from telemetry.core.units import convert


@dataclass(frozen=True, slots=True)
class Gauge:
    """A measuring tool.

    Attributes
    ----------
    name : str
        Usual name: feeler gauge, caliper, scale.
    resolution : float
        Smallest step it shows, in ``unit``; 0 for counted values.
    unit : str
        Unit of ``resolution`` and ``sd``.
    sd : float
        Standard deviation of repeated measurements, in ``unit``, if known.
    """

    name: str
    resolution: float
    unit: str
    sd: float = 0.0

    def __post_init__(self) -> None:
        """Raise for an impossible gauge."""
        for what, value in (("resolution", self.resolution), ("scatter", self.sd)):
            if not 0.0 <= value < math.inf:
                raise SetupError(
                    f"a {what} of {value:g} {self.unit} is impossible",
                    place=f"gauge {self.name}",
                    hint="write the smallest step that the gauge shows, 0 for a count",
                )

    def half_width(self, unit: str) -> float:
        """Return half a step, in another unit of the same kind.

        Raises
        ------
        SetupError
            If the gauge measures another kind of quantity.
        """
        return self._in(self.resolution, unit) / 2.0

    def u(self, unit: str) -> float:
        """Return the standard uncertainty of one reading, in another unit of the same kind.

        Raises
        ------
        SetupError
            If the gauge measures another kind of quantity.

        Examples
        --------
        >>> round(Gauge("rule", 1.0, "mm").u("mm"), 4)
        0.2887
        """
        return math.hypot(self._in(self.resolution, unit) / math.sqrt(12.0), self._in(self.sd, unit))

    def text(self) -> str:
        """Format the gauge's name with its resolution.

        Examples
        --------
        >>> Gauge("feeler gauge", 0.05, "mm").text()
        'feeler gauge, 0.05 mm'
        """
        scatter = f", repeats within {Z95 * self.sd:.2g} {self.unit} (95 %)" if self.sd else ""
        return (f"{self.name}, {self.resolution:g} {self.unit}" if self.resolution else self.name) + scatter

    def to_dict(self) -> dict[str, Any]:
        """Convert to plain types."""
        return {"name": self.name, "resolution": self.resolution, "unit": self.unit, "sd": self.sd}

    def _in(self, value: float, unit: str) -> float:
        try:
            return convert(value, self.unit, unit)
        except ValueError as error:
            raise SetupError(
                f"it measures {self.unit}, and {error}",
                place=f"gauge {self.name}",
                hint="name a gauge that measures this quantity",
            ) from None


FEELER: Final = Gauge("feeler gauge", 0.05, "mm")
CALIPER: Final = Gauge("caliper", 0.1, "mm")
RULE: Final = Gauge("steel rule", 0.5, "mm")
TAPE: Final = Gauge("tape measure", 1.0, "mm")
PROTRACTOR: Final = Gauge("angle gauge", 0.1, "deg")
SCALE: Final = Gauge("scale", 0.001, "kg")
COUNT: Final = Gauge("count", 0.0, "1")
GAUGES: Final = (FEELER, CALIPER, RULE, TAPE, PROTRACTOR, SCALE)
"""Gauges found on a bench, for a form to offer (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One value and the gauge that measured it.

    Attributes
    ----------
    value : float, str or bool
        In the item's own unit; text for texts and choices, True or False for a flag.
    gauge : Gauge or None
        None if unknown; the item's usual gauge is then used, and that is stated.
    """

    value: float | str | bool
    gauge: Gauge | None = None
