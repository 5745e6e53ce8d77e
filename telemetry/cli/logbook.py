"""The commands of the logbook: add, boats, outings, show, correct, remove, backup, restore, export."""

from __future__ import annotations

import json
from argparse import Namespace
from dataclasses import replace
from pathlib import Path

from telemetry.analysis import Request
from telemetry.cli import arguments
from telemetry.cli import corrections as byhand
from telemetry.cli.commands import progress_bar
from telemetry.cli.outcome import DONE, SOME_INPUT_UNUSED, complain
from telemetry.core.errors import CallError, LogbookError, LogError
from telemetry.core.sanitize import distinct_names, safe_file_name
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS
from telemetry.logbook import (
    Boat,
    Conditions,
    Imported,
    Logbook,
    NamedLog,
    Outing,
    OutingSearch,
    open_logbook,
)
from telemetry.readers import ReadOptions, column_maps
from telemetry.setup import SetupSheet
from telemetry.text.logbook import (
    backup_text,
    boats_text,
    copies_text,
    corrections_text,
    outing_text,
    outings_text,
)
from telemetry.text.run import analysis_text
from telemetry.twoway.rules import load_rule


def add(args: Namespace) -> int:
    """Add an outing's logs to the logbook and report their passes and two-ways."""
    load_rule(args.rule)  # fail on a wrong rule before a long read
    if args.to is None and (args.boat is None or args.sheet is None):
        raise CallError("the outing has no boat or no sheet", hint="give --boat and --sheet, or --to OUTING")
    if args.to is not None and (
        args.boat
        or args.sheet
        or args.new
        or args.date
        or _conditions(args) != Conditions()
        or arguments.judging(args) != Request()
    ):
        raise CallError(
            "--to adds logs to an outing and changes nothing else",
            hint="give only --to, and make other changes with `reciprocal correct`",
        )
    files, unused = arguments.log_files(args.logs)
    if not files:
        complain(unused)
        return SOME_INPUT_UNUSED
    kept, damaged = column_maps.load()
    complain(damaged)
    options = ReadOptions(arguments.headings(args.headings), args.pole_pairs, args.gear, kept)
    with open_logbook(args.logbook) as logbook:
        with progress_bar() as progress:
            if args.to is not None:
                imported = logbook.add_logs(args.to, files, options=options, progress=progress)
            else:
                imported = logbook.import_outing(
                    files,
                    *_boat_and_sheet(logbook, args),
                    _conditions(args),
                    request=arguments.judging(args),
                    options=options,
                    start_utc=args.date,
                    progress=progress,
                )
        if options != ReadOptions(kept=kept):
            complain(column_maps.keep_of_files(files, options))
        _tell(imported, args)
        not_copied = [] if logbook.copy_fault is None else [logbook.copy_fault]
    complain([*unused, *imported.unused, *not_copied])
    return SOME_INPUT_UNUSED if unused or imported.unused else DONE


def _boat_and_sheet(logbook: Logbook, args: Namespace) -> tuple[str | Boat, str | SetupSheet]:
    """Find boat and sheet by name; with ``--new`` missing ones are created with the outing."""
    boat: str | Boat = args.boat
    sheet: str | SetupSheet = args.sheet
    if not args.new:
        return boat, sheet
    try:
        name = logbook.boat(args.boat).name
    except LogbookError:
        boat = Boat(" ".join(args.boat.split()))
        return boat, SetupSheet(boat.name, name=args.sheet)
    try:
        logbook.sheet(args.sheet, name)
    except LogbookError:
        sheet = SetupSheet(name, name=args.sheet)
    return boat, sheet


def _tell(imported: Imported, args: Namespace) -> None:
    print(outing_text(imported.outing, args.unit, args.temperature_unit))
    print()
    print(
        analysis_text(imported.analysis, args.unit, every_check=False, temperature_unit=args.temperature_unit)
    )


def _conditions(args: Namespace, before: Conditions | None = None) -> Conditions:
    """Build the conditions from the options; those not given keep their value."""
    speed, degrees = SPEED_UNITS[args.unit], TEMPERATURE_UNITS[args.temperature_unit]
    said = {
        "place": args.place,
        "wind_mps": None if args.wind is None else speed.to_si(args.wind),
        "wind_from_deg": args.wind_from,
        "water": args.water,
        "air_c": None if args.air is None else degrees.to_si(args.air),
        "water_c": None if args.water_temperature is None else degrees.to_si(args.water_temperature),
        "pack": args.pack,
        "note": args.note,
    }
    return replace(before or Conditions(), **{name: v for name, v in said.items() if v is not None})


def boats(args: Namespace) -> int:
    """List the boats, add one, or edit one."""
    if args.rename is not None and args.edit is None:
        raise CallError("--rename needs --edit", hint="give --edit NAME --rename NAME")
    with open_logbook(args.logbook) as logbook:
        if args.add is not None:
            logbook.add_boat(_said_of(Boat(args.add), args))
        elif args.edit is not None:
            known = logbook.boat(args.edit)
            name = known.name if args.rename is None else args.rename
            logbook.edit_boat(args.edit, _said_of(replace(known, name=name), args))
        elif _said_of(Boat(""), args) != Boat(""):
            raise CallError("no boat given", hint="give --add NAME or --edit NAME")
        rows = [
            (boat, len(logbook.sheets(boat.name)), logbook.count_outings(OutingSearch(boat=boat.name)))
            for boat in logbook.boats()
        ]
        print(boats_text(rows))
    return DONE


