"""The commands of the bench: sheet, bench, strut, balance, service.

A sheet is a TOML or JSON file, or with ``--boat`` one of that boat's sheets in the logbook.
"""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, cast

from telemetry.cli.outcome import DONE
from telemetry.core.errors import CallError, SetupError
from telemetry.core.text_table import text_table
from telemetry.logbook import Logbook, open_logbook
from telemetry.setup import (
    BENCH_CAUTIONS,
    GROUPS,
    ITEMS,
    BenchDisplay,
    Estimate,
    FoundMeasure,
    Part,
    Parts,
    Reading,
    SetupSheet,
    balance,
    balance_effect,
    balance_text,
    bench_card,
    changes_text,
    crash_text,
    due,
    effect_text,
    item_changes,
    load_found,
    load_sheet,
    load_table,
    moved,
    parse_measure_value,
    parse_reading,
    part_named,
    parts_of_sheet,
    parts_of_table,
    parts_text,
    restoration_text,
    restoring_move,
    service_text,
    sheet_text,
    strut_from_heights,
    strut_text,
    swapped,
    tasks_for,
    tasks_from_table,
    toml_text,
    uses_from_table,
)
from telemetry.setup.gauges import CALIPER, RULE, SCALE, TAPE

_FILES: Final = (".toml", ".json")


def sheet(args: Namespace) -> int:
    """Show, list, compare, edit or keep sheets."""
    show = showing_of(args)
    if args.items:
        print(_items_text(show))
        return DONE
    with _logbook(args) as logbook:
        if logbook is not None and args.sheet is None:
            print(_sheets_text(args.boat, logbook.sheets(args.boat)))
            return DONE
        told = _sheet(args.sheet, args.boat, logbook)
        if args.set or args.name:
            known = _known(told, logbook)
            edits = dict(_edit(known, text, show) for text in args.set)
            own = [item for item in known.own if item in told.own or item.name in edits]
            made = datetime.now(UTC)
            told = told.edit(edits, name=args.name or told.name, note=args.note or "", made_utc=made, own=own)
        if args.against is not None:
            print(changes_text(item_changes(_sheet(args.against, args.boat, logbook), told), show))
        elif args.json:
            print(json.dumps(told.to_dict(), indent=2, allow_nan=False))
        elif args.toml:
            print(toml_text(told.to_dict()), end="")
        else:
            print(f"{told.boat}: {told.name} ({told.sheet_id})\n{sheet_text(told, show)}")
        _write(args.write, toml_text(told.to_dict()))
        if args.keep:
            with _kept(args, logbook) as book:
                kept = book.add_sheet(told)
            print(f"kept: {kept.name} ({kept.sheet_id})")
    return DONE


def bench(args: Namespace) -> int:
    """Compare a boat as found with its sheet, and print the bench card."""
    show = showing_of(args)
    with _logbook(args) as logbook:
        if args.sheet is None and logbook is None:
            of_a_sheet = args.found or args.measured or args.back_to or args.keep
            if not args.crash or of_a_sheet:
                raise CallError(
                    "no sheet given", hint="give a file, or --boat with a sheet, or --crash alone"
                )
            card = "\n".join([*(f"  - {line}" for line in BENCH_CAUTIONS), "", crash_text(), ""])
            print(card, end="")
            _write(args.write, card)
            return DONE
        was = _sheet(args.sheet, args.boat, logbook)
        target = None if args.back_to is None else _sheet(args.back_to, args.boat, logbook)
        found = _found(args, _known(was, logbook), show)
        card = bench_card(was, found, target, show, crash=args.crash)
        print(card, end="")
        _write(args.write, card)
        if args.keep:
            if found is None:
                raise CallError("there are no measurements to save", hint="give --found or --measured")
            with _kept(args, logbook) as book:
                book.add_found(found)
            print("kept: the boat as found")
    return DONE


def strut(args: Namespace) -> int:
    """Compute strut angle and depth from two heights."""
    show = showing_of(args)
    usual = {"front": CALIPER, "rear": CALIPER, "span": RULE, "block": CALIPER, "overhang": RULE}
    given = {
        name: None
        if getattr(args, name) is None
        else Estimate.of(_reading(name, getattr(args, name), show), gauge, "mm")
        for name, gauge in usual.items()
    }
    front, rear, span = (cast("Estimate", given[name]) for name in ("front", "rear", "span"))
    print(strut_text(strut_from_heights(front, rear, span, given["block"], given["overhang"]), show))
    return DONE


