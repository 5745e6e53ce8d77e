"""What happens on the page "Logbook": inputs -> service -> component, nothing else."""

from __future__ import annotations

from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update, set_props
from dash.exceptions import PreventUpdate

from dashboard.components.addresses import LOGBOOK as PATH
from dashboard.components.addresses import outing_address
from dashboard.components.logbook import (
    boat_story,
    count_text,
    fleet_list,
    outing_facts,
    outing_table,
    waiting_logs,
)
from dashboard.pages import reading
from dashboard.pages.logbook import PAGE
from dashboard.services.drops import take_in
from dashboard.services.fields import LIMITS
from dashboard.services.logbook import Entry, Shelf, outing_of
from dashboard.services.sessions import Sessions
from dashboard.services.uploads import file_view
from telemetry.errors import ReciprocalError
from telemetry.logbook import Conditions
from telemetry.units import SPEED_UNITS

_CONDITIONS = ("place", "wind", "wind-from", "water", "air", "water-c", "pack", "note")
_WAITING = Output("book-waiting", "data", allow_duplicate=True)
_REVISION = Output("book-revision", "data", allow_duplicate=True)
_GO = Output("_pages_location", "href", allow_duplicate=True)


def register(app: Dash, sessions: Sessions, shelf: Shelf) -> None:
    """Attach the page's callbacks to an app."""
    _register_lists(app, shelf)
    _register_logs(app, sessions)
    _register_adding(app, sessions, shelf)
    _register_outing(app, sessions, shelf)


def _register_lists(app: Dash, shelf: Shelf) -> None:
    @app.callback(
        Output("book-boat", "data"),
        Output("add-boat", "data"),
        Output("add-place", "data"),
        Output("mend-place", "data"),
        Output("book-boat", "value"),
        Input("book-revision", "data"),
        State("book-boat", "value"),
        State("book-asked", "data"),
    )
    def offer(revision: int, chosen: str | None, asked: str | None) -> tuple[Any, ...]:
        boats, places = shelf.boats(), shelf.places()
        wished = chosen or (None if revision else asked)
        return boats, boats, places, places, wished if wished in boats else None

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
        Input("book-revision", "data"),
    )
    def tell_boat(boat: str | None, unit: str, _revision: int) -> list[Any]:
        return boat_story(shelf.story(boat), unit) if boat else fleet_list(shelf.fleet())

    @app.callback(
        Output("boat-details", "hidden"),
        Output("boat-kind", "value"),
        Output("boat-length", "value"),
        Output("boat-note", "value"),
        *(Output(f"boat-{name}", "value") for name in LIMITS),
        Input("book-boat", "value"),
    )
    def fill_boat(name: str | None) -> tuple[Any, ...]:
        if not name:
            return (True, *(no_update for _ in range(3 + len(LIMITS))))
        boat = shelf.boat(name)
        limits = [getattr(boat.limits, limit) for limit in LIMITS]
        length, *limits = ("" if value is None else value for value in (boat.length_m, *limits))
        return (False, boat.hull_kind, length, boat.note, *limits)

    @app.callback(
        _REVISION,
        Input("boat-keep", "n_clicks"),
        State("book-boat", "value"),
        State("boat-kind", "value"),
        State("boat-length", "value"),
        State("boat-note", "value"),
        *(State(f"boat-{name}", "value") for name in LIMITS),
        State("book-revision", "data"),
        prevent_initial_call=True,
    )
    def edit_boat(_clicks: int, name: str, kind: str, length: Any, note: str, *rest: Any) -> int:
        *limits, revision = rest
        told = {limit: _number(value) for limit, value in zip(LIMITS, limits, strict=True)}
        shelf.edit_boat(name, kind or "", _number(length), note or "", told)
        return int(revision) + 1


def _register_logs(app: Dash, sessions: Sessions) -> None:
    reading.register(app, sessions, PAGE, "book-waiting")
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
        reading.follow(PAGE)
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

    @app.callback(Output("book-logs", "children"), Input("book-waiting", "data"), Input("session", "data"))
    def list_logs(_waiting: int, token: str) -> list[html.Li]:
        return waiting_logs(file_view(upload, None) for upload in sessions.peek(token).uploads.values())


