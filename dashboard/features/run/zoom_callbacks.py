"""Zooming the speed over time on the page "After the water"."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, Patch, State
from dash.exceptions import PreventUpdate

from dashboard.features.run.request_form import answered
from dashboard.features.run.speed_figure import speed_time
from dashboard.session.sessions import Sessions
from dashboard.ui.downsample import window_of
from dashboard.ui.palette import seen_by
from dashboard.ui.zoom import finer, tell_window
from telemetry.core.units import SPEED_UNITS

STORE = "speed-zoom"


def register(app: Dash, sessions: Sessions) -> None:
    """Attach the callbacks to an app."""
    tell_window(app, "speed-time", STORE)

    @app.callback(
        Output("speed-time", "figure", allow_duplicate=True),
        Input(STORE, "data"),
        State("asked", "data"),
        State("unit", "value"),
        State("surroundings", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def look_closer(
        shown: list[float | str] | None,
        asked: dict[str, Any] | None,
        unit: str,
        surroundings: dict[str, bool] | None,
        token: str,
    ) -> Patch:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            raise PreventUpdate
        palette, coarse = seen_by(surroundings)
        return finer(
            speed_time(analysis, None, SPEED_UNITS[unit], palette, coarse=coarse, window=window_of(shown))
        )
