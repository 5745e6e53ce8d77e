"""Readings, gauges and own items as plain types, and parsing of what people write.

A reading is written as ``3.2`` (the item's unit and usual gauge), as ``"1/8 in"`` (any unit of the kind), or
as a table ``{ value = "3.2 mm", gauge = "caliper", resolution = "0.1 mm" }``; ``gauge`` may also be the table
that :meth:`~telemetry.setup.gauges.Gauge.to_dict` makes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from typing import Any, Final

from telemetry.core.errors import SetupError
from telemetry.core.units import parse_measure
from telemetry.setup.gauges import GAUGES, Gauge, Reading
from telemetry.setup.items import Item, OwnItem

_YES: Final = ("yes", "true", "on")
_NO: Final = ("no", "false", "off")


@contextmanager
def located(file: str) -> Iterator[None]:
    """Add the file's name to a SetupError raised inside.

    Raises
    ------
    SetupError
        The original error, with the file.
    """
    try:
        yield
    except SetupError as error:
        raise error.in_file(file) from None


def parse_measure_value(value: object, unit: str, place: str, file: str = "") -> float:
    """Parse a number, or a text with a unit, into a unit.

    Parameters
    ----------
    value : object
        A number or a text from a file or a form.
    unit : str
        Unit of the result, and of a bare number.
    place, file : str
        Where the value is, for the error.

    Raises
    ------
    SetupError
        With the place.
    """
    try:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return float(value)
        return parse_measure(str(value), unit)
    except (ValueError, OverflowError) as error:
        raise SetupError(
            str(error), file=file, place=place, hint=f"write a number of {unit}, or one with its unit"
        ) from None


def keys_of(table: object, known: Collection[str], place: str, file: str) -> Mapping[str, Any]:
    """Check that a value is a table with known keys only.

    Parameters
    ----------
    table : object
        A value that should be a table.
    known : collection of str
        The allowed keys.
    place, file : str
        Where the table is, for the error.

    Raises
    ------
    SetupError
        With the first unknown key.
    """
    if not isinstance(table, Mapping):
        raise SetupError(
            f"{table!r} is not a table", file=file, place=place, hint=f"write {', '.join(known)}"
        )
    strange = next((str(key) for key in table if key not in known), None)
    if strange is not None:
        raise SetupError(
            "unknown key",
            file=file,
            place=f"{place}: {strange}" if place else strange,
            hint=f"use {', '.join(known)}",
        )
    return table


def text_of(table: Mapping[str, Any], key: str, file: str) -> str:
    """Return a text from a table; an absent one is empty.

    Parameters
    ----------
    table : mapping
        A parsed table.
    key : str
        The key of the text.
    file : str
        The table's file, for the error.

    Raises
    ------
    SetupError
        If it is something else.
    """
    value = table.get(key)
    if value is not None and not isinstance(value, str):
        raise SetupError(f"{value!r} is not text", file=file, place=key, hint="write it in quotes")
    return value or ""


def gauge_of(
    written: object, unit: str, place: str, file: str = "", resolution: object = None
) -> Gauge | None:
    """Parse a gauge: one of :data:`GAUGES` by name, one with its resolution, or its table.

    Parameters
    ----------
    written : object
        A name or a table.
    unit : str
        Unit of a bare resolution.
    place, file : str
        Where it is, for the error.
    resolution : object, optional
        Resolution written next to the name.

    Raises
    ------
    SetupError
        If it is none of these.
    """
    if isinstance(written, Mapping):
        table = keys_of(written, ("name", "resolution", "unit", "sd"), f"{place}, gauge", file)
        own_unit = text_of(table, "unit", file) or unit
        name = text_of(table, "name", file) or "gauge"
        step, scatter = (
            parse_measure_value(table.get(key, 0.0), own_unit, f"{place}, gauge: {key}", file)
            for key in ("resolution", "sd")
        )
        return Gauge(name, step, own_unit, scatter)
    if written is None and resolution is None:
        return None
    name = "gauge" if written is None else str(written).strip()
    if resolution is not None:
        return Gauge(name, parse_measure_value(resolution, unit, f"{place}, resolution", file), unit)
    known = next((gauge for gauge in GAUGES if gauge.name == name), None)
    if known is None:
        raise SetupError(
            f"the resolution of '{name}' is missing",
            file=file,
            place=f"{place}, gauge",
            hint=f"write resolution next to it, or take {', '.join(g.name for g in GAUGES)}",
        )
    return known


def reading_of(written: object, item: Item, file: str = "") -> Reading:
    """Parse one reading of an item.

    Parameters
    ----------
    written : object
        A number, a text or a table.
    item : Item
        The item it is of.
    file : str
        Its file, for the error.

    Raises
    ------
    SetupError
        With the item and the fix.
    """
    gauge: Gauge | None = None
    value = written
    if isinstance(written, Mapping):
        table = keys_of(written, ("value", "gauge", "resolution"), item.name, file)
        if "value" not in table:
            raise SetupError("the value is missing", file=file, place=item.name, hint="write value = ...")
        value = table["value"]
        if item.is_measured:
            gauge = gauge_of(table.get("gauge"), item.unit, item.name, file, table.get("resolution"))
    if item.is_measured:
        value = parse_measure_value(value, item.unit, item.name, file)
    elif item.kind == "flag" and isinstance(value, str) and value.strip().lower() in (*_YES, *_NO):
        value = value.strip().lower() in _YES
    return item.check(Reading(value, gauge), file)  # type: ignore[arg-type]  # check refuses every other type


def reading_table(reading: Reading) -> dict[str, Any]:
    """Convert a reading to plain types."""
    return {"value": reading.value} | ({"gauge": reading.gauge.to_dict()} if reading.gauge else {})


_OWN: Final = {f.name: f for f in fields(OwnItem)}


def own_item_of(written: object, file: str = "") -> OwnItem:
    """Parse an own item.

    Raises
    ------
    SetupError
        With the item and the fix.
    """
    table = dict(keys_of(written, tuple(_OWN), "own", file))
    for key in ("name", "title"):
        if not text_of(table, key, file):
            raise SetupError(
                "this key of an own item is missing",
                file=file,
                place=f"own: {key}",
                hint=f"write {key} = ...",
            )
    empty = next((key for key, value in table.items() if value is None and key != "matters"), None)
    if empty is not None:
        place = f"{table['name']}: {empty}"
        raise SetupError("it is empty", file=file, place=place, hint="write a value, or leave it out")
    unit = text_of(table, "unit", file) or "1"
    if "gauge" in table:
        table["gauge"] = gauge_of(table["gauge"], unit, table["name"], file)
    for key in ("matters", "low", "high"):
        if table.get(key) is not None:
            table[key] = parse_measure_value(table[key], unit, f"{table['name']}: {key}", file)
    if "choices" in table:
        table["choices"] = tuple(_typed(table, "choices", list, "a list of words", file))
        for word in table["choices"]:
            _typed(table | {"choices": word}, "choices", str, "a text", file)
    for key, kind, what in (
        ("at_bench", bool, "true or false"),
        ("compared", bool, "true or false"),
        ("order", int, "a whole number"),
    ):
        if key in table:
            _typed(table, key, kind, what, file)
    for key in ("kind", "group", "sign", "other_sign", "more", "less"):
        text_of(table, key, file)
    with located(file):
        return OwnItem(**table)


def _typed(table: Mapping[str, Any], key: str, kind: type, what: str, file: str) -> Any:
    if not isinstance(table[key], kind):
        place = f"{table['name']}: {key}"
        raise SetupError(f"{table[key]!r} is not {what}", file=file, place=place, hint=f"write {what}")
    return table[key]


def own_item_table(item: OwnItem) -> dict[str, Any]:
    """Convert an own item to plain types; default values are left out."""
    table: dict[str, Any] = {}
    for name, spec in _OWN.items():
        value = getattr(item, name)
        if spec.default is MISSING or value != spec.default:
            table[name] = value
    if "gauge" in table:
        table["gauge"] = item.gauge.to_dict()
    if "choices" in table:
        table["choices"] = list(item.choices)
    return table


def utc_iso(moment: datetime | None) -> str | None:
    """Format a time as ISO 8601 with Z and fractions; None stays None."""
    return None if moment is None else moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def aware(moment: datetime | None, place: str) -> datetime | None:
    """Check that a time has a zone, and return it in UTC.

    Raises
    ------
    SetupError
        If it has none.
    """
    if moment is not None and moment.tzinfo is None:
        raise SetupError("the time has no zone", place=place, hint="write it with Z for UTC")
    return None if moment is None else moment.astimezone(UTC)


def moment_of(written: object, place: str, file: str = "") -> datetime | None:
    """Parse a time: ISO 8601 with its zone, or TOML's own; None stays None.

    Parameters
    ----------
    written : object
        A text or a datetime; None is allowed.
    place, file : str
        Where it is, for the error.

    Raises
    ------
    SetupError
        If it is not a time, or has no zone.
    """
    with located(file):
        if written is None or isinstance(written, datetime):
            return aware(written, place)
    try:
        moment = datetime.fromisoformat(str(written))
    except ValueError:
        raise SetupError(
            f"{written!r} is not a time", file=file, place=place, hint="write it as 2025-06-14T08:30:00Z"
        ) from None
    with located(file):
        return aware(moment, place)
