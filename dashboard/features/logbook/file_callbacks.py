"""A logbook as a file: saved from an address of its own, and taken in again from the page "Logbook"."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State
from dash.exceptions import PreventUpdate
from flask import Flask, Response

from dashboard.features.logbook.backup_service import BackupClient, Parcel
from dashboard.features.logbook.view import restored_told
from dashboard.session.uploads import content_of
from dashboard.ui.links import BACKUP, EXPORT
from telemetry.core.errors import LogbookError


def register(app: Dash, server: Flask, safe: BackupClient) -> None:
    """Attach the addresses to a server, and the callbacks to its app."""
    server.add_url_rule(BACKUP, "save-backup", lambda: _saved(safe.backup))
    server.add_url_rule(EXPORT, "save-export", lambda: _saved(safe.export))
    app.clientside_callback(
        ClientsideFunction("logbook", "weigh"),
        Output("restore-waiting", "data"),
        Output("restore-name", "children"),
        Output("restore-file", "contents"),
        Input("restore-file", "contents"),
        State("restore-file", "filename"),
        State("restore-limit", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("book-revision", "data", allow_duplicate=True),
        Output("restore-said", "children"),
        Output("restore-error", "children"),
        Output("restore-word", "value"),
        Input("restore-take", "n_clicks"),
        State("restore-waiting", "data"),
        State("restore-word", "value"),
        State("book-revision", "data"),
        running=[
            (Output("restore-working", "hidden"), False, True),
            (Output("restore-take", "disabled"), True, False),
        ],
        prevent_initial_call=True,
    )
    def take_in(
        clicks: int | None, waiting: dict[str, str] | None, word: str | None, revision: int
    ) -> tuple[int, Any, str, str]:
        if not clicks:
            raise PreventUpdate
        if not waiting:
            return revision, [], "Choose the backup's file first.", word or ""
        try:
            told = safe.restore(waiting["name"], content_of(waiting["contents"]), word or "")
        except LogbookError as error:
            return revision, [], str(error), word or ""
        return revision + 1, restored_told(told), "", ""


def _saved(make: Callable[[], Parcel]) -> Response:
    try:
        parcel = make()
    except LogbookError as error:
        return Response(str(error), status=500, mimetype="text/plain")
    response = Response(parcel.chunks(), mimetype="application/zip")
    response.headers["Content-Disposition"] = f'attachment; filename="{parcel.name}"'
    response.headers["Cache-Control"] = "no-store"
    return response
