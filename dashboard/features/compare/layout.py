"""The page "Before and after": did a change help, what more would tell, and what to try next."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.ui.links import COMPARE

PATH: Final = COMPARE
NAME: Final = "Before and after"
QUESTION: Final = "Did the change help?"
_PLOT: Final[dict[str, Any]] = {"displayModeBar": False, "responsive": True}


def layout(
    boat: str | None = None, before: str | None = None, after: str | None = None, **_query: str
) -> html.Main:
    """Build the page, empty; boat and sheets may stand in its address."""
    return html.Main(
        [
            html.H1(QUESTION),
            _choices(),
            html.Section(
                [html.H2("The answer", className="hidden-heading"), html.Div(id="compare-answer")],
                className="compare-answer",
                **{"aria-live": "polite", "aria-atomic": "true"},
            ),
            _section("changed", "What changed", [html.Div(id="compare-changed")]),
            _section("minded", "Bear in mind", [html.Div(id="compare-remarks")]),
            _section(
                "effects",
                "Every measure",
                [_effects_key(), _graph("compare-effects"), html.Div(id="compare-numbers")],
            ),
            _section("history", "Against one item", _history()),
            _section("next", "What to try next", _next()),
            dcc.Store(id="compare-asked", data={"boat": boat, "before": before, "after": after}),
            dcc.Store(id="compare-address", data=["boat", "before", "after"]),
        ],
        id="compare",
        className="page plain compare",
    )


def _section(area: str, title: str, children: list[Any]) -> html.Section:
    return html.Section([html.H2(title), *children], className=f"compare-{area}")


def _choices() -> html.Section:
    fields = [
        dmc.Select(
            id="compare-boat",
            label="Boat",
            data=[],
            placeholder="none in the logbook yet",
            allowDeselect=False,
        ),
        dmc.Select(
            id="compare-before", label="Before", data=[], placeholder="a sheet that was run", clearable=True
        ),
        dmc.Select(
            id="compare-after",
            label="After",
            data=[],
            placeholder="another sheet that was run",
            clearable=True,
        ),
        dmc.NumberInput(
            id="compare-care",
            label="Smallest difference that matters",
            value=0.5,
            min=0.01,
            step=0.1,
            decimalScale=2,
            debounce=True,
            persistence=True,
            persistence_type="local",
        ),
    ]
    return _section(
        "choices",
        "The two sheets",
        [
            html.Div(fields, className="compare-fields"),
            _groups(),
            html.P(id="compare-said", className="quiet", role="status"),
        ],
    )


def _groups() -> html.Details:
    fields = [
        dmc.MultiSelect(
            id=f"compare-{side}-outings",
            label=f"Only these outings {side}",
            data=[],
            value=[],
            placeholder="all",
            clearable=True,
        )
        for side in ("before", "after")
    ]
    return html.Details(
        [html.Summary("Compare groups of outings"), html.Div(fields, className="compare-fields")],
        className="findings",
    )


def _effects_key() -> html.P:
    return html.P(
        "A bar is the 95 % interval of the difference. In the shaded band it does not matter to you; what "
        "matters of a speed is your own figure, of the other measures a usual one.",
        className="quiet",
    )


def _history() -> list[Any]:
    fields = [
        dmc.Select(id="compare-measure", label="Measure", data=[], allowDeselect=False),
        dmc.Select(id="compare-item", label="Against", data=[], placeholder="time", clearable=True),
    ]
    key = html.P(
        "Bars are 95 % intervals, the number beside a point its two-ways or passes, the ring the best sheet. "
        "An open point differs from the best sheet by other items too.",
        className="quiet",
    )
    return [
        html.Div(fields, className="compare-fields"),
        key,
        _graph("compare-history"),
        html.Div(id="compare-story"),
    ]


def _next() -> list[Any]:
    ripple = dmc.NumberInput(
        id="compare-ripple",
        label="Swing of the speed at which the ride is bad",
        description="Empty: not judged",
        min=0.01,
        step=0.1,
        decimalScale=2,
        debounce=True,
        persistence=True,
        persistence_type="local",
    )
    return [
        html.Div(ripple, className="compare-fields"),
        _graph("compare-trial"),
        html.Div(id="compare-advice", **{"aria-live": "polite"}),
    ]


def _graph(name: str) -> html.Div:
    graph = dcc.Graph(id=name, config=_PLOT, responsive=True, className="graph", figure={"layout": {}})
    return html.Div(graph, id=f"{name}-box", className=f"graph-box graph-{name}")
