"""The page "History": how one boat has done, and what to do next."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.history.figures import SYMBOLS
from dashboard.ui.links import HISTORY

PATH: Final = HISTORY
NAME: Final = "History"
QUESTION: Final = "How has this boat done so far?"
_PLOT: Final[dict[str, Any]] = {"displayModeBar": False, "responsive": True}
_SHAPES: Final = {"circle": "●", "x-thin": "×", "diamond-open": "◇"}


def layout(boat: str | None = None, **_query: str) -> html.Main:
    """Build the page, empty; its address may hold the boat."""
    return html.Main(
        [
            html.H1(QUESTION),
            html.Section(
                [html.H2("The boat"), *_choice()], className="history-choice", **{"aria-label": "The boat"}
            ),
            html.Section(
                [html.H2("Its best two-way"), html.Div(id="history-best", **{"aria-live": "polite"})],
                className="history-best",
            ),
            _section("outings", "Outing by outing", [_key(), _graph("history-outings"), _told("outings")]),
            _section("sheets", "Its setup sheets", [_told("sheets")]),
            _section("tune", "Today and the best", [_told("tune")]),
            _section("next", "What to try next", [_graph("history-trial"), _told("advice")]),
            _section("due", "Service", [_told("due")]),
            _section("events", "What went wrong", [_told("events")]),
            dcc.Store(id="history-asked", data=boat),
            dcc.Store(id="history-address", data=["boat"]),
        ],
        id="history",
        className="page plain history",
    )


def _section(area: str, title: str, children: list[Any]) -> html.Section:
    return html.Section([html.H2(title), *children], className=f"history-{area}")


def _choice() -> list[Any]:
    return [
        dmc.Select(
            id="history-boat",
            label="Boat",
            data=[],
            placeholder="none in the logbook yet",
            allowDeselect=False,
            className="short",
        ),
    ]


def _told(name: str) -> html.Div:
    return html.Div(id=f"history-{name}-told")


def _graph(name: str) -> html.Div:
    graph = dcc.Graph(id=name, config=_PLOT, responsive=True, className="graph", figure={"layout": {}})
    return html.Div(graph, id=f"{name}-box", className="graph-box graph-history")


def _key() -> html.P:
    verdicts = [html.Span(f"{_SHAPES[symbol]} {verdict}") for verdict, symbol in SYMBOLS.items()]
    return html.P(
        [
            *verdicts,
            html.Span("△ best peak of the outing"),
            html.Span("◯ ring: the best two-way"),
            html.Span("bars: 95 % intervals"),
            html.Span("letters: the setup sheets below"),
        ],
        className="key",
    )
