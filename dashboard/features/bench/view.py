"""The sheet and the boat as found: verdicts, and the steps back."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final

import dash_mantine_components as dmc
from dash import html

from dashboard.features.bench.service import Told
from dashboard.ui.badges import icon, sentence
from telemetry.setup import GROUPS, BenchDisplay, FoundItem, SetupSheet, Step

_ICONS: Final = {"moved": "cross", "as set": "check", "cannot tell": "question"}


def found_mark(row: FoundItem | None, showing: BenchDisplay) -> list[Any]:
    """Format a verdict as icon and word, with its evidence."""
    if row is None:
        return []
    kind = _ICONS[row.verdict]
    mark = html.Span([icon(kind), row.verdict], className=f"verdict verdict-{kind}")
    return [mark, html.Span(sentence(row.why(showing)), className="quiet")]


def counted(result: Told) -> list[html.P]:
    """Count the verdicts, and show the strut's geometry from two heights."""
    words = [f"{sum(r.verdict == v for r in result.verdicts.values())} {v}" for v in _ICONS]
    strut = [html.P(line) for line in result.strut.splitlines()]
    return [html.P(", ".join(words), id="bench-counts"), *strut]


def way_back(steps: Sequence[Step], showing: BenchDisplay, *, measured: bool) -> list[Any]:
    """Build the steps with a box to tick."""
    if not measured:
        return [html.P("Enter what you measured to see the steps here.", className="quiet")]
    if not steps:
        return [html.P("Nothing to do: everything measured matches the sheet.")]
    blocks: list[Any] = []
    number = 0
    for group, members in groupby(steps, key=lambda step: step.group):
        if group:
            blocks.append(html.H3(GROUPS[group]))
        for step in members:
            number += 1
            label = f"{number}. {step.text(showing)}"
            blocks.append(dmc.Checkbox(label=label, className=f"step step-{step.kind}"))
    return blocks


def sheet_told(sheet: SetupSheet | None) -> list[Any]:
    """Show which sheet is on the bench."""
    if sheet is None:
        return [
            html.P("No sheet yet. Choose a boat, drop a sheet's file, or add a new boat.", className="quiet")
        ]
    if not sheet.readings:
        return [html.P([html.Strong(sheet.boat), ": no sheet yet. Your entries can become its first one."])]
    made = f", {sheet.made_utc:%Y-%m-%d}" if sheet.made_utc else ""
    note = f" {sentence(sheet.note)}" if sheet.note else ""
    return [html.P([html.Strong(f"{sheet.boat}: {sheet.name}"), f" ({sheet.sheet_id}{made}).{note}"])]
