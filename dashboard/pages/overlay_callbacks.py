"""Callbacks of the page "Pass beside pass"; the cursor moves in the browser alone."""

from __future__ import annotations

from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, Patch, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard.components.overlay import (
    CELL,
    list_told,
    offer_groups,
    origins,
    reading_table,
    remarks,
    sheets,
)
from dashboard.figures.cursor import cursor_data
from dashboard.figures.looks import looks
from dashboard.figures.overlay import overlay_figure, overlay_plan, plan_aspect, rows_of
from dashboard.figures.palette import seen_by
from dashboard.figures.thinning import window_of
from dashboard.pages.zooming import finer, tell_window
from dashboard.services.overlay import OverlayBook
from dashboard.services.sessions import Sessions
from telemetry.abreast import Abscissa, Anchor, lay, sheet_groups
from telemetry.units import SPEED_UNITS

_HOW = (Input("overlay-passes", "value"), Input("overlay-over", "value"), Input("overlay-from", "value"))


def register(app: Dash, sessions: Sessions, book: OverlayBook) -> None:
    """Attach the page's callbacks to an app."""
    _register_choices(app, sessions, book)
    _register_figures(app, sessions, book)
    _register_cursor(app)


def _register_choices(app: Dash, sessions: Sessions, book: OverlayBook) -> None:
    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("overlay-address", "data"),
        *_HOW,
        State("overlay-address", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("overlay-passes", "data"),
        Output("overlay-list", "children"),
        Input("session", "data"),
        Input("unit", "value"),
        State("overlay-passes", "value"),
    )
    def offer_passes(token: str, unit: str, chosen: list[str] | None) -> tuple[list[dict[str, Any]], str]:
        offers, left_out = book.offers(sessions.peek(token))
        return offer_groups(offers, unit, chosen or []), list_told(len(offers), left_out)

    @app.callback(
        Output("overlay-from", "data"),
        Output("overlay-from", "value"),
        Output("overlay-from", "disabled"),
        Input("overlay-over", "value"),
        State("overlay-from", "value"),
    )
    def offer_origins(over: Abscissa, chosen: Anchor) -> tuple[list[dict[str, str]], Any, bool]:
        return *origins(over, chosen), over == "day"


def _register_figures(app: Dash, sessions: Sessions, book: OverlayBook) -> None:
    @app.callback(
        Output("overlay-drawn", "hidden"),
        Output("overlay-tuned", "hidden"),
        Output("overlay-remarks", "children"),
        Output("overlay-readings", "children"),
        Output("overlay-sheets", "children"),
        Output("overlay-plots", "figure"),
        Output("overlay-plots", "style"),
        Output("overlay-plan", "figure"),
        Output("overlay-plan", "style"),
        Output("overlay-cursor-data", "data"),
        Output("overlay-zoom", "data"),
        *_HOW,
        Input("unit", "value"),
        Input("surroundings", "data"),
        Input("session", "data"),
        State("overlay-zoom", "data"),
        running=[(Output("overlay-reading", "hidden"), False, True)],
    )
    def lay_passes(
        keys: list[str] | None,
        over: Abscissa,
        start: Anchor,
        unit: str,
        surroundings: Any,
        token: str,
        shown: list[float | str] | None,
    ) -> tuple[Any, ...]:
        chosen, refused = book.choose(sessions.peek(token), keys or [])
        overlay = lay([one.curves for one in chosen], over, start)
        looked = looks([one.curves for one in chosen])
        palette, coarse = seen_by(surroundings)
        speed = SPEED_UNITS[unit]
        moved = bool(
            {"overlay-over", "overlay-from"} & {one["prop_id"].split(".")[0] for one in ctx.triggered}
        )
        window = None if moved else window_of(shown)
        figure = overlay_figure(overlay, looked, speed, palette, coarse=coarse, window=window)
        groups = sheet_groups([one.sheet for one in chosen])
        return (
            not overlay.laid,
            not chosen,
            remarks(overlay, chosen, looked, refused),
            reading_table(chosen, looked, rows_of(overlay, speed)),
            sheets(groups, chosen, looked),
            figure,
            {"height": f"{figure.layout.height or 200}px"},
            overlay_plan(overlay, looked, palette, coarse=coarse),
            {"aspectRatio": f"{plan_aspect(overlay):.3f}"},
            cursor_data(overlay, looked, speed, palette),
            None if moved and shown else no_update,
        )

    @app.callback(
        Output("overlay-plots", "figure", allow_duplicate=True),
        Input("overlay-zoom", "data"),
        State("overlay-passes", "value"),
        State("overlay-over", "value"),
        State("overlay-from", "value"),
        State("unit", "value"),
        State("surroundings", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def look_closer_at_passes(
        shown: list[float | str] | None,
        keys: list[str] | None,
        over: Abscissa,
        start: Anchor,
        unit: str,
        surroundings: Any,
        token: str,
    ) -> Patch:
        chosen, _ = book.choose(sessions.peek(token), keys or [])
        if not chosen:
            raise PreventUpdate
        curves = [one.curves for one in chosen]
        palette, coarse = seen_by(surroundings)
        window = window_of(shown)
        overlay = lay(curves, over, start)
        return finer(
            overlay_figure(overlay, looks(curves), SPEED_UNITS[unit], palette, coarse=coarse, window=window)
        )


def _register_cursor(app: Dash) -> None:
    tell_window(app, "overlay-plots", "overlay-zoom")
    cells = {"type": CELL, "pass": ALL, "row": ALL}
    app.clientside_callback(
        ClientsideFunction("overlay", "reach"),
        Output("overlay-at", "min"),
        Output("overlay-at", "max"),
        Output("overlay-at", "step"),
        Output("overlay-at", "value"),
        Input("overlay-cursor-data", "data"),
        State("overlay-at", "value"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("overlay", "point"),
        Output("overlay-at", "value", allow_duplicate=True),
        Input("overlay-plots", "hoverData"),
        Input("overlay-plots", "clickData"),
        Input("overlay-plan", "hoverData"),
        Input("overlay-plan", "clickData"),
        State("overlay-cursor-data", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("overlay", "move"),
        Output(cells, "children"),
        Output("overlay-place", "children"),
        Input("overlay-at", "value"),
        Input("overlay-cursor-data", "data"),
        State(cells, "id"),
        prevent_initial_call=True,
    )
