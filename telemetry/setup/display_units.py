"""Units and signs in which one user sees the values of the bench."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from telemetry.core.errors import SetupError
from telemetry.core.units import ANGLE_UNITS, LENGTH_UNITS, MASS_UNITS, Unit, convert, parse_measure
from telemetry.setup.catalogue import ITEMS
from telemetry.setup.gauges import GAUGES, Gauge, Reading
from telemetry.setup.items import Item
from telemetry.setup.parse import parse_measure_value, reading_of

if TYPE_CHECKING:
    from collections.abc import Mapping

BENCH_LENGTHS: Final = ("mm", "in", "thou")
BENCH_MASSES: Final = ("kg", "g", "lb", "oz")

SIGNS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "strut-depth": ("strut_depth_mm",),
        "strut-angle": ("strut_angle_deg",),
        "tab-gap": tuple(name for name in ITEMS if name.startswith("tab_gap_")),
        "rudder-toe": ("rudder_toe_deg",),
        "rudder-plumb": ("rudder_plumb_deg",),
        "fin-toe": tuple(name for name in ITEMS if name.startswith("turn_fin_") and name.endswith("_deg")),
    }
)
"""The signs that some users count the other way round, each with its items."""


@dataclass(frozen=True, slots=True)
class BenchDisplay:
    """One user's units and signs for the bench.

    Attributes
    ----------
    length, mass : str
        A unit of :data:`BENCH_LENGTHS` and of :data:`BENCH_MASSES`.
    turned : frozenset of str
        Keys of :data:`SIGNS` that this user counts the other way round.

    Raises
    ------
    SetupError
        If there is no such unit or sign.
    """

    length: str = "mm"
    mass: str = "kg"
    turned: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Raise for an unknown unit or sign."""
        chosen = ((self.length, BENCH_LENGTHS, "length"), (self.mass, BENCH_MASSES, "mass"))
        for unit, known, place in (*chosen, *((key, tuple(SIGNS), "sign") for key in self.turned)):
            if unit not in known:
                raise SetupError(f"there is no unit {unit!r} for {place}", place=place, hint=", ".join(known))

    def unit(self, item: Item) -> str:
        """Return the unit in which an item is shown; empty for an item without one."""
        return "" if item.unit == "1" else {"mm": self.length, "kg": self.mass}.get(item.unit, item.unit)

    def sign(self, item: Item) -> str:
        """Describe how an item is measured and what a positive value means, in this user's sign."""
        return item.other_sign if self._turns(item) and item.other_sign else item.sign

    def shown(self, item: Item, value: float) -> float:
        """Convert a value to this user's unit and sign."""
        turned = -value if self._turns(item) else value
        return self.size(item, turned)

    def size(self, item: Item, amount: float) -> float:
        """Convert an amount, such as a resolution, to this user's unit."""
        return convert(amount, item.unit, self.unit(item)) if self.unit(item) else amount

    def inside(self, item: Item, text: str) -> float:
        """Parse a value as this user writes it; another unit may follow it.

        Raises
        ------
        SetupError
            With the item.
        """
        unit = self.unit(item)
        try:
            value = parse_measure(text, unit or "1")
        except ValueError as error:
            raise SetupError(
                str(error), place=item.title, hint=f"write a number of {unit}, or one with its unit"
            ) from None
        value = convert(value, unit, item.unit) if unit else value
        return -value if self._turns(item) else value

    def text(self, item: Item, reading: Reading | None) -> str:
        """Format a reading with its unit.

        Examples
        --------
        >>> BenchDisplay(length="thou").text(ITEMS["strut_depth_mm"], Reading(3.175))
        '125 thou'
        """
        if reading is None:
            return "–"
        if isinstance(reading.value, bool):
            return "yes" if reading.value else "no"
        if isinstance(reading.value, str):
            return reading.value
        return self._number(item, self.shown(item, reading.value))

    def amount(self, item: Item, amount: float) -> str:
        """Format an amount without a sign, such as how far something moves."""
        return self._number(item, abs(self.size(item, amount)))

    def _number(self, item: Item, value: float) -> str:
        unit = self.unit(item)
        shown_unit: Unit | None = next(
            (t[unit] for t in (LENGTH_UNITS, MASS_UNITS, ANGLE_UNITS) if unit in t), None
        )
        # At least one decimal, apart from trailing zeros: half a thou on a fine gauge is not cut off.
        digits = f"{value:.{3 if shown_unit is None else max(shown_unit.decimals, 1)}f}"
        digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
        return f"{'0' if digits == '-0' else digits} {unit}".strip()

    def _turns(self, item: Item) -> bool:
        return any(item.name in SIGNS[key] for key in self.turned)


def parse_reading(item: Item, text: str, showing: BenchDisplay, gauge: str = "") -> Reading:
    """Parse what a user typed for an item: a value in their unit and sign, and after ``@`` the gauge.

    Parameters
    ----------
    item : Item
    text : str
        Such as ``3.2``, ``1/8 in@caliper`` or ``3.2@0.02``; what follows ``@`` is a gauge of
        :data:`~telemetry.setup.gauges.GAUGES` or a resolution.
    showing : BenchDisplay
        The user's units and signs.
    gauge : str
        The gauge, if it was typed separately.

    Raises
    ------
    SetupError
        With the item.

    Examples
    --------
    >>> parse_reading(ITEMS["strut_depth_mm"], "1/8 in@caliper", BenchDisplay()).value
    3.175
    """
    if not item.is_measured:
        return reading_of(text.strip(), item)
    value, _, after = text.partition("@")
    return item.check(Reading(showing.inside(item, value), gauge_of_text(item, gauge or after, showing)))


def gauge_of_text(item: Item, text: str, showing: BenchDisplay) -> Gauge | None:
    """Parse the gauge that a user names for an item: one of ``GAUGES``, or its smallest step; None if empty.

    Parameters
    ----------
    item : Item
        The item that the gauge measures.
    text : str
        What the user typed.
    showing : BenchDisplay
        The user's units and signs.

    Raises
    ------
    SetupError
        With the item.

    Examples
    --------
    >>> gauge_of_text(ITEMS["strut_depth_mm"], "1 thou", BenchDisplay()).text()
    'gauge, 0.0254 mm'
    """
    stripped = text.strip()
    unit = showing.unit(item) or "1"
    named = next((known for known in GAUGES if known.name == stripped), None)
    if named is None and stripped:
        number = parse_measure_value(stripped, unit, f"{item.title}, gauge")
        named = Gauge("gauge", convert(number, unit, item.unit), item.unit)
    return named
