"""Exact unit conversions and the formatting used at the edges.

Inside the library everything is SI. The factors are the exact definitions of NIST SP 811 (2008), appendix B,
and the SI brochure; none is rounded.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

MILE_M: Final = 1609.344
NAUTICAL_MILE_M: Final = 1852.0
FOOT_M: Final = 0.3048
INCH_MM: Final = 25.4
POUND_KG: Final = 0.45359237
MPH_MPS: Final = MILE_M / 3600.0
KMH_MPS: Final = 1000.0 / 3600.0
KNOT_MPS: Final = NAUTICAL_MILE_M / 3600.0
SIXTEENTH_MILE_M: Final = MILE_M / 16.0


@dataclass(frozen=True, slots=True)
class Unit:
    """One display unit: ``shown = (si - offset_si) / factor_si``."""

    name: str
    factor_si: float
    decimals: int
    offset_si: float = 0.0

    def from_si(self, value: float) -> float:
        """Convert an SI value to this unit."""
        return (value - self.offset_si) / self.factor_si

    def to_si(self, value: float) -> float:
        """Convert a value in this unit to SI."""
        return value * self.factor_si + self.offset_si


SPEED_UNITS: Final[dict[str, Unit]] = {
    "mph": Unit("mph", MPH_MPS, 2),
    "km/h": Unit("km/h", KMH_MPS, 2),
    "kn": Unit("kn", KNOT_MPS, 2),
    "m/s": Unit("m/s", 1.0, 3),
}
LENGTH_UNITS: Final[dict[str, Unit]] = {
    "mm": Unit("mm", 0.001, 2),
    "in": Unit("in", INCH_MM / 1000.0, 3),
    "thou": Unit("thou", INCH_MM / 1e6, 0),
    "m": Unit("m", 1.0, 2),
    "ft": Unit("ft", FOOT_M, 1),
}
MASS_UNITS: Final[dict[str, Unit]] = {
    "kg": Unit("kg", 1.0, 3),
    "g": Unit("g", 0.001, 0),
    "lb": Unit("lb", POUND_KG, 3),
    "oz": Unit("oz", POUND_KG / 16.0, 2),
}
ANGLE_UNITS: Final[dict[str, Unit]] = {
    # The library stores degrees, so they take the place of the SI unit here.
    "deg": Unit("deg", 1.0, 2),
    "rad": Unit("rad", 180.0 / math.pi, 4),
}
CELSIUS: Final = "°C"
TEMPERATURE_UNITS: Final[dict[str, Unit]] = {
    # The library stores Celsius, so it takes the place of the SI unit here.
    CELSIUS: Unit(CELSIUS, 1.0, 1),
    "°F": Unit("°F", 5.0 / 9.0, 1, offset_si=-160.0 / 9.0),
}


def speed_text(speed_mps: float, unit: str, u95_mps: float | None = None) -> str:
    """Write a speed in a display unit, with its 95 % uncertainty when there is one.

    Parameters
    ----------
    speed_mps, u95_mps : float
        Speed and half-width of its 95 % interval [m/s].
    unit : str
        A key of :data:`SPEED_UNITS`.

    Raises
    ------
    KeyError
        If the unit is unknown; callers offer only the table's keys.

    Examples
    --------
    >>> speed_text(44.704, "mph", 0.044)
    '100.00 ± 0.10 mph'
    """
    u = SPEED_UNITS[unit]
    text = f"{u.from_si(speed_mps):.{u.decimals}f}"
    if u95_mps is not None:
        text += f" ± {u95_mps / u.factor_si:.{u.decimals}f}"
    return f"{text} {unit}"


def distance_text(distance_m: float) -> str:
    """Format a measured distance by its usual name, else in metres.

    Examples
    --------
    >>> distance_text(100.584), distance_text(250.0), distance_text(123.4567)
    ('330 ft (1/16 mile)', '250 m', '123.457 m')
    """
    named = {
        "330 ft (1/16 mile)": SIXTEENTH_MILE_M,
        "1/8 mile": MILE_M / 8,
        "1/4 mile": MILE_M / 4,
        "1 mile": MILE_M,
    }
    for name, metres in named.items():
        if abs(distance_m - metres) < 5e-4:
            return name
    return f"{distance_m:.3f}".rstrip("0").rstrip(".") + " m"


_DISTANCE_UNITS_M: Final[dict[str, float]] = {
    "": 1.0,
    "m": 1.0,
    "km": 1000.0,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "mi": MILE_M,
    "mile": MILE_M,
    "miles": MILE_M,
}
_DISTANCE = re.compile(r"(\d+(?:[.,]\d+)?)(?:\s*/\s*(\d+))?\s*([a-z]*)")


def parse_distance(text: str) -> float:
    """Parse a measured distance as a user writes it; a bare number is metres [m].

    Raises
    ------
    ValueError
        If the text is not a positive distance in m, km, ft or miles; its message is for the user.

    Examples
    --------
    >>> parse_distance("330 ft"), parse_distance("1/8 mi"), parse_distance("100")
    (100.584, 201.168, 100.0)
    """
    match = _DISTANCE.fullmatch(text.strip().lower())
    unit_m = _DISTANCE_UNITS_M.get(match[3]) if match else None
    if match is None or unit_m is None:
        raise ValueError(f"'{text}' is not a distance; write 100, '330 ft', '0.5 km' or '1/8 mi'")
    parts = int(match[2] or 1)
    metres = float(match[1].replace(",", ".")) / parts * unit_m if parts else 0.0
    if metres <= 0.0:
        raise ValueError(f"the distance must be greater than zero; '{text}' is not")
    return metres


_SPELLINGS: Final[dict[str, str]] = {
    **dict.fromkeys(('"', "″", "”", "inch", "inches"), "in"),
    **dict.fromkeys(("'", "foot", "feet"), "ft"),
    **dict.fromkeys(("mil", "mils"), "thou"),
    **dict.fromkeys(("°", "degree", "degrees", "degs"), "deg"),
    **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
    **dict.fromkeys(("gram", "grams"), "g"),
}
_MINUS: Final = str.maketrans("−–", "--")
_FRACTION = r"(?:(?P<whole>\d{1,9})\s+)?(?P<top>\d{1,9})\s*/\s*(?P<bottom>\d{1,9})"
_MEASURE = re.compile(
    rf"(?P<sign>[+-]?)\s*(?:{_FRACTION}|(?P<number>\d+(?:[.,]\d*)?|[.,]\d+))\s*(?P<unit>\S*)"
)


def _factor(unit: str, into: str) -> float | None:
    """Find the factor from ``unit`` to ``into``; None if they are of different kinds."""
    if unit == into:
        return 1.0
    for table in (LENGTH_UNITS, MASS_UNITS, ANGLE_UNITS):
        if unit in table and into in table:
            return table[unit].factor_si / table[into].factor_si
    return None


def convert(value: float, unit: str, into: str) -> float:
    """Convert a length, mass or angle from one unit of the tables into another.

    Parameters
    ----------
    value : float
        The value in ``unit``.
    unit, into : str
        Keys of one of the tables of units.

    Raises
    ------
    ValueError
        If the two are of different kinds; the message is for the user.

    Examples
    --------
    >>> round(convert(125.0, "thou", "mm"), 9), round(convert(1.0, "oz", "g"), 9)
    (3.175, 28.349523125)
    """
    factor = _factor(unit, into)
    if factor is None:
        raise ValueError(f"{unit} cannot be converted to {into}")
    return value * factor


def parse_measure(text: str, unit: str) -> float:
    """Parse a measured value as a user writes it; a bare number is in ``unit``, and so is the result.

    Raises
    ------
    ValueError
        If the text is not a number, or its unit is not of the kind of ``unit``; its message is for the user.

    Examples
    --------
    >>> parse_measure("3,2", "mm"), parse_measure("-1/8 in", "mm"), parse_measure("65 g", "kg")
    (3.2, -3.175, 0.065)
    """
    match = _MEASURE.fullmatch(text.strip().translate(_MINUS))
    if match is None or not int(match["bottom"] or 1):
        raise ValueError(f"'{text.strip()}' is not a measured value")
    if match["top"]:
        value = int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])
    else:
        value = float(match["number"].replace(",", "."))
    written = match["unit"]
    lower = written.lower()
    factor = 1.0 if written in ("", unit) else _factor(_SPELLINGS.get(lower, lower), unit)
    if factor is None:
        raise ValueError(f"'{text.strip()}': {written} cannot be converted to {unit}")
    return -value * factor if match["sign"] == "-" else value * factor
