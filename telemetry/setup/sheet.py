"""The setup sheet: one immutable version of a boat's setup.

Two sheets are equal if their setup is: the same boat, the same readings with the same gauges, the same own
items. Name, note, time and parent describe how the sheet was made and are not part of its identity: a
restored old setup gives an equal sheet, and outings on both belong together.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from difflib import get_close_matches
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final

from telemetry.core.errors import SetupError
from telemetry.setup.catalogue import ITEMS
from telemetry.setup.gauges import Reading
from telemetry.setup.items import Item, OwnItem
from telemetry.setup.parse import (
    aware,
    keys_of,
    located,
    moment_of,
    own_item_of,
    own_item_table,
    reading_of,
    reading_table,
    text_of,
    utc_iso,
)
from telemetry.setup.strut import derived_readings

SHEET_SCHEMA: Final = "reciprocal-sheet/1"


@dataclass(frozen=True)
class Measures:
    """Readings of one boat by item, validated; the common base of a sheet and of readings as found.

    Attributes
    ----------
    boat : str
        Name of the boat.
    readings : mapping of str to Reading
        By the item's name; an item that was not measured is absent.
    own : tuple of OwnItem
        Items that only this boat has.

    Raises
    ------
    SetupError
        If the boat has no name, an item is unknown, or a reading is impossible.
    """

    boat: str
    readings: Mapping[str, Reading] = field(default_factory=dict, hash=False)
    own: tuple[OwnItem, ...] = ()

    def __post_init__(self) -> None:
        """Validate and sort the readings."""
        if not self.boat.strip():
            raise SetupError("the boat has no name", place="boat", hint="say which boat it is")
        clash = next((o.name for o in self.own if o.name in ITEMS), None)
        if clash or len({o.name for o in self.own}) < len(self.own):
            raise SetupError(
                "an item of this name exists already",
                place=clash or "own items",
                hint="give each of the boat's own items a name of its own",
            )
        checked = {name: self.item(name).check(reading) for name, reading in self.readings.items()}
        ordered = sorted(checked, key=lambda name: (self.item(name).order, name))
        object.__setattr__(self, "readings", MappingProxyType({name: checked[name] for name in ordered}))
        object.__setattr__(self, "own", tuple(sorted(self.own, key=lambda o: (o.order, o.name))))
        derived_readings(self.readings)  # raises for heights that contradict their span

    def item(self, name: str) -> Item:
        """Find a standard item or one of this boat by its name.

        Raises
        ------
        SetupError
            If there is none.
        """
        found = ITEMS.get(name) or next((o for o in self.own if o.name == name), None)
        if found is None:
            raise unknown_item(name)
        return found

    def items(self) -> Iterator[tuple[Item, Reading]]:
        """Iterate over the items that have a reading, in the order of a sheet."""
        return ((self.item(name), reading) for name, reading in self.readings.items())

    @cached_property
    def tune(self) -> Mapping[str, Reading]:
        """The readings that make up the setup, in the order of a sheet.

        Strut angle and depth are computed from the heights if only these are given; notes, and items that
        only describe how something was measured, are left out.
        """
        given = {name: reading for name, reading in self.readings.items() if self.item(name).compared}
        whole = given | derived_readings(self.readings)
        return MappingProxyType(dict(sorted(whole.items(), key=lambda pair: self.item(pair[0]).order)))

    def value(self, name: str) -> float | None:
        """Return the number of an item of the setup, None if it was not measured.

        A pitch given only as a ratio is computed from it and the diameter; it is not an item of the setup, or
        another diameter would count as two changes.
        """
        reading = self.tune.get(name, self.readings.get(name))
        if reading is None and name == "prop_pitch_mm":
            ratio, diameter_mm = self.value("prop_pitch_ratio"), self.value("prop_diameter_mm")
            return None if ratio is None or diameter_mm is None else ratio * diameter_mm
        return None if reading is None or isinstance(reading.value, (str, bool)) else reading.value

    def hold_same_boat(self, other: Measures) -> None:
        """Check that both are of one boat.

        Raises
        ------
        SetupError
            If they are not.
        """
        if self.boat != other.boat:
            raise SetupError(
                f"readings of {self.boat} and of another boat, {other.boat}, cannot be compared",
                place="boat",
                hint="choose two of the same boat",
            )

    def _content(self) -> dict[str, Any]:
        return {
            "boat": self.boat,
            "readings": {name: reading_table(reading) for name, reading in self.readings.items()},
            "own": [own_item_table(item) for item in self.own],
        }

    @cached_property
    def content_hash(self) -> str:
        """Hash of boat, readings and own items: 16 hexadecimal digits of SHA-256 over canonical JSON."""
        text = json.dumps(self._content(), sort_keys=True, allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class SetupSheet(Measures):
    """A boat as set.

    Attributes
    ----------
    name : str
        What its user calls it.
    parent : str or None
        ``sheet_id`` of the sheet it was derived from.
    made_utc : datetime or None
        When it was made.
    note : str
        Why, in the user's words.
    """

    name: str = field(default="", compare=False)
    parent: str | None = field(default=None, compare=False)
    made_utc: datetime | None = field(default=None, compare=False)
    note: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Validate and sort the readings."""
        if not self.name.strip():
            raise SetupError("the sheet has no name", place="name", hint="give it a name")
        object.__setattr__(self, "made_utc", aware(self.made_utc, "made_utc"))
        super().__post_init__()

    @property
    def sheet_id(self) -> str:
        """Identify the setup by its content: equal sheets have equal ids."""
        return self.content_hash

    def edit(
        self,
        readings: Mapping[str, Reading | None] | None = None,
        *,
        name: str | None = None,
        note: str = "",
        made_utc: datetime | None = None,
        own: Iterable[OwnItem] | None = None,
    ) -> SetupSheet:
        """Derive the next sheet; this one is unchanged.

        Parameters
        ----------
        readings : mapping of str to Reading or None, optional
            What changes; None removes an item from the sheet.
        name, note, made_utc : optional
            Of the new sheet; without a name it keeps this one's.
        own : iterable of OwnItem, optional
            All own items of the new sheet, if they change.

        Returns
        -------
        SetupSheet
            With this one as its parent.

        Raises
        ------
        SetupError
            As for any sheet.
        """
        changed = {**self.readings, **(readings or {})}
        return replace(
            self,
            readings={key: reading for key, reading in changed.items() if reading is not None},
            own=self.own if own is None else tuple(own),
            name=self.name if name is None else name,
            note=note,
            made_utc=made_utc,
            parent=self.sheet_id,
        )

    def to_dict(self) -> dict[str, Any]:
        """Convert to plain types, which :meth:`from_dict` reads."""
        return {
            "schema": SHEET_SCHEMA,
            "sheet_id": self.sheet_id,
            "name": self.name,
            **self._content(),
            "parent": self.parent,
            "made_utc": utc_iso(self.made_utc),
            "note": self.note,
        }

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], file: str = "") -> SetupSheet:
        """Parse plain types: the result of :meth:`to_dict`, or the shorter form that people write.

        Raises
        ------
        SetupError
            With the file, the key and the fix.
        """
        keys = ("schema", "sheet_id", "boat", "name", "readings", "own", "parent", "made_utc", "note")
        keys_of(table, keys, "", file)
        schema_of(table, SHEET_SCHEMA, file)
        boat, readings, own = measures_of(table, file)
        with located(file):
            return cls(
                boat=boat,
                readings=readings,
                own=own,
                name=text_of(table, "name", file),
                parent=text_of(table, "parent", file) or None,
                made_utc=moment_of(table.get("made_utc"), "made_utc", file),
                note=text_of(table, "note", file),
            )


