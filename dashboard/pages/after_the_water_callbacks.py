"""What happens on the page "After the water": inputs -> service -> component or figure, nothing else."""

from __future__ import annotations

import base64
import binascii
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.components.answer import answer
from dashboard.components.controls import rule_choices, rule_notes
from dashboard.components.logs import file_list
from dashboard.components.marks import sentence
from dashboard.components.passes import pass_table
from dashboard.components.power import power_told
from dashboard.components.ride import pass_choices, ride_list
from dashboard.components.twoways import two_way_items
from dashboard.figures.directions import directions
from dashboard.figures.palette import DARK, LIGHT, Palette
from dashboard.figures.plan import aspect, place_at, plan
from dashboard.figures.power import power_time
from dashboard.figures.ride import ripple_spectrum, ripple_time
from dashboard.figures.speed_time import speed_time
from dashboard.services.motors import drawn_motor, ripple_of
from dashboard.services.questions import (
    RULES_OWN,
    USERS_OWN,
    Asked,
    gates_text,
    headline_of,
    request_of,
    rules_of,
)
from dashboard.services.samples import sample_uploads
from dashboard.services.sessions import Session, Sessions
from dashboard.services.uploads import file_view, read_again, read_upload
from telemetry.analysis import Analysis
from telemetry.errors import CallError, RuleError
from telemetry.rules import load_rule, parse_rule
from telemetry.twoway import TwoWay
from telemetry.units import SPEED_UNITS, TEMPERATURE_UNITS

REVISION = Output("revision", "data", allow_duplicate=True)
TWO_WAYS_A_PAGE = 20
GATES = Output("gates", "value", allow_duplicate=True)


def register(app: Dash, sessions: Sessions) -> None:
    """Attach the page's callbacks to an app."""
    _register_files(app, sessions)
    _register_controls(app, sessions)
    _register_answer(app, sessions)
    _register_ride(app, sessions)


def content_of(data_url: str) -> bytes:
    """Take the bytes out of what the browser sends of a file."""
    try:
        return base64.b64decode(data_url.partition(",")[2], validate=True)
    except binascii.Error:
        return b""


