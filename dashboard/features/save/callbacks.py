"""Callbacks of every page that saves an outing: choices, changes, saving."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import ALL, Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.bench.service import items_to_add, showing_of
from dashboard.features.logbook.service import LogbookClient
from dashboard.features.save.form import TEXTS, OutingEntry, conditions_of, hull_length, number_fields
from dashboard.features.save.service import save_outing
from dashboard.features.save.view import changed_rows, kept_told
from dashboard.security import error_shown
from dashboard.session import job_callbacks
from dashboard.session.sessions import Session, Sessions
from dashboard.ui.fields import Chosen
from dashboard.ui.unit_fields import chosen, follow_units
from telemetry.analysis import Request
from telemetry.core.errors import ReciprocalError

Asking = Callable[[Session, Any], Request]


def register(
    app: Dash,
    sessions: Sessions,
    shelf: LogbookClient,
    page: str,
    form: str,
    *,
    asked: str = "session",
    request: Asking = lambda session, _asked: Request(by_hand=session.by_hand),
    take_off: bool = False,
) -> None:
    """Attach the callbacks of an outing's form.

    Parameters
    ----------
    app : Dash
    sessions : Sessions
    shelf : LogbookClient
    page, form : str
        Prefixes of the ids: of the page's jobs, and of the form's parts.
    asked : str
        The id of the store that holds the page's request.
    request : callable
        Converts it to a request.
    take_off : bool
        Whether the logs are removed from the page once they are saved.
    """
    follow_units(app, form, (*number_fields(form).values(), hull_length(form)))
    _offering(app, shelf, form)
    _changing(app, shelf, form)

    @app.callback(
        output=(
            Output(f"{form}-error", "children"),
            Output(f"{form}-said", "children", allow_duplicate=True),
        ),
        inputs={"clicks": Input(f"{form}-keep", "n_clicks")},
        state={
            "said": {
                name: State(f"{form}-{name}", "value")
                for name in ("boat", "new-boat", "new-kind", "length", "sheet", "new-sheet")
            },
            "texts": {name: State(f"{form}-{name}", "value") for name in TEXTS},
            "numbers": {name: State(field.part, "value") for name, field in number_fields(form).items()},
            "changed": State({"type": "changed-value", "form": form, "item": ALL}, "value"),
            "items": State({"type": "changed-value", "form": form, "item": ALL}, "id"),
            "units": chosen(),
            "asking": State(asked, "data"),
            "token": State("session", "data"),
        },
        prevent_initial_call=True,
    )
    def keep_outing(
        clicks: int | None,
        said: dict[str, Any],
        texts: dict[str, str | None],
        numbers: dict[str, Any],
        changed: list[str | None],
        items: list[dict[str, str]],
        units: dict[str, str],
        asking: Any,
        token: str,
    ) -> tuple[str, Any]:
        if not clicks:
            raise PreventUpdate
        now, session = Chosen(**units), sessions.open(token)
        length_mm = hull_length(form).read(said["length"], now)
        entry = OutingEntry(
            said["boat"] or "",
            said["new-boat"] or "",
            said["new-kind"] or "",
            None if length_mm is None else length_mm / 1000.0,
            said["sheet"] or "",
            said["new-sheet"] or "",
            {one["item"]: text or "" for one, text in zip(items, changed, strict=True)},
            conditions_of(form, texts, numbers, now),
        )
        showing = showing_of(now.length, now.mass, None)
        try:
            save_outing(shelf.url, session, form, entry, showing, request(session, asking), take_off=take_off)
        except ReciprocalError as error:
            return error_shown(error), []
        job_callbacks.follow(page)
        return "", []

    @app.callback(
        output={
            "said": Output(f"{form}-said", "children"),
            "error": Output(f"{form}-error", "children", allow_duplicate=True),
            "kept": Output(f"{form}-kept", "data"),
            "boat": Output(f"{form}-boat", "value"),
            "new": [Output(f"{form}-{name}", "value") for name in ("new-boat", "new-sheet", "changed")],
        },
        inputs={"_shape": Input(f"{page}-shape", "data")},
        state={"known": State(f"{form}-kept", "data"), "token": State("session", "data")},
        prevent_initial_call=True,
    )
    def tell_kept(_shape: Any, known: int | None, token: str) -> dict[str, Any]:
        session = sessions.peek(token)
        outputs = {"said": no_update, "error": no_update, "kept": no_update, "boat": no_update}
        error = session.failure("keeping")
        if error:
            outputs["error"] = error
        kept = session.kept if session.kept and session.kept.form == form else None
        if kept is None and known is not None:  # the logs have changed meanwhile
            outputs |= {"said": [], "kept": None}
        if kept is None or kept.outing.id == known:
            return {**outputs, "new": [no_update] * 3}
        outputs |= {"said": kept_told(kept), "kept": kept.outing.id, "boat": kept.outing.boat}
        return {**outputs, "new": ["", "", []]}


def _offering(app: Dash, shelf: LogbookClient, form: str) -> None:
    @app.callback(
        Output(f"{form}-boat", "data"), Output(f"{form}-place", "data"), Input(f"{form}-kept", "data")
    )
    def offer_boats(_kept: int | None) -> tuple[list[str], list[str]]:
        return shelf.boats(), shelf.places()

    @app.callback(
        Output(f"{form}-sheet", "data"),
        Output(f"{form}-sheet", "value"),
        Input(f"{form}-boat", "value"),
        Input(f"{form}-kept", "data"),
    )
    def offer_sheets(boat: str | None, _kept: int | None) -> tuple[list[dict[str, str]], str | None]:
        sheets = shelf.sheets(boat)
        return [{"value": v, "label": words} for v, words in sheets], sheets[0][0] if sheets else None

    @app.callback(
        *(Output(f"{form}-{name}", "disabled") for name in ("new-kind", "length", "boat", "sheet")),
        Input(f"{form}-new-boat", "value"),
    )
    def open_new_boat(name: str | None) -> tuple[bool, bool, bool, bool]:
        new = bool(name and name.strip())
        return not new, not new, new, new


def _changing(app: Dash, shelf: LogbookClient, form: str) -> None:
    boat_and_sheet = {name: Input(f"{form}-{name}", "value") for name in ("boat", "new-boat", "sheet")}

    @app.callback(
        output=Output(f"{form}-changed", "data"), inputs={"said": boat_and_sheet}, prevent_initial_call=True
    )
    def offer_items(said: dict[str, str | None]) -> list[dict[str, Any]]:
        bench = shelf.bench(**_which(said))
        return items_to_add(bench) if bench else []

    @app.callback(
        output=Output(f"{form}-changed-rows", "children"),
        inputs={
            "names": Input(f"{form}-changed", "value"),
            "said": boat_and_sheet,
            "length": Input("length-unit", "value"),
            "mass": Input("mass-unit", "value"),
        },
        state={
            "values": State({"type": "changed-value", "form": form, "item": ALL}, "value"),
            "ids": State({"type": "changed-value", "form": form, "item": ALL}, "id"),
        },
        prevent_initial_call=True,
    )
    def ask_changed(
        names: list[str] | None,
        said: dict[str, str | None],
        length: str,
        mass: str,
        values: list[str | None],
        ids: list[dict[str, str]],
    ) -> list[Any]:
        typed = {one["item"]: value or "" for one, value in zip(ids, values, strict=True)}
        bench = shelf.bench(**_which(said))
        return changed_rows(form, bench, names or [], typed, showing_of(length, mass, None))


def _which(said: dict[str, str | None]) -> dict[str, str]:
    """Return the boat and the sheet of a form: a new boat has no sheet yet."""
    new = (said["new-boat"] or "").strip()
    return {"boat": new or said["boat"] or "", "sheet": "" if new else said["sheet"] or ""}
