"""The page "Overlay": passes of any outings on common axes, with a cursor through all plots."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.overlay.service import MOST, wanted_of
from dashboard.features.overlay.view import key, origins
from dashboard.ui.links import OVERLAY
from telemetry.pass_overlay import Abscissa, Anchor

PATH: Final = OVERLAY
NAME: Final = "Overlay"
QUESTION: Final = "Where was one pass faster than another?"
ABSCISSAE: Final = (
    ("distance", "Along the course"),
    ("time", "Time"),
    ("day", "Time of day"),
)
_PLOT: Final[dict[str, Any]] = {
    "displaylogo": False,
    "responsive": True,
    "displayModeBar": True,
    "modeBarButtons": [["zoom2d", "pan2d", "resetScale2d"]],
}


def layout(**query: Any) -> html.Main:
    """Build the page; its address holds the passes and their alignment."""
    keys, abscissa, anchor = wanted_of(query)
    return html.Main(
        [
            html.H1(QUESTION),
            html.Section([html.H2("The passes"), *_choices(keys, abscissa, anchor)]),
            html.Section([html.H2("Overlaid"), *_plots()], id="overlay-drawn", hidden=True),
            html.Section(
                [html.H2("Their sheets"), html.Div(id="overlay-sheets")], id="overlay-tuned", hidden=True
            ),
            dcc.Store(id="overlay-cursor-data"),
            dcc.Store(id="overlay-zoom"),
            dcc.Store(id="overlay-address", data=["pass", "over", "from"]),
        ],
        id="overlay",
        className="page plain overlay",
    )


def _choices(keys: tuple[str, ...], abscissa: Abscissa, anchor: Anchor) -> list[Any]:
    passes = dmc.MultiSelect(
        id="overlay-passes",
        label=f"Passes, at most {MOST}",
        description="From the logbook and from the logs in this tab. Type to search.",
        data=[{"value": one, "label": one} for one in keys],
        value=list(keys),
        searchable=True,
        clearable=True,
        hidePickedOptions=True,
        maxValues=MOST,
        limit=80,
        maxDropdownHeight=360,
        placeholder="boat, outing, day, sheet, pass",
        nothingFoundMessage="No pass matches.",
        filter={"function": "everyWord"},
    )
    over = html.Div(
        [
            html.Span("Drawn over", id="overlay-over-label", className="overlay-label"),
            dmc.SegmentedControl(
                id="overlay-over",
                data=[{"value": value, "label": label} for value, label in ABSCISSAE],
                value=abscissa,
                **{"aria-label": "Drawn over"},
            ),
        ]
    )
    counted = dmc.Select(
        id="overlay-from",
        label="Counted from",
        data=origins("distance", anchor)[0],
        value=anchor,
        allowDeselect=False,
    )
    return [
        passes,
        html.P(id="overlay-list", className="quiet"),
        html.Div([over, counted], className="overlay-how"),
        html.P("Reading…", id="overlay-reading", className="reading", hidden=True, role="status"),
        html.Div(id="overlay-remarks"),
    ]


def _plots() -> list[Any]:
    slider = dmc.Slider(
        id="overlay-at",
        min=0,
        max=1,
        value=0,
        step=1,
        label=None,
        updatemode="drag",
        thumbLabel="Place of the cursor",
        size="lg",
    )
    place = html.Div(
        [
            html.P(id="overlay-place", className="overlay-place", role="status"),
            html.P(id="overlay-speeds", className="overlay-speeds"),
            slider,
        ],
        className="overlay-cursor",
    )
    readings = html.Div(
        id="overlay-readings", className="wide", tabIndex=0, role="region", **{"aria-label": "At the cursor"}
    )
    plots = html.Div(_graph("overlay-plots"), className="graph-box")
    plan = html.Div([html.H3("From above"), _graph("overlay-plan")], className="graph-box graph-plan")
    return [key(), place, plots, readings, plan]


def _graph(name: str) -> dcc.Graph:
    return dcc.Graph(id=name, config=_PLOT, responsive=True, className="graph", figure={"layout": {}})
