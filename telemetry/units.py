"""Exact unit conversions and the formatting used at the edges.

Inside the library everything is SI. The factors are the exact definitions of NIST SP 811 (2008), appendix B,
and the SI brochure; none is rounded.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

MILE_M: Final = 1609.344
NAUTICAL_MILE_M: Final = 1852.0
FOOT_M: Final = 0.3048
INCH_MM: Final = 25.4
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
TEMPERATURE_UNITS: Final[dict[str, Unit]] = {
    # Celsius is what the library stores, so it plays the part of the SI side here.
    "°C": Unit("°C", 1.0, 1),
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
    """Name a measured distance the way the trade does, metres otherwise.

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


def distance_from_text(text: str) -> float:
    """Read a measured distance as a user writes it; a bare number is metres [m].

    Raises
    ------
    ValueError
        If the text is no positive distance in m, km, ft or miles; its message is for the user.

    Examples
    --------
    >>> distance_from_text("330 ft"), distance_from_text("1/8 mi"), distance_from_text("100")
    (100.584, 201.168, 100.0)
    """
    match = _DISTANCE.fullmatch(text.strip().lower())
    unit_m = _DISTANCE_UNITS_M.get(match[3]) if match else None
    if match is None or unit_m is None:
        raise ValueError(f"'{text}' is no distance; write 100, '330 ft', '0.5 km' or '1/8 mi'")
    parts = int(match[2] or 1)
    metres = float(match[1].replace(",", ".")) / parts * unit_m if parts else 0.0
    if metres <= 0.0:
        raise ValueError(f"'{text}' is no distance: it must be longer than nothing")
    return metres
