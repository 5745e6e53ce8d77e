"""The page "After the water": how fast did it really go, and does it count."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.corrections.view import by_hand_form, clock_form
from dashboard.features.run.controls_view import controls
from dashboard.features.run.power_view import power_facts
from dashboard.features.run.ride_view import pass_chooser
from dashboard.features.run.what_if_view import what_if_form
from dashboard.features.save.view import outing_form
from dashboard.session.file_list import upload_card
from dashboard.session.job_list import jobs_area
from dashboard.session.uploads import LARGEST_BYTES, MAX_BYTES_A_DROP, MAX_FILES_A_DROP
from dashboard.ui.cautions import cautions
from dashboard.ui.unit_fields import memory
from telemetry.twoway.rules import shipped

PATH: Final = "/"
NAME: Final = "After the water"
PAGE: Final = "water"
"""Prefix of the ids of parts that other pages have too."""
QUESTION: Final = "How fast did it really go, and does it count?"
KEEPING: Final = "keep"
PLOTS: Final = ("speed-time", "plan", "ripple-time", "ripple-spectrum", "clock-view", "power-time")
_PLOT: Final[dict[str, Any]] = {
    "displaylogo": False,
    "responsive": True,
    "displayModeBar": True,
    "modeBarButtons": [["zoom2d", "pan2d", "resetScale2d"]],
}


def layout() -> html.Main:
    """Build the page, empty."""
    return html.Main(
        [
            html.H1(QUESTION),
            html.Div(
                [_logs(), _section("controls", "Rule and distance", controls(shipped()))], className="rail"
            ),
            html.Div(
                [
                    _answer(),
                    _speed(),
                    _plan(),
                    _two_ways(),
                    _passes(),
                    _keep(),
                    _ride(),
                    _clock(),
                    _power(),
                    _what_if(),
                ],
                className="answers",
            ),
            cautions(),
            dcc.Store(id="limits", data=[LARGEST_BYTES, MAX_BYTES_A_DROP, MAX_FILES_A_DROP]),
            dcc.Store(id="dropped"),
            dcc.Store(id="revision", data=0),
            dcc.Store(id="asked"),
            dcc.Store(id="edition"),
            dcc.Store(id="driven"),
            dcc.Store(id="measured"),
            dcc.Store(id="speed-zoom"),
            dcc.Store(id="picked", data=[]),
            dcc.Store(id="begun"),
            dcc.Store(id="listed"),
            dcc.Store(id="files-found"),
            memory(PAGE),
        ],
        id="after-the-water",
        className="page empty",
    )


def _logs() -> html.Section:
    parts = [html.H2("The logs"), upload_card(jobs_area(PAGE)), html.Ul(id="files", className="files")]
    return html.Section(parts, className="area-logs")


def _answer() -> html.Section:
    return html.Section(
        [html.H2("The answer", className="hidden-heading"), html.Div(id="answer")],
        className="area-answer",
        **{"aria-live": "polite", "aria-atomic": "true"},
    )


def _speed() -> html.Section:
    return _section("speed", "Speed over time", [_speed_key(), _graph("speed-time"), by_hand_form()])


def _plan() -> html.Section:
    return _section("plan", "The course from above", [_plan_key(), _graph("plan")])


def _two_ways() -> html.Section:
    accordion = dmc.Accordion([], id="two-ways", order=3, variant="default", value=None)
    pages = dmc.Pagination(id="two-ways-page", total=1, value=1, hideWithOnePage=True, withEdges=True)
    return _section("two-ways", "Two-ways", [html.Div(id="notes"), accordion, pages])


def _passes() -> html.Section:
    return _section("passes", "Passes", [html.Div(id="passes")])


def _keep() -> html.Section:
    section = _section("keep", "Save this outing", outing_form(KEEPING, "Save this outing in the logbook"))
    section.id = "keep-this-outing"
    return section


def _ride() -> html.Section:
    parts = [
        html.Div(id="ride-events"),
        pass_chooser(),
        _graph("ripple-time"),
        _graph("ripple-spectrum"),
    ]
    return _section("ride", "How it rode", parts)


def _clock() -> html.Section:
    section = _section("clock", "The motor log's clock", [_clock_key(), _graph("clock-view"), clock_form()])
    section.id = "area-clock"
    return section


def _power() -> html.Section:
    parts = [power_facts(), html.Div(id="power-told"), _graph("power-time")]
    return _section("power", "What the power train did", parts)


def _what_if() -> html.Section:
    parts = [what_if_form(), html.Div(id="what-if-told", **{"aria-live": "polite"})]
    return _section("what-if", "What if", parts)


def _section(area: str, title: str, children: list[Any]) -> html.Section:
    return html.Section([html.H2(title), *children], className=f"area-{area}")


def _graph(name: str) -> html.Div:
    """Build the placeholder of a plot: its library is large, and waits for a log to draw."""
    return html.Div(id=f"{name}-box", className=f"graph-box graph-{name}")


def plot(name: str) -> dcc.Graph:
    """Build an empty plot in its place."""
    return dcc.Graph(id=name, config=_PLOT, responsive=True, className="graph", figure={"layout": {}})


def _speed_key() -> html.P:
    return _key(
        ("line-ink", "smoothed"),
        ("dot-raw", "as logged"),
        ("out", "pass out"),
        ("back", "pass back"),
        ("hatch", "take-off"),
        ("bar", "measured distance of the open two-way"),
        ("cross", "excluded by the program; a triangle is off the scale"),
        ("hand", "cut by hand"),
    )


def _clock_key() -> html.P:
    return _key(
        ("line-ink", "speed"), ("dot-raw", "speed as logged"), ("dashed", "motor log, scaled to the speed")
    )


def _plan_key() -> html.P:
    return _key(
        ("out", "pass out, arrow at its start"),
        ("back", "pass back"),
        ("gate", "gates A and B; dashed: placed automatically"),
        ("cross", "position excluded"),
    )


def _key(*entries: tuple[str, str]) -> html.P:
    spans = [
        html.Span([html.Span(className=f"swatch swatch-{kind}", **{"aria-hidden": "true"}), text])
        for kind, text in entries
    ]
    return html.P(spans, className="key")
