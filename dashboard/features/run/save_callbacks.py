"""Save the outing from the page "After the water"; the fields then show the values of its sheet."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output
from dash.exceptions import PreventUpdate

from dashboard.features.logbook.service import LogbookClient
from dashboard.features.run.layout import KEEPING, PAGE
from dashboard.features.run.request_form import RequestForm, request_of
from dashboard.features.save import callbacks
from dashboard.session.sessions import Session, Sessions
from telemetry.analysis import Request


def register(app: Dash, sessions: Sessions, shelf: LogbookClient) -> None:
    """Attach the callbacks of the form to an app."""
    callbacks.register(app, sessions, shelf, PAGE, KEEPING, asked="asked", request=_asked)

    @app.callback(Output("begun", "data"), Input(f"{KEEPING}-kept", "data"), prevent_initial_call=True)
    def begin_with_the_sheet(kept: int | None) -> int:
        if kept is None:
            raise PreventUpdate
        return kept


def _asked(session: Session, asked: dict[str, Any] | None) -> Request:
    return request_of(session, RequestForm(**asked) if asked else RequestForm())
