"""Callbacks of the page "Bench": the sheet, the entries, the steps back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, no_update
from dash.exceptions import PreventUpdate

from dashboard.features.bench import balance_service_callbacks, measure_callbacks
from dashboard.features.bench.gauges import KINDS, KeptGauges, steps_of
from dashboard.features.bench.logbook import BenchClient, Choice
from dashboard.features.bench.measure_view import GAUGE, VALUE, VERDICT, found_rows
from dashboard.features.bench.service import (
    BenchEntry,
    OnBench,
    blank_sheet,
    entries_in,
    items_to_add,
    next_sheet,
    own_item,
    rows_of,
    sheet_of_file,
    showing_of,
    tell,
)
from dashboard.features.bench.view import counted, found_mark, sheet_told, way_back
from dashboard.session.uploads import content_of
from dashboard.ui.badges import sentence
from dashboard.ui.notice import say_unknown_boat
from telemetry.core.errors import SetupError
from telemetry.setup import FoundMeasure, SetupSheet, toml_text

SHEET = Output("bench-sheet", "data", allow_duplicate=True)
KEPT = Output("bench-kept", "data", allow_duplicate=True)
DONE = Output("bench-done", "children", allow_duplicate=True)
SHOWING = (Input("length-unit", "value"), Input("mass-unit", "value"), Input("bench-turned", "value"))
GAUGES_KEPT = tuple(Input(f"gauge-{unit}", "value") for unit in KINDS)
SHOWN = tuple(State(one.component_id, one.component_property) for one in SHOWING)


def register(app: Dash, book: BenchClient) -> None:
    """Attach the page's callbacks to an app."""
    _register_sheet(app, book)
    _register_own(app, book)
    _register_found(app, book)
    _register_keeping(app, book)
    measure_callbacks.register(app)
    balance_service_callbacks.register(app, book)


def _data(choices: Sequence[Choice]) -> list[dict[str, str]]:
    return [{"value": one.value, "label": one.label} for one in choices]


