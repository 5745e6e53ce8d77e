"""The page "Bench": what moved since the boat was set, and the way back."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.bench.balance_service_view import crash_list
from dashboard.features.bench.figures import SIGN_DRAWINGS
from dashboard.features.bench.measure_view import kept_gauges, measuring
from dashboard.ui.badges import icon
from dashboard.ui.links import BENCH
from telemetry.setup import BENCH_CAUTIONS, COMMON_PRACTICE, SIGNS, tasks_for

PATH: Final = BENCH
NAME: Final = "Bench"
QUESTION: Final = "What moved, and how do I bring it back?"
_DRAWN: Final[dict[str, Any]] = {"displayModeBar": False, "responsive": True, "staticPlot": True}
_SIGN_WORDS: Final = {
    "strut-depth": "strut depth",
    "strut-angle": "strut angle",
    "tab-gap": "tab gap",
    "rudder-toe": "rudder toe",
    "rudder-plumb": "rudder plumb",
    "fin-toe": "turn fin toe",
}


def layout(
    boat: str | None = None, sheet: str | None = None, back: str | None = None, **_query: str
) -> html.Main:
    """Build the page, empty; its address may hold boat, sheet and the sheet to return to."""
    return html.Main(
        [
            html.H1(QUESTION),
            _boat(),
            _section("found", "As found", [_found_hint(), kept_gauges(), *measuring(), _more_items()]),
            _way(),
            _section("signs", "Signs", _signs()),
            _section("balance", "Balance", _balance()),
            _section("crash", "After a crash", crash_list()),
            _section("service", "Service", _service()),
            _cautions(),
            html.Pre(id="bench-card", className="bench-card"),
            dcc.Download(id="bench-download"),
            dcc.Store(id="bench-sheet", storage_type="session"),
            dcc.Store(id="bench-target"),
            dcc.Store(id="bench-asked", data={"boat": boat, "sheet": sheet, "back": back}),
            dcc.Store(id="bench-address", data=["boat", "sheet", "back"]),
            dcc.Store(id="bench-entries", storage_type="session"),
            dcc.Store(id="bench-shown"),
            dcc.Store(id="bench-parts"),
            dcc.Store(id="bench-printed"),
            dcc.Store(id="bench-kept", data=0),
        ],
        id="bench",
        className="page bench",
    )


def _section(area: str, title: str, children: list[Any]) -> html.Section:
    return html.Section([html.H2(title, id=area), *children], className=f"bench-{area}")


def _boat() -> html.Section:
    upload = dcc.Upload(
        html.U("Take a sheet from a file (TOML or JSON)"),
        id="bench-file",
        className="own-rule",
        max_size=1_000_000,
        disable_click=True,  # the label around it opens the browser's chooser
    )
    choices = [
        dmc.Select(id="bench-boat", label="Boat", data=[], placeholder="none in the logbook yet"),
        dmc.Select(id="bench-sheets", label="As last set", data=[], placeholder="no sheet yet"),
        dmc.Select(
            id="bench-targets",
            label="Bring it back to",
            data=[],
            placeholder="the same sheet",
            clearable=True,
        ),
    ]
    new = html.Details(
        [
            html.Summary("Add a new boat"),
            html.Div(
                [
                    dmc.TextInput(id="bench-new-boat", label="Its name"),
                    dmc.Button("Begin", id="bench-begin", variant="default"),
                ],
                className="row bench-line",
            ),
        ],
        className="findings",
    )
    return _section(
        "boat",
        "The boat",
        [
            html.Div(choices, className="bench-choices"),
            html.Div(id="bench-said", **{"aria-live": "polite"}),
            html.P(id="bench-file-error", className="field-error", role="alert"),
            html.Label(upload),
            new,
        ],
    )


def _found_hint() -> html.P:
    return html.P(
        "Type a number in the unit shown, or with another unit: 1/8 in, 125 thou; the buttons "
        "start at the set value and go by the gauge's step. Name your gauges once, or type their smallest "
        "step; empty means each item's usual gauge. The step decides which movement can be seen.",
        className="quiet",
    )


def _more_items() -> html.Div:
    own = html.Details(
        [
            html.Summary("An item for this boat only"),
            html.Div(
                [
                    dmc.TextInput(id="own-title", label="Name", placeholder="Wing height"),
                    dmc.Select(
                        id="own-unit",
                        label="Measured in",
                        data=[
                            {"value": "mm", "label": "lengths"},
                            {"value": "deg", "label": "degrees"},
                            {"value": "kg", "label": "masses"},
                            {"value": "text", "label": "words"},
                        ],
                        value="mm",
                        allowDeselect=False,
                    ),
                    dmc.TextInput(
                        id="own-matters", label="Smallest change that matters", placeholder="0.5 mm"
                    ),
                    dmc.Button("Add it", id="own-add", variant="default"),
                ],
                className="row bench-line",
            ),
            html.P(id="own-error", className="field-error", role="alert"),
        ],
        className="findings",
    )
    return html.Div(
        [
            dmc.MultiSelect(
                id="more-items",
                label="More items",
                description="Both strut heights and their distance give angle and depth.",
                data=[],
                value=[],
                searchable=True,
                clearable=True,
            ),
            own,
        ],
        className="bench-more",
    )


def _way() -> html.Section:
    buttons = [
        dmc.Button("Print the bench card", id="bench-print", variant="default"),
        dmc.Button("Save the card as text", id="bench-save-card", variant="default"),
    ]
    as_found = [
        dmc.TextInput(id="bench-found-note", label="What happened before", placeholder="a crash, a season"),
        dmc.Button("Save as found", id="bench-keep-found", variant="default"),
    ]
    next_sheet = [
        dmc.TextInput(id="bench-next-name", label="Name of the next sheet"),
        dmc.Button("Save these values as the next sheet", id="bench-keep-sheet", variant="default"),
        dmc.Button("Download it as a file", id="bench-save-sheet", variant="default"),
    ]
    return _section(
        "way",
        "The way back",
        [
            html.Div(id="bench-told", **{"aria-live": "polite"}),
            html.Div(id="bench-steps", className="steps"),
            html.Div(buttons, className="row"),
            html.Div(as_found, className="row bench-line"),
            html.Div(next_sheet, className="row bench-line"),
            html.P(id="bench-done", className="quiet", role="status"),
            html.P(f"Order of work, usual gauges and what matters: {COMMON_PRACTICE}.", className="quiet"),
        ],
    )


def _signs() -> list[Any]:
    switches = dmc.ChipGroup(
        [dmc.Chip(_SIGN_WORDS[key], value=key) for key in SIGNS],
        id="bench-turned",
        multiple=True,
        value=[],
        persistence=True,
        persistence_type="local",
    )
    return [
        html.P(
            "Arrows show the positive direction. Choose what you count the other way round.",
            className="quiet",
        ),
        html.Div(switches, className="row", role="group", **{"aria-label": "Counted the other way round"}),
        html.Div([_figure(f"{name}-drawing") for name in SIGN_DRAWINGS], className="drawings"),
        html.Ul(id="sign-words", className="quiet"),
    ]


def _figure(name: str) -> html.Div:
    graph = dcc.Graph(id=name, config=_DRAWN, responsive=True, className="graph", figure={"layout": {}})
    return html.Div(graph, className=f"graph-box drawing drawing-{name}")


def _balance() -> list[Any]:
    return [
        html.P(
            "A place is a part's own centre, ahead of the transom. In what if, another mass is a swap "
            "and another place is a move.",
            className="quiet",
        ),
        html.Div(id="part-rows", className="part-rows"),
        html.Div(
            [
                dmc.Button("Add a part", id="part-add", variant="default"),
                dmc.Button("Begin with the sheet's masses", id="part-sheet", variant="default"),
            ],
            className="row",
        ),
        html.Div(
            [
                dmc.TextInput(id="cog-wanted", label="Wanted centre of gravity", debounce=400),
                dmc.TextInput(id="hull-length", label="Hull length, for percent", debounce=400),
            ],
            className="row bench-line",
        ),
        html.Div(id="balance-told", className="told", **{"aria-live": "polite"}),
        html.Div(
            dcc.Graph(
                id="balance-drawing", config=_DRAWN, responsive=True, className="graph", figure={"layout": {}}
            ),
            id="balance-box",
            className="graph-box drawing-balance",
        ),
    ]


def _service() -> list[Any]:
    own = html.Details(
        [
            html.Summary("This boat's own interval"),
            html.Div(
                [
                    dmc.Select(
                        id="task-name",
                        label="Task",
                        data=[{"value": t.name, "label": t.title} for t in tasks_for()],
                        value=tasks_for()[0].name,
                        allowDeselect=False,
                    ),
                    dmc.NumberInput(id="task-runs", label="Every runs", min=0, hideControls=True),
                    dmc.NumberInput(id="task-hours", label="Every hours", min=0, hideControls=True),
                    dmc.NumberInput(id="task-days", label="Every days", min=0, hideControls=True),
                    dmc.Button("Keep it", id="task-keep", variant="default"),
                ],
                className="row bench-line",
            ),
            html.P("All empty: this task is off for this boat.", className="quiet"),
        ],
        className="findings",
    )
    return [
        html.P(
            "A run is one outing of the logbook; hours are those under way in its logs. Each interval is "
            "shown with its source.",
            className="quiet",
        ),
        html.Div(id="service-rows", className="service-rows"),
        own,
    ]


def _cautions() -> html.Footer:
    return html.Footer(
        [
            html.H2([icon("question"), " Before hands go near it"]),
            html.Ul([html.Li(text) for text in BENCH_CAUTIONS]),
            html.P("Your club's rules and the local law come first."),
        ],
        className="cautions",
    )
