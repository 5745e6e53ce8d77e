"""Arguments of the commands that work without a logbook."""

from __future__ import annotations

import argparse
from pathlib import Path

from telemetry.cli import archive, arguments, commands, corrections, options
from telemetry.cli.catalogue import Commands
from telemetry.motor.power import Limits
from telemetry.text.guide import TOPICS

LIMITS = {
    "cell_v": ("V", "lowest voltage of a cell under load"),
    "motor_temp_c": ("C", "highest temperature of the motor"),
    "esc_temp_c": ("C", "highest temperature of the controller"),
    "current_a": ("A", "highest current"),
    "rpm": ("RPM", "highest shaft speed"),
    "charge_mah": ("MAH", "highest charge drawn since power-on"),
}


def _add_analyse(parser: argparse.ArgumentParser) -> None:
    options.add_logs(parser, "*")
    archive.add_archive(parser)
    options.add_judging(parser)
    corrections.add_by_hand(parser)
    power = options.add_power(parser)
    usual = Limits()
    for name, (unit, what) in LIMITS.items():
        value = getattr(usual, name)
        default = "none" if value is None else f"{value:g}, common practice"
        power.add_argument(
            f"--limit-{name.replace('_', '-')}",
            type=arguments.limit,
            default=argparse.SUPPRESS,  # a typed value is the user's own, even if it equals the default
            metavar=f"{unit}|none",
            help=f"{what} (default {default})",
        )
    length = parser.add_mutually_exclusive_group()
    length.add_argument("--brief", action="store_true", help="print the answer in at most ten lines")
    length.add_argument("--details", action="store_true", help="print every two-way with all its checks")
    parser.add_argument(
        "--json",
        action="store_true",
        help="print the contract reciprocal-analysis/1, in SI, instead of tables",
    )
    options.add_unit(parser)
    options.add_temperature_unit(parser)


def _add_what_if(parser: argparse.ArgumentParser) -> None:
    options.add_logs(parser)
    parser.add_argument(
        "--pass",
        dest="pass_id",
        metavar="ID",
        help="the pass to start from, as `analyse` numbers it (default: the fastest that a motor log covers)",
    )
    options.add_power(parser)
    corrections.add_by_hand(parser)
    new = parser.add_argument_group("changes", "all else stays the same")
    new.add_argument("--new-diameter-mm", type=arguments.positive, metavar="MM", help="propeller diameter")
    new.add_argument("--new-pitch-mm", type=arguments.positive, metavar="MM", help="propeller pitch")
    new.add_argument("--new-cells", type=arguments.cells, metavar="N", help="cells in series")
    new.add_argument("--new-kv", type=arguments.positive, metavar="RPM/V", help="motor constant")
    new.add_argument(
        "--new-motor-resistance-ohm",
        type=arguments.positive,
        metavar="OHM",
        help="of the other motor (default: scaled as for the same motor with another winding)",
    )
    new.add_argument(
        "--new-no-load-current-a",
        type=arguments.positive,
        metavar="A",
        help="of the other motor (default: scaled as for the same motor with another winding)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON, in SI, instead of a table")
    options.add_unit(parser)


def _add_rules(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--show", metavar="NAME", help="print a rule's TOML, as a start for your own")


def _add_headings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("log", type=Path, metavar="FILE", help="a table: CSV or the like")
    parser.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="where to write (default: FILE's name with .headings.toml, in this folder); - for the screen",
    )


def _add_maps(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--forget",
        metavar="ID|all",
        help="forget one map, or all; the program then asks about those tables again",
    )


def _add_guide(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "topic", nargs="?", metavar="TOPIC", help=f"one of {', '.join(TOPICS)}; without it, the list"
    )


def _add_serve(parser: argparse.ArgumentParser) -> None:
    options.add_address(parser)
    options.add_access(parser)
    options.add_logbook(parser)


COMMANDS: Commands = {
    "analyse": (commands.analyse_command, _add_analyse),
    "rules": (commands.rules, _add_rules),
    "what-if": (commands.what_if_command, _add_what_if),
    "formats": (commands.formats, lambda _: None),
    "headings": (commands.headings_command, _add_headings),
    "maps": (commands.maps, _add_maps),
    "guide": (commands.guide, _add_guide),
    "serve": (commands.serve, _add_serve),
}
