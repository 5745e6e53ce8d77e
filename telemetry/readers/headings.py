"""Which heading of a table means which quantity in which unit: the heading map.

The spellings are those of the trade and of plain English; a heading is compared without case, punctuation and
unit. Units come from brackets (``Voltage [V]``, ``Current (A)``), from the heading's end (``speed_mps``,
``ESC temp °C``, ``Throttle %``, ``Voltage/V``) or from a row of units under the headings.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS
from telemetry.core.sanitize import LABEL, shortened
from telemetry.core.units import FOOT_M, KMH_MPS, KNOT_MPS, MPH_MPS

STANDARD_GRAVITY_MPS2: Final = 9.80665
"""Exact by definition (NIST SP 811, appendix B)."""

IGNORE: Final = "ignore"
"""What a user's heading map says of a column that is to be left alone."""

_NAMES: Final[dict[str, tuple[str, ...]]] = {
    # Time. What a bare "time" is (a date, a time of day, seconds) only its values tell.
    "utc": ("utc", "utc time", "gps time", "gps utc", "time utc", "utc timestamp", "gps timestamp",
            "gps datetime"),
    "date": ("utc date", "gps date", "date utc", "date"),
    "clock": ("time", "timestamp", "time stamp", "datetime", "date time", "time of day", "local time",
              "epoch", "unix time"),
    "host": ("t host", "host time", "host", "system time", "logger time"),
    "elapsed": ("t", "elapsed", "elapsed time", "seconds", "milliseconds", "millis", "uptime",
                "time since start"),
    # GPS and motion.
    "lat_deg": ("gps lat", "gps latitude", "lat", "latitude"),
    "lon_deg": ("gps lon", "gps long", "gps longitude", "lon", "lng", "long", "longitude"),
    "alt_m": ("gps alt", "gps altitude", "alt", "altitude", "ele", "elevation", "height"),
    "speed_mps": ("gps speed", "speed gps", "ground speed", "speed over ground", "sog", "speed", "velocity"),
    "course_deg": ("gps course", "gps heading", "course over ground", "cog", "course", "bearing", "heading"),
    "vertical_mps": ("vertical speed", "vertical velocity", "vspeed", "climb rate", "climb", "vertical"),
    "speed_sd_mps": ("speed accuracy", "sacc", "speed sd"),
    "horizontal_sd_m": ("horizontal accuracy", "hacc", "accuracy", "horizontal sd"),
    "hdop": ("hdop",),
    "satellites": ("satellites", "sats", "sat", "num sats", "numsat", "nsat"),
    "fix": ("fix", "gps fix", "fix valid"),
    "ax_mps2": ("ax", "acc x", "accx", "accel x", "acceleration x", "x acceleration"),
    "ay_mps2": ("ay", "acc y", "accy", "accel y", "acceleration y", "y acceleration"),
    "az_mps2": ("az", "acc z", "accz", "accel z", "acceleration z", "z acceleration"),
    "gx_dps": ("gyro x", "gyr x", "gx", "rate x", "roll rate"),
    "gy_dps": ("gyro y", "gyr y", "gy", "rate y", "pitch rate"),
    "gz_dps": ("gyro z", "gyr z", "gz", "rate z", "yaw rate"),
    # Motor. Three kinds of rpm: electrical, of the motor, of the propeller shaft.
    "voltage_v": ("pack voltage", "battery voltage", "batt voltage", "input voltage", "voltage", "volts",
                  "vbat"),
    "current_a": ("pack current", "battery current", "batt current", "input current", "current", "amps"),
    "erpm": ("erpm", "e rpm", "electrical rpm"),
    "motor_rpm": ("motor rpm", "rpm"),
    "rpm": ("shaft rpm", "prop rpm", "propeller rpm"),
    "throttle_pct": ("throttle", "throttle input", "throttle in", "thr"),
    "esc_temp_c": ("esc temp", "esc temperature", "temp esc", "controller temp", "controller temperature",
                   "fet temp"),
    "motor_temp_c": ("motor temp", "motor temperature", "temp motor", "mot temp"),
    "charge_mah": ("charge", "used charge", "capacity used", "used capacity", "capacity", "consumed",
                   "consumption"),
    "cell_min_v": ("lowest cell", "lowest cell voltage", "min cell", "cell min", "min cell voltage"),
}  # fmt: skip
# A bare temperature is the controller's only in a log that is evidently the controller's.
_WEAK_NAMES: Final = {"temp": "esc_temp_c", "temperature": "esc_temp_c"}
_MOTOR_SIGNS: Final = {"voltage_v", "current_a", "erpm", "motor_rpm", "rpm"}

TIME_COLUMNS: Final = ("utc", "date", "clock", "host", "elapsed")
RPM_COLUMNS: Final = ("rpm", "motor_rpm", "erpm")

