"""Callbacks for measuring a boat item by item on the page "Bench"."""

from __future__ import annotations

from typing import Any

from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, no_update

from dashboard.features.bench.figures import sign_drawing
from dashboard.features.bench.gauges import sign_of
from dashboard.features.bench.measure_view import ROW, STEP, VALUE
from dashboard.features.bench.service import showing_of
from dashboard.ui.palette import seen_by


def register(app: Dash) -> None:
    """Attach these callbacks to an app."""
    _register_turning(app)
    _register_steps(app)

    @app.callback(
        Output("item-drawing", "figure"),
        Output("item-drawing-box", "hidden"),
        Input("bench-now", "data"),
        Input("bench-turned", "value"),
        Input("surroundings", "data"),
    )
    def draw_item(item: str | None, turned: list[str] | None, surroundings: Any) -> tuple[Any, bool]:
        sign = sign_of(item)
        if sign is None:
            return no_update, True
        return sign_drawing(sign, seen_by(surroundings)[0], showing_of(None, None, turned)), False


def _register_turning(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("bench", "mode"),
        Output("bench-mode", "value"),
        Input("bench-mode", "id"),
    )
    app.clientside_callback(
        ClientsideFunction("bench", "turn"),
        Output("bench-at", "data"),
        Input("bench-previous", "n_clicks"),
        Input("bench-skip", "n_clicks"),
        Input("bench-next", "n_clicks"),
        State("bench-at", "data"),
        State({"type": ROW, "item": ALL}, "id"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("bench", "show"),
        Output({"type": ROW, "item": ALL}, "className"),
        Output("bench-measuring", "className"),
        Output("bench-progress", "children"),
        Output("bench-bar", "value"),
        Output("bench-bar", "max"),
        Output("bench-previous", "disabled"),
        Output("bench-now", "data"),
        Input("bench-at", "data"),
        Input("bench-mode", "value"),
        Input("found-rows", "children"),
        Input({"type": VALUE, "item": ALL}, "value"),
        State({"type": ROW, "item": ALL}, "id"),
    )


def _register_steps(app: Dash) -> None:
    app.clientside_callback(
        ClientsideFunction("bench", "step"),
        Output({"type": VALUE, "item": MATCH}, "value"),
        Input({"type": STEP, "item": MATCH, "way": ALL}, "n_clicks"),
        State({"type": VALUE, "item": MATCH}, "id"),
        State("bench-sizes", "data"),
        prevent_initial_call=True,
    )
