"""The bench card: plain text to print."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Final

from telemetry.core.text_table import text_table
from telemetry.setup.changes import ItemChange
from telemetry.setup.crash import BENCH_CAUTIONS, CRASH_LIST
from telemetry.setup.display_units import SIGNS, BenchDisplay
from telemetry.setup.inspection import FoundItem, FoundMeasure, compare_found
from telemetry.setup.items import COMMON_PRACTICE, GROUPS, Item
from telemetry.setup.sheet import Measures, SetupSheet
from telemetry.setup.steps import Step, steps_back
from telemetry.setup.strut import strut_of
from telemetry.setup.text import strut_text

CARD_WIDTH: Final = 92
MARKS: Final = {"moved": "!", "as set": "=", "cannot tell": "?"}
"""A mark for each verdict, which never stands without its word."""


def bench_card(
    sheet: SetupSheet,
    found: FoundMeasure | None = None,
    target: SetupSheet | None = None,
    showing: BenchDisplay | None = None,
    *,
    crash: bool = False,
) -> str:
    """Format the card for bringing a boat back to a sheet.

    Parameters
    ----------
    sheet : SetupSheet
        As last set.
    found : FoundMeasure, optional
        As found; without it the card is the sheet with room to write the readings.
    target : SetupSheet, optional
        The sheet to return to, if it is another one.
    showing : BenchDisplay, optional
        Units and signs.
    crash : bool
        Whether to print the after-crash list.

    Returns
    -------
    str
        Lines of at most 92 characters if the user's own words allow it.
    """
    show, goal = showing or BenchDisplay(), target or sheet
    blocks = [_head(sheet, found, goal), _listed("Before hands go near it", BENCH_CAUTIONS)]
    if crash:
        blocks.append(crash_text())
    if found is None:
        blocks.append(sheet_text(goal, show, room=True))
    else:
        blocks.append(found_text(compare_found(sheet, found), show))
        geometry = strut_of(found.readings)
        if geometry is not None:
            blocks.append(f"Strut as found, from two heights\n{strut_text(geometry, show)}")
        blocks.append(steps_text(steps_back(goal, found, sheet), show))
    blocks.append(signs_text(goal, show))
    blocks.append(f"Order of work, usual gauges and what matters: {COMMON_PRACTICE}.")
    return "\n\n".join(blocks) + "\n"


def _head(sheet: SetupSheet, found: FoundMeasure | None, goal: SetupSheet) -> str:
    lines = [f"Bench card: {sheet.boat}", f"As set: {_named(sheet)}"]
    if found is not None:
        when = f" {_day(found.found_utc)}" if found.found_utc else ""
        lines.append(f"As found{when}{f': {found.note}' if found.note else ''}")
    if goal != sheet:
        lines.append(f"Back to: {_named(goal)}")
    return "\n".join(lines)


def _named(sheet: SetupSheet) -> str:
    made = f", {_day(sheet.made_utc)}" if sheet.made_utc else ""
    return f"{sheet.name} ({sheet.sheet_id}{made})"


def _day(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d}"


def sheet_text(measures: Measures, showing: BenchDisplay | None = None, *, room: bool = False) -> str:
    """Format the readings of a sheet by group; with room, a line next to each to write on.

    Parameters
    ----------
    measures : Measures
        A sheet or a boat as found.
    showing : BenchDisplay, optional
        Units and signs.
    room : bool
        Whether to leave a line next to each reading.
    """
    show = showing or BenchDisplay()
    head = ["item", "as set", "gauge", *(["as found", "gauge used"] if room else [])]
    rows = [head]
    shown = {item.name: (item, reading) for item, reading in measures.items()}
    shown |= {name: (measures.item(name), reading) for name, reading in measures.tune.items()}
    for item, reading in sorted(shown.values(), key=lambda pair: (pair[0].order, pair[0].name)):
        if room and not (item.at_bench and item.compared):
            continue
        gauge = item.gauge_of(reading).text() if item.is_measured else ""
        rows.append(
            [item.title, show.text(item, reading), gauge, *(["________", "________"] if room else [])]
        )
    return "\n".join(text_table(rows, right=(1,)))


def changes_text(changes: Iterable[ItemChange], showing: BenchDisplay | None = None) -> str:
    """Format the differences between two sheets."""
    show = showing or BenchDisplay()
    rows = [["item", "before", "after", ""]]
    for change in changes:
        beyond = change.beyond_gauges
        said = "only on one sheet" if beyond is None else "" if beyond else "within the gauges' resolution"
        rows.append(
            [
                change.item.title,
                show.text(change.item, change.before),
                show.text(change.item, change.after),
                said,
            ]
        )
    return "\n".join(text_table(rows, right=(1, 2))) if len(rows) > 1 else "Nothing differs."


def found_text(rows: Sequence[FoundItem], showing: BenchDisplay | None = None) -> str:
    """Format what moved, item by item, with the evidence."""
    show = showing or BenchDisplay()
    cells = [["", "item", "as set", "as found", "verdict"]]
    for row in rows:
        item, change = row.item, row.change
        cells.append(
            [
                MARKS[row.verdict],
                item.title,
                show.text(item, change.before),
                show.text(item, change.after),
                row.verdict,
            ]
        )
    table = text_table(cells, right=(2, 3))
    why = [
        f"  {MARKS[row.verdict]} {row.item.title}: {row.why(show)}"
        for row in rows
        if row.verdict != "as set" and row.change.after is not None
    ]
    unmeasured = [row.item.title for row in rows if row.change.after is None]
    if unmeasured:
        why.append(f"  {MARKS['cannot tell']} not measured as found: {'; '.join(unmeasured)}")
    counts = ", ".join(f"{sum(r.verdict == v for r in rows)} {v}" for v in MARKS)
    return "\n".join([f"As found: {counts}", *table, *_wrapped(why)])


def steps_text(steps: Sequence[Step], showing: BenchDisplay | None = None) -> str:
    """Format the steps, numbered, each with a box to tick."""
    if not steps:
        return "The way back: nothing to do; everything measured matches the sheet."
    lines = ["The way back"]
    group = ""
    for number, step in enumerate(steps, 1):
        if step.group and step.group != group:
            lines.append(f" {GROUPS[step.group]}")
        group = step.group
        lines += _wrapped([f"  [ ] {number}. {step.text(showing)}"])
    return "\n".join(lines)


def signs_text(measures: Measures, showing: BenchDisplay | None = None) -> str:
    """Describe the sign of each item that has one."""
    show = showing or BenchDisplay()
    turned = [name for names in SIGNS.values() for name in names]
    said: dict[str, Item] = {}
    for name in measures.tune:
        item = measures.item(name)
        if name in turned:
            said.setdefault(show.sign(item), item)
    lines = [f"  {_family(item)}: {sign}" for sign, item in said.items()]
    return "\n".join(["Signs", *_wrapped(lines)]) if lines else "Nothing on this sheet has a sign."


def _family(item: Item) -> str:
    return item.title.partition(",")[0]


def crash_text() -> str:
    """Format the after-crash list with boxes to tick."""
    lines = [f"  [ ] {check.title}: {check.look} ({check.why})" for check in CRASH_LIST]
    return "\n".join([f"After a crash ({COMMON_PRACTICE})", *_wrapped(lines)])


def _listed(title: str, lines: Iterable[str]) -> str:
    return "\n".join([title, *_wrapped(f"  - {line}" for line in lines)])


def _wrapped(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        lead = len(line) - len(line.lstrip())
        indent = " " * (lead + (4 if line.lstrip().startswith("[ ]") else 2))
        yield from textwrap.wrap(line, CARD_WIDTH, subsequent_indent=indent, break_long_words=False) or [line]
