"""An outing's form: boat, sheet, changes for the next sheet, conditions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, Final

from dashboard.features.bench.service import OnBench, blank_sheet
from dashboard.ui.fields import Chosen, Field, Value
from telemetry.core.errors import CallError, SetupError
from telemetry.logbook import Boat, Conditions, Logbook
from telemetry.setup import BenchDisplay, Reading, SetupSheet, parse_reading

TEXTS: Final = ("place", "water", "pack", "note")
"""The text fields of the conditions; their ids end with these names."""


def number_fields(form: str) -> dict[str, Field]:
    """Return the number fields of a form by the names of :class:`telemetry.logbook.Conditions`."""
    return {
        "wind_mps": Field(f"{form}-wind", "Mean wind", "speed"),
        "wind_from_deg": Field(f"{form}-wind-from", "Wind from, degrees"),
        "air_c": Field(f"{form}-air", "Air", "temperature"),
        "water_c": Field(f"{form}-water-c", "Water temperature", "temperature"),
    }


def hull_length(form: str) -> Field:
    """Return the field of a hull's length."""
    return Field(f"{form}-length", "Hull length", "length")


def conditions_of(
    form: str, texts: Mapping[str, str | None], numbers: Mapping[str, Value], units: Chosen
) -> Conditions:
    """Convert a form's fields to a record in SI."""
    said = {name: field.read(numbers[name], units) for name, field in number_fields(form).items()}
    return Conditions(**{name: (texts[name] or "").strip() for name in TEXTS}, **said)


def written(form: str, conditions: Conditions, units: Chosen) -> tuple[dict[str, str], dict[str, Any]]:
    """Convert a record to a form's fields: the texts and the numbers, by name."""
    numbers = {
        name: field.written(getattr(conditions, name), units) for name, field in number_fields(form).items()
    }
    return {name: getattr(conditions, name) for name in TEXTS}, numbers


@dataclass(frozen=True, slots=True)
class OutingEntry:
    """The values of an outing's form; names of new items take precedence over chosen ones.

    Attributes
    ----------
    boat, new_boat : str
        One of the logbook's boats, or the name of a new one.
    new_kind : str
        Hull type of a new boat.
    new_length_m : float or None
        Its length [m].
    sheet, new_sheet : str
        The id of one of the boat's sheets, and the name of a new one.
    changed : mapping of str to str
        The new sheet's differences from the chosen one, as the user wrote them, by item; without a chosen
        sheet, all its values.
    conditions : Conditions
    """

    boat: str = ""
    new_boat: str = ""
    new_kind: str = ""
    new_length_m: float | None = None
    sheet: str = ""
    new_sheet: str = ""
    changed: Mapping[str, str] = field(default_factory=dict)
    conditions: Conditions = field(default_factory=Conditions)

    @property
    def boat_name(self) -> str:
        """The boat's name, existing or new."""
        return " ".join((self.new_boat or self.boat).split())


def bench_of(book: Logbook, boat: str, sheet: str) -> OnBench | None:
    """Put a boat's sheet on the bench, or a blank one; None if no boat is given."""
    if not boat:
        return None
    there = any(known.name == boat for known in book.boats())
    own = book.boat(boat).own_items if there else ()
    return OnBench(book.sheet(sheet, boat) if there and sheet else blank_sheet(boat), own)


def settled(book: Logbook, entry: OutingEntry, showing: BenchDisplay) -> tuple[str | Boat, SetupSheet]:
    """Find or build the boat and the sheet of an entry; nothing is saved yet.

    Raises
    ------
    CallError
        If no boat or sheet is named, or a new name is not possible.
    SetupError
        If a value of a new sheet cannot be used.
    LogbookError
        If a chosen one does not exist.
    """
    name = entry.boat_name
    if not name:
        raise CallError("the outing has no boat", hint="choose a boat, or name a new one")
    taken = any(known.name.casefold() == name.casefold() for known in book.boats())
    if entry.new_boat and taken:
        raise CallError(f"a boat '{name}' exists already", hint="choose it, or give another name")
    boat: str | Boat
    if entry.new_boat:
        boat = Boat(name, hull_kind=entry.new_kind.strip(), length_m=entry.new_length_m)
    else:
        boat = book.boat(name).name
    sheet = "" if entry.new_boat else entry.sheet
    bench = bench_of(book, name, sheet)
    assert bench is not None
    return boat, _sheet(book, bench, entry, sheet, showing)


def _sheet(
    book: Logbook, bench: OnBench, entry: OutingEntry, chosen: str, showing: BenchDisplay
) -> SetupSheet:
    name, readings = " ".join(entry.new_sheet.split()), _readings(bench, entry.changed, showing)
    if not name and readings:
        raise CallError("the new sheet has no name", hint="name it, or remove the changes")
    if not name:
        if not chosen:
            raise CallError("the outing has no setup sheet", hint="choose a sheet, or name a new one")
        return bench.sheet
    if chosen and not readings:
        hint = "enter the changes, or clear its name to use the chosen sheet"
        raise CallError(f"the new sheet '{name}' has no changes", hint=hint)
    there = () if entry.new_boat else book.sheets(bench.sheet.boat)
    if any(known.name.casefold() == name.casefold() for known in there):
        raise CallError(f"this boat has a sheet '{name}' already", hint="give it another name")
    own = tuple(item for item in bench.own if item.name in readings or item in bench.sheet.own)
    now = datetime.now(UTC)
    if chosen:
        new = bench.sheet.edit(readings, name=name, made_utc=now, own=own)
        if new == bench.sheet:
            hint = "enter the changes, or clear its name to use the chosen sheet"
            raise CallError(f"the new sheet '{name}' is the same as the chosen one", hint=hint)
        return new
    return replace(bench.sheet, readings=readings, own=own, name=name, made_utc=now)


def _readings(bench: OnBench, changed: Mapping[str, str], showing: BenchDisplay) -> dict[str, Reading]:
    readings = {}
    for name, text in changed.items():
        if text.strip():
            item = bench.item(name)
            try:
                readings[name] = parse_reading(item, text, showing)
            except SetupError as error:
                raise SetupError(error.reason, place=item.title, hint=error.hint) from None
    return readings
