"""Callbacks of the page "Bench" below the steps back: signs, balance, service."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html
from dash.exceptions import PreventUpdate

from dashboard.features.bench.balance_figure import balance_drawing
from dashboard.features.bench.balance_service import FIELDS, as_set_of, first_rows, in_old_units, weigh
from dashboard.features.bench.balance_service_view import PART, SERVICE_DONE, part_rows, service_rows, weighed
from dashboard.features.bench.figures import SIGN_DRAWINGS
from dashboard.features.bench.logbook import BenchClient
from dashboard.features.bench.service import OnBench, showing_of, sign_words
from dashboard.ui.badges import sentence
from dashboard.ui.palette import seen_by

PARTS = {"type": PART, "row": ALL, "field": ALL}


def register(app: Dash, book: BenchClient) -> None:
    """Attach these callbacks to an app."""
    _register_signs(app)
    _register_balance(app)
    _register_service(app, book)


def _register_signs(app: Dash) -> None:
    @app.callback(
        *(Output(f"{name}-drawing", "figure") for name in SIGN_DRAWINGS),
        Output("sign-words", "children"),
        Input("bench-turned", "value"),
        Input("surroundings", "data"),
    )
    def draw_signs(turned: list[str] | None, surroundings: dict[str, bool] | None) -> tuple[Any, ...]:
        palette, showing = seen_by(surroundings)[0], showing_of(None, None, turned)
        words = [html.Li([html.Strong(f"{what}: "), sentence(said)]) for what, said in sign_words(showing)]
        return (*(draw(palette, showing) for draw in SIGN_DRAWINGS.values()), words)


def typed_parts(fields: list[dict[str, Any]]) -> list[dict[str, str]]:
    """Combine the values of the fields, one table row a part."""
    count = 1 + max((one["id"]["row"] for one in fields), default=-1)
    rows = [dict.fromkeys(FIELDS, "") for _ in range(count)]
    for one in fields:
        rows[one["id"]["row"]][one["id"]["field"]] = str(one.get("value") or "")
    return rows


def _register_balance(app: Dash) -> None:
    @app.callback(
        Output("part-rows", "children"),
        Output("hull-length", "value"),
        Output("bench-parts", "data"),
        Input("bench-sheet", "data"),
        Input("part-add", "n_clicks"),
        Input("part-sheet", "n_clicks"),
        Input("length-unit", "value"),
        Input("mass-unit", "value"),
        State(PARTS, "value"),
        State("hull-length", "value"),
        State("bench-parts", "data"),
    )
    def ask_parts(
        lying: Any, _add: Any, _sheet: Any, length: str, mass: str, _values: Any, hull: str | None, was: Any
    ) -> tuple[Any, Any, Any]:
        bench, showing = OnBench.from_dict(lying), showing_of(length, mass, None)
        rows = typed_parts(ctx.states_list[0])
        if not rows or ctx.triggered_id in (None, "bench-sheet", "part-sheet"):
            sheet = bench.sheet if bench else None
            length_mm = sheet.value("hull_length_mm") if sheet else None
            return (
                part_rows(first_rows(sheet, showing), showing),
                f"{length_mm:g} mm" if length_mm else "",
                [length, mass],
            )
        rows = in_old_units(rows, showing_of(*was, None) if was else showing, showing)
        if ctx.triggered_id == "part-add":
            rows.append(dict.fromkeys(FIELDS, ""))
        return part_rows(rows, showing), hull, [length, mass]

    @app.callback(
        Output("balance-told", "children"),
        Output("balance-drawing", "figure"),
        Output("balance-box", "hidden"),
        Input(PARTS, "value"),
        Input("cog-wanted", "value"),
        Input("hull-length", "value"),
        Input("surroundings", "data"),
        State("length-unit", "value"),
        State("mass-unit", "value"),
        State("bench-sheet", "data"),
    )
    def weigh_parts(
        _values: Any, wanted: str | None, hull: str | None, surroundings: Any, *rest: Any
    ) -> tuple[Any, Any, bool]:
        length, mass, lying = rest
        bench, showing = OnBench.from_dict(lying), showing_of(length, mass, None)
        as_set_mm = as_set_of(bench.sheet if bench else None)
        result = weigh(typed_parts(ctx.inputs_list[0]), wanted or "", hull or "", showing, as_set_mm)
        if result.now is None or result.then is None:
            return weighed(result), {"layout": {}}, True
        palette = seen_by(surroundings)[0]
        drawn = balance_drawing(
            result.before,
            result.after,
            result.now,
            result.then,
            result.as_set_mm,
            result.hull_length_mm,
            result.restoration,
            palette,
            showing,
        )
        return weighed(result), drawn, False


def _register_service(app: Dash, book: BenchClient) -> None:
    @app.callback(
        Output("service-rows", "children"), Input("bench-boat", "value"), Input("bench-kept", "data")
    )
    def list_service(boat: str | None, _kept: int) -> Any:
        return service_rows(book.service(boat), known=boat is not None)

    @app.callback(
        Output("service-rows", "children", allow_duplicate=True),
        Input({"type": SERVICE_DONE, "task": ALL}, "n_clicks"),
        State("bench-boat", "value"),
        prevent_initial_call=True,
    )
    def done_now(_clicks: list[int | None], boat: str | None) -> Any:
        if not ctx.triggered[0]["value"] or boat is None:
            raise PreventUpdate  # the button was created, not pressed
        book.done(boat, ctx.triggered_id["task"])
        return service_rows(book.service(boat), known=True)

    @app.callback(
        Output("service-rows", "children", allow_duplicate=True),
        Input("task-keep", "n_clicks"),
        State("task-name", "value"),
        State("task-runs", "value"),
        State("task-hours", "value"),
        State("task-days", "value"),
        State("bench-boat", "value"),
        prevent_initial_call=True,
    )
    def keep_interval(_clicks: int, name: str, runs: Any, hours: Any, days: Any, boat: str | None) -> Any:
        if boat is None:
            raise PreventUpdate
        book.set_task(boat, name, *(float(x) if x else None for x in (runs, hours, days)))
        return service_rows(book.service(boat), known=True)
