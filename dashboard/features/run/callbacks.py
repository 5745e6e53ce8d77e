"""Callbacks of the page "After the water": inputs -> service -> component or figure, nothing else."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.run import file_callbacks, power_callbacks, zoom_callbacks
from dashboard.features.run.answer_view import answer
from dashboard.features.run.controls_view import rule_choices, rule_notes
from dashboard.features.run.layout import PAGE
from dashboard.features.run.map_figure import aspect, place_at, plan
from dashboard.features.run.passes_view import pass_table
from dashboard.features.run.request_form import (
    USERS_OWN,
    RequestForm,
    answered,
    asked_of,
    gates_text,
    headline_of,
    marks_of,
    request_of,
    rules_of,
)
from dashboard.features.run.speed_figure import speed_time
from dashboard.features.run.two_way_view import two_way_items
from dashboard.features.statement.service import Statements
from dashboard.session.sessions import Sessions
from dashboard.session.uploads import content_of
from dashboard.ui.badges import sentence
from dashboard.ui.direction import directions
from dashboard.ui.downsample import window_of
from dashboard.ui.fields import FACTS, LIMITS, Chosen, Field
from dashboard.ui.palette import seen_by
from dashboard.ui.unit_fields import chosen
from telemetry.analysis import Analysis
from telemetry.core.errors import CallError, RuleError
from telemetry.core.units import SPEED_UNITS
from telemetry.twoway.mean import TwoWay
from telemetry.twoway.rules import load_rule, parse_rule

TWO_WAYS_A_PAGE = 20
GATES = Output("gates", "value", allow_duplicate=True)
_POWER: tuple[Field, ...] = (*FACTS.values(), *LIMITS.values())


def register(app: Dash, sessions: Sessions, statements: Statements) -> None:
    """Attach the page's callbacks to an app."""
    file_callbacks.register(app, sessions)
    _register_controls(app, sessions)
    _register_answer(app, sessions, statements)
    power_callbacks.register(app, sessions)
    zoom_callbacks.register(app, sessions)


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

    @app.callback(
        output={
            "rules": Output("rule", "children", allow_duplicate=True),
            "rule": Output("rule", "value", allow_duplicate=True),
            "gates": GATES,
            "window_min": Output("window", "value"),
            "distance": Output("distance", "value"),
            "own_distance": Output("own-distance", "value"),
            "fields": [Output(field.part, "value", allow_duplicate=True) for field in _POWER],
        },
        inputs={"token": Input("session", "data"), "_begun": Input("begun", "data")},
        state={"units": chosen()},
        prevent_initial_call="initial_duplicate",
    )
    def begin(token: str, _begun: int | None, units: dict[str, str]) -> dict[str, Any]:
        session = sessions.peek(token)
        if not session.asked:
            raise PreventUpdate
        asked, now = RequestForm(**session.asked), Chosen(**units)
        facts = [field.written(getattr(asked, name), now) for name, field in FACTS.items()]
        limits = [field.written(asked.limits.get(name), now) for name, field in LIMITS.items()]
        return {
            "rules": rule_choices(rules_of(session)),
            "rule": asked.rule,
            "gates": asked.gates,
            "window_min": asked.window_min or "",
            "distance": asked.distance,
            "own_distance": asked.own_distance,
            "fields": [*facts, *limits],
        }

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
        analysis = answered(sessions.peek(token), asked)
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
            return [], "Now tap the place of the first gate on the map.", no_update
        analysis = answered(sessions.peek(token), asked)
        if not hint or not pressed or analysis is None:
            raise PreventUpdate
        point = pressed["points"][0]
        places = [*picked, place_at(analysis, point["x"], point["y"])]
        if len(places) < 2:
            return places, "Now tap the place of the second gate.", no_update
        first, second = places
        return [], "", gates_text((first, second))


def _two_way(analysis: Analysis, name: str | None) -> TwoWay | None:
    return next((t for t in analysis.two_ways if t.id == name), None)


