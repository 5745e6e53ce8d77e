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
from telemetry.cli import (
    arguments,
    bench_arguments,
    commands,
    compare_arguments,
    demo,
    logbook_arguments,
    options,
    statement,
)
from telemetry.errors import LogError, ReciprocalError
from telemetry.power import Limits

__all__ = ["build_parser", "main"]

LIMITS = {
    "cell_v": ("V", "lowest voltage of a cell under load"),
    "motor_temp_c": ("C", "highest temperature of the motor"),
    "esc_temp_c": ("C", "highest temperature of the controller"),
    "current_a": ("A", "highest current"),
    "rpm": ("RPM", "highest shaft speed"),
    "charge_mah": ("MAH", "most charge drawn since power-on"),
}
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

    statement.add_command(command)

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

    logbook_arguments.add_commands(command)
    bench_arguments.add_commands(command)
    compare_arguments.add_commands(command)

    serving = command("serve", commands.serve, "Serve the dashboard on this machine until Ctrl-C.")
    options.add_address(serving)
    options.add_access(serving)
    options.add_logbook(serving)

    showing = command(
        "demo",
        demo.demo,
        "Put the sample logs into a throw-away logbook, report them, then serve the dashboard with them.",
    )
    showing.add_argument(
        "--no-serve", action="store_true", help="print only; so too where the output is no terminal"
    )
    options.add_unit(showing)
    options.add_temperature_unit(showing)
    options.add_address(showing)
    return parser


def _add_analyse(parser: argparse.ArgumentParser) -> None:
    options.add_logs(parser)
    options.add_judging(parser)
    power = options.add_power(parser)
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
    options.add_unit(parser)
