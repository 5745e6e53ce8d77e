"""A boat as found: what moved since it was set, as far as the gauges can tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, Literal

from telemetry.setup.changes import Change
from telemetry.setup.gauges import Reading
from telemetry.setup.items import Item
from telemetry.setup.resolve import limit_of, same_text
from telemetry.setup.sheet import Measures, SetupSheet, measures_of, schema_of
from telemetry.setup.tables import aware, keys_of, moment_of, text_of, utc_iso

FoundVerdict = Literal["moved", "as set", "cannot tell"]
SCHEMA: Final = "reciprocal-found/1"


@dataclass(frozen=True)
class FoundMeasure(Measures):
    """A boat measured as it was found, after a crash or before an outing.

    Attributes
    ----------
    found_utc : datetime or None
        When.
    note : str
        After what, in the user's words.
    """

    found_utc: datetime | None = field(default=None, compare=False)
    note: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Check and order what came in."""
        object.__setattr__(self, "found_utc", aware(self.found_utc, "found_utc"))
        super().__post_init__()

    def to_dict(self) -> dict[str, Any]:
        """Write as plain types, which :meth:`from_dict` takes back."""
        return {"schema": SCHEMA, **self._content(), "found_utc": utc_iso(self.found_utc), "note": self.note}

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], file: str = "") -> FoundMeasure:
        """Read from plain types, as for a sheet.

        Raises
        ------
        SetupError
            Naming the file, the key and the mend.
        """
        keys_of(table, ("schema", "boat", "readings", "own", "found_utc", "note"), "", file)
        schema_of(table, SCHEMA, file)
        boat, readings, own = measures_of(table, file)
        moment = moment_of(table.get("found_utc"), "found_utc", file)
        return cls(boat=boat, readings=readings, own=own, found_utc=moment, note=text_of(table, "note", file))


@dataclass(frozen=True, slots=True)
class FoundItem:
    """One item as set and as found, with the verdict.

    Attributes
    ----------
    change : Change
        The item with both readings, their difference and what the gauges can tell.
    verdict : {"moved", "as set", "cannot tell"}
    why : str
        The evidence, as part of a sentence.
    """

    change: Change
    verdict: FoundVerdict
    why: str

    @property
    def item(self) -> Item:
        """What was measured."""
        return self.change.item


def compare_found(sheet: SetupSheet, found: FoundMeasure) -> tuple[FoundItem, ...]:
    """Say of each item whether it moved since it was set.

    An item moved where the difference is more than both gauges together can make of nothing. It is as set
    where it did not, and even a movement that hides in the gauges would be too small to matter; where such a
    hidden movement could matter, or one of the two was not measured, nobody can tell.

    Parameters
    ----------
    sheet : SetupSheet
        As last set.
    found : FoundMeasure
        As found. Items of the sheet that a crash cannot move are asked about only where they were measured.

    Returns
    -------
    tuple of FoundItem
        In the order of a sheet.

    References
    ----------
    JCGM 100:2008, as for :func:`telemetry.setup.resolve.limit_of`.
    """
    items = {item.name: item for measures in (found, sheet) for item, _ in measures.items()}
    asked = [i for i in items.values() if i.group != "notes" and (i.at_bench or i.name in found.readings)]
    return tuple(
        _judged(item, sheet.readings.get(item.name), found.readings.get(item.name))
        for item in sorted(asked, key=lambda i: (i.order, i.name))
    )


def _judged(item: Item, was: Reading | None, now: Reading | None) -> FoundItem:
    if was is None or now is None:
        why = "not measured as found" if now is None else "the sheet does not say"
        return FoundItem(Change(item, was, now), "cannot tell", why)
    if isinstance(was.value, (str, bool)) or isinstance(now.value, (str, bool)):
        same = same_text(was.value, now.value)
        return FoundItem(
            Change(item, was, now), "as set" if same else "moved", "the same" if same else "another"
        )
    limit = limit_of(item, was, now)
    change = Change(item, was, now, now.value - was.value, limit)
    size, unit = abs(now.value - was.value), "" if item.unit == "1" else f" {item.unit}"
    if limit.tells(size):
        small = item.matters is not None and size + limit.value < item.matters
        less = f"; less than the {item.matters:g}{unit} that matter" if small else ""
        return FoundItem(
            change, "moved", f"by {size:.3g}{unit}, the gauges tell {limit.value:.2g}{unit}{less}"
        )
    hidden = size + limit.value
    if item.matters is not None and hidden > item.matters * (1.0 + 1e-9):
        return FoundItem(
            change,
            "cannot tell",
            f"the gauges would miss {hidden:.2g}{unit}, and {item.matters:g}{unit} matter: measure finer",
        )
    if hidden == 0.0:
        return FoundItem(change, "as set", "the same")
    return FoundItem(change, "as set", f"no more than {hidden:.2g}{unit} could hide in the gauges")