def _register_files(app: Dash, sessions: Sessions) -> None:
    app.clientside_callback(
        ClientsideFunction("afterTheWater", "sortOut"),
        Output("dropped", "data"),
        Output("turned-away", "children"),
        Output("drop", "contents"),
        Input("drop", "contents"),
        State("drop", "filename"),
        State("limits", "data"),
        prevent_initial_call=True,
    )
    busy = [(Output("reading", "hidden"), False, True)]

    @app.callback(
        REVISION, Input("dropped", "data"), State("session", "data"), running=busy, prevent_initial_call=True
    )
    def receive(dropped: list[dict[str, str]] | None, token: str) -> int:
        if not dropped:
            raise PreventUpdate
        session = sessions.open(token)
        for file in dropped:
            session.put(read_upload(file["name"], content_of(file["contents"])))
        return session.revision

    @app.callback(
        REVISION,
        Input("samples", "n_clicks"),
        State("session", "data"),
        running=busy,
        prevent_initial_call=True,
    )
    def show_samples(_clicks: int, token: str) -> int:
        session = sessions.open(token)
        for upload in sample_uploads():
            session.put(upload)
        return session.revision

    @app.callback(
        REVISION,
        Input({"type": "remove", "key": ALL}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def remove(_clicks: list[int | None], token: str) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate  # the button was drawn, not pressed
        session = sessions.open(token)
        session.remove(ctx.triggered_id["key"])
        return session.revision

    @app.callback(
        REVISION,
        Input({"type": "read-again", "key": ALL}, "n_clicks"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "value"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "label"),
        State({"type": "heading", "key": ALL, "heading": ALL}, "id"),
        State({"type": "poles", "key": ALL}, "value"),
        State({"type": "poles", "key": ALL}, "id"),
        State("session", "data"),
        running=busy,
        prevent_initial_call=True,
    )
    def read_with_headings(
        _clicks: list[int | None],
        values: list[str | None],
        labels: list[str],
        ids: list[dict[str, Any]],
        poles: list[float | str | None],
        pole_ids: list[dict[str, str]],
        token: str,
    ) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        session, key = sessions.open(token), ctx.triggered_id["key"]
        named = zip(ids, labels, values, strict=True)
        headings = {label: value for owner, label, value in named if owner["key"] == key and value}
        pairs = next((v for owner, v in zip(pole_ids, poles, strict=True) if owner["key"] == key), None)
        session.put(read_again(session.uploads[key], headings, int(pairs) if pairs else None))
        return session.revision

    @app.callback(
        Output("files", "children"),
        Output("after-the-water", "className"),
        Input("revision", "data"),
        Input("session", "data"),
        Input("asked", "data"),
    )
    def list_files(_revision: int, token: str, asked: dict[str, Any] | None) -> tuple[list[html.Li], str]:
        session = sessions.peek(token)
        analysis = _known(session, asked)
        views = tuple(file_view(upload, analysis) for upload in session.uploads.values())
        return file_list(views), "page" if session.logs else "page empty"


def _known(session: Session, asked: dict[str, Any] | None) -> Analysis | None:
    return session.analysis(request_of(session, Asked(**asked))) if asked else None


def _register_controls(app: Dash, sessions: Sessions) -> None:
    @app.callback(
        Output("rule", "children"),
        Output("rule", "value"),
        Output("rule-error", "children"),
        Input("own-rule", "contents"),
        State("own-rule", "filename"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def add_rule(contents: str | None, name: str, token: str) -> tuple[Any, Any, str]:
        if not contents:
            raise PreventUpdate
        session = sessions.open(token)
        try:
            rule = parse_rule(content_of(contents).decode("utf-8", "replace"), name)
            session.add_rule(rule)
        except RuleError as error:
            return no_update, no_update, str(error)
        return rule_choices(rules_of(session)), rule.name, ""

    @app.callback(Output("rule-notes", "children"), Input("rule", "value"), State("session", "data"))
    def explain_rule(name: str, token: str) -> list[html.P]:
        return rule_notes(load_rule(sessions.peek(token).rules.get(name) or name))

    @app.callback(
        Output("own-distance", "style"),
        Output("distance", "disabled"),
        Output("distance-hint", "children"),
        Input("distance", "value"),
        Input("gates", "value"),
    )
    def show_own_distance(distance: str, gates: str | None) -> tuple[dict[str, str], bool, str]:
        given = bool(gates and gates.strip())
        shown = {} if distance == USERS_OWN and not given else {"display": "none"}
        return shown, given, "The gates given below set the distance." if given else ""

    @app.callback(GATES, Input("clear-gates", "n_clicks"), prevent_initial_call=True)
    def clear_gates(_clicks: int) -> str:
        return ""

    @app.callback(
        GATES,
        Input({"type": "take-gates", "two_way": ALL}, "n_clicks"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def take_gates(_clicks: list[int | None], asked: dict[str, Any], token: str) -> str:
        analysis = _known(sessions.peek(token), asked)
        if not ctx.triggered[0]["value"] or analysis is None:
            raise PreventUpdate
        chosen = _two_way(analysis, ctx.triggered_id["two_way"])
        if chosen is None:
            raise PreventUpdate
        a, b = chosen.gates
        return gates_text(((a.lat_deg, a.lon_deg), (b.lat_deg, b.lon_deg)))

    @app.callback(
        Output("picked", "data"),
        Output("pick-hint", "children"),
        GATES,
        Input("pick", "n_clicks"),
        Input("plan", "clickData"),
        State("picked", "data"),
        State("pick-hint", "children"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def pick_gates(
        _clicks: int | None,
        pressed: dict[str, Any] | None,
        picked: list[list[float]],
        hint: str | None,
        asked: dict[str, Any],
        token: str,
    ) -> tuple[Any, str, Any]:
        if ctx.triggered_id == "pick":
            return [], "Now press the first gate's place on the plan view.", no_update
        analysis = _known(sessions.peek(token), asked)
        if not hint or not pressed or analysis is None:
            raise PreventUpdate
        point = pressed["points"][0]
        places = [*picked, place_at(analysis, point["x"], point["y"])]
        if len(places) < 2:
            return places, "And now the second gate's place.", no_update
        first, second = places
        return [], "", gates_text((first, second))


def _two_way(analysis: Analysis, name: str | None) -> TwoWay | None:
    return next((t for t in analysis.two_ways if t.id == name), None)


def _register_answer(app: Dash, sessions: Sessions) -> None:
    @app.callback(
        Output("asked", "data"),
        Output("own-distance", "error"),
        Output("gates", "error"),
        Input("revision", "data"),
        Input("session", "data"),
        Input("rule", "value"),
        Input("distance", "value"),
        Input("own-distance", "value"),
        Input("gates", "value"),
        Input("window", "value"),
        Input("pitch-mm", "value"),
        Input("kv", "value"),
        Input("cells", "value"),
    )
    def ask(
        _revision: int,
        token: str,
        rule: str,
        distance: str,
        own: str | None,
        gates: str | None,
        window_min: float | str | None,
        pitch_mm: float | str | None,
        kv: float | str | None,
        cells: float | str | None,
    ) -> tuple[Any, str, str]:
        minutes, pitch, constant, count = (float(x) if x else None for x in (window_min, pitch_mm, kv, cells))
        in_series = int(count) if count else None
        asked = Asked(
            rule, distance or RULES_OWN, own or "", gates or "", minutes, pitch, constant, in_series
        )
        session = sessions.peek(token)
        try:
            session.analysis(request_of(session, asked))
        except CallError as error:
            said = sentence(error.reason)
            return (
                no_update,
                said if error.place == "distance" else "",
                said if error.place != "distance" else "",
            )
        return {name: getattr(asked, name) for name in Asked.__slots__}, "", ""

    @app.callback(
        Output("answer", "children"),
        Output("passes", "children"),
        Output("notes", "children"),
        Input("asked", "data"),
        Input("unit", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def show_answer(asked: dict[str, Any], unit: str, token: str) -> tuple[Any, ...]:
        analysis = _known(sessions.peek(token), asked)
        if analysis is None:
            return [], [], []
        ways = directions(analysis.passes)
        notes = [html.P(sentence(note)) for note in analysis.notes]
        return answer(headline_of(analysis), unit, ways), pass_table(analysis.passes, unit, ways), notes

    @app.callback(
        Output("two-ways", "value"),
        Output("two-ways-page", "value"),
        Output("two-ways-page", "total"),
        Input("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def open_best(asked: dict[str, Any], token: str) -> tuple[str | None, int, int]:
        analysis = _known(sessions.peek(token), asked)
        if analysis is None:
            return None, 1, 1
        best = next((t.id for t in analysis.two_ways if t.best), None)
        return best, 1, max(1, -(-len(analysis.two_ways) // TWO_WAYS_A_PAGE))

    @app.callback(
        Output("two-ways", "children"),
        Input("asked", "data"),
        Input("unit", "value"),
        Input("two-ways", "value"),
        Input("two-ways-page", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def list_two_ways(
        asked: dict[str, Any], unit: str, opened: str | None, page: int, token: str
    ) -> list[Any]:
        analysis = _known(sessions.peek(token), asked)
        if analysis is None:
            return []
        shown = analysis.two_ways[(page - 1) * TWO_WAYS_A_PAGE : page * TWO_WAYS_A_PAGE]
        return two_way_items(shown, analysis.passes, unit, directions(analysis.passes), opened)

    @app.callback(
        Output("speed-time", "figure"),
        Output("plan", "figure"),
        Output("plan-box", "style"),
        Input("asked", "data"),
        Input("two-ways", "value"),
        Input("unit", "value"),
        Input("picked", "data"),
        Input("surroundings", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def draw(
        asked: dict[str, Any] | None,
        opened: str | None,
        unit: str,
        picked: list[list[float]],
        surroundings: dict[str, bool] | None,
        token: str,
    ) -> tuple[Any, Any, dict[str, str]]:
        analysis = _known(sessions.peek(token), asked)
        if analysis is None:
            raise PreventUpdate
        palette, coarse = _surroundings(surroundings)
        chosen = _two_way(analysis, opened) or next((t for t in analysis.two_ways if t.best), None)
        points = tuple((lat, lon) for lat, lon in picked or [])
        return (
            speed_time(analysis, chosen, SPEED_UNITS[unit], palette, coarse=coarse),
            plan(analysis, chosen, palette, picked=points, coarse=coarse),
            {"aspectRatio": f"{aspect(analysis):.3f}"},
        )


def _register_ride(app: Dash, sessions: Sessions) -> None:
    @app.callback(
        Output("ride-events", "children"),
        Output("ride-pass", "data"),
        Output("ride-pass", "value"),
        Output("power-told", "children"),
        Input("asked", "data"),
        Input("unit", "value"),
        State("ride-pass", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def tell_ride(
        asked: dict[str, Any], unit: str, chosen: str | None, token: str
    ) -> tuple[list[Any], list[dict[str, str]], str | None, list[Any]]:
        analysis = _known(sessions.peek(token), asked)
        if analysis is None:
            return [], [], None, []
        view = ripple_of(analysis, chosen)
        told = ride_list(analysis.ride, unit)
        return told, pass_choices(analysis.passes), view and view.pass_id, power_told(analysis.motors)

    @app.callback(
        Output("ripple-time", "figure"),
        Output("ripple-spectrum", "figure"),
        Input("asked", "data"),
        Input("ride-pass", "value"),
        Input("surroundings", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def draw_ripple(
        asked: dict[str, Any], chosen: str | None, surroundings: dict[str, bool] | None, token: str
    ) -> tuple[Any, Any]:
        analysis = _known(sessions.peek(token), asked)
        view = ripple_of(analysis, chosen) if analysis else None
        if view is None:
            raise PreventUpdate
        palette, coarse = _surroundings(surroundings)
        return ripple_time(view, palette, coarse=coarse), ripple_spectrum(view, palette, coarse=coarse)

    @app.callback(
        Output("power-time", "figure"),
        Output("power-time-box", "style"),
        Input("asked", "data"),
        Input("unit", "value"),
        Input("surroundings", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def draw_power(
        asked: dict[str, Any], unit: str, surroundings: dict[str, bool] | None, token: str
    ) -> tuple[Any, dict[str, str]]:
        analysis = _known(sessions.peek(token), asked)
        drawn = drawn_motor(analysis) if analysis else None
        if analysis is None or drawn is None:
            return no_update, {"display": "none"}
        (joined, motor), (palette, coarse) = drawn, _surroundings(surroundings)
        units = SPEED_UNITS[unit], TEMPERATURE_UNITS["°C"]
        figure = power_time(analysis, joined.speed_log, motor, joined.clock, *units, palette, coarse=coarse)
        return figure, {"height": f"{figure.layout.height or 260}px"}


def _surroundings(surroundings: dict[str, bool] | None) -> tuple[Palette, bool]:
    """Read what the browser says of itself: its palette, and whether a finger points."""
    dark, coarse = (bool(surroundings and surroundings[name]) for name in ("dark", "coarse"))
    return DARK if dark else LIGHT, coarse