_SI: Final = (1.0, 0.0)
_UNITS: Final[dict[str, dict[str, tuple[float, float]]]] = {
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "seconds"), _SI),
        **dict.fromkeys(("ms", "msec", "millis", "milliseconds"), (1e-3, 0.0)),
        **dict.fromkeys(("us", "µs", "μs", "microseconds"), (1e-6, 0.0)),
        "ns": (1e-9, 0.0),
        "min": (60.0, 0.0),
    },
    "angle": {**dict.fromkeys(("deg", "°", "degrees", "degree"), _SI), "rad": (57.29577951308232, 0.0)},
    "length": {
        **dict.fromkeys(("m", "metres", "meters", "metre", "meter"), _SI),
        **dict.fromkeys(("ft", "feet"), (FOOT_M, 0.0)),
        "km": (1000.0, 0.0),
    },
    "speed": {
        **dict.fromkeys(("m/s", "mps", "ms-1"), _SI),
        **dict.fromkeys(("km/h", "kmh", "kph", "kmph"), (KMH_MPS, 0.0)),
        **dict.fromkeys(("mph", "mi/h"), (MPH_MPS, 0.0)),
        **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), (KNOT_MPS, 0.0)),
        "ft/s": (FOOT_M, 0.0),
    },
    "acceleration": {
        **dict.fromkeys(("m/s2", "m/s²", "m/s^2", "mps2", "m/s/s"), _SI),
        "g": (STANDARD_GRAVITY_MPS2, 0.0),
        "mg": (STANDARD_GRAVITY_MPS2 / 1000.0, 0.0),
    },
    "rate": {
        **dict.fromkeys(("deg/s", "°/s", "dps"), _SI),
        "rad/s": (57.29577951308232, 0.0),
    },
    "voltage": {**dict.fromkeys(("v", "volt", "volts"), _SI), "mv": (1e-3, 0.0)},
    "current": {**dict.fromkeys(("a", "amp", "amps"), _SI), "ma": (1e-3, 0.0)},
    "rpm": {**dict.fromkeys(("rpm", "1/min", "min-1", "/min", "u/min", "erpm"), _SI), "krpm": (1000.0, 0.0)},
    # A servo pulse of 1500 µs is neutral, 2000 µs full ahead: common practice, no source.
    "percent": {
        **dict.fromkeys(("%", "pct", "percent"), _SI),
        **dict.fromkeys(("us", "µs", "μs"), (0.2, -300.0)),
    },
    "temperature": {
        **dict.fromkeys(("c", "°c", "degc", "ºc", "celsius"), _SI),
        **dict.fromkeys(("f", "°f", "degf", "ºf", "fahrenheit"), (5.0 / 9.0, -160.0 / 9.0)),
        "k": (1.0, -273.15),
    },
    "charge": {"mah": _SI, "ah": (1000.0, 0.0)},
    "number": {"": _SI},
}
_DIMENSION_OF_UNIT: Final = {
    "deg": "angle", "m": "length", "m/s": "speed", "m/s²": "acceleration", "deg/s": "rate", "V": "voltage",
    "A": "current", "1/min": "rpm", "%": "percent", "°C": "temperature", "mAh": "charge", "1": "number",
}  # fmt: skip
_DIMENSIONS: Final[dict[str, str]] = {
    **{c.name: _DIMENSION_OF_UNIT[c.unit] for c in (*TRACK_COLUMNS.values(), *MOTOR_COLUMNS.values())},
    **dict.fromkeys(TIME_COLUMNS, "time"),
    **dict.fromkeys(RPM_COLUMNS, "rpm"),
}
_BY_NAME: Final = {name: (column, i) for column, names in _NAMES.items() for i, name in enumerate(names)}
_ALL_UNITS: Final = {unit for units in _UNITS.values() for unit in units if unit}

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
    """

    position: int
    heading: str
    column: str
    factor: float
    offset: float
    unit: str
    rank: int

    @property
    def shown(self) -> str:
        """The heading as it may be told, whatever the file has in its place."""
        return shortened(self.heading, LABEL)


def is_unit(cell: str) -> bool:
    """Tell whether a cell under a heading is a unit (``V``, ``[km/h]``) rather than a value."""
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
        for name, unit in _readings(heading, row_unit):
            column, rank = _BY_NAME.get(name, ("", 0))
            if column and unit in _UNITS[_DIMENSIONS[column]] | {"": _SI}:
                found.append(_match(position, heading, column, unit, rank))
                break
            if name in _WEAK_NAMES and unit in _UNITS["temperature"] | {"": _SI}:
                weak.append(_match(position, heading, _WEAK_NAMES[name], unit, 99))
                break
    if any(m.column in _MOTOR_SIGNS for m in found):
        found += weak
    return sorted(found, key=lambda m: m.position)


def best(matches: Iterable[Match]) -> dict[str, Match]:
    """Keep the most explicit heading of each column, the first of equals."""
    chosen: dict[str, Match] = {}
    for m in matches:
        if m.column not in chosen or m.rank < chosen[m.column].rank:
            chosen[m.column] = m
    return chosen


def _match(position: int, heading: str, column: str, unit: str, rank: int) -> Match:
    factor, offset = _UNITS[_DIMENSIONS[column]].get(unit, _SI)
    return Match(position, heading, column, factor, offset, unit, rank)


def _own_match(position: int, heading: str, row_unit: str, target: str) -> Match:
    column, _, unit = (part.strip() for part in target.partition(":"))
    if column not in _DIMENSIONS:
        raise ValueError(
            f"there is no column {column!r} (for the heading {heading!r}), only {', '.join(_DIMENSIONS)}"
        )
    units = _UNITS[_DIMENSIONS[column]]
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
    return [*readings, (_plain(text), unit)]


def _plain(name: str) -> str:
    """Lower case, camel case split, anything but letters and digits turned to single spaces."""
    split = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return " ".join(re.findall(r"[^\W_]+", split.lower()))
