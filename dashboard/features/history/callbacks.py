"""Callbacks of the page "History"."""

from __future__ import annotations

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State

from dashboard.features.bench.service import showing_of
from dashboard.features.compare.trial_figure import trial_figure
from dashboard.features.compare.view import advice
from dashboard.features.history.figures import outings_figure
from dashboard.features.history.service import HistoryClient
from dashboard.features.history.view import (
    best_told,
    due_told,
    events_told,
    outings_told,
    sheets_told,
    tune_told,
)
from dashboard.ui.fields import Chosen
from dashboard.ui.notice import say_unknown_boat
from dashboard.ui.palette import seen_by
from telemetry.compare import Units

_HIDDEN = {"display": "none"}


def register(app: Dash, book: HistoryClient) -> None:
    """Attach the page's callbacks to an app."""
    _register_choice(app, book)
    _register_past(app, book)
    _register_next(app, book)


def _register_choice(app: Dash, book: HistoryClient) -> None:
    @app.callback(
        Output("history-boat", "data"),
        Output("history-boat", "value"),
        Input("history-asked", "data"),
        State("history-boat", "value"),
    )
    def offer_boats(asked: str | None, chosen: str | None) -> tuple[Any, str | None]:
        boats = book.boats()
        names = [one.value for one in boats]
        say_unknown_boat(asked, names)
        wished = next((name for name in (chosen, asked, book.last_set()) if name in names), None)
        return [{"value": one.value, "label": one.label} for one in boats], wished

    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("history-address", "data"),
        Input("history-boat", "value"),
        State("history-address", "data"),
        prevent_initial_call=True,
    )


def _register_past(app: Dash, book: HistoryClient) -> None:
    @app.callback(
        Output("history-best", "children"),
        Output("history-outings", "figure"),
        Output("history-outings-told", "children"),
        Output("history-sheets-told", "children"),
        Output("history-tune-told", "children"),
        Output("history-due-told", "children"),
        Output("history-events-told", "children"),
        Input("history-boat", "value"),
        Input("unit", "value"),
        Input("length-unit", "value"),
        Input("temperature-unit", "value"),
        Input("mass-unit", "value"),
        Input("surroundings", "data"),
    )
    def show_past(
        boat: str | None, unit: str, length: str, temperature: str, mass: str, seen: Any
    ) -> tuple[Any, ...]:
        past = book.past(boat)
        palette, coarse = seen_by(seen)
        if past is None:
            return [], outings_figure((), (), {}, None, unit, palette), [], [], [], [], []
        return (
            best_told(past, Chosen(unit, length, temperature, mass)),
            outings_figure(
                past.outings, past.two_ways, past.letters, past.best, unit, palette, coarse=coarse
            ),
            outings_told(past, unit),
            sheets_told(past, Units(unit)),
            tune_told(past.boat, past.tune, showing_of(length, mass, None)),
            due_told(past.boat, past.due),
            events_told(past),
        )


def _register_next(app: Dash, book: HistoryClient) -> None:
    @app.callback(
        Output("history-trial", "figure"),
        Output("history-trial-box", "style"),
        Output("history-advice-told", "children"),
        Input("history-boat", "value"),
        Input("unit", "value"),
        Input("temperature-unit", "value"),
        Input("surroundings", "data"),
    )
    def show_next(boat: str | None, unit: str, temperature: str, seen: Any) -> tuple[Any, Any, Any]:
        if not boat:
            return {"layout": {}}, _HIDDEN, []
        shown = book.advise(boat, None, None)
        units, (palette, coarse) = Units(unit, temperature), seen_by(seen)
        figure = trial_figure(shown.told.trial, units, palette, coarse=coarse)
        return figure, {} if shown.told.trial else _HIDDEN, advice(shown.told, shown.best_sheet, units)
