"""The sheet and what was found: verdicts, and the way back."""

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
    """Write a verdict as icon and word, with its evidence."""
    if row is None:
        return []
    kind = _ICONS[row.verdict]
    mark = html.Span([icon(kind), row.verdict], className=f"verdict verdict-{kind}")
    return [mark, html.Span(sentence(row.why(showing)), className="quiet")]


def counted(told: Told) -> list[html.P]:
    """Count the verdicts, and say what two heights tell of the strut."""
    words = [f"{sum(r.verdict == v for r in told.verdicts.values())} {v}" for v in _ICONS]
    strut = [html.P(line) for line in told.strut.splitlines()]
    return [html.P(", ".join(words), id="bench-counts"), *strut]


def way_back(steps: Sequence[Step], showing: BenchDisplay, *, measured: bool) -> list[Any]:
    """Lay out the steps with a box to tick each."""
    if not measured:
        return [html.P("Fill in what you measured; the steps then stand here.", className="quiet")]
    if not steps:
        return [html.P("Nothing to do: everything measured is as the sheet says.")]
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
    """Describe which sheet lies on the bench."""
    if sheet is None:
        return [
            html.P(
                "No sheet yet. Choose a boat, drop a sheet's file, or begin a new boat.", className="quiet"
            )
        ]
    if not sheet.readings:
        return [
            html.P([html.Strong(sheet.boat), ": no sheet yet. What you fill in can become its first one."])
        ]
    made = f", {sheet.made_utc:%Y-%m-%d}" if sheet.made_utc else ""
    note = f" {sentence(sheet.note)}" if sheet.note else ""
    return [html.P([html.Strong(f"{sheet.boat}: {sheet.name}"), f" ({sheet.sheet_id}{made}).{note}"])]
