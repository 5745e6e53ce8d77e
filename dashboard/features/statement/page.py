"""The statement of a two-way: a page of its own without scripts, to print or to save as a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from flask import Flask, Response, request

from dashboard.features.statement.service import Statements
from dashboard.features.statement.view import STATEMENTS_AT
from dashboard.security import error_shown
from dashboard.ui.fields import Chosen
from telemetry.core.errors import ReciprocalError
from telemetry.statement import Statement, content_policy

_GONE = "This statement is no longer available. Open its two-way again, and the statement from there."


def register(server: Flask, statements: Statements) -> None:
    """Attach the statements' addresses to a server."""

    @server.get(f"{STATEMENTS_AT}/<name>")
    def open_statement(name: str) -> Response:
        found = statements.find(name)
        return _page(found) if found else _refusal(_GONE)

    @server.get(f"{STATEMENTS_AT}/<name>/file")
    def save_statement(name: str) -> Response:
        found = statements.find(name)
        return _file(found) if found else _refusal(_GONE)

    @server.get(f"{STATEMENTS_AT}/outing/<int:outing_id>")
    def open_outing(outing_id: int) -> Response:
        return _of_outing(statements, outing_id, _page)

    @server.get(f"{STATEMENTS_AT}/outing/<int:outing_id>/file")
    def save_outing(outing_id: int) -> Response:
        return _of_outing(statements, outing_id, _file)


def _of_outing(statements: Statements, outing_id: int, answer: Callable[[Statement], Response]) -> Response:
    try:
        return answer(statements.of_outing(outing_id, _units()))
    except ReciprocalError as error:
        return _refusal(error_shown(error))


def _units() -> Chosen:
    """Parse the reader's units from the address."""
    names = [one.name for one in fields(Chosen)]
    return Chosen(**{name: request.args[name] for name in names if name in request.args})


def _page(found: Statement) -> Response:
    response = Response(found.to_html(), mimetype="text/html")
    response.headers["Content-Security-Policy"] = f"{content_policy()}; frame-ancestors 'none'"
    response.headers["Cache-Control"] = "no-store"
    return response


def _file(found: Statement) -> Response:
    response = _page(found)
    response.headers["Content-Disposition"] = f'attachment; filename="{found.file_stem}.html"'
    return response


def _refusal(text: str) -> Response:
    return Response(text, status=404, mimetype="text/plain")
