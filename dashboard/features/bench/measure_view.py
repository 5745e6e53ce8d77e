"""Measuring item by item: the saved gauges, one item at a time, its field and its steps."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.bench.gauges import KINDS, STEP_UNITS, gauge_choices
from dashboard.features.bench.service import Row
from dashboard.ui.badges import sentence
from telemetry.setup import GROUPS

VALUE, GAUGE, VERDICT = "found-value", "found-gauge", "found-verdict"
ROW, STEP = "found-row", "found-step"
WAYS: Final = {"less": ("−", "less"), "more": ("+", "more"), "turn": ("±", "turn its sign")}
"""The buttons next to a value, each with its label for a screen reader."""
_DRAWN: Final[dict[str, Any]] = {"displayModeBar": False, "responsive": True, "staticPlot": True}


def kept_gauges() -> html.Div:
    """Build the fields for the user's gauges; the browser stores them."""
    fields = [
        dmc.Autocomplete(
            id=f"gauge-{unit}",
            label=f"{kind} with",
            data=gauge_choices(unit),
            placeholder=f"usual gauge, or its step in {STEP_UNITS[unit]}",
            value="",
            persistence=True,
            persistence_type="local",
        )
        for unit, kind in KINDS.items()
    ]
    return html.Div(fields, className="bench-gauges")


def measuring() -> list[Any]:
    """Build the controls around the items: one at a time or all, and the progress."""
    mode = dmc.SegmentedControl(
        id="bench-mode",
        data=[{"value": "one", "label": "One at a time"}, {"value": "all", "label": "All together"}],
        value="all",  # the browser sets it, by its width or by the last choice
        **{"aria-label": "Show the items"},
    )
    head = html.Div(
        [
            html.Strong(id="bench-progress", role="status"),
            html.Progress(id="bench-bar", value="0", max="1", **{"aria-label": "Items done"}),
        ],
        className="bench-progress",
    )
    turning = [
        dmc.Button("Previous", id="bench-previous", variant="default"),
        dmc.Button("Skip", id="bench-skip", variant="default"),
        dmc.Button("Next", id="bench-next"),
    ]
    drawing = dcc.Graph(
        id="item-drawing", config=_DRAWN, responsive=True, className="graph", figure={"layout": {}}
    )
    return [
        html.Div(mode, className="bench-mode"),
        html.Div(
            [
                head,
                html.Div(id="found-rows"),
                html.Div(turning, className="bench-turning", role="group", **{"aria-label": "Items"}),
                html.Div(drawing, id="item-drawing-box", className="graph-box drawing", hidden=True),
            ],
            id="bench-measuring",
            className="bench-all",
        ),
        dcc.Store(id="bench-at", data=0),
        dcc.Store(id="bench-now"),
        dcc.Store(id="bench-sizes"),
        dcc.Store(id="bench-pressed"),
    ]


def found_rows(rows: Sequence[Row]) -> list[html.Div]:
    """Build the items by group, each with its fields."""
    blocks = []
    for group, members in groupby(rows, key=lambda row: row.item.group):
        blocks.append(
            html.Div([html.H3(GROUPS[group]), *(_row(row) for row in members)], className="found-group")
        )
    return blocks


def _row(row: Row) -> html.Div:
    item = row.item
    unit = f" [{row.unit}]" if row.unit else ""
    fields: list[Any] = [_value(row, unit)]
    if row.gauges:
        fields.append(
            dmc.Autocomplete(
                id={"type": GAUGE, "item": item.name},
                value=row.entry.gauge,
                data=list(row.gauges),
                placeholder=row.usual,
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
            html.Div(
                id={"type": VERDICT, "item": item.name}, className="found-verdict", **{"aria-live": "polite"}
            ),
        ],
        id={"type": ROW, "item": item.name},
        className="found-row",
    )


def _value(row: Row, unit: str) -> Any:
    item = row.item
    common = {
        "id": {"type": VALUE, "item": item.name},
        "label": f"As found{unit}",
        "aria-label": f"{item.title} as found",
    }
    choices = {"flag": ("yes", "no"), "choice": item.choices}.get(item.kind)
    if choices:
        return dmc.Select(data=list(choices), value=row.entry.value or None, clearable=True, **common)
    if not item.is_measured:
        return dmc.TextInput(value=row.entry.value, debounce=400, **common)
    # Sent when the field loses focus: a timer's late answer would undo what the buttons did meanwhile.
    field = dmc.TextInput(
        value=row.entry.value,
        debounce=True,
        inputProps={"inputMode": "decimal"},
        autoComplete="off",
        **common,
    )
    ways = [way for way in WAYS if way != "turn" or item.low < 0.0]
    buttons = [
        dmc.Button(
            WAYS[way][0],
            id={"type": STEP, "item": item.name, "way": way},
            variant="default",
            **{"aria-label": f"{item.title}: {WAYS[way][1]}"},
        )
        for way in ways
    ]
    return html.Div([field, html.Div(buttons, className="found-steps")], className="found-value")