def _said_of(boat: Boat, args: Namespace) -> Boat:
    """Return the boat with the options' values in place of its own."""
    said = {"hull_kind": args.kind, "length_m": args.length_m, "note": args.note}
    limits = dict(args.limit)
    own = {*boat.limits.own, *limits}
    given = {name: value for name, value in said.items() if value is not None}
    return replace(boat, limits=replace(boat.limits, **limits, own=tuple(own)), **given)


def outings_command(args: Namespace) -> int:
    """List the outings that a search finds."""
    unit = SPEED_UNITS[args.unit]
    search = OutingSearch(
        text=" ".join(args.words),
        boat=args.boat or "",
        place=args.place or "",
        since=args.since,
        until=args.until,
        two_way_mps=(None if args.faster_than is None else unit.to_si(args.faster_than), None),
        sort=args.sort,
        descending=not args.ascending,
        limit=args.limit,
    )
    with open_logbook(args.logbook) as logbook:
        found = logbook.outings(search)
        print(outings_text(found, logbook.count_outings(search), args.unit))
        stale = logbook.stale()
        if stale:
            print(f"{len(stale)} outings are from another version; `reciprocal refresh` analyses them again.")
    return DONE


def show(args: Namespace) -> int:
    """Show one outing with its analysis; write its original logs."""
    with open_logbook(args.logbook) as logbook:
        outing = logbook.outing(args.outing)
        if args.json:
            print(json.dumps(logbook.analysis(outing.id), indent=2, allow_nan=False))
        else:
            text = _told(logbook, outing, args)
            again = logbook.analysed(outing.id)
            whole = analysis_text(again, args.unit, temperature_unit=args.temperature_unit)
            print(f"{text}\n\n{whole}")
        if args.write is not None:
            _write(logbook.logs(outing.id), args.write)
    return DONE


def _write(logs: tuple[NamedLog, ...], folder: Path) -> None:
    """Write logs byte for byte into a folder; never overwrite a file."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for log, name in zip(logs, distinct_names(safe_file_name(log.file) for log in logs), strict=True):
            with (folder / name).open("xb") as stream:
                stream.write(log.data)
    except OSError as error:
        raise LogError(
            f"the log cannot be written: {error.strerror}",
            file=str(error.filename or folder),
            hint="name a folder without such a file",
        ) from None


def correct(args: Namespace) -> int:
    """Correct an outing's data, or its logs by hand."""
    with open_logbook(args.logbook) as logbook:
        outing = logbook.outing(args.outing)
        before = outing.conditions
        if args.sheet is not None:
            logbook.sheet(args.sheet, outing.boat)  # fail on a wrong sheet before anything is saved
        in_logs = args.cut or args.restore or args.clock
        corrections = byhand.corrections_of(args, logbook.analysed(args.outing)) if in_logs else ()
        if args.take_back:
            logbook.take_back(args.outing, args.take_back, who=byhand.who(args), why=args.why)
        if corrections:
            logbook.correct_by_hand(args.outing, corrections, who=byhand.who(args))
        after = logbook.edit_outing(args.outing, conditions=_conditions(args, before), sheet=args.sheet)
        print(_told(logbook, after, args))
    return DONE


def _told(logbook: Logbook, outing: Outing, args: Namespace) -> str:
    """Format an outing's data, with the corrections by hand in its logs."""
    text = outing_text(outing, args.unit, args.temperature_unit)
    corrections = corrections_text(logbook.corrections(outing.id))
    return f"{text}\n\n{corrections}" if corrections else text


def remove(args: Namespace) -> int:
    """Remove an outing and its logs from the logbook."""
    with open_logbook(args.logbook) as logbook:
        logbook.remove_outing(args.outing)
    print(f"outing {args.outing} is removed")
    return DONE


def refresh(args: Namespace) -> int:
    """Analyse again the outings that another version of the program analysed."""
    with open_logbook(args.logbook) as logbook, progress_bar() as progress:
        count = logbook.refresh(progress)
    print(f"{count} outings analysed again")
    return DONE


def backup(args: Namespace) -> int:
    """Write the whole logbook into one file."""
    with open_logbook(args.logbook) as logbook:
        summary = logbook.backup(args.file, overwrite=args.overwrite)
    print(f"{args.file}: {backup_text(summary)}")
    return DONE


def restore_command(args: Namespace) -> int:
    """Restore a backup into the logbook."""
    with open_logbook(args.logbook) as logbook:
        summary = logbook.restore(args.file, replace=args.replace)
        print(f"{logbook.where}: {backup_text(summary)}")
    return DONE


def copies(args: Namespace) -> int:
    """List the copies that were made by themselves."""
    with open_logbook(args.logbook) as logbook:
        print(copies_text(logbook.rolling_copies(), logbook.where))
    return DONE


def export(args: Namespace) -> int:
    """Write CSV tables and one JSON document into a new folder."""
    with open_logbook(args.logbook) as logbook:
        for file in logbook.export(args.folder):
            print(file)
    return DONE