_LENGTHS: Final = {
    "front": "strut_height_front_mm",
    "rear": "strut_height_rear_mm",
    "span": "strut_span_mm",
    "block": "base_block_mm",
    "overhang": "strut_overhang_mm",
}


def _reading(name: str, text: str, show: BenchDisplay) -> Reading:
    return parse_reading(ITEMS[_LENGTHS[name]], text, show)


def balance_of(args: Namespace) -> int:
    """Compute the balance, the effect of changes, and the move that gives a wanted balance."""
    show = showing_of(args)
    ranges = dict(_range(text, show) for text in args.range)
    with _logbook(args) as logbook:
        parts, hull_length = _parts(args, ranges, logbook)
    if args.hull_length is not None:
        hull_length = _length(args.hull_length, show, "--hull-length")
    print(parts_text(parts, show))
    print(balance_text(balance(parts), show, hull_length))
    after = _changed(parts, args, show)
    if after != parts:
        effect = balance_effect(parts, after)
        print(effect_text(effect, show))
        print(f"Then: {balance_text(effect.after, show, hull_length)}")
    if args.want is not None:
        print(restoration_text(restoring_move(after, _length(args.want, show, "--want")), show))
    return DONE


def service(args: Namespace) -> int:
    """List what is due; record what was done."""
    now = datetime.now(UTC)
    with _logbook(args) as logbook:
        if logbook is None:
            if args.file is None:
                raise CallError("no boat given", hint="give --boat, or a file with service and outings")
            if args.done:
                raise CallError("--done needs the logbook", hint="add --boat")
            table = load_table(args.file)
            uses, done = uses_from_table(table, args.file)
            tasks = tasks_for(tasks_from_table(table.get("service", {}), args.file))
            print(service_text(due(tasks, uses, done, now)))
            return DONE
        if args.file is not None:
            own = tasks_from_table(load_table(args.file).get("service", {}), args.file)
            logbook.set_service_tasks(args.boat, own)
        for task in args.done:
            logbook.service_done(args.boat, task, note=args.note or "")
        print(service_text(logbook.service(args.boat)))
    return DONE


def showing_of(args: Namespace) -> BenchDisplay:
    """Return this user's units and signs for the bench."""
    return BenchDisplay(args.length, args.mass, frozenset(args.turn))


@contextmanager
def _logbook(args: Namespace) -> Iterator[Logbook | None]:
    """Open the logbook if a boat is named, else yield None."""
    if args.boat is None:
        yield None
    else:
        with open_logbook(args.logbook) as logbook:
            yield logbook


@contextmanager
def _kept(args: Namespace, logbook: Logbook | None) -> Iterator[Logbook]:
    """Return the open logbook, or open it for data that comes from a file."""
    if logbook is not None:
        yield logbook
    else:
        with open_logbook(args.logbook) as opened:
            yield opened


def _sheet(named: str | None, boat: str | None, logbook: Logbook | None) -> SetupSheet:
    """Find a sheet: a file by its suffix or if no boat is named, else one of the boat's, else its latest."""
    if named is not None and (logbook is None or Path(named).suffix.lower() in _FILES):
        return load_sheet(named)
    if logbook is None or boat is None:
        raise CallError("no sheet given", hint="give a TOML or JSON file, or --boat")
    if named is not None:
        return logbook.sheet(named, boat)
    sheets = logbook.sheets(boat)
    if not sheets:
        raise CallError(f"{boat} has no setup sheet yet", hint="add one: reciprocal sheet FILE --keep")
    return sheets[-1]


