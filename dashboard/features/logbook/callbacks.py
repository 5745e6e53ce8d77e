"""What happens on the page "Logbook": inputs -> service -> component, nothing else."""

from __future__ import annotations

from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update, set_props
from dash.exceptions import PreventUpdate

from dashboard.features.logbook.layout import ADDING, BOAT, EDITING, PAGE
from dashboard.features.logbook.service import LogbookClient, outing_of
from dashboard.features.logbook.view import (
    boat_story,
    count_text,
    fleet_list,
    outing_facts,
    outing_table,
    waiting_logs,
)
from dashboard.features.save import callbacks
from dashboard.features.save.form import TEXTS, conditions_of, number_fields, written
from dashboard.session import job_callbacks
from dashboard.session.intake import take_in
from dashboard.session.sessions import Sessions
from dashboard.session.uploads import file_view
from dashboard.ui.fields import LIMITS, Chosen, read_all
from dashboard.ui.links import LOGBOOK as PATH
from dashboard.ui.unit_fields import chosen, follow_units
from telemetry.core.errors import ReciprocalError

_TEXTS = [f"{EDITING}-{name}" for name in TEXTS]
_NUMBERS = [field.part for field in number_fields(EDITING).values()]
_WAITING = Output("book-waiting", "data", allow_duplicate=True)
_REVISION = Output("book-revision", "data", allow_duplicate=True)
_GO = Output("_pages_location", "href", allow_duplicate=True)


