"""The sheet and what was found: rows to fill in, verdicts, the way back."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final

import dash_mantine_components as dmc
from dash import html

from dashboard.components.marks import icon, sentence
from dashboard.services.bench import Row, Told
from telemetry.setup import GROUPS, FoundItem, SetupSheet, Showing, Step

VALUE, GAUGE, VERDICT = "found-value", "found-gauge", "found-verdict"
_ICONS: Final = {"moved": "cross", "as set": "check", "cannot tell": "question"}


def found_rows(rows: Sequence[Row]) -> list[html.Div]:
    """Lay out the items by group, each with its fields."""
    blocks = []
    for group, members in groupby(rows, key=lambda row: row.item.group):
        blocks.append(
            html.Div([html.H3(GROUPS[group]), *(_row(row) for row in members)], className="found-group")
        )
    return blocks


def _row(row: Row) -> html.Div:
    item = row.item
    unit = f" [{row.unit}]" if row.unit else ""
    fields = [_value(row, unit)]
    if row.gauges:
        fields.append(
            dmc.Autocomplete(
                id={"type": GAUGE, "item": item.name},
                value=row.entry.gauge,
                data=list(row.gauges),
                placeholder=row.gauges[0],
                label="Gauge, or its step",
                **{"aria-label": f"Gauge for {item.title}"},
            )
        )
    return html.Div(
        [
            html.Div(
                [
                    html.Strong(item.title),
                    html.Span(["as set ", html.Span(row.as_set, className="set-value")], className="as-set"),
                    html.P(sentence(row.sign), className="quiet") if row.sign else None,
                ],
                className="found-what",
            ),
            html.Div(fields, className="found-fields"),
            html.Div(id={"type": VERDICT, "item": item.name}, className="found-verdict"),
        ],
        className="found-row",
    )


def _value(row: Row, unit: str) -> Any:
    common = {
        "id": {"type": VALUE, "item": row.item.name},
        "label": f"As found{unit}",
        "aria-label": f"{row.item.title} as found",
    }
    choices = {"flag": ("yes", "no"), "choice": row.item.choices}.get(row.item.kind)
    if choices:
        return dmc.Select(data=list(choices), value=row.entry.value or None, clearable=True, **common)
    inputs = {} if not row.item.is_measured else {"inputProps": {"inputMode": "decimal"}}
    return dmc.TextInput(value=row.entry.value, debounce=400, **inputs, **common)


def found_mark(row: FoundItem | None, showing: Showing) -> list[Any]:
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


def way_back(steps: Sequence[Step], showing: Showing, *, measured: bool) -> list[Any]:
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
    """Say which sheet lies on the bench."""
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
