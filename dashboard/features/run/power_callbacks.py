"""Callbacks of ride and power on the page "After the water"."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.run.layout import PAGE
from dashboard.features.run.motor_service import drawn_motor, ripple_of
from dashboard.features.run.power_figure import power_time
from dashboard.features.run.power_view import power_told
from dashboard.features.run.request_form import answered
from dashboard.features.run.ride_figure import ripple_spectrum, ripple_time
from dashboard.features.run.ride_view import pass_choices, ride_list
from dashboard.features.run.what_if_service import supposed
from dashboard.features.run.what_if_view import what_if_told
from dashboard.session.sessions import Sessions
from dashboard.ui.fields import FACTS, LIMITS, WHAT_IF, Chosen
from dashboard.ui.palette import seen_by
from dashboard.ui.unit_fields import chosen, follow_units
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS


def register(app: Dash, sessions: Sessions) -> None:
    """Attach the callbacks of ride and power to an app."""
    follow_units(app, PAGE, (*FACTS.values(), *LIMITS.values(), *WHAT_IF.values()))

    @app.callback(
        Output("ride-events", "children"),
        Output("ride-pass", "data"),
        Output("ride-pass", "value"),
        Output("power-told", "children"),
        Input("asked", "data"),
        Input("unit", "value"),
        Input("temperature-unit", "value"),
        State("ride-pass", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def tell_ride(
        asked: dict[str, Any], unit: str, temperature_unit: str, chosen: str | None, token: str
    ) -> tuple[list[Any], list[dict[str, str]], Any, list[Any]]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return [], [], None, []
        view = ripple_of(analysis, chosen)
        events = ride_list(analysis.ride, unit)
        power = power_told(analysis.motors, temperature_unit)
        shown = view and view.pass_id
        return events, pass_choices(analysis.passes), no_update if shown == chosen else shown, power

    @app.callback(
        Output("ripple-time", "figure"),
        Output("ripple-spectrum", "figure"),
        Input("driven", "data"),
        Input("ride-pass", "value"),
        Input("surroundings", "data"),
        State("asked", "data"),
        State("session", "data"),
    )
    def draw_ripple(
        _driven: str,
        chosen: str | None,
        surroundings: dict[str, bool] | None,
        asked: dict[str, Any],
        token: str,
    ) -> tuple[Any, Any]:
        analysis = answered(sessions.peek(token), asked)
        view = ripple_of(analysis, chosen) if analysis else None
        if view is None:
            raise PreventUpdate
        palette, coarse = seen_by(surroundings)
        return ripple_time(view, palette, coarse=coarse), ripple_spectrum(view, palette, coarse=coarse)

    @app.callback(
        Output("power-time", "figure"),
        Output("power-time", "style"),
        Input("asked", "data"),
        Input("unit", "value"),
        Input("temperature-unit", "value"),
        Input("surroundings", "data"),
        State("session", "data"),
    )
    def draw_power(
        asked: dict[str, Any],
        unit: str,
        temperature_unit: str,
        surroundings: dict[str, bool] | None,
        token: str,
    ) -> tuple[Any, dict[str, str]]:
        analysis = answered(sessions.peek(token), asked)
        drawn = drawn_motor(analysis) if analysis else None
        if analysis is None or drawn is None:
            return no_update, {"display": "none"}
        (joined, motor), (palette, coarse) = drawn, seen_by(surroundings)
        units = SPEED_UNITS[unit], TEMPERATURE_UNITS[temperature_unit]
        figure = power_time(analysis, joined.speed_log, motor, joined.clock, *units, palette, coarse=coarse)
        return figure, {"height": f"{figure.layout.height or 260}px"}

    @app.callback(
        output=(
            Output("what-if-told", "children"),
            Output("what-if-pass", "data"),
            Output("what-if-pass", "value"),
        ),
        inputs={
            "asked": Input("asked", "data"),
            "unit": Input("unit", "value"),
            "start": Input("what-if-pass", "value"),
            "wanted": {name: Input(field.part, "value") for name, field in WHAT_IF.items()},
        },
        state={"units": chosen(), "token": State("session", "data")},
        prevent_initial_call=True,
    )
    def suppose(
        asked: dict[str, Any],
        unit: str,
        start: str | None,
        wanted: dict[str, float | str | None],
        units: dict[str, str],
        token: str,
    ) -> tuple[list[Any], list[dict[str, str]], str | None]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return [], [], None
        answer = supposed(analysis, start, wanted, Chosen(**units))
        return what_if_told(answer, unit), pass_choices(analysis.passes), answer and answer.pass_id
