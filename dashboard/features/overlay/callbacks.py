"""Callbacks of the page "Overlay"; the cursor moves in the browser only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dash import ALL, ClientsideFunction, Dash, Input, Output, Patch, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.overlay.cursor import cursor_data
from dashboard.features.overlay.figures import overlay_figure, overlay_plan, plan_aspect, plot_rows
from dashboard.features.overlay.line_styles import Look, looks
from dashboard.features.overlay.service import ChosenPasses, OverlayClient
from dashboard.features.overlay.view import (
    CELL,
    list_told,
    offer_groups,
    origins,
    overlay_remarks,
    reading_table,
    sheets,
)
from dashboard.session.sessions import Sessions
from dashboard.ui.downsample import window_of
from dashboard.ui.palette import seen_by
from dashboard.ui.zoom import finer, tell_window
from telemetry.core.units import SPEED_UNITS
from telemetry.pass_overlay import Abscissa, Anchor, Overlay, align, sheet_groups

# The inputs of an overlay: the names by which the callbacks take them, and the components that hold them.
_HOW: Final = {
    "keys": ("overlay-passes", "value"),
    "over": ("overlay-over", "value"),
    "start": ("overlay-from", "value"),
    "unit": ("unit", "value"),
    "surroundings": ("surroundings", "data"),
    "token": ("session", "data"),
}
_RESETS_ZOOM: Final = frozenset({"overlay-over", "overlay-from"})
"""What changes the abscissa, and with it resets the zoom."""


def register(app: Dash, sessions: Sessions, book: OverlayClient) -> None:
    """Attach the page's callbacks to an app."""
    _register_choices(app, sessions, book)
    _register_figures(app, sessions, book)
    _register_cursor(app)


def _register_choices(app: Dash, sessions: Sessions, book: OverlayClient) -> None:
    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("overlay-address", "data"),
        *(Input(*_HOW[name]) for name in ("keys", "over", "start")),
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


def _register_figures(app: Dash, sessions: Sessions, book: OverlayClient) -> None:
    def laid(how: Mapping[str, Any]) -> tuple[Sequence[ChosenPasses], Sequence[str], Overlay, Sequence[Look]]:
        chosen, refused = book.choose(sessions.peek(how["token"]), how["keys"] or [])
        curves = [one.curves for one in chosen]
        return chosen, refused, align(curves, how["over"], how["start"]), looks(curves)

    def drawn(overlay: Overlay, looked: Sequence[Look], how: Mapping[str, Any], shown: Any) -> Any:
        palette, coarse = seen_by(how["surroundings"])
        speed = SPEED_UNITS[how["unit"]]
        return overlay_figure(overlay, looked, speed, palette, coarse=coarse, window=window_of(shown))

    @app.callback(
        output={
            "plots": Output("overlay-plots", "figure"),
            "plots_style": Output("overlay-plots", "style"),
            "plan": Output("overlay-plan", "figure"),
            "plan_style": Output("overlay-plan", "style"),
            "cursor": Output("overlay-cursor-data", "data"),
            "readings": Output("overlay-readings", "children"),
            "hidden": Output("overlay-drawn", "hidden"),
            "remarks": Output("overlay-remarks", "children"),
            "sheets": Output("overlay-sheets", "children"),
            "untuned": Output("overlay-tuned", "hidden"),
            "zoom": Output("overlay-zoom", "data"),
        },
        inputs={"how": {name: Input(*part) for name, part in _HOW.items()}},
        state={"shown": State("overlay-zoom", "data")},
        running=[(Output("overlay-reading", "hidden"), False, True)],
    )
    def lay_passes(how: dict[str, Any], shown: list[float | str] | None) -> dict[str, Any]:
        chosen, refused, overlay, looked = laid(how)
        palette, coarse = seen_by(how["surroundings"])
        speed = SPEED_UNITS[how["unit"]]
        reset = not _RESETS_ZOOM.isdisjoint(ctx.triggered_prop_ids.values())
        figure = drawn(overlay, looked, how, None if reset else shown)
        return {
            "plots": figure,
            "plots_style": {"height": f"{figure.layout.height or 200}px"},
            "plan": overlay_plan(overlay, looked, palette, coarse=coarse),
            "plan_style": {"aspectRatio": f"{plan_aspect(overlay):.3f}"},
            "cursor": cursor_data(overlay, looked, speed, palette),
            "readings": reading_table(chosen, looked, plot_rows(overlay, speed)),
            "hidden": not overlay.laid,
            "remarks": overlay_remarks(overlay, chosen, looked, refused),
            "sheets": sheets(sheet_groups([one.sheet for one in chosen]), chosen, looked),
            "untuned": not chosen,
            "zoom": None if reset and shown else no_update,
        }

    @app.callback(
        output=Output("overlay-plots", "figure", allow_duplicate=True),
        inputs={"shown": Input("overlay-zoom", "data")},
        state={"how": {name: State(*part) for name, part in _HOW.items()}},
        prevent_initial_call=True,
    )
    def look_closer_at_passes(shown: list[float | str] | None, how: dict[str, Any]) -> Patch:
        chosen, _, overlay, looked = laid(how)
        if not chosen:
            raise PreventUpdate
        return finer(drawn(overlay, looked, how, shown))


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
        Output("overlay-speeds", "children"),
        Input("overlay-at", "value"),
        Input("overlay-cursor-data", "data"),
        State(cells, "id"),
        prevent_initial_call=True,
    )
