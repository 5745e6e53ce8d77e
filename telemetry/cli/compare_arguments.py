"""What the commands compare, history and next take."""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass

from telemetry.cli import compare, options
from telemetry.cli.catalogue import Commands
from telemetry.compare import MEASURES
from telemetry.core.units import SPEED_UNITS

_SPEED = re.compile(r"(\d+(?:[.,]\d*)?|[.,]\d+)\s*(\S*)")


@dataclass(frozen=True, slots=True)
class Speed:
    """A difference of speed as written; without a unit it is in the one that speeds are shown in."""

    amount: float
    unit: str = ""

    def mps(self, usual: str) -> float:
        """Give it in metres per second."""
        return SPEED_UNITS[self.unit or usual].to_si(self.amount)


def speed(text: str) -> Speed:
    """Read a difference of speed: 0.5, or with its unit '0.5 mph'."""
    match = _SPEED.fullmatch(text.strip())
    if match is None or (match[2] and match[2] not in SPEED_UNITS):
        units = ", ".join(SPEED_UNITS)
        raise argparse.ArgumentTypeError(f"'{text}' is no speed; write a number, with {units} after it")
    amount = float(match[1].replace(",", "."))
    if amount <= 0.0:
        raise argparse.ArgumentTypeError(f"'{text}' is no speed that could matter; write one above nothing")
    return Speed(amount, match[2])


def outings_argument(text: str) -> frozenset[int]:
    """Read outings by their numbers in the logbook: 3,4,7."""
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isdecimal() for part in parts):
        raise argparse.ArgumentTypeError(f"'{text}' are no outings; write their numbers, as in 3,4,7")
    return frozenset(int(part) for part in parts)


def measure_argument(text: str) -> str:
    """Accept a key of the table of measures."""
    if text not in MEASURES:
        raise argparse.ArgumentTypeError(f"'{text}' is no measure; choose {', '.join(MEASURES)}")
    return text


def _add_compare(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("boat", metavar="BOAT", help="a boat of the logbook")
    parser.add_argument("before", nargs="?", metavar="SHEET_A", help="a sheet's name or id")
    parser.add_argument("after", nargs="?", metavar="SHEET_B", help="the sheet to hold against it")
    for side in ("before", "after"):
        parser.add_argument(
            f"--{side}-outings",
            type=outings_argument,
            default=frozenset(),
            metavar="N,N",
            help=f"only these outings {side}, by number",
        )
    _add_care(parser)
    _add_common(parser)


def _add_history(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("boat", metavar="BOAT", help="a boat of the logbook")
    parser.add_argument(
        "--item", metavar="NAME", help="an item of its sheets, such as strut_depth_mm (default: by time)"
    )
    parser.add_argument(
        "--measure",
        type=measure_argument,
        default="two_way_mps",
        metavar="NAME",
        help=f"{', '.join(MEASURES)} (default two_way_mps)",
    )
    _add_common(parser)


def _add_next(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("boat", metavar="BOAT", help="a boat of the logbook")
    parser.add_argument(
        "--ripple", type=speed, metavar="SPEED", help="swing of the speed at which you call the ride bad"
    )
    _add_care(parser)
    _add_common(parser)


def _add_care(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--care",
        type=speed,
        metavar="SPEED",
        help="smallest difference that matters to you, such as '0.5 mph' (default 0.5 mph)",
    )


def _add_common(parser: argparse.ArgumentParser) -> None:
    options.add_unit(parser)
    options.add_temperature_unit(parser)
    options.add_logbook(parser)
    parser.add_argument("--json", action="store_true", help="print plain types, in SI, instead of a text")


COMMANDS: Commands = {
    "compare": (compare.compare_command, _add_compare),
    "history": (compare.history_command, _add_history),
    "next": (compare.next_step, _add_next),
}
