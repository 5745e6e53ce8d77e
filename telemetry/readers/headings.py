"""Which heading of a table means which quantity in which unit: the heading map.

The spellings are those of :mod:`telemetry.readers.heading_names`; a heading is compared without case, accents
and punctuation. Units come from brackets (``Voltage [V]``, ``Curr(A)``), from the heading's end
(``speed_mps``, ``speedMps``, ``ESC temp °C``, ``Throttle %``) or from a row of units under the headings.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS
from telemetry.core.sanitize import LABEL, shortened
from telemetry.readers.heading_names import ENGLISH, OTHER_LANGUAGES, SI, UNIT_NEEDED, UNITS, WEAK_NAMES

IGNORE: Final = "ignore"
"""What a user's heading map says of a column that is to be left alone."""

SI_FACTOR: Final = SI
"""Factor and offset of a column that is in its own unit already."""

_MOTOR_SIGNS: Final = {"voltage_v", "current_a", "erpm", "motor_rpm", "rpm"}

TIME_COLUMNS: Final = ("utc", "date", "clock", "host", "elapsed")
RPM_COLUMNS: Final = ("rpm", "motor_rpm", "erpm")

_DIMENSION_OF_UNIT: Final = {
    "deg": "angle", "m": "length", "m/s": "speed", "m/s²": "acceleration", "deg/s": "rate", "V": "voltage",
    "A": "current", "1/min": "rpm", "%": "percent", "°C": "temperature", "mAh": "charge", "1": "number",
}  # fmt: skip
_DIMENSIONS: Final[dict[str, str]] = {
    **{c.name: _DIMENSION_OF_UNIT[c.unit] for c in (*TRACK_COLUMNS.values(), *MOTOR_COLUMNS.values())},
    **dict.fromkeys(TIME_COLUMNS, "time"),
    **dict.fromkeys(RPM_COLUMNS, "rpm"),
}
_WEAK_RANK: Final = 999
_LATER: Final = 50  # the rank of spellings in other languages, after every English one
_BY_NAME: Final = {
    name: (column, first + i)
    for first, table in ((_LATER, OTHER_LANGUAGES), (0, ENGLISH))
    for column, names in table.items()
    for i, name in enumerate(names)
}
_ALL_UNITS: Final = {unit for units in UNITS.values() for unit in units if unit}

_BRACKETED: Final = re.compile(r"^(.*?)\s*[\[({]\s*([^\])}]*?)\s*[\])}]\s*$")


@dataclass(frozen=True, slots=True)
class Match:
    """One column of a table and what it means.

    Attributes
    ----------
    position : int
        Which column of the table, from zero.
    heading : str
        As it stands in the file.
    column : str
        A column of the frames, or one of ``utc, date, clock, host, elapsed, erpm, motor_rpm``.
    factor, offset : float
        To the frame's unit: ``value * factor + offset``.
    unit : str
        As stated, lower case; empty where none is.
    rank : int
        Lower is the more explicit spelling; the user's own map is -1.
    part : int
        Which number of a cell that holds a latitude and a longitude: 0 or 1; -1 for cells of one value.
    """

    position: int
    heading: str
    column: str
    factor: float
    offset: float
    unit: str
    rank: int
    part: int = -1

    @property
    def shown(self) -> str:
        """The heading, cleaned and shortened for messages."""
        return shortened(self.heading, LABEL)


def unit_factor(column: str, unit: str) -> tuple[float, float] | None:
    """Factor and offset from a unit to a column's own; None where the column has no such unit."""
    return UNITS[_DIMENSIONS[column]].get(unit.strip().lower()) if unit.strip() else None


def is_unit(cell: str) -> bool:
    """Check whether a cell under a heading is a unit (``V``, ``[km/h]``) rather than a value."""
    return cell.strip().strip("[](){}").strip().lower() in _ALL_UNITS | {"", "-"}


def match(headings: Sequence[str], units: Sequence[str], own: Mapping[str, str]) -> list[Match]:
    """Name every column that can be named, in file order.

    Parameters
    ----------
    headings : sequence of str
        As they stand in the file.
    units : sequence of str
        The row of units under them, or an empty sequence.
    own : mapping of str to str
        The user's map: heading to ``column`` or ``column:unit``, or to ``ignore``.

    Raises
    ------
    ValueError
        If the user's map names a column or unit that does not exist.
    """
    found: list[Match] = []
    weak: list[Match] = []
    own = {heading.strip(): target for heading, target in own.items()}
    for position, heading in enumerate(headings):
        row_unit = units[position] if position < len(units) else ""
        if heading.strip() in own:
            target = own[heading.strip()]
            if target != IGNORE:
                found.append(_own_match(position, heading, row_unit, target))
            continue
        guess = _guess(position, heading, row_unit)
        if guess is not None:
            (weak if guess.rank == _WEAK_RANK else found).append(guess)
    if any(m.column in _MOTOR_SIGNS for m in found):
        found += weak
    return sorted(found, key=lambda m: m.position)