def _register_sheet(app: Dash, book: BenchClient) -> None:
    @app.callback(
        Output("bench-boat", "data"),
        Output("bench-boat", "value"),
        Input("bench-kept", "data"),
        State("bench-boat", "value"),
        State("bench-asked", "data"),
        State("bench-sheet", "data"),
    )
    def list_boats(
        _kept: int, chosen: str | None, asked: dict[str, str | None], lying: dict[str, Any] | None
    ) -> tuple[Any, Any]:
        boats = book.boats()
        names = [one.value for one in boats]
        bench = OnBench.from_dict(lying)
        say_unknown_boat(asked["boat"], names)
        asked_for = asked["boat"] if asked["boat"] in names else None
        wished = chosen or asked_for or (bench.sheet.boat if bench else book.last_set())
        return _data(boats), wished if wished in names else None

    @app.callback(
        Output("bench-sheets", "data"),
        Output("bench-targets", "data"),
        Output("bench-sheets", "value"),
        Output("bench-targets", "value"),
        Input("bench-boat", "value"),
        Input("bench-kept", "data"),
        State("bench-asked", "data"),
    )
    def list_sheets(boat: str | None, kept: int, asked: dict[str, str | None]) -> tuple[Any, ...]:
        sheets = book.sheets(boat)
        known = [one.value for one in sheets]
        # The address's choice holds until something new is saved.
        last, back = (
            name if name in known and not kept else None for name in (asked["sheet"], asked["back"])
        )
        return _data(sheets), _data(sheets), last or next(iter(known), None), back

    app.clientside_callback(
        ClientsideFunction("address", "keep"),
        Output("bench-address", "data"),
        Input("bench-boat", "value"),
        Input("bench-sheets", "value"),
        Input("bench-targets", "value"),
        State("bench-address", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        SHEET, Input("bench-sheets", "value"), Input("bench-boat", "value"), prevent_initial_call=True
    )
    def lay_sheet(sheet_id: str | None, boat: str | None) -> Any:
        if boat is None:
            raise PreventUpdate
        sheet = book.sheet(sheet_id)
        fits = sheet is not None and sheet.boat == boat
        return OnBench(sheet if sheet and fits else blank_sheet(boat), book.own_items(boat)).to_dict()

    @app.callback(
        SHEET,
        Output("bench-file-error", "children"),
        Output("bench-file", "contents"),
        Input("bench-file", "contents"),
        State("bench-file", "filename"),
        prevent_initial_call=True,
    )
    def lay_file(contents: str | None, name: str) -> tuple[Any, str, None]:
        if not contents:
            raise PreventUpdate
        try:
            return OnBench(sheet_of_file(name, content_of(contents))).to_dict(), "", None
        except SetupError as error:
            return (
                no_update,
                str(error),
                None,
            )  # cleared, so that the corrected file can be dropped again

    @app.callback(
        SHEET, Input("bench-begin", "n_clicks"), State("bench-new-boat", "value"), prevent_initial_call=True
    )
    def begin_boat(_clicks: int, name: str | None) -> Any:
        return OnBench(blank_sheet(name or "")).to_dict()

    @app.callback(Output("bench-target", "data"), Input("bench-targets", "value"), prevent_initial_call=True)
    def aim(sheet_id: str | None) -> Any:
        target = book.sheet(sheet_id)
        return target.to_dict() if target else None

    @app.callback(
        Output("bench-said", "children"), Output("more-items", "data"), Input("bench-sheet", "data")
    )
    def say_sheet(lying: dict[str, Any] | None) -> tuple[Any, Any]:
        bench = OnBench.from_dict(lying)
        return sheet_told(bench.sheet if bench else None), items_to_add(bench) if bench else []


def _register_own(app: Dash, book: BenchClient) -> None:
    @app.callback(
        SHEET,
        Output("own-error", "children"),
        Output("own-title", "value"),
        Input("own-add", "n_clicks"),
        State("own-title", "value"),
        State("own-unit", "value"),
        State("own-matters", "value"),
        State("bench-sheet", "data"),
        State("bench-boat", "value"),
        prevent_initial_call=True,
    )
    def add_own(
        _clicks: int, title: str | None, unit: str, matters: str | None, lying: Any, boat: str | None
    ) -> tuple[Any, str, Any]:
        bench = OnBench.from_dict(lying)
        if bench is None:
            return no_update, "Choose or add a boat first.", no_update
        try:
            item = own_item(title or "", unit, matters or "")
            larger = OnBench(bench.sheet, (*bench.own, item)).to_dict()
        except SetupError as error:
            return no_update, sentence(error.reason), no_update
        if boat == bench.sheet.boat:
            book.add_own_item(boat, item)
        return larger, "", ""


def entries_of(values: Sequence[dict[str, Any]], gauges: Sequence[dict[str, Any]]) -> list[BenchEntry]:
    """Combine the values of the fields, and the gauges that some items have."""
    named = {one["id"]["item"]: one.get("value") or "" for one in gauges}
    return [
        BenchEntry(one["id"]["item"], str(one.get("value") or ""), named.get(one["id"]["item"], ""))
        for one in values
    ]


def stored(entries: Any) -> list[BenchEntry]:
    """Parse entries stored by the browser."""
    return [BenchEntry(*one) for one in (entries or {}).get("rows", [])]


def judged(bench: OnBench, entries: Sequence[BenchEntry], kept: Sequence[str | None]) -> list[BenchEntry]:
    """Return entries as they are judged: with the saved gauges if they name none."""
    return KeptGauges.of(kept).put_in(entries, bench)


def kept_in(entries: Any) -> list[str | None]:
    """Parse the saved gauges that belong to the entries."""
    return (entries or {}).get("gauges", [])


def _register_found(app: Dash, book: BenchClient) -> None:
    @app.callback(
        Output("found-rows", "children"),
        Output("bench-shown", "data"),
        Input("bench-sheet", "data"),
        Input("more-items", "value"),
        *SHOWING,
        *GAUGES_KEPT,
        State("bench-entries", "data"),
        State("bench-shown", "data"),
    )
    def ask(
        lying: Any, more: list[str] | None, length: str, mass: str, turned: list[str], *rest: Any
    ) -> tuple[Any, Any]:
        *gauges, entries, was = rest
        bench, showing = OnBench.from_dict(lying), showing_of(length, mass, turned)
        if bench is None:
            return [], [length, mass, turned]
        mine = stored(entries) if (entries or {}).get("boat") == bench.sheet.boat else []
        typed = entries_in(mine, bench, showing_of(*was) if was else showing, showing)
        kept = KeptGauges.of(gauges)
        return found_rows(rows_of(bench, more or [], typed, showing, kept.usable)), [length, mass, turned]

    @app.callback(
        Output({"type": VERDICT, "item": ALL}, "children"),
        Output({"type": VALUE, "item": ALL}, "error"),
        Output("bench-told", "children"),
        Output("bench-steps", "children"),
        Output("bench-card", "children"),
        Output("bench-entries", "data"),
        Output("bench-sizes", "data"),
        *(Output(f"gauge-{unit}", "error") for unit in KINDS),
        Input({"type": VALUE, "item": ALL}, "value"),
        Input({"type": GAUGE, "item": ALL}, "value"),
        Input("bench-target", "data"),
        *GAUGES_KEPT,
        State("bench-sheet", "data"),
        *SHOWN,
    )
    def judge(_values: Any, _gauges: Any, aimed: Any, *rest: Any) -> tuple[Any, ...]:
        *gauges, lying, length, mass, turned = rest
        bench, showing = OnBench.from_dict(lying), showing_of(length, mass, turned)
        if bench is None:
            raise PreventUpdate
        typed = entries_of(ctx.inputs_list[0], ctx.inputs_list[1])
        entries = judged(bench, typed, gauges)
        result = tell(bench, SetupSheet.from_dict(aimed) if aimed else None, entries, showing)
        names = [one["id"]["item"] for one in ctx.outputs_list[0]]
        measured = bool(result.found.readings)
        return (
            [found_mark(result.verdicts.get(name) if measured else None, showing) for name in names],
            [sentence(result.errors[name]) if name in result.errors else "" for name in names],
            counted(result) if measured else [],
            way_back(result.steps, showing, measured=measured),
            result.card,
            {
                "boat": bench.sheet.boat,
                "rows": [[e.item, e.value, e.gauge] for e in typed],
                "gauges": gauges,
            },
            steps_of(bench, entries, showing),
            *(sentence(error) if error else "" for error in KeptGauges.of(gauges).errors()),
        )


def _found(bench: OnBench, entries: Any, shown: Sequence[Any]) -> FoundMeasure:
    """Return the entries as they were judged."""
    rows = judged(bench, stored(entries), kept_in(entries))
    return tell(bench, None, rows, showing_of(*shown)).found


def _register_keeping(app: Dash, book: BenchClient) -> None:
    app.clientside_callback(
        ClientsideFunction("bench", "print"),
        Output("bench-printed", "data"),
        Input("bench-print", "n_clicks"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output("bench-download", "data", allow_duplicate=True),
        Input("bench-save-card", "n_clicks"),
        State("bench-card", "children"),
        prevent_initial_call=True,
    )
    def save_card(_clicks: int, card: str | None) -> Any:
        return dcc.send_string(card or "", "bench_card.txt")

    typed = (State("bench-sheet", "data"), State("bench-entries", "data"), *SHOWN)

    @app.callback(
        DONE,
        KEPT,
        Input("bench-keep-found", "n_clicks"),
        State("bench-found-note", "value"),
        *typed,
        prevent_initial_call=True,
    )
    def keep_found(_clicks: int, note: str | None, lying: Any, entries: Any, *shown: Any) -> tuple[str, Any]:
        bench = OnBench.from_dict(lying)
        found = _found(bench, entries, shown) if bench else None
        if found is None or not found.readings:
            return "Nothing was entered yet.", no_update
        book.keep_found(replace(found, note=(note or "").strip()))
        return f"Saved in the logbook: {found.boat} as found, {len(found.readings)} measures.", no_update

    @app.callback(
        DONE,
        KEPT,
        Input("bench-keep-sheet", "n_clicks"),
        State("bench-kept", "data"),
        State("bench-next-name", "value"),
        *typed,
        prevent_initial_call=True,
    )
    def keep_sheet(
        _clicks: int, kept: int, name: str | None, lying: Any, entries: Any, *shown: Any
    ) -> tuple[str, Any]:
        bench = OnBench.from_dict(lying)
        if bench is None:
            return "Choose or add a boat first.", no_update
        try:
            new = next_sheet(bench.sheet, _found(bench, entries, shown), name or "")
        except SetupError as error:
            return str(error), no_update
        there = book.keep_sheet(new, bench.sheet)
        same = " The logbook has the same setup already." if there.name != new.name else ""
        return f"Saved in the logbook: {there.boat}, {there.name} ({there.sheet_id}).{same}", kept + 1

    @app.callback(
        Output("bench-download", "data", allow_duplicate=True),
        DONE,
        Input("bench-save-sheet", "n_clicks"),
        State("bench-next-name", "value"),
        *typed,
        prevent_initial_call=True,
    )
    def save_sheet(_clicks: int, name: str | None, lying: Any, entries: Any, *shown: Any) -> tuple[Any, str]:
        bench = OnBench.from_dict(lying)
        if bench is None:
            return no_update, "Choose or add a boat first."
        found = _found(bench, entries, shown)
        try:
            new_sheet = next_sheet(bench.sheet, found, name or "") if found.readings else bench.sheet
        except SetupError as error:
            return no_update, str(error)
        return dcc.send_string(toml_text(new_sheet.to_dict()), "sheet.toml"), ""