def _register_adding(app: Dash, sessions: Sessions, shelf: Shelf) -> None:
    @app.callback(
        Output("add-sheet", "data"),
        Output("add-sheet", "value"),
        Input("add-boat", "value"),
        Input("book-revision", "data"),
    )
    def offer_sheets(boat: str | None, _revision: int) -> tuple[list[dict[str, str]], str | None]:
        sheets = shelf.sheets(boat)
        return [{"value": v, "label": words} for v, words in sheets], sheets[0][0] if sheets else None

    @app.callback(
        _REVISION,
        _WAITING,
        Output("add-said", "children"),
        Output("add-error", "children"),
        Output("add-boat", "value"),
        Output("add-new-boat", "value"),
        Output("add-new-sheet", "value"),
        Input("add-keep", "n_clicks"),
        State("add-boat", "value"),
        State("add-new-boat", "value"),
        State("add-sheet", "value"),
        State("add-new-sheet", "value"),
        *(State(f"add-{name}", "value") for name in _CONDITIONS),
        State("unit", "value"),
        State("book-revision", "data"),
        State("session", "data"),
        running=[
            (Output("book-working", "hidden"), False, True),
            (Output("add-keep", "disabled"), True, False),
        ],
        prevent_initial_call=True,
    )
    def add(
        _clicks: int, boat: Any, new_boat: Any, sheet: Any, new_sheet: Any, *rest: Any
    ) -> tuple[Any, Any, Any, str, Any, Any, Any]:
        *said, unit, revision, token = rest
        entry = Entry(boat or "", new_boat or "", sheet or "", new_sheet or "", _conditions(said, unit))
        session = sessions.open(token)
        try:
            outing = shelf.add(session, entry)
        except ReciprocalError as error:
            return no_update, no_update, "", str(error), no_update, no_update, no_update
        link = html.A(f"outing {outing.id}", href=outing_address(outing.id))
        added = html.P(["Added: ", link, f" of {outing.boat}."])
        return revision + 1, session.revision, added, "", outing.boat, "", ""


def _register_outing(app: Dash, sessions: Sessions, shelf: Shelf) -> None:
    @app.callback(
        Output("book-outing", "hidden"),
        Output("book-facts", "children"),
        Output("book-shown", "data"),
        Input("_pages_location", "search"),
        Input("unit", "value"),
        Input("book-revision", "data"),
        State("_pages_location", "pathname"),
    )
    def show(search: str, unit: str, _revision: int, path: str) -> tuple[bool, Any, int | None]:
        outing_id = outing_of(search) if path == PATH else None
        if outing_id is None:
            return True, [], None
        try:
            return False, outing_facts(shelf.outing(outing_id), unit), outing_id
        except ReciprocalError as error:
            return False, html.P(str(error), role="alert"), None

    @app.callback(
        Output("mend-sheet", "data"),
        Output("mend-sheet", "value"),
        *(Output(f"mend-{name}", "value") for name in _CONDITIONS),
        Input("book-shown", "data"),
        Input("unit", "value"),
    )
    def fill_correction(outing_id: int | None, unit: str) -> tuple[Any, ...]:
        if outing_id is None:
            raise PreventUpdate
        outing = shelf.outing(outing_id)
        sheets = [{"value": v, "label": words} for v, words in shelf.sheets(outing.boat)]
        return (sheets, outing.sheet_id, *_written(outing.conditions, unit))

    @app.callback(
        _REVISION,
        Input("mend-keep", "n_clicks"),
        State("mend-sheet", "value"),
        *(State(f"mend-{name}", "value") for name in _CONDITIONS),
        State("unit", "value"),
        State("book-shown", "data"),
        State("book-revision", "data"),
        prevent_initial_call=True,
    )
    def correct(_clicks: int, sheet: str, *rest: Any) -> int:
        *said, unit, outing_id, revision = rest
        shelf.correct(outing_id, _conditions(said, unit), sheet)
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


def _conditions(said: list[Any], unit: str) -> Conditions:
    """Turn the form's fields, in the order of ``_CONDITIONS``, into a record in SI."""
    place, wind, wind_from, water, air, water_c, pack, note = said
    wind_mps = _number(wind)
    return Conditions(
        place=place or "",
        wind_mps=None if wind_mps is None else SPEED_UNITS[unit].to_si(wind_mps),
        wind_from_deg=_number(wind_from),
        water=water or "",
        air_c=_number(air),
        water_c=_number(water_c),
        pack=pack or "",
        note=note or "",
    )


def _written(c: Conditions, unit: str) -> tuple[Any, ...]:
    """Turn a record into the form's fields."""
    wind = "" if c.wind_mps is None else round(SPEED_UNITS[unit].from_si(c.wind_mps), 2)
    numbers = ["" if value is None else value for value in (c.wind_from_deg, c.air_c, c.water_c)]
    return c.place, wind, numbers[0], c.water, numbers[1], numbers[2], c.pack, c.note


def _number(value: Any) -> float | None:
    return None if value in (None, "") else float(value)