def _pair(text: str, option: str, form: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign or not name.strip():
        raise CallError(f"'{text}' is incomplete", place=option, hint=f"write {form}")
    return name.strip(), value.strip()


def _known(told: SetupSheet, logbook: Logbook | None) -> FoundMeasure:
    """Return the boat's own items: those of the sheet and those that the logbook has for the boat."""
    of_boat = () if logbook is None else logbook.boat(told.boat).own_items
    items = {item.name: item for item in (*of_boat, *told.own)}
    return FoundMeasure(told.boat, {}, tuple(items.values()))


def _edit(told: FoundMeasure, text: str, show: BenchDisplay) -> tuple[str, Reading | None]:
    name, value = _pair(text, "--set", "ITEM=VALUE")
    item = told.item(name)
    return name, parse_reading(item, value, show) if value else None


def _found(args: Namespace, known: FoundMeasure, show: BenchDisplay) -> FoundMeasure | None:
    """Read the boat as found from a file and from single measures; the single measures take precedence."""
    base = None if args.found is None else load_found(args.found, known.own)
    if base is None and not args.measured:
        return None
    readings = {} if base is None else dict(base.readings)
    of_file = {} if base is None else {item.name: item for item in base.own}
    for text in args.measured:
        name, value = _pair(text, "--measured", "ITEM=VALUE")
        readings[name] = parse_reading(known.item(name), value, show)
    own = [item for item in {**of_file, **{i.name: i for i in known.own}}.values() if item.name in readings]
    moment = (base.found_utc if base is not None else None) or datetime.now(UTC)
    note = args.note or ("" if base is None else base.note)
    return FoundMeasure(known.boat if base is None else base.boat, readings, tuple(own), moment, note)


def _length(text: str, show: BenchDisplay, option: str) -> float:
    if text.strip().removeprefix("-").replace(".", "", 1).isdigit():
        text = f"{text} {show.length}"
    return parse_measure_value(text, "mm", option)


def _mass(text: str, show: BenchDisplay, option: str) -> float:
    if text.strip().replace(".", "", 1).isdigit():
        text = f"{text} {show.mass}"
    return parse_measure_value(text, "kg", option)


def _range(text: str, show: BenchDisplay) -> tuple[str, tuple[float, float]]:
    name, value = _pair(text, "--range", "PART=LOW:HIGH, such as pack=150:220")
    low, sign, high = value.partition(":")
    if not sign:
        raise CallError(f"'{text}' is incomplete", place="--range", hint="write PART=LOW:HIGH")
    return name, (_length(low, show, "--range"), _length(high, show, "--range"))


def _parts(
    args: Namespace, ranges: dict[str, tuple[float, float]], logbook: Logbook | None
) -> tuple[tuple[Part, ...], float | None]:
    """Read the parts from a file of parts or from a sheet, with the hull's length if it is given."""
    if logbook is None and args.sheet is None:
        raise CallError("no parts given", hint="give a file with [[parts]] or a sheet, or --boat")
    if logbook is None and "parts" in (table := load_table(args.sheet)):
        parts = parts_of_table(table, args.sheet)
        for name, (low, high) in ranges.items():
            one = part_named(parts, name)
            parts = swapped(parts, Part(name, one.mass_kg, one.place_mm, low, high))
        length = table.get("hull_length")
        return parts, None if length is None else parse_measure_value(length, "mm", "hull_length", args.sheet)
    sheet_given = _sheet(args.sheet, args.boat, logbook)
    return parts_of_sheet(sheet_given, ranges), sheet_given.value("hull_length_mm")


def _changed(parts: Parts, args: Namespace, show: BenchDisplay) -> tuple[Part, ...]:
    """Apply the moves and swaps of the options."""
    after = tuple(parts)
    for text in args.swap:
        name, value = _pair(text, "--swap", "PART=MASS or PART=MASS@PLACE")
        mass, _, place = value.partition("@")
        one = part_named(after, name)
        weight = Estimate(_mass(mass, show, "--swap"), SCALE.u("kg"))
        where = Estimate(_length(place, show, "--swap"), TAPE.u("mm")) if place else one.place_mm
        after = swapped(after, Part(name, weight, where, one.low_mm, one.high_mm))
    for text in args.move:
        name, value = _pair(text, "--move", "PART=PLACE")
        after = moved(after, name, _length(value, show, "--move"))
    return after


def _items_text(show: BenchDisplay) -> str:
    lines = []
    for group, title in GROUPS.items():
        items = [item for item in ITEMS.values() if item.group == group]
        rows = [[item.name, show.unit(item), item.title, show.sign(item)] for item in items]
        lines += [title, *text_table(rows)] if rows else []
    return "\n".join(lines)


def _sheets_text(boat: str, sheets: Iterable[SetupSheet]) -> str:
    rows = [["sheet", "id", "made", "from", "note"]]
    for one in sheets:
        made = f"{one.made_utc:%Y-%m-%d}" if one.made_utc else ""
        rows.append([one.name, one.sheet_id, made, one.parent or "", one.note])
    return "\n".join(text_table(rows)) if len(rows) > 1 else f"{boat} has no setup sheet yet."


def _write(path: Path | None, text: str) -> None:
    if path is None:
        return
    data = text.encode()  # encode first: a failure must not empty an existing file
    try:
        path.write_bytes(data)
    except OSError as error:
        raise SetupError(
            f"cannot be written: {error.strerror}", file=str(path), hint="check the path"
        ) from None
