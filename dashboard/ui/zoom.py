"""Zooming, shared by every plot: it reports its visible range and receives those samples."""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, Patch, State

from dashboard.ui.downsample import RESAMPLED


def tell_window(app: Dash, graph: str, store: str) -> None:
    """Store the visible range of a plot's abscissa; None for the whole of it."""
    app.clientside_callback(
        ClientsideFunction("zoom", "shown"),
        Output(store, "data"),
        Input(graph, "relayoutData"),
        State(store, "data"),
        prevent_initial_call=True,
    )


def finer(figure: Any) -> Patch:
    """Replace the samples of a plot's resampled traces; everything else is unchanged."""
    patch = Patch()
    for k, trace in enumerate(figure.data):
        if trace.meta == RESAMPLED:
            for name in ("x", "y", "text", "customdata", "mode"):
                if trace[name] is not None:
                    patch["data"][k][name] = trace[name]
    return patch