def _guess(position: int, heading: str, row_unit: str) -> Match | None:
    """Name one column by its spelling; None where no spelling fits."""
    readings = _readings(heading, row_unit)
    # "Vitesse GPS" is "vitesse": a word that only says which device measured it.
    readings += [(_without_gps(name), unit) for name, unit in readings if "gps" in name.split()]
    for name, unit in readings:
        column, rank = _BY_NAME.get(name, ("", 0))
        known = unit in UNITS[_DIMENSIONS[column]] if column else False
        if column and (known or (not unit and name not in UNIT_NEEDED)):
            return _match(position, heading, column, unit, rank)
        if name in WEAK_NAMES and unit in UNITS["temperature"] | {"": SI}:
            return _match(position, heading, WEAK_NAMES[name], unit, _WEAK_RANK)
    return None


def _without_gps(name: str) -> str:
    return " ".join(word for word in name.split() if word != "gps")


def best(matches: Iterable[Match]) -> dict[str, Match]:
    """Keep the most explicit heading of each column, the first of equals."""
    chosen: dict[str, Match] = {}
    for m in matches:
        if m.column not in chosen or m.rank < chosen[m.column].rank:
            chosen[m.column] = m
    return chosen


def _match(position: int, heading: str, column: str, unit: str, rank: int) -> Match:
    factor, offset = UNITS[_DIMENSIONS[column]].get(unit, SI)
    return Match(position, heading, column, factor, offset, unit, rank)


def _own_match(position: int, heading: str, row_unit: str, target: str) -> Match:
    column, _, unit = (part.strip() for part in target.partition(":"))
    if column not in _DIMENSIONS:
        raise ValueError(
            f"there is no column {column!r} (for the heading {heading!r}), only {', '.join(_DIMENSIONS)}"
        )
    units = UNITS[_DIMENSIONS[column]]
    if unit and unit.lower() not in units:
        raise ValueError(f"{column} has no unit {unit!r}; it can have {', '.join(u for u in units if u)}")
    stated = _readings(heading, row_unit)[0][1] if not unit else unit.lower()
    return _match(position, heading, column, stated if stated in units else "", -1)


def _readings(heading: str, row_unit: str) -> list[tuple[str, str]]:
    """Possible (name, unit) pairs of a heading, the most telling first."""
    text = heading.strip()
    unit = row_unit.strip().strip("[](){}").strip().lower()
    unit = "" if unit == "-" else unit
    bracketed = _BRACKETED.match(text)
    if bracketed:
        stated = bracketed[2].lower()
        # A bracket may hold a remark instead of a unit, as in "Speed (GPS)".
        if stated in _ALL_UNITS:
            return [(_plain(bracketed[1]), stated)]
        return [(_plain(text), unit), (_plain(bracketed[1]), "?" if stated else unit)]
    readings = []
    for separator in (" ", "_", "/", ","):
        before, found, after = text.rpartition(separator)
        if found and before and after.strip().lower() in _ALL_UNITS:
            readings.append((_plain(before), after.strip().lower()))
    if text.endswith("%") and len(text) > 1:
        readings.append((_plain(text[:-1]), "%"))
    readings.append((_plain(text), unit))
    # Last, since "mAh" and "km/h" are units, not words run together.
    before, found, after = _split_camel(text).rpartition(" ")
    if found and after.lower() in _ALL_UNITS:
        readings.append((_plain(before), after.lower()))
    return readings


def _split_camel(name: str) -> str:
    """Put spaces between words that are run together: ``latDeg``, ``GPSSpeed``."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name)


def _plain(name: str) -> str:
    """Return lower-case words without accents and punctuation, camel case split."""
    split = unicodedata.normalize("NFKD", _split_camel(name).replace("ß", "ss"))
    letters = "".join(c for c in split if not unicodedata.combining(c))
    return " ".join(re.findall(r"[^\W_]+", letters.lower()))
