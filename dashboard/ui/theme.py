"""The page's appearance in normal light, in the sun and in the dark; stored by the browser."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html

from dashboard.ui.badges import icon

PROVIDER: Final = "surroundings-shell"
"""The id of the provider that styles Mantine's components."""


def surroundings_kept() -> list[Any]:
    """Store the choice, and the colours for the figures."""
    return [dcc.Store(id="look", storage_type="local", data="light"), dcc.Store(id="surroundings")]


def surroundings_button() -> dmc.ActionIcon:
    """Switch from light to sunlight, to dark and back to light."""
    glyphs = [html.Span(icon(name), className=f"look look-{name}") for name in ("sun", "sunlight", "moon")]
    return dmc.ActionIcon(
        glyphs, id="look-next", variant="subtle", size="lg", **{"aria-label": "Page in light"}
    )


def register(app: Dash) -> None:
    """Attach the callbacks that run in the browser only."""
    app.clientside_callback(
        ClientsideFunction("surroundings", "next"),
        Output("look", "data"),
        Input("look-next", "n_clicks"),
        State("look", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("surroundings", "dress"),
        Output(PROVIDER, "forceColorScheme"),
        Output("surroundings", "data"),
        Output("look-next", "aria-label"),
        Input("look", "modified_timestamp"),
        State("look", "data"),
    )
