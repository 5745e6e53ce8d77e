"""What the commands of the logbook take."""

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
    parser.add_argument("--sheet", metavar="SHEET", help="the setup sheet it ran on, by name or id")
    parser.add_argument(
        "--new", action="store_true", help="make the boat and an empty sheet where they are not there yet"
    )
    parser.add_argument(
        "--to", type=arguments.outing, metavar="OUTING", help="add the logs to this outing, as found later"
    )
    parser.add_argument(
        "--date",
        type=arguments.moment_argument,
        metavar="TIME",
        help="when it began, where no log says so (UTC)",
    )
    _conditions(parser)
    options.add_judging(parser)
    _units(parser)
    options.add_logbook(parser)


def _conditions(parser: argparse.ArgumentParser) -> None:
    said = parser.add_argument_group("what it was like")
    said.add_argument("--place", metavar="TEXT", help="which water")
    said.add_argument(
        "--wind", type=arguments.magnitude, metavar="SPEED", help="mean wind, in the unit of --unit"
    )
    said.add_argument("--wind-from", type=arguments.bearing, metavar="DEG", help="where it came from")
    said.add_argument("--water", metavar="TEXT", help="flat, ripples, chop")
    said.add_argument(
        "--air", type=arguments.temperature, metavar="T", help="in the unit of --temperature-unit"
    )
    said.add_argument("--water-temperature", type=arguments.temperature, metavar="T", help="likewise")
    said.add_argument("--pack", metavar="TEXT", help="which pack was aboard")
    said.add_argument("--note", metavar="TEXT", help="anything else")


def _units(parser: argparse.ArgumentParser) -> None:
    options.add_unit(parser)
    options.add_temperature_unit(parser)


def _boats(parser: argparse.ArgumentParser) -> None:
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--add", metavar="NAME", help="add a boat")
    which.add_argument("--edit", metavar="NAME", help="correct what is recorded about a boat")
    parser.add_argument(
        "--rename", metavar="NAME", help="with --edit: its new name, as long as it has no sheets"
    )
    parser.add_argument("--kind", metavar="TEXT", help="of hull: catamaran, outrigger, deep-V ...")
    parser.add_argument("--length-m", type=arguments.positive, metavar="M", help="of the hull")
    parser.add_argument("--note", metavar="TEXT", help="anything else")
    parser.add_argument(
        "--limit",
        type=arguments.boat_limit,
        action="append",
        default=[],
        metavar="NAME=VALUE|none",
        help=f"what must not be exceeded, of {', '.join(LIMIT_NAMES)}; repeat",
    )
    options.add_logbook(parser)


def _outings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="each must occur in place, boat, sheet, pack or note"
    )
    parser.add_argument("--boat", metavar="NAME", help="of this boat only")
    parser.add_argument("--place", metavar="TEXT", help="at this place only")
    parser.add_argument(
        "--since", type=arguments.moment_argument, metavar="TIME", help="began then or later (UTC)"
    )
    parser.add_argument("--until", type=arguments.moment_argument, metavar="TIME", help="began before (UTC)")
    parser.add_argument(
        "--faster-than", type=arguments.magnitude, metavar="SPEED", help="best two-way, in the unit of --unit"
    )
    parser.add_argument("--sort", choices=get_args(Sort), default="date", help="by (default date)")
    parser.add_argument("--ascending", action="store_true", help="the lowest or earliest first")
    parser.add_argument(
        "--limit", type=arguments.outing, default=50, metavar="N", help="at most (default 50)"
    )
    options.add_unit(parser)
    options.add_logbook(parser)


def _outing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "outing", type=arguments.outing, metavar="OUTING", help="its number, as `reciprocal outings` lists it"
    )


def _remove(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    options.add_logbook(parser)


def _show(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    parser.add_argument("--json", action="store_true", help="print its analysis as reciprocal-analysis/1")
    parser.add_argument(
        "--write", type=Path, metavar="FOLDER", help="write its logs there, byte for byte as they came"
    )
    _units(parser)
    options.add_logbook(parser)


def _correct(parser: argparse.ArgumentParser) -> None:
    _outing(parser)
    parser.add_argument("--sheet", metavar="SHEET", help="it ran on this sheet of its boat")
    _conditions(parser)
    corrections.add_by_hand(parser)
    corrections.add_record(parser)
    _units(parser)
    options.add_logbook(parser)


def _backup(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file, such as logbook.zip")
    parser.add_argument("--overwrite", action="store_true", help="write over a file that is there")
    options.add_logbook(parser)


def _restore(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE", help="as `reciprocal backup` wrote it")
    parser.add_argument("--replace", action="store_true", help="lose what is in the logbook now")
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
    "export": (logbook.export, _export),
}
