"""A boat as found: what moved since it was set, within the gauges' resolution."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, Literal

from telemetry.setup.changes import ItemChange, items_of
from telemetry.setup.display_units import BenchDisplay
from telemetry.setup.gauges import Reading
from telemetry.setup.items import Item, OwnItem
from telemetry.setup.parse import aware, keys_of, located, moment_of, text_of, utc_iso
from telemetry.setup.resolution import detection_limit, same_text
from telemetry.setup.sheet import Measures, SetupSheet, measures_of, schema_of

FoundVerdict = Literal["moved", "as set", "cannot tell"]
INSPECTION_SCHEMA: Final = "reciprocal-found/1"


@dataclass(frozen=True)
class FoundMeasure(Measures):
    """A boat measured as it was found, after a crash or before an outing.

    Attributes
    ----------
    found_utc : datetime or None
        When.
    note : str
        What happened before, in the user's words.
    """

    found_utc: datetime | None = field(default=None, compare=False)
    note: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Validate and sort the readings."""
        object.__setattr__(self, "found_utc", aware(self.found_utc, "found_utc"))
        super().__post_init__()

    def to_dict(self) -> dict[str, Any]:
        """Convert to plain types, which :meth:`from_dict` reads."""
        return {
            "schema": INSPECTION_SCHEMA,
            **self._content(),
            "found_utc": utc_iso(self.found_utc),
            "note": self.note,
        }

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], file: str = "", own: Iterable[OwnItem] = ()) -> FoundMeasure:
        """Parse plain types, as for a sheet; ``own`` are the boat's items that the table need not define.

        Raises
        ------
        SetupError
            With the file, the key and the fix.
        """
        keys_of(table, ("schema", "boat", "readings", "own", "found_utc", "note"), "", file)
        schema_of(table, INSPECTION_SCHEMA, file)
        boat, readings, items = measures_of(table, file, own)
        moment = moment_of(table.get("found_utc"), "found_utc", file)
        note = text_of(table, "note", file)
        with located(file):
            return cls(boat=boat, readings=readings, own=items, found_utc=moment, note=note)


@dataclass(frozen=True, slots=True)
class FoundItem:
    """One item as set and as found, with the verdict.

    Attributes
    ----------
    change : ItemChange
        The item with both readings, their difference and the detection limit.
    verdict : {"moved", "as set", "cannot tell"}
    """

    change: ItemChange
    verdict: FoundVerdict

    @property
    def item(self) -> Item:
        """The reading as found."""
        return self.change.item

    def why(self, showing: BenchDisplay | None = None) -> str:
        """Describe the evidence as part of a sentence, in one user's units."""
        show, item, change = showing or BenchDisplay(), self.item, self.change
        if change.after is None:
            return "it was not measured as found"
        if change.before is None:
            return "the sheet has no value"
        if change.difference is None or change.limit is None:
            return "it is the same" if self.verdict == "as set" else "it is different"
        resolved = show.amount(item, change.limit.value)
        hidden = show.amount(item, _hidden(change))
        matters = "" if item.matters is None else show.amount(item, item.matters)
        if self.verdict == "moved":
            small = item.matters is not None and _hidden(change) < item.matters
            less = f", less than the {matters} that matter" if small else ""
            return (
                f"it differs by {show.amount(item, change.difference)}{less}; the gauges resolve {resolved}"
            )
        if self.verdict == "cannot tell":
            return f"the gauges could miss {hidden}, and {matters} matter: use a finer gauge"
        return f"the gauges could miss {hidden} at most" if _hidden(change) else "it is the same"


def compare_found(sheet: SetupSheet, found: FoundMeasure) -> tuple[FoundItem, ...]:
    """Decide for each item whether it moved since it was set.

    An item moved if the difference is larger than both gauges together can show without a movement. It is
    as set if it did not move and any movement below the gauges' resolution is too small to matter; if such a
    hidden movement could matter, or one of the two was not measured, the verdict is "cannot tell".

    Parameters
    ----------
    sheet : SetupSheet
        As last set.
    found : FoundMeasure
        As found. Items that a crash cannot move are judged only if they were measured.

    Returns
    -------
    tuple of FoundItem
        In the order of a sheet.

    Raises
    ------
    SetupError
        If they are of two boats.

    References
    ----------
    JCGM 100:2008, as for :func:`telemetry.setup.resolution.detection_limit`.
    """
    found.hold_same_boat(sheet)
    return tuple(
        judged(item, sheet.tune.get(item.name), found.tune.get(item.name))
        for item in items_of(sheet, found)
        if item.at_bench or item.name in found.tune
    )


def judged(item: Item, was: Reading | None, now: Reading | None) -> FoundItem:
    """Judge one item from its two readings; None if there is no reading.

    Parameters
    ----------
    item : Item
        The item.
    was, now : Reading or None
        As set and as found.
    """
    if was is None or now is None:
        return FoundItem(ItemChange(item, was, now), "cannot tell")
    if isinstance(was.value, (str, bool)) or isinstance(now.value, (str, bool)):
        return FoundItem(ItemChange(item, was, now), "as set" if same_text(was.value, now.value) else "moved")
    limit = detection_limit(item, was, now)
    change = ItemChange(item, was, now, now.value - was.value, limit)
    if limit.tells(now.value - was.value):
        return FoundItem(change, "moved")
    matters = math.inf if item.matters is None else item.matters
    return FoundItem(change, "as set" if _hidden(change) <= matters * (1.0 + 1e-6) else "cannot tell")


def _hidden(change: ItemChange) -> float:
    """Return the largest movement that the two readings leave possible, in the item's unit."""
    assert change.difference is not None
    assert change.limit is not None
    return abs(change.difference) + change.limit.value
