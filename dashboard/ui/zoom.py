"""What every plot that can be looked at closer shares: it tells what it shows, and gets those samples."""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, Patch, State

from dashboard.ui.downsample import RESAMPLED


def tell_window(app: Dash, graph: str, store: str) -> None:
    """Keep what a plot shows of its abscissa in a store; nothing for the whole of it."""
    app.clientside_callback(
        ClientsideFunction("zoom", "shown"),
        Output(store, "data"),
        Input(graph, "relayoutData"),
        State(store, "data"),
        prevent_initial_call=True,
    )


def finer(figure: Any) -> Patch:
    """Exchange the samples of those traces of a plot that were resampled; all else stays as it is."""
    patch = Patch()
    for k, trace in enumerate(figure.data):
        if trace.meta == RESAMPLED:
            for name in ("x", "y", "text", "customdata", "mode"):
                if trace[name] is not None:
                    patch["data"][k][name] = trace[name]
    return patch
