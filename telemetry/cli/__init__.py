"""The command line ``reciprocal``: the parser, and one place where every error becomes a sentence.

Exit status: 0 done, 1 some input could not be used (named on stderr; the rest is still reported),
2 wrong call.
"""

from __future__ import annotations

import argparse
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from telemetry import __version__
from telemetry.cli import arguments, bench_arguments, commands
from telemetry.errors import LogError, ReciprocalError
from telemetry.power import Limits
from telemetry.rules import SHIPPED
from telemetry.units import SPEED_UNITS

__all__ = ["build_parser", "main"]

LIMITS = {
    "cell_v": ("V", "lowest voltage of a cell under load"),
    "motor_temp_c": ("C", "highest temperature of the motor"),
    "esc_temp_c": ("C", "highest temperature of the controller"),
    "current_a": ("A", "highest current"),
    "rpm": ("RPM", "highest shaft speed"),
    "charge_mah": ("MAH", "most charge drawn since power-on"),
}
UNIT_VARIABLE = "RECIPROCAL_UNIT"
TEMPERATURE_UNIT_VARIABLE = "RECIPROCAL_TEMPERATURE_UNIT"
INTERRUPTED = 130  # what a shell itself reports for Ctrl-C


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # An old Windows code page lacks some of our signs; a question mark there is better than a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    args = build_parser().parse_args(arguments.shielded(sys.argv[1:] if argv is None else argv))
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except ReciprocalError as error:
        commands.complain([error])
        return commands.SOME_INPUT_UNUSED if isinstance(error, LogError) else commands.WRONG_CALL
    except BrokenPipeError:
        # Whoever reads our output (`| head`) has seen enough: nothing is wrong, and the interpreter's own
        # flush at its end must not say otherwise.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return commands.DONE
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        if sys.flags.dev_mode:  # python -X dev -m telemetry.cli ... shows the traceback
            raise
        last = traceback.extract_tb(error.__traceback__)[-1]
        what = f"{type(error).__name__}: {error} ({Path(last.filename).name}, line {last.lineno})"
        print(
            f"reciprocal: a fault of the program, not of your log: {what}. Mend: report it with the log.",
            file=sys.stderr,
        )
        return commands.SOME_INPUT_UNUSED
    return status


