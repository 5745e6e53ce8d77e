"""Links to a statement: to its page, and to the same as a file."""

from __future__ import annotations

from dataclasses import asdict
from typing import Final
from urllib.parse import urlencode

from dash import html

from dashboard.ui.fields import Chosen

STATEMENTS_AT: Final = "/statement"


def kept_statement(name: str) -> html.Div:
    """Link to a stored statement."""
    return _links(f"{STATEMENTS_AT}/{name}", "")


def outing_statement(outing_id: int, units: Chosen) -> html.Div:
    """Link to the statement of an outing's best two-way, in the reader's units."""
    return _links(f"{STATEMENTS_AT}/outing/{outing_id}", f"?{urlencode(asdict(units))}")


def _links(address: str, query: str) -> html.Div:
    return html.Div(
        [
            html.A("Statement to print", href=f"{address}{query}", target="_blank", rel="noopener"),
            html.A("Save as a file", href=f"{address}/file{query}", download=""),
        ],
        className="statement-links",
    )