def register(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    """Attach the page's callbacks to an app."""
    _register_lists(app, shelf)
    follow_units(app, "boat", BOAT.values())
    follow_units(app, EDITING, number_fields(EDITING).values())
    _register_logs(app, sessions)
    _register_adding(app, sessions, shelf)
    _register_outing(app, sessions, shelf)


def _register_lists(app: Dash, shelf: LogbookClient) -> None:
    @app.callback(
        Output("book-boat", "data"),
        Output("edit-place", "data"),
        Output("book-boat", "value"),
        Input("book-revision", "data"),
        State("book-boat", "value"),
        State("book-asked", "data"),
    )
    def offer(revision: int, chosen: str | None, asked: str | None) -> tuple[Any, ...]:
        boats, places = shelf.boats(), shelf.places()
        wished = chosen or (None if revision else asked)
        return boats, places, wished if wished in boats else None

    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("book-address", "data"),
        Input("book-boat", "value"),
        State("book-address", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("book-table", "children"),
        Output("book-count", "children"),
        Output("book-page", "total"),
        Input("book-text", "value"),
        Input("book-boat", "value"),
        Input("book-sort", "value"),
        Input("book-ascending", "checked"),
        Input("book-page", "value"),
        Input("unit", "value"),
        Input("book-revision", "data"),
    )
    def find(
        text: str, boat: str | None, sort: Any, ascending: bool, page: int, unit: str, _revision: int
    ) -> tuple[Any, str, int]:
        found = shelf.search(text, boat, sort, ascending=ascending, page=page)
        return outing_table(found, unit), count_text(found), found.pages

    @app.callback(
        Output("book-page", "value"),
        Input("book-text", "value"),
        Input("book-boat", "value"),
        Input("book-sort", "value"),
        Input("book-ascending", "checked"),
        prevent_initial_call=True,
    )
    def first_page(*_asked: Any) -> int:
        return 1

    @app.callback(
        Output("book-story", "children"),
        Input("book-boat", "value"),
        Input("unit", "value"),
        Input("length-unit", "value"),
        Input("book-revision", "data"),
    )
    def tell_boat(boat: str | None, unit: str, length: str, _revision: int) -> list[Any]:
        units = Chosen(unit, length)
        return boat_story(shelf.story(boat), units) if boat else fleet_list(shelf.fleet(), units)

    @app.callback(
        output={
            "hidden": Output("boat-details", "hidden"),
            "kind": Output("boat-kind", "value"),
            "note": Output("boat-note", "value"),
            "numbers": [Output(field.part, "value") for field in BOAT.values()],
        },
        inputs={"name": Input("book-boat", "value")},
        state={"units": chosen()},
    )
    def fill_boat(name: str | None, units: dict[str, str]) -> dict[str, Any]:
        if not name:
            nothing = {"kind": no_update, "note": no_update, "numbers": [no_update] * len(BOAT)}
            return {"hidden": True, **nothing}
        boat, now = shelf.boat(name), Chosen(**units)
        length_mm = None if boat.length_m is None else 1000.0 * boat.length_m
        known = {"length_mm": length_mm, **{limit: getattr(boat.limits, limit) for limit in LIMITS}}
        numbers = [field.written(known[part], now) for part, field in BOAT.items()]
        return {"hidden": False, "kind": boat.hull_kind, "note": boat.note, "numbers": numbers}

    @app.callback(
        output=_REVISION,
        inputs={"_clicks": Input("boat-keep", "n_clicks")},
        state={
            "name": State("book-boat", "value"),
            "kind": State("boat-kind", "value"),
            "note": State("boat-note", "value"),
            "numbers": {name: State(field.part, "value") for name, field in BOAT.items()},
            "units": chosen(),
            "revision": State("book-revision", "data"),
        },
        prevent_initial_call=True,
    )
    def edit_boat(
        _clicks: int,
        name: str,
        kind: str,
        note: str,
        numbers: dict[str, Any],
        units: dict[str, str],
        revision: int,
    ) -> int:
        told = read_all(BOAT, numbers, Chosen(**units))
        length_mm = told.pop("length_mm")
        length_m = None if length_mm is None else length_mm / 1000.0
        shelf.edit_boat(name, kind or "", length_m, note or "", told)
        return int(revision) + 1


def _register_logs(app: Dash, sessions: Sessions) -> None:
    job_callbacks.register(app, sessions, PAGE, "book-waiting", ADDING)
    app.clientside_callback(
        ClientsideFunction("afterTheWater", "sortOut"),
        Output("book-dropped", "data"),
        Output("book-turned-away", "children"),
        Output("book-drop", "contents"),
        Input("book-drop", "contents"),
        State("book-drop", "filename"),
        State("book-limits", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        _WAITING,
        Input("book-dropped", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def take(dropped: list[dict[str, str]] | None, token: str) -> int:
        if not dropped:
            raise PreventUpdate
        session = sessions.open(token)
        unusable = take_in(session, dropped, analysed=False)
        job_callbacks.follow(PAGE)
        if unusable:
            set_props("notice", {"children": unusable})
        return session.revision

    @app.callback(
        _WAITING,
        Input({"type": "book-take-off", "key": ALL}, "n_clicks"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def take_off(_clicks: list[int | None], token: str) -> int:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        session = sessions.open(token)
        session.remove(ctx.triggered_id["key"])
        return session.revision

    @app.callback(
        Output("book-logs", "children"),
        Output(f"{PAGE}-seen", "data"),
        Input("book-waiting", "data"),
        Input("session", "data"),
    )
    def list_logs(_waiting: int, token: str) -> tuple[list[html.Li], int]:
        session = sessions.peek(token)
        seen = session.revision
        return waiting_logs(file_view(upload, None) for upload in session.uploads.values()), seen


def _register_adding(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    callbacks.register(app, sessions, shelf, PAGE, ADDING, take_off=True)

    @app.callback(
        _REVISION, Input(f"{ADDING}-kept", "data"), State("book-revision", "data"), prevent_initial_call=True
    )
    def show_added(kept: int | None, revision: int) -> int:
        if kept is None:
            raise PreventUpdate
        return revision + 1


def _register_outing(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    @app.callback(
        output=(
            Output("book-outing", "hidden"),
            Output("book-facts", "children"),
            Output("book-shown", "data"),
        ),
        inputs={
            "search": Input("_pages_location", "search"),
            "units": chosen(Input),
            "_revision": Input("book-revision", "data"),
        },
        state={"path": State("_pages_location", "pathname")},
    )
    def show(search: str, units: dict[str, str], _revision: int, path: str) -> tuple[bool, Any, int | None]:
        outing_id = outing_of(search) if path == PATH else None
        if outing_id is None:
            return True, [], None
        try:
            return False, outing_facts(shelf.outing(outing_id), Chosen(**units)), outing_id
        except ReciprocalError as error:
            return False, html.P(str(error), role="alert"), None

    @app.callback(
        output={
            "sheets": Output("edit-sheet", "data"),
            "sheet": Output("edit-sheet", "value"),
            "texts": [Output(part, "value") for part in _TEXTS],
            "numbers": [Output(part, "value") for part in _NUMBERS],
        },
        inputs={"outing_id": Input("book-shown", "data"), "_revision": Input("book-revision", "data")},
        state={"units": chosen()},
    )
    def fill_correction(outing_id: int | None, _revision: int, units: dict[str, str]) -> dict[str, Any]:
        if outing_id is None:
            raise PreventUpdate
        outing = shelf.outing(outing_id)
        texts, numbers = written(EDITING, outing.conditions, Chosen(**units))
        return {
            "sheets": [{"value": v, "label": words} for v, words in shelf.sheets(outing.boat)],
            "sheet": outing.sheet_id,
            "texts": list(texts.values()),
            "numbers": list(numbers.values()),
        }

    @app.callback(
        output=_REVISION,
        inputs={"_clicks": Input("edit-keep", "n_clicks")},
        state={
            "sheet": State("edit-sheet", "value"),
            "texts": [State(part, "value") for part in _TEXTS],
            "numbers": [State(part, "value") for part in _NUMBERS],
            "units": chosen(),
            "outing_id": State("book-shown", "data"),
            "revision": State("book-revision", "data"),
        },
        prevent_initial_call=True,
    )
    def correct(
        _clicks: int,
        sheet: str,
        texts: list[str | None],
        numbers: list[Any],
        units: dict[str, str],
        outing_id: int,
        revision: int,
    ) -> int:
        names = number_fields(EDITING)
        said = dict(zip(TEXTS, texts, strict=True)), dict(zip(names, numbers, strict=True))
        shelf.correct(outing_id, conditions_of(EDITING, *said, Chosen(**units)), sheet)
        return int(revision) + 1

    @app.callback(
        _GO,
        Input("book-open", "n_clicks"),
        State("book-shown", "data"),
        State("session", "data"),
        prevent_initial_call=True,
    )
    def lay_open(_clicks: int, outing_id: int | None, token: str) -> str:
        if outing_id is None:
            raise PreventUpdate
        shelf.lay_open(sessions.open(token), outing_id)
        return "/"

    @app.callback(
        _GO, Input("book-remove", "submit_n_clicks"), State("book-shown", "data"), prevent_initial_call=True
    )
    def remove(_clicks: int, outing_id: int | None) -> str:
        if outing_id is None:
            raise PreventUpdate
        shelf.remove(outing_id)
        return PATH
