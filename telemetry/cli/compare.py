"""The commands compare, history and next: a boat's outings in the logbook, judged."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Collection, Mapping
from typing import Any

from telemetry.cli.outcome import DONE
from telemetry.compare import (
    Stops,
    Units,
    advice_text,
    boat_history,
    comparison_text,
    history_text,
    next_trial,
    side_of,
)
from telemetry.compare import compare as compare_evidence
from telemetry.core.errors import CallError
from telemetry.logbook import Logbook, open_logbook
from telemetry.setup import SetupSheet


def compare_command(args: Namespace) -> int:
    """Compare two sheets, or two groups of outings."""
    with open_logbook(args.logbook) as logbook:
        evidence = logbook.evidence(args.boat)
        sheets = _sheets(logbook, args.boat)
        wanted = (("before", args.before, args.before_outings), ("after", args.after, args.after_outings))
        before, after = (
            side_of(evidence, sheets, _sheet_id(logbook, args.boat, named, outings, side), outings)
            for side, named, outings in wanted
        )
    told = compare_evidence(
        before.evidence,
        after.evidence,
        before_sheet=before.sheet,
        after_sheet=after.sheet,
        names=(before.name, after.name),
        care=_speed_mps(args.care, args.unit),
        history=evidence,
    )
    _print(args, told.to_dict(), comparison_text(told, _units(args)))
    return DONE


def history_command(args: Namespace) -> int:
    """Lay a measure of a boat's history against an item."""
    with open_logbook(args.logbook) as logbook:
        sheets = _sheets(logbook, args.boat)
        evidence = logbook.evidence(args.boat)
    told = boat_history(evidence, sheets, args.item, args.measure)
    item = next((s.item(args.item) for s in sheets.values() if args.item in s.tune), None)
    _print(args, told.to_dict(), history_text(told, item, _units(args)))
    return DONE


def next_step(args: Namespace) -> int:
    """Advise one item and one step, or say that there is too little."""
    with open_logbook(args.logbook) as logbook:
        sheets = _sheets(logbook, args.boat)
        evidence = logbook.evidence(args.boat)
        limits = logbook.boat(args.boat).limits
    stops = Stops(
        _speed_mps(args.ripple, args.unit), limits.motor_temp_c, limits.esc_temp_c, limits.current_a
    )
    told = next_trial(evidence, sheets, stops=stops, care=_speed_mps(args.care, args.unit))
    best = sheets[told.best_sheet].name if told.best_sheet else ""
    _print(args, told.to_dict(), advice_text(told, _units(args), best))
    return DONE


def _sheets(logbook: Logbook, boat: str) -> Mapping[str, SetupSheet]:
    return {sheet.sheet_id: sheet for sheet in logbook.sheets(boat)}


def _sheet_id(
    logbook: Logbook, boat: str, named: str | None, outings: Collection[int], side: str
) -> str | None:
    """Find the sheet that a side is named by; None where it is named by its outings alone."""
    if named is not None:
        return logbook.sheet(named, boat).sheet_id
    if outings:
        return None
    hint = f"name two sheets, or give --{side}-outings 3,4"
    raise CallError("a side is missing", place=side, hint=hint)


def _units(args: Namespace) -> Units:
    return Units(args.unit, args.temperature_unit)


def _speed_mps(amount: Any, unit: str) -> float | None:
    """Turn a speed as written into metres per second; a bare number is in the user's unit."""
    return None if amount is None else float(amount.mps(unit))


def _print(args: Namespace, table: dict[str, Any], text: str) -> None:
    print(json.dumps(table, indent=2, allow_nan=False, ensure_ascii=False) if args.json else text)
