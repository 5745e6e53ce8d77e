"""Correcting the logs by hand on the page "After the water"."""

from __future__ import annotations

from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx
from dash.exceptions import PreventUpdate

from dashboard.features.corrections import service as byhand
from dashboard.features.corrections.clock_figure import clock_view
from dashboard.features.corrections.view import aside_list, clock_told, done_list, in_logbook_told
from dashboard.features.logbook.service import LogbookClient
from dashboard.features.run.request_form import answered
from dashboard.features.run.ride_view import pass_choices
from dashboard.session.sessions import Sessions
from dashboard.ui.badges import sentence
from dashboard.ui.downsample import window_of
from dashboard.ui.palette import seen_by
from telemetry.core.errors import CallError
from telemetry.core.units import SPEED_UNITS

LOGS_REVISION = Output("revision", "data", allow_duplicate=True)


def register(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    """Attach the callbacks to an app."""
    _register_marking(app, sessions)
    _register_stretches(app, sessions)
    _register_clock(app, sessions)
    _register_keeping(app, sessions, shelf)


def _register_marking(app: Dash, sessions: Sessions) -> None:
    app.clientside_callback(
        ClientsideFunction("byHand", "begin"),
        Output("hand-begun", "data"),
        Input("hand-mark", "n_clicks"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("byHand", "marked"),
        Output("hand-marked", "data"),
        Input("speed-time", "selectedData"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("byHand", "end"),
        Output("hand-ended", "data"),
        Input("hand-done", "children"),
        State("surroundings", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("hand-log", "value", allow_duplicate=True),
        Output("hand-start", "value"),
        Output("hand-end", "value"),
        Input("hand-marked", "data"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def write_the_mark(shown: list[float | str], asked: dict[str, Any], token: str) -> tuple[str, str, str]:
        analysis, window = answered(sessions.peek(token), asked), window_of(shown)
        found = byhand.marked(analysis, window) if analysis and window else None
        if found is None:
            raise PreventUpdate
        return found


def _register_stretches(app: Dash, sessions: Sessions) -> None:
    @app.callback(
        LOGS_REVISION,
        Output("hand-said", "children"),
        Output("hand-start", "value", allow_duplicate=True),
        Output("hand-end", "value", allow_duplicate=True),
        Output("hand-why", "value"),
        Input("hand-cut", "n_clicks"),
        Input("hand-restore", "n_clicks"),
        State("hand-log", "value"),
        State("hand-start", "value"),
        State("hand-end", "value"),
        State("hand-why", "value"),
        State("hand-who", "value"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def correct(
        _cuts: int | None,
        _restores: int | None,
        log: str | None,
        start: str | None,
        end: str | None,
        why: str | None,
        who: str | None,
        asked: dict[str, Any],
        token: str,
    ) -> tuple[Any, ...]:
        session = sessions.open(token)
        analysis = answered(session, asked)
        if analysis is None:
            raise PreventUpdate
        session.who = (who or "").strip()
        do = byhand.cut_out if ctx.triggered_id == "hand-cut" else byhand.restore
        try:
            do(session, analysis, log or "", start or "", end or "", why or "")
        except CallError as error:
            return session.revision, sentence(f"{error.reason}; {error.hint}"), start, end, why
        return session.revision, "", "", "", ""

    @app.callback(
        LOGS_REVISION,
        Input({"type": "hand-back", "key": ALL}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def take_back(_clicks: list[int | None], token: str) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate  # the button was created, not pressed
        session = sessions.open(token)
        byhand.take_back(session, ctx.triggered_id["key"])
        return session.revision

    @app.callback(
        LOGS_REVISION,
        Input({"type": "hand-real", "log": ALL, "start": ALL, "end": ALL}, "n_clicks"),
        State("hand-why", "value"),
        State("hand-who", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def it_was_real(_clicks: list[int | None], why: str | None, who: str | None, token: str) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        session, run = sessions.open(token), ctx.triggered_id
        session.who = (who or "").strip()
        byhand.was_real(session, run["log"], run["start"], run["end"], why or "")
        return session.revision

    @app.callback(
        Output("hand-done", "children"),
        Output("hand-asides", "children"),
        Output("hand-log", "data"),
        Output("hand-log", "value"),
        Output("hand-log", "style"),
        Input("asked", "data"),
        Input("revision", "data"),
        State("hand-log", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def list_corrections(
        asked: dict[str, Any] | None, _revision: int, chosen: str | None, token: str
    ) -> tuple[Any, ...]:
        session = sessions.peek(token)
        analysis = answered(session, asked)
        if analysis is None:
            return [], [], [], None, {}
        logs = [{"value": key, "label": name} for key, name in byhand.speed_logs(analysis)]
        keys = [log["value"] for log in logs]
        value = chosen if chosen in keys else next(iter(keys), None)
        done = done_list(byhand.done(session, analysis))
        return done, aside_list(*byhand.set_aside(analysis)), logs, value, _shown(len(logs) > 1)


def _register_keeping(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    @app.callback(
        Output("hand-kept", "children"),
        Output("hand-keep", "disabled"),
        Output("hand-keeping", "style"),
        Input("hand-done", "children"),
        Input("hand-keep", "n_clicks"),
        State("hand-who", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def keep_corrections(
        _done: Any, _clicks: int | None, who: str | None, token: str
    ) -> tuple[str, bool, dict[str, str]]:
        session = sessions.peek(token)
        if ctx.triggered_id == "hand-keep":
            session.who = (who or "").strip()
            byhand.keep_in_logbook(shelf.url, session)
        found = byhand.in_logbook(shelf.url, session)
        shown = found is not None and not (found.in_step and not session.by_hand.all)
        return in_logbook_told(found), found is None or found.in_step, _shown(shown)


def _shown(shown: bool) -> dict[str, str]:
    return {} if shown else {"display": "none"}


def _register_clock(app: Dash, sessions: Sessions) -> None:
    @app.callback(
        Output("clock-motor", "data"),
        Output("clock-motor", "value"),
        Output("clock-motor", "style"),
        Output("clock-pass", "data"),
        Output("clock-pass", "value"),
        Output("area-clock", "style"),
        Input("asked", "data"),
        State("clock-motor", "value"),
        State("clock-pass", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def offer_clocks(
        asked: dict[str, Any], motor: str | None, one: str | None, token: str
    ) -> tuple[Any, ...]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None or not analysis.motors:
            return [], None, {}, [], None, _shown(False)
        motors = [{"value": key, "label": name} for key, name in byhand.motor_logs(analysis)]
        keys, ids = [m["value"] for m in motors], [p.id for p in analysis.passes]
        motor = motor if motor in keys else keys[0]
        one = one if one in ids else next(iter(ids), None)
        return motors, motor, _shown(len(motors) > 1), pass_choices(analysis.passes), one, _shown(True)

    @app.callback(
        Output("clock-told", "children"),
        Output("clock-offset", "value"),
        Output("clock-back", "disabled"),
        Input("asked", "data"),
        Input("clock-motor", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def tell_clock(asked: dict[str, Any], motor: str | None, token: str) -> tuple[Any, ...]:
        session = sessions.peek(token)
        analysis = answered(session, asked)
        now = byhand.clock_now(session, analysis, motor) if analysis else None
        if now is None:
            raise PreventUpdate
        joined, clock = now
        return clock_told(joined, clock), clock.offset_s, not clock.by_hand

    @app.callback(
        Output("clock-view", "figure"),
        Input("asked", "data"),
        Input("clock-motor", "value"),
        Input("clock-pass", "value"),
        Input("unit", "value"),
        Input("surroundings", "data"),
        State("session", "data"),
    )
    def draw_clock(
        asked: dict[str, Any],
        motor: str | None,
        one: str | None,
        unit: str,
        surroundings: dict[str, bool] | None,
        token: str,
    ) -> Any:
        session = sessions.peek(token)
        analysis = answered(session, asked)
        now = byhand.clock_now(session, analysis, motor) if analysis else None
        if analysis is None or now is None:
            raise PreventUpdate
        (joined, clock), (palette, coarse) = now, seen_by(surroundings)
        around = min(analysis.passes, key=lambda p: (p.id != one, p.log != joined.speed_log), default=None)
        return clock_view(analysis, joined, clock.offset_s, around, SPEED_UNITS[unit], palette, coarse=coarse)

    @app.callback(
        LOGS_REVISION,
        Output("clock-said", "children"),
        Input("clock-set", "n_clicks"),
        Input("clock-back", "n_clicks"),
        Input({"type": "clock-step", "step": ALL}, "n_clicks"),
        State("clock-offset", "value"),
        State("clock-motor", "value"),
        State("hand-who", "value"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def set_clock(
        _set: int | None,
        _back: int | None,
        _steps: list[int | None],
        offset: float | str | None,
        motor: str | None,
        who: str | None,
        asked: dict[str, Any],
        token: str,
    ) -> tuple[Any, str]:
        session, pressed = sessions.open(token), ctx.triggered_id
        analysis = answered(session, asked)
        if analysis is None or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        session.who = (who or "").strip()
        try:
            if pressed == "clock-back":
                byhand.own_clock(session, motor or "")
            elif pressed == "clock-set":
                byhand.set_clock(session, analysis, motor, byhand.seconds(offset))
            else:
                byhand.set_clock(session, analysis, motor, None, pressed["step"])
        except CallError as error:
            return session.revision, sentence(f"{error.reason}; {error.hint}")
        return session.revision, ""
