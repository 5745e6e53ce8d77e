"""Options that several commands share."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from telemetry.cli import arguments
from telemetry.core.units import SPEED_UNITS
from telemetry.twoway.rules import SHIPPED

UNIT_VARIABLE = "RECIPROCAL_UNIT"
TEMPERATURE_UNIT_VARIABLE = "RECIPROCAL_TEMPERATURE_UNIT"


def add_judging(parser: argparse.ArgumentParser) -> None:
    """Add the options that decide how two-ways are judged."""
    parser.add_argument(
        "--rule",
        default="water",
        metavar="NAME|FILE",
        help=f"{', '.join(SHIPPED)} (default water), or your own TOML file",
    )
    parser.add_argument(
        "--distance",
        type=arguments.distance,
        metavar="D",
        help='measured distance, such as 100 (metres), "330 ft", "1/8 mi"',
    )
    parser.add_argument(
        "--gates",
        type=arguments.gates,
        metavar="LAT1,LON1,LAT2,LON2",
        help="the two ends of the measured distance in degrees, south and west negative",
    )
    parser.add_argument(
        "--window",
        type=arguments.window,
        metavar="MIN",
        help="minutes from entering the first pass to leaving the second, if your rule book differs",
    )
    parser.add_argument(
        "--mark",
        type=arguments.mark,
        metavar="SPEED",
        help="a record or mark to beat by the rule's margin, in the unit of --unit",
    )


def add_logs(parser: argparse.ArgumentParser, nargs: str = "+") -> None:
    """Add the logs, and what the readers need to know about them."""
    parser.add_argument("logs", nargs=nargs, metavar="LOG", help="a log, or a folder of logs")
    parser.add_argument(
        "--headings",
        type=Path,
        metavar="FILE",
        help='TOML that names the columns of a CSV, one line each: "V GPS" = "speed_mps:km/h"',
    )
    parser.add_argument(
        "--pole-pairs", type=arguments.pole_pairs, metavar="N", help="motor pole pairs, for electrical rpm"
    )
    parser.add_argument(
        "--gear", type=arguments.gear, metavar="R", help="motor turns per shaft turn (default 1)"
    )


def add_power(parser: argparse.ArgumentParser) -> argparse._ArgumentGroup:
    """Add the facts of the power train that the logs do not hold."""
    power = parser.add_argument_group(
        "power train", "facts that are not in the logs; nothing is guessed in their place"
    )
    power.add_argument("--pitch-mm", type=arguments.positive, metavar="MM", help="propeller pitch, for slip")
    power.add_argument("--diameter-mm", type=arguments.positive, metavar="MM", help="propeller diameter")
    power.add_argument("--kv", type=arguments.positive, metavar="RPM/V", help="motor constant without load")
    power.add_argument("--cells", type=arguments.cells, metavar="N", help="cells in series")
    power.add_argument(
        "--motor-resistance-ohm", type=arguments.positive, metavar="OHM", help="of the motor, for `what-if`"
    )
    power.add_argument(
        "--no-load-current-a", type=arguments.positive, metavar="A", help="of the motor, for `what-if`"
    )
    return power


def add_unit(parser: argparse.ArgumentParser) -> None:
    """Add the unit of speeds."""
    parser.add_argument(
        "--unit",
        type=arguments.speed_unit,
        default=os.environ.get(UNIT_VARIABLE, "mph"),
        metavar="UNIT",
        help=f"speeds in {', '.join(SPEED_UNITS)} (default mph, or what {UNIT_VARIABLE} says)",
    )


def add_temperature_unit(parser: argparse.ArgumentParser) -> None:
    """Add the unit of temperatures."""
    parser.add_argument(
        "--temperature-unit",
        type=arguments.temperature_unit,
        default=os.environ.get(TEMPERATURE_UNIT_VARIABLE, "C"),
        metavar="C|F",
        help=f"temperatures are shown in °C or °F (default C, or what {TEMPERATURE_UNIT_VARIABLE} says)",
    )


def add_address(parser: argparse.ArgumentParser) -> None:
    """Add where the dashboard listens."""
    parser.add_argument(
        "--host", metavar="ADDRESS", help="network address to listen on (default: this machine only)"
    )
    parser.add_argument("--port", type=arguments.port, default=8050, help="port to listen on (default 8050)")


def add_access(parser: argparse.ArgumentParser) -> None:
    """Add the options that decide who may use the dashboard."""
    parser.add_argument(
        "--lan",
        action="store_true",
        help="allow access from the local network with a passphrase, asked for once and stored hashed "
        "(or taken from RECIPROCAL_PASSPHRASE); plain HTTP, so only on a network that you trust",
    )
    parser.add_argument(
        "--new-passphrase", action="store_true", help="choose a new passphrase; everyone has to log in again"
    )


def add_logbook(parser: argparse.ArgumentParser) -> None:
    """Add the option that chooses the logbook."""
    parser.add_argument(
        "--logbook",
        metavar="URL",
        help="the logbook's file or postgresql:// URL (default RECIPROCAL_LOGBOOK, else your own)",
    )
