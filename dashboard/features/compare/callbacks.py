"""Callbacks of the page "Before and after"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dash import ClientsideFunction, Dash, Input, Output, State, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.bench.logbook import Choice
from dashboard.features.compare.figures import ROW_PX, effects_figure, history_figure
from dashboard.features.compare.service import CompareClient, Wanted
from dashboard.features.compare.trial_figure import trial_figure
from dashboard.features.compare.view import advice, changed, comparison_answer, effects_table, remarks, story
from dashboard.ui.notice import say_unknown_boat
from dashboard.ui.palette import seen_by
from telemetry.compare import Units
from telemetry.core.units import SPEED_UNITS

UNITS: Final = (Input("unit", "value"), Input("temperature-unit", "value"))


def register(app: Dash, book: CompareClient) -> None:
    """Register the page's callbacks."""
    _register_choices(app, book)
    _register_comparison(app, book)
    _register_history(app, book)
    _register_next(app, book)


def _data(choices: Sequence[Choice]) -> list[dict[str, str]]:
    return [{"value": one.value, "label": one.label} for one in choices]


def _mps(amount: Any, unit: str) -> float | None:
    """Read a number field in the user's unit; an empty one is nothing said."""
    return SPEED_UNITS[unit].to_si(float(amount)) if amount else None


def _wanted(sheet_id: str | None, outings: list[str] | None) -> Wanted:
    return Wanted(sheet_id or None, tuple(int(outing) for outing in outings or ()))


def _register_choices(app: Dash, book: CompareClient) -> None:
    @app.callback(
        Output("compare-boat", "data"),
        Output("compare-boat", "value"),
        Input("compare-asked", "data"),
        State("compare-boat", "value"),
    )
    def offer_boats(asked: dict[str, str | None], chosen: str | None) -> tuple[Any, Any]:
        boats = book.boats()
        names = [one.value for one in boats]
        say_unknown_boat(asked["boat"], names)
        wished = chosen or asked["boat"]
        return _data(boats), wished if wished in names else next(iter(names), None)

    @app.callback(
        Output("compare-before", "data"),
        Output("compare-after", "data"),
        Output("compare-before-outings", "data"),
        Output("compare-after-outings", "data"),
        Output("compare-item", "data"),
        Output("compare-measure", "data"),
        Output("compare-before", "value"),
        Output("compare-after", "value"),
        Output("compare-before-outings", "value"),
        Output("compare-after-outings", "value"),
        Output("compare-item", "value"),
        Output("compare-measure", "value"),
        Output("compare-said", "children"),
        Input("compare-boat", "value"),
        State("compare-asked", "data"),
    )
    def offer_choices(boat: str | None, asked: dict[str, str | None]) -> tuple[Any, ...]:
        lists = book.lists(boat)
        parts = (lists.sheets, lists.outings, lists.items, lists.measures)
        sheets, outings, items, measures = (_data(part) for part in parts)
        usual = [s["value"] for s in sheets[-2:]] if len(sheets) > 1 else [None, None]
        run = {s["value"] for s in sheets}
        chosen = [
            asked[side] if asked[side] in run else one
            for side, one in zip(("before", "after"), usual, strict=True)
        ]
        said = "" if len(sheets) > 1 else "Two sheets with outings in the logbook are needed to compare."
        item = items[0]["value"] if items else None
        measure = measures[0]["value"] if measures else None
        return sheets, sheets, outings, outings, items, measures, *chosen, [], [], item, measure, said

    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("compare-address", "data"),
        Input("compare-boat", "value"),
        Input("compare-before", "value"),
        Input("compare-after", "value"),
        State("compare-address", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("compare-care", "suffix"), Output("compare-ripple", "suffix"), Input("unit", "value")
    )
    def show_unit(unit: str) -> tuple[str, str]:
        return f" {unit}", f" {unit}"


def _register_comparison(app: Dash, book: CompareClient) -> None:
    @app.callback(
        Output("compare-answer", "children"),
        Output("compare-changed", "children"),
        Output("compare-remarks", "children"),
        Output("compare-effects", "figure"),
        Output("compare-effects-box", "style"),
        Output("compare-numbers", "children"),
        Input("compare-before", "value"),
        Input("compare-after", "value"),
        Input("compare-before-outings", "value"),
        Input("compare-after-outings", "value"),
        Input("compare-care", "value"),
        *UNITS,
        Input("surroundings", "data"),
        State("compare-boat", "value"),
    )
    def show_comparison(
        before: str | None,
        after: str | None,
        before_outings: list[str] | None,
        after_outings: list[str] | None,
        care: Any,
        unit: str,
        temperature: str,
        seen: Any,
        boat: str,
    ) -> tuple[Any, ...]:
        first, second = _wanted(before, before_outings), _wanted(after, after_outings)
        if not first.is_something or not second.is_something or first == second:
            return [], [], [], no_update, {"display": "none"}, []
        told = book.compare(boat, first, second, _mps(care, unit))
        units = Units(unit, temperature)
        palette, coarse = seen_by(seen)
        figure = effects_figure(told, units, palette, coarse=coarse)
        height = {"height": f"{figure.layout.height or 3 * ROW_PX}px"}
        numbers = effects_table(told, units)
        return comparison_answer(told, units), changed(told), remarks(told, units), figure, height, numbers


def _register_history(app: Dash, book: CompareClient) -> None:
    @app.callback(
        Output("compare-history", "figure"),
        Output("compare-story", "children"),
        Input("compare-measure", "value"),
        Input("compare-item", "value"),
        *UNITS,
        Input("surroundings", "data"),
        State("compare-boat", "value"),
    )
    def show_history(
        measure: str | None, item: str | None, unit: str, temperature: str, seen: Any, boat: str | None
    ) -> tuple[Any, Any]:
        if not measure or not boat:
            raise PreventUpdate
        shown = book.history(boat, item, measure)
        units = Units(unit, temperature)
        palette, coarse = seen_by(seen)
        figure = history_figure(shown.told, shown.item, units, palette, coarse=coarse)
        return figure, story(shown.told, shown.item, units)


def _register_next(app: Dash, book: CompareClient) -> None:
    @app.callback(
        Output("compare-advice", "children"),
        Output("compare-trial", "figure"),
        Output("compare-trial-box", "style"),
        Input("compare-boat", "value"),
        Input("compare-ripple", "value"),
        Input("compare-care", "value"),
        *UNITS,
        Input("surroundings", "data"),
    )
    def show_advice(
        boat: str | None, ripple: Any, care: Any, unit: str, temperature: str, seen: Any
    ) -> tuple[Any, Any, dict[str, str]]:
        if not boat:
            return [], no_update, {"display": "none"}
        shown = book.advise(boat, _mps(ripple, unit), _mps(care, unit))
        units, (palette, coarse) = Units(unit, temperature), seen_by(seen)
        figure = trial_figure(shown.told.trial, units, palette, coarse=coarse)
        style = {} if shown.told.trial else {"display": "none"}
        return advice(shown.told, shown.best_sheet, units), figure, style
