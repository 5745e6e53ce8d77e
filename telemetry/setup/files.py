"""Setup sheets, readings as found, parts and service intervals as TOML or JSON files."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final, cast

from telemetry.core.errors import SetupError
from telemetry.setup.balance import Part
from telemetry.setup.estimate import Estimate
from telemetry.setup.gauges import SCALE, TAPE, Gauge
from telemetry.setup.inspection import FoundMeasure
from telemetry.setup.items import OwnItem
from telemetry.setup.parse import gauge_of, keys_of, located, parse_measure_value, text_of
from telemetry.setup.sheet import SetupSheet

LARGEST_BYTES: Final = 1_000_000


def parse_table(text: str, file: str) -> dict[str, Any]:
    """Parse TOML, or JSON if the text begins with a brace.

    Raises
    ------
    SetupError
        With the file and the line.
    """
    text = text.removeprefix("\ufeff")
    kind = "JSON" if text.lstrip().startswith("{") else "TOML"
    try:
        table = json.loads(text) if kind == "JSON" else tomllib.loads(text)
    except ValueError as error:  # also a number with more digits than Python allows
        raise SetupError(f"not valid {kind}: {error}", file=file, hint="correct the line named") from None
    except RecursionError:
        raise SetupError("too deeply nested brackets", file=file, hint="check the file") from None
    return cast("dict[str, Any]", table)


def load_table(path: str | Path) -> dict[str, Any]:
    """Read a TOML or JSON file.

    Raises
    ------
    SetupError
        With the file and the reason.
    """
    file = str(path)
    try:
        if Path(path).stat().st_size > LARGEST_BYTES:
            raise SetupError("the file is too large for a sheet", file=file, hint="check the path")
        return parse_table(Path(path).read_text(encoding="utf-8-sig"), file)
    except (OSError, UnicodeDecodeError) as error:
        reason = cast("str", getattr(error, "strerror", None) or "it is not UTF-8 text")
        raise SetupError(f"cannot be read: {reason}", file=file, hint="check the path") from None


def load_sheet(path: str | Path) -> SetupSheet:
    """Read a setup sheet from a file.

    Raises
    ------
    SetupError
        With the file, the key and the fix.
    """
    return SetupSheet.from_dict(load_table(path), str(path))


def load_found(path: str | Path, own: Iterable[OwnItem] = ()) -> FoundMeasure:
    """Read readings as found from a file; ``own`` are the boat's items that it need not define.

    Raises
    ------
    SetupError
        With the file, the key and the fix.
    """
    return FoundMeasure.from_dict(load_table(path), str(path), own)


def parts_of_table(table: Mapping[str, Any], file: str = "") -> tuple[Part, ...]:
    """Read parts from ``[[parts]]``: name, mass, place, and low and high for one that can be moved.

    Masses are in kg and places in mm unless another unit follows them; ``mass_resolution`` and
    ``place_resolution`` are those of the scale and the tape, by default 1 g and 1 mm.

    Raises
    ------
    SetupError
        With the file, the part and the fix.
    """
    rows = table.get("parts")
    if not isinstance(rows, list) or not rows:
        raise SetupError("no part is given", file=file, place="parts", hint="write a [[parts]] for each mass")
    return tuple(_part(row, number, file) for number, row in enumerate(rows, 1))


def _part(row: object, number: int, file: str) -> Part:
    known = ("name", "mass", "place", "low", "high", "mass_resolution", "place_resolution")
    table = keys_of(row, known, f"part {number}", file)
    name = text_of(table, "name", file)
    missing = next((key for key in known[:3] if key not in table), None)
    if missing is not None or not name.strip():
        raise SetupError(
            "this key of the part is missing",
            file=file,
            place=f"part {number}: {missing or 'name'}",
            hint="add it",
        )

    def value(key: str, unit: str) -> float | None:
        return (
            None if table.get(key) is None else parse_measure_value(table[key], unit, f"{name}: {key}", file)
        )

    def measured(key: str, unit: str, usual: Gauge) -> Estimate:
        gauge = gauge_of(None, unit, name, file, table.get(f"{key}_resolution")) or usual
        return Estimate(parse_measure_value(table[key], unit, f"{name}: {key}", file), gauge.u(unit))

    with located(file):
        mass, place = measured("mass", "kg", SCALE), measured("place", "mm", TAPE)
        return Part(name, mass, place, value("low", "mm"), value("high", "mm"))


def toml_text(table: Mapping[str, Any]) -> str:
    """Format plain types as TOML that :func:`parse_table` reads; None is left out.

    Examples
    --------
    >>> print(toml_text({"boat": "Kestrel", "readings": {"strut_depth_mm": {"value": 3.0}}}), end="")
    boat = "Kestrel"
    readings.strut_depth_mm = { value = 3.0 }
    """
    lines: list[str] = []
    tables: list[str] = []
    for key, value in table.items():
        if isinstance(value, Mapping):
            lines += [f"{_key(key)}.{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None]
        elif isinstance(value, list) and any(isinstance(entry, Mapping) for entry in value):
            for entry in value:
                tables.append(f"\n[[{_key(key)}]]")
                tables += [f"{_key(k)} = {_value(v)}" for k, v in entry.items() if v is not None]
        elif value is not None and value not in ("", []):
            lines.append(f"{_key(key)} = {_value(value)}")
    return "\n".join([*lines, *tables]) + "\n"


def _key(key: str) -> str:
    return key if key and all(c.isascii() and (c.isalnum() or c in "_-") for c in key) else _value(key)


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None)
        return f"{{ {inside} }}"
    if isinstance(value, list):
        return f"[{', '.join(_value(entry) for entry in value)}]"
    if isinstance(value, float):
        return repr(value)  # inf and nan are TOML words too
    # A JSON string is a basic string of TOML, except one control character that JSON does not escape.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