def schema_of(table: Mapping[str, Any], schema: str, file: str) -> None:
    """Check that a table that names its schema names this one.

    Parameters
    ----------
    table : mapping
        A parsed table.
    schema : str
        The only allowed schema.
    file : str
        The table's file, for the error.

    Raises
    ------
    SetupError
        If it does not.
    """
    if table.get("schema", schema) != schema:
        raise SetupError(
            f"it is written as {table['schema']!r}", file=file, place="schema", hint=f"give one of {schema}"
        )


def measures_of(
    table: Mapping[str, Any], file: str, known: Iterable[OwnItem] = ()
) -> tuple[str, dict[str, Reading], tuple[OwnItem, ...]]:
    """Parse boat, readings and own items from a table; own items known before need not be defined again.

    Parameters
    ----------
    table : mapping
        A parsed table.
    file : str
        Its file, for the error.
    known : iterable of OwnItem
        Own items of the boat that need no definition.

    Raises
    ------
    SetupError
        With the file, the key and the fix.
    """
    boat = text_of(table, "boat", file)
    entries, written_readings = table.get("own", []), table.get("readings", {})
    if not isinstance(entries, list):
        raise SetupError(
            f"{entries!r} is not a list", file=file, place="own", hint="write an [[own]] for each item"
        )
    if not isinstance(written_readings, Mapping):
        raise SetupError(
            f"{written_readings!r} is not a table", file=file, place="readings", hint="write [readings]"
        )
    own = tuple(own_item_of(entry, file) for entry in entries)
    of_boat = {item.name: item for item in (*known, *own)}
    readings = {}
    for name, written in written_readings.items():
        item = ITEMS.get(name) or of_boat.get(name)
        if item is None:
            raise unknown_item(name, file)
        readings[name] = reading_of(written, item, file)
    defined = {item.name for item in own}
    return boat, readings, tuple(i for i in of_boat.values() if i.name in defined or i.name in readings)


def unknown_item(name: str, file: str = "") -> SetupError:
    """Build the error for an unknown item, with the most similar name."""
    near = get_close_matches(name, ITEMS, n=1)
    hint = f"did you mean {near[0]}? " if near else ""
    return SetupError(
        "there is no such item",
        file=file,
        place=name,
        hint=f"{hint}`reciprocal sheet --items` lists the names; one of the boat's own is defined under own",
    )
