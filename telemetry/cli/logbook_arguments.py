"""Arguments of the logbook's commands."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import get_args

from telemetry.cli import arguments, corrections, logbook, options
from telemetry.cli.catalogue import Commands
from telemetry.logbook.records import Sort
from telemetry.motor.power import LIMIT_NAMES


def _add(parser: argparse.ArgumentParser) -> None:
    options.add_logs(parser)
    parser.add_argument("--boat", metavar="NAME", help="which boat ran")
    parser.add_argument("--sheet", metavar="SHEET", help="the setup sheet it ran on: name or id")
    parser.add_argument(
        "--new", action="store_true", help="create the boat and an empty sheet if they do not exist"
    )
    parser.add_argument(
        "--to", type=arguments.outing, metavar="OUTING", help="add the logs to this existing outing"
    )
    parser.add_argument(
        "--date",
        type=arguments.moment_argument,
        metavar="TIME",
        help="start time (UTC), if no log has it",
    )
    _conditions(parser)
    options.add_judging(parser)
    _units(parser)
    options.add_logbook(parser)


def _conditions(parser: argparse.ArgumentParser) -> None:
    said = parser.add_argument_group("conditions")
    said.add_argument("--place", metavar="TEXT", help="which water")
    said.add_argument(
        "--wind", type=arguments.magnitude, metavar="SPEED", help="mean wind speed, in the unit of --unit"
    )
    said.add_argument("--wind-from", type=arguments.bearing, metavar="DEG", help="direction it came from")
    said.add_argument("--water", metavar="TEXT", help="flat, ripples, chop")
    said.add_argument(
        "--air", type=arguments.temperature, metavar="T", help="in the unit of --temperature-unit"
    )
    said.add_argument("--water-temperature", type=arguments.temperature, metavar="T", help="likewise")
    said.add_argument("--pack", metavar="TEXT", help="which pack was used")
    said.add_argument("--note", metavar="TEXT", help="anything else")


def _units(parser: argparse.ArgumentParser) -> None:
    options.add_unit(parser)
    options.add_temperature_unit(parser)


def _boats(parser: argparse.ArgumentParser) -> None:
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--add", metavar="NAME", help="add a boat")
    which.add_argument("--edit", metavar="NAME", help="edit a boat")
    parser.add_argument("--rename", metavar="NAME", help="with --edit: new name, only while it has no sheets")
    parser.add_argument("--kind", metavar="TEXT", help="of hull: catamaran, outrigger, deep-V ...")
    parser.add_argument("--length-m", type=arguments.positive, metavar="M", help="of the hull")
    parser.add_argument("--note", metavar="TEXT", help="anything else")
    parser.add_argument(
        "--limit",
        type=arguments.boat_limit,
        action="append",
        default=[],
        metavar="NAME=VALUE|none",
        help=f"a limit of {', '.join(LIMIT_NAMES)}; repeat",
    )
    options.add_logbook(parser)


def _outings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="every word must occur in place, boat, sheet, pack or note"
    )
    parser.add_argument("--boat", metavar="NAME", help="only this boat")
    parser.add_argument("--place", metavar="TEXT", help="only this place")
    parser.add_argument(
        "--since", type=arguments.moment_argument, metavar="TIME", help="started at this time or later (UTC)"
    )
    parser.add_argument(
        "--until", type=arguments.moment_argument, metavar="TIME", help="started before this time (UTC)"
    )
    parser.add_argument(
        "--faster-than",
        type=arguments.magnitude,
        metavar="SPEED",
        help="best two-way above this speed, in the unit of --unit",
    )
    parser.add_argument("--sort", choices=get_args(Sort), default="date", help="sort by (default date)")
    parser.add_argument("--ascending", action="store_true", help="lowest or earliest first")
    parser.add_argument(
        "--limit", type=arguments.outing, default=50, metavar="N", help="list at most this many (default 50)"
    )
    options.add_unit(parser)
    options.add_logbook(parser)


def _outing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "outing",
        type=arguments.outing,
        metavar="OUTING",
        help="number of the outing, from `reciprocal outings`",
    )


def _remove(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    options.add_logbook(parser)


def _show(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    parser.add_argument("--json", action="store_true", help="print the analysis as reciprocal-analysis/1")
    parser.add_argument(
        "--write", type=Path, metavar="FOLDER", help="write its original logs there, byte for byte"
    )
    _units(parser)
    options.add_logbook(parser)


def _correct(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    parser.add_argument("--sheet", metavar="SHEET", help="another sheet of the same boat")
    _conditions(parser)
    corrections.add_by_hand(parser)
    corrections.add_record(parser)
    _units(parser)
    options.add_logbook(parser)


def _backup(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file, such as logbook.zip")
    parser.add_argument("--overwrite", action="store_true", help="overwrite an existing file")
    options.add_logbook(parser)


def _restore(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file",
        type=Path,
        metavar="FILE",
        help="a backup, or one of the copies that `reciprocal copies` lists",
    )
    parser.add_argument("--replace", action="store_true", help="delete what is in the logbook now")
    options.add_logbook(parser)


def _export(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="a new folder")
    options.add_logbook(parser)


COMMANDS: Commands = {
    "add": (logbook.add, _add),
    "boats": (logbook.boats, _boats),
    "outings": (logbook.outings_command, _outings),
    "show": (logbook.show, _show),
    "correct": (logbook.correct, _correct),
    "remove": (logbook.remove, _remove),
    "refresh": (logbook.refresh, options.add_logbook),
    "backup": (logbook.backup, _backup),
    "restore": (logbook.restore_command, _restore),
    "copies": (logbook.copies, options.add_logbook),
    "export": (logbook.export, _export),
}