def build_parser() -> argparse.ArgumentParser:
    """Build the parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="reciprocal",
        description="Run analyser for fast electric RC boats: logs in, passes and two-way averages out.",
        epilog="Exit status: 0 done, 1 some input could not be used, 2 wrong call.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"reciprocal {__version__}")
    subparsers = parser.add_subparsers(required=True, metavar="COMMAND", title="commands")

    def command(name: str, run: commands.Command, text: str) -> argparse.ArgumentParser:
        sub = subparsers.add_parser(name, help=text, description=text, allow_abbrev=False)
        sub.set_defaults(run=run)
        return sub

    _add_analyse(command("analyse", commands.analyse, "Read an outing's logs; report passes and two-ways."))

    rules = command("rules", commands.rules, "List the rules that ship, with their conditions and sources.")
    rules.add_argument("--show", metavar="NAME", help="print a rule's TOML, to start your own from")

    _add_what_if(
        command(
            "what-if",
            commands.what_if,
            "Reckon what another propeller, pack or motor would do, from a measured pass of this boat.",
        )
    )

    command("formats", commands.formats, "List what can be read.")

    maps = command("maps", commands.maps, "List what was once said of tables' columns, or forget it.")
    maps.add_argument(
        "--forget", metavar="ID|all", help="forget one map, or all; the tables are asked about again"
    )

    bench_arguments.add_commands(command)

    _add_address(command("serve", commands.serve, "Serve the dashboard on this machine until Ctrl-C."))

    demo = command(
        "demo", commands.demo, "Analyse the sample logs, then serve the dashboard with them loaded."
    )
    demo.add_argument(
        "--no-serve", action="store_true", help="print only; so too where the output is no terminal"
    )
    _add_unit(demo)
    _add_temperature_unit(demo)
    _add_address(demo)
    return parser


def _add_analyse(parser: argparse.ArgumentParser) -> None:
    _add_logs(parser)
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
        help='measured distance: 100 (metres), "330 ft", "1/8 mi"',
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
        help="minutes from entering on the first pass to leaving on the second, where your book differs",
    )
    parser.add_argument(
        "--mark",
        type=arguments.mark,
        metavar="SPEED",
        help="a mark to beat by the rule's margin, in the unit of --unit",
    )
    power = _add_power(parser)
    usual = Limits()
    for name, (unit, what) in LIMITS.items():
        value = getattr(usual, name)
        told = "none" if value is None else f"{value:g}, common practice"
        power.add_argument(
            f"--limit-{name.replace('_', '-')}",
            type=arguments.limit,
            default=argparse.SUPPRESS,  # what is typed is the user's own, be it the usual value
            metavar=f"{unit}|none",
            help=f"{what} (default {told})",
        )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print the contract reciprocal-analysis/1, in SI, instead of tables",
    )
    _add_unit(parser)
    _add_temperature_unit(parser)


def _add_what_if(parser: argparse.ArgumentParser) -> None:
    _add_logs(parser)
    parser.add_argument(
        "--pass",
        dest="pass_id",
        metavar="ID",
        help="the pass to start from, as `analyse` numbers it (default: the fastest that a motor log covers)",
    )
    _add_power(parser)
    new = parser.add_argument_group("what would be different", "all else stays as it was")
    new.add_argument("--new-diameter-mm", type=arguments.positive, metavar="MM", help="propeller diameter")
    new.add_argument("--new-pitch-mm", type=arguments.positive, metavar="MM", help="propeller pitch")
    new.add_argument("--new-cells", type=arguments.cells, metavar="N", help="cells in series")
    new.add_argument("--new-kv", type=arguments.positive, metavar="RPM/V", help="motor constant")
    new.add_argument(
        "--new-motor-resistance-ohm",
        type=arguments.positive,
        metavar="OHM",
        help="of the other motor (default: as the same motor wound otherwise)",
    )
    new.add_argument(
        "--new-no-load-current-a",
        type=arguments.positive,
        metavar="A",
        help="of the other motor (default: as the same motor wound otherwise)",
    )
    parser.add_argument("--json", action="store_true", help="print plain types, in SI, instead of a table")
    _add_unit(parser)


def _add_logs(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("logs", nargs="+", metavar="LOG", help="a log, or a folder whose logs are taken")
    parser.add_argument(
        "--headings",
        type=Path,
        metavar="FILE",
        help='TOML that says what the columns of a CSV are, a line each: "V GPS" = "speed_mps:km/h"',
    )
    parser.add_argument(
        "--pole-pairs", type=arguments.pole_pairs, metavar="N", help="motor pole pairs, for electrical rpm"
    )
    parser.add_argument(
        "--gear", type=arguments.gear, metavar="R", help="motor turns per shaft turn (default 1)"
    )


def _add_power(parser: argparse.ArgumentParser) -> argparse._ArgumentGroup:
    power = parser.add_argument_group(
        "power train", "what the logs do not say; nothing is guessed without it"
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


def _add_unit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--unit",
        type=arguments.speed_unit,
        default=os.environ.get(UNIT_VARIABLE, "mph"),
        metavar="UNIT",
        help=f"speeds in {', '.join(SPEED_UNITS)} (default mph, or what {UNIT_VARIABLE} says)",
    )


def _add_temperature_unit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--temperature-unit",
        type=arguments.temperature_unit,
        default=os.environ.get(TEMPERATURE_UNIT_VARIABLE, "C"),
        metavar="C|F",
        help=f"temperatures are shown in °C or °F (default C, or what {TEMPERATURE_UNIT_VARIABLE} says)",
    )


def _add_address(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--host", default="127.0.0.1", help="address to listen on (default: this machine only)"
    )
    parser.add_argument("--port", type=arguments.port, default=8050, help="port to listen on (default 8050)")
