"""How it rode and what the power train did, on the page "After the water"."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.components.power import FACTS, power_told
from dashboard.components.ride import pass_choices, ride_list
from dashboard.components.supposing import FIELDS, what_if_told
from dashboard.figures.palette import seen_by
from dashboard.figures.power import power_time
from dashboard.figures.ride import ripple_spectrum, ripple_time
from dashboard.services.motors import drawn_motor, ripple_of
from dashboard.services.questions import answered
from dashboard.services.sessions import Sessions
from dashboard.services.supposing import supposed
from telemetry.units import SPEED_UNITS, TEMPERATURE_UNITS


def register(app: Dash, sessions: Sessions) -> None:
    """Attach the callbacks of ride and power to an app."""

    @app.callback(*(Output(part, "value") for part, _ in FACTS.values()), Input("session", "data"))
    def fill_facts(token: str) -> tuple[Any, ...]:
        facts = sessions.peek(token).facts
        if not facts:
            raise PreventUpdate
        return tuple(facts.get(name, "") for name in FACTS)

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
    ) -> tuple[list[Any], list[dict[str, str]], str | None, list[Any]]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return [], [], None, []
        view = ripple_of(analysis, chosen)
        told = ride_list(analysis.ride, unit)
        power = power_told(analysis.motors, temperature_unit)
        return told, pass_choices(analysis.passes), view and view.pass_id, power

    @app.callback(
        Output("ripple-time", "figure"),
        Output("ripple-spectrum", "figure"),
        Input("asked", "data"),
        Input("ride-pass", "value"),
        Input("surroundings", "data"),
        State("session", "data"),
    )
    def draw_ripple(
        asked: dict[str, Any], chosen: str | None, surroundings: dict[str, bool] | None, token: str
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
            "chosen": Input("what-if-pass", "value"),
            "wanted": {name: Input(part, "value") for name, (part, _) in FIELDS.items()},
        },
        state={"token": State("session", "data")},
        prevent_initial_call=True,
    )
    def suppose(
        asked: dict[str, Any],
        unit: str,
        chosen: str | None,
        wanted: dict[str, float | str | None],
        token: str,
    ) -> tuple[list[Any], list[dict[str, str]], str | None]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return [], [], None
        answer = supposed(analysis, chosen, wanted)
        return what_if_told(answer, unit), pass_choices(analysis.passes), answer and answer.pass_id
