"""The bench page's sheet: its rows, the entries, the verdicts and the steps back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from telemetry.core.errors import SetupError
from telemetry.setup import (
    GAUGES,
    GROUPS,
    ITEMS,
    SIGNS,
    BenchDisplay,
    FoundItem,
    FoundMeasure,
    Gauge,
    Item,
    OwnItem,
    Reading,
    SetupSheet,
    Step,
    bench_card,
    compare_found,
    own_item_of,
    own_item_table,
    parse_reading,
    parse_table,
    steps_back,
    strut_of,
    strut_text,
)

NEW_SHEET: Final = "new"
FIRST_ITEMS: Final = (
    "strut_depth_mm",
    "strut_angle_deg",
    "tab_gap_left_inner_mm",
    "tab_gap_left_outer_mm",
    "tab_gap_right_inner_mm",
    "tab_gap_right_outer_mm",
    "rudder_depth_mm",
    "cog_mm",
)
"""The first items for a boat without a sheet."""


@dataclass(frozen=True, slots=True)
class BenchEntry:
    """The entry for one item: its value and its gauge."""

    item: str
    value: str = ""
    gauge: str = ""


@dataclass(frozen=True, slots=True)
class OnBench:
    """A sheet on the bench with the boat's own items, whether on the sheet or not."""

    sheet: SetupSheet
    own: tuple[OwnItem, ...] = ()

    def __post_init__(self) -> None:
        """Combine the sheet's own items and the boat's."""
        by_name = {item.name: item for item in (*self.own, *self.sheet.own)}
        object.__setattr__(self, "own", tuple(by_name.values()))

    def item(self, name: str) -> Item:
        """Find a standard item or one of the boat's."""
        own = next((item for item in self.own if item.name == name), None)
        return own or self.sheet.item(name)

    def to_dict(self) -> dict[str, Any]:
        """Convert to plain types, for the browser to store."""
        return {"sheet": self.sheet.to_dict(), "own": [own_item_table(item) for item in self.own]}

    @classmethod
    def from_dict(cls, table: Mapping[str, Any] | None) -> OnBench | None:
        """Parse plain types."""
        if not table:
            return None
        return cls(SetupSheet.from_dict(table["sheet"]), tuple(own_item_of(own) for own in table["own"]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One item as the table shows it.

    Attributes
    ----------
    item : Item
    unit, sign, as_set : str
        In this user's units and sign.
    entry : BenchEntry
        The entry so far, in this user's units.
    gauges : tuple of str
        Gauges to choose from; the usual one first.
    usual : str
        The default gauge: the user's saved one, else the item's usual one.
    """

    item: Item
    unit: str
    sign: str
    as_set: str
    entry: BenchEntry
    gauges: tuple[str, ...]
    usual: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """The bench's results for the entries.

    Attributes
    ----------
    verdicts : mapping of str to FoundItem
        By item, for those on the sheet or measured.
    errors : mapping of str to str
        Entries that cannot be used, by item.
    steps : tuple of Step
    card : str
        Plain text, to print.
    found : FoundMeasure
        Of all entries that can be used.
    strut : str
        The strut's geometry from two heights, a line each; empty without both heights.
    """

    verdicts: Mapping[str, FoundItem]
    errors: Mapping[str, str]
    steps: tuple[Step, ...]
    card: str
    found: FoundMeasure
    strut: str


def showing_of(length: str | None, mass: str | None, turned: Sequence[str] | None) -> BenchDisplay:
    """Return this user's units and signs."""
    return BenchDisplay(length or "mm", mass or "kg", frozenset(turned or ()) & frozenset(SIGNS))


def blank_sheet(boat: str) -> SetupSheet:
    """Start a boat that has no sheet yet."""
    return SetupSheet(boat=boat.strip(), name=NEW_SHEET)


def sheet_of_file(name: str, content: bytes) -> SetupSheet:
    """Parse a dropped sheet.

    Raises
    ------
    SetupError
        With the file, the key and the fix.
    """
    return SetupSheet.from_dict(parse_table(content.decode("utf-8", "replace"), name), name)


def rows_of(
    bench: OnBench,
    more: Sequence[str],
    entries: Sequence[BenchEntry],
    showing: BenchDisplay,
    kept: Callable[[Item], str] = lambda _: "",
) -> tuple[Row, ...]:
    """List the items to measure: those of the sheet that can move, the boat's own, and those added.

    ``kept`` returns the gauge that the user saved for an item, or empty.
    """
    sheet = bench.sheet
    typed = {entry.item: entry for entry in entries}
    names = {name for name in sheet.tune if sheet.item(name).at_bench}
    names |= {item.name for item in bench.own if item.at_bench} | set(more)
    if not sheet.readings:
        names |= set(FIRST_ITEMS)
    items = sorted(map(bench.item, names), key=lambda item: (item.order, item.name))
    return tuple(
        Row(
            item=item,
            unit=showing.unit(item),
            sign=showing.sign(item),
            as_set=showing.text(item, sheet.tune.get(item.name, sheet.readings.get(item.name))),
            entry=typed.get(item.name, BenchEntry(item.name)),
            gauges=_gauges(item),
            usual=kept(item) or item.gauge.name,
        )
        for item in items
    )


def _gauges(item: Item) -> tuple[str, ...]:
    if not item.is_measured or item.unit == "1":
        return ()
    fitting = [gauge.name for gauge in GAUGES if gauge.unit == item.unit and gauge != item.gauge]
    return (item.gauge.name, *fitting) if item.gauge in GAUGES else tuple(fitting)


def items_to_add(bench: OnBench) -> list[dict[str, Any]]:
    """List every item by group, for choosing further items."""
    everything = [*ITEMS.values(), *bench.own]
    return [
        {
            "group": title,
            "items": [{"value": i.name, "label": i.title} for i in everything if i.group == group],
        }
        for group, title in GROUPS.items()
        if any(i.group == group for i in everything)
    ]


def tell(
    bench: OnBench, target: SetupSheet | None, entries: Sequence[BenchEntry], showing: BenchDisplay
) -> Told:
    """Judge the entries, and find the steps to the target sheet."""
    sheet = bench.sheet
    readings: dict[str, Reading] = {}
    errors: dict[str, str] = {}
    for entry in entries:
        if entry.value.strip():
            try:
                readings[entry.item] = parse_reading(
                    bench.item(entry.item), entry.value, showing, entry.gauge
                )
            except SetupError as error:
                errors[entry.item] = error.reason
    try:
        found = _found(bench, readings)
    except SetupError as error:  # heights that contradict their span
        errors["strut_span_mm"] = error.reason
        found = _found(bench, {n: r for n, r in readings.items() if n != "strut_span_mm"})
    verdicts = {row.item.name: row for row in compare_found(sheet, found)}
    goal = target or sheet
    card = bench_card(sheet, found if found.readings else None, goal, showing, crash=True)
    steps = steps_back(goal, found, sheet) if found.readings else ()
    geometry = strut_of(found.readings)
    strut = "" if geometry is None else strut_text(geometry, showing)
    return Told(verdicts, errors, steps, card, found, strut)


def _found(bench: OnBench, readings: Mapping[str, Reading]) -> FoundMeasure:
    own = tuple(item for item in bench.own if item.name in readings or item in bench.sheet.own)
    return FoundMeasure(bench.sheet.boat, readings, own, datetime.now(UTC))


def entries_in(
    entries: Sequence[BenchEntry], bench: OnBench, old: BenchDisplay, new: BenchDisplay
) -> tuple[BenchEntry, ...]:
    """Convert the entries to another unit or sign; unreadable ones are unchanged."""
    if old == new:
        return tuple(entries)
    return tuple(_entry_in(entry, bench, old, new) for entry in entries)


def _entry_in(entry: BenchEntry, bench: OnBench, old: BenchDisplay, new: BenchDisplay) -> BenchEntry:
    item = bench.item(entry.item)
    if not item.is_measured or not entry.value.strip():
        return entry
    try:
        reading = parse_reading(item, entry.value, old, entry.gauge)
    except SetupError:
        return entry
    value = f"{new.shown(item, float(reading.value)):.9g}"
    return BenchEntry(entry.item, value, _gauge_text(reading.gauge))


def _gauge_text(gauge: Gauge | None) -> str:
    if gauge is None:
        return ""
    unit = "" if gauge.unit == "1" else f" {gauge.unit}"
    return gauge.name if gauge in GAUGES else f"{gauge.resolution:.9g}{unit}"


def next_sheet(sheet: SetupSheet, found: FoundMeasure, name: str) -> SetupSheet:
    """Build the next sheet from the entries; a boat's first sheet has no parent.

    Raises
    ------
    SetupError
        If there is no name or no entry.
    """
    if not found.readings:
        raise SetupError("no value was entered", hint="fill in at least one value")
    if not name.strip():
        raise SetupError("the sheet has no name", hint="give it a name")
    now = datetime.now(UTC)
    if sheet.readings:
        return sheet.edit(found.readings, name=name.strip(), made_utc=now, own=found.own)
    return SetupSheet(
        boat=sheet.boat, readings=found.readings, own=found.own, name=name.strip(), made_utc=now
    )


def own_item(title: str, unit: str, matters: str) -> OwnItem:
    """Define an item of this boat alone from its title and unit.

    Raises
    ------
    SetupError
        If title and unit are not possible.
    """
    ending = {"mm": "_mm", "deg": "_deg", "kg": "_kg"}.get(unit, "")
    stem = "_".join("".join(c if c.isascii() and c.isalnum() else " " for c in title.lower()).split())
    table: dict[str, Any] = {"name": stem + ending, "title": title.strip(), "at_bench": True}
    table |= {"unit": unit} if ending else {"kind": "text"}
    return own_item_of(table | ({"matters": matters} if matters.strip() and ending else {}))


def sign_words(showing: BenchDisplay) -> list[tuple[str, str]]:
    """Describe how this user counts each sign."""
    firsts = [ITEMS[names[0]] for names in SIGNS.values()]
    return [(item.title.partition(",")[0], showing.sign(item)) for item in firsts]