def _register_answer(app: Dash, sessions: Sessions, statements: Statements) -> None:
    @app.callback(
        output={
            "asked": Output("asked", "data"),
            "edition": Output("edition", "data"),
            "errors": (Output("own-distance", "error"), Output("gates", "error")),
            "marks": (Output("driven", "data"), Output("measured", "data")),
            "seen": Output(f"{PAGE}-seen", "data"),
        },
        inputs={
            "_revision": Input("revision", "data"),
            "token": Input("session", "data"),
            "judged": {name: Input(name, "value") for name in ("rule", "distance", "own-distance", "gates")},
            "window_min": Input("window", "value"),
            "facts": {name: Input(field.part, "value") for name, field in FACTS.items()},
            "limits": {name: Input(field.part, "value") for name, field in LIMITS.items()},
        },
        state={
            "units": chosen(),
            "marked": (State("driven", "data"), State("measured", "data")),
            "shown": (State("asked", "data"), State("edition", "data")),
        },
    )
    def ask(
        _revision: int,
        token: str,
        judged: dict[str, str | None],
        window_min: float | str | None,
        facts: dict[str, float | str | None],
        limits: dict[str, float | str | None],
        units: dict[str, str],
        marked: tuple[str | None, ...],
        shown: tuple[Any, ...],
    ) -> dict[str, Any]:
        asked = asked_of(judged, window_min, facts, limits, Chosen(**units))
        session = sessions.peek(token)
        seen = session.revision  # read before the answer: one that arrives meanwhile is requested again
        try:
            request = request_of(session, asked)
            edition = session.edition(request)  # before the answer, for the same reason
            marks = marks_of(session.answer(request))
        except CallError as error:
            said = sentence(error.reason)
            at_distance = error.place == "distance"
            errors = (said, "") if at_distance else ("", said)
            marks = (no_update, no_update)
            return {"asked": no_update, "edition": no_update, "errors": errors, "marks": marks, "seen": seen}
        # Figures of the passes alone wait for other passes: another rule leaves them as they are.
        fresh = tuple(no_update if old == new else new for old, new in zip(marked, marks, strict=True))
        values: Any = {name: getattr(asked, name) for name in RequestForm.__slots__}
        # All that the page shows depends on this: the same answer is not drawn twice.
        values = no_update if list(shown) == [values, edition] else values
        return {"asked": values, "edition": edition, "errors": ("", ""), "marks": fresh, "seen": seen}

    @app.callback(
        Output("answer", "children"),
        Output("notes", "children"),
        Input("asked", "data"),
        Input("unit", "value"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def show_answer(asked: dict[str, Any], unit: str, token: str) -> tuple[Any, ...]:
        session = sessions.peek(token)
        analysis = answered(session, asked)
        if analysis is None:
            file_callbacks.say(session.lost)
            return [], []
        notes = [html.P(sentence(note)) for note in analysis.notes]
        return answer(headline_of(analysis), unit, directions(analysis.passes)), notes

    @app.callback(
        Output("passes", "children"),
        Input("measured", "data"),
        Input("unit", "value"),
        State("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def list_passes(_measured: str, unit: str, asked: dict[str, Any], token: str) -> Any:
        analysis = answered(sessions.peek(token), asked)
        return pass_table(analysis.passes, unit, directions(analysis.passes)) if analysis else []

    @app.callback(
        Output("two-ways", "value"),
        Output("two-ways-page", "value"),
        Output("two-ways-page", "total"),
        Input("asked", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def open_best(asked: dict[str, Any], token: str) -> tuple[str | None, int, int]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return None, 1, 1
        best = analysis.leading_two_way
        return best and best.id, 1, max(1, -(-len(analysis.two_ways) // TWO_WAYS_A_PAGE))

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
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            return []
        shown = analysis.two_ways[(page - 1) * TWO_WAYS_A_PAGE : page * TWO_WAYS_A_PAGE]
        statement = statements.keep(analysis, opened, unit)
        return two_way_items(shown, analysis.passes, unit, directions(analysis.passes), opened, statement)

    @app.callback(
        Output("speed-time", "figure"),
        Output("plan", "figure"),
        Output("plan", "style"),
        Input("asked", "data"),
        Input("two-ways", "value"),
        Input("unit", "value"),
        Input("picked", "data"),
        Input("surroundings", "data"),
        State(zoom_callbacks.STORE, "data"),
        State("session", "data"),
    )
    def draw(
        asked: dict[str, Any] | None,
        opened: str | None,
        unit: str,
        picked: list[list[float]],
        surroundings: dict[str, bool] | None,
        looked_at: list[float | str] | None,
        token: str,
    ) -> tuple[Any, Any, dict[str, str]]:
        analysis = answered(sessions.peek(token), asked)
        if analysis is None:
            raise PreventUpdate
        palette, coarse = seen_by(surroundings)
        chosen = _two_way(analysis, opened) or analysis.leading_two_way
        points = tuple((lat, lon) for lat, lon in picked or [])
        return (
            speed_time(
                analysis, chosen, SPEED_UNITS[unit], palette, coarse=coarse, window=window_of(looked_at)
            ),
            plan(analysis, chosen, palette, picked=points, coarse=coarse),
            {"aspectRatio": f"{aspect(analysis):.3f}"},
        )
