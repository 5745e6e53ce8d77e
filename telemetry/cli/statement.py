"""The command ``statement``: one page about one two-way, printed or written to a file."""

from __future__ import annotations

import argparse
from argparse import Namespace
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from telemetry.analysis import Analysis, Request, rejudge
from telemetry.cli import arguments, corrections, options
from telemetry.cli.bench import showing_of
from telemetry.cli.bench_arguments import add_showing
from telemetry.cli.catalogue import Commands
from telemetry.cli.commands import read_named_logs
from telemetry.cli.outcome import DONE, SOME_INPUT_UNUSED, complain
from telemetry.core.errors import CallError, LogError
from telemetry.core.paths import atomic_write
from telemetry.logbook import open_logbook
from telemetry.setup import SetupSheet, load_sheet
from telemetry.statement import PAPERS, Statement, print_pdf
from telemetry.statement import build_statement as state
from telemetry.text.logbook import conditions_text
from telemetry.twoway.rules import load_rule

_WRITERS: Final[Mapping[str, Callable[[Statement, str], bytes]]] = {
    ".html": lambda made, _: made.to_html().encode(),
    ".txt": lambda made, _: made.to_text().encode(),
    ".pdf": lambda made, paper: print_pdf(made.to_html(paper)),
}


def statement_command(args: Namespace) -> int:
    """Write the statement of a two-way from logs, or from an outing in the logbook."""
    if args.outing is None and args.rule is None:
        args.rule = Request().rule
    if args.rule is not None:
        load_rule(args.rule)  # fail on a wrong rule or suffix before a long read
    write = _writer(args.output)
    if (args.outing is None) != bool(args.logs):
        raise CallError(
            "a statement needs either logs or one outing", hint="name logs, or give --outing NUMBER"
        )
    analysis, unused, sheet, conditions = _of_logs(args) if args.logs else _of_outing(args)
    made = state(
        analysis,
        args.two_way,
        unit=args.unit,
        sheet=load_sheet(args.sheet) if args.sheet else sheet,
        showing=showing_of(args),
        conditions=conditions | dict(args.condition),
        made_utc=datetime.now(UTC),
    )
    if args.output is None:
        print(made.to_text(), end="")
    else:
        _write(args.output, write(made, args.paper))
    complain(unused)
    return SOME_INPUT_UNUSED if unused else DONE


Stated = tuple[Analysis, list[LogError], SetupSheet | None, dict[str, str]]


def _of_logs(args: Namespace) -> Stated:
    analysis, unused = read_named_logs(args, arguments.judging(args))
    return analysis, unused, None, {}


def _of_outing(args: Namespace) -> Stated:
    """Load an outing with its sheet and conditions, judged as before unless the options say otherwise."""
    with open_logbook(args.logbook) as logbook:
        outing = logbook.outing(args.outing)
        analysis = logbook.analysed(outing.id)
        sheet = logbook.sheet(outing.sheet_id, outing.boat)
    asked, said = analysis.request, arguments.judging(args)
    names = ("rule", "distance_m", "gates", "window_s", "mark_mps")
    given = {name: value for name in names if (value := getattr(said, name)) is not None}
    by_hand = asked.by_hand.with_(*corrections.corrections_of(args, analysis))
    judged = replace(asked, by_hand=by_hand, **given)
    if judged != asked:
        analysis = rejudge(analysis, judged)
    conditions = conditions_text(outing.conditions, args.unit, args.temperature_unit)
    return analysis, list(analysis.errors), sheet, conditions


def _writer(output: Path | None) -> Callable[[Statement, str], bytes]:
    suffix = ".txt" if output is None else output.suffix.lower()
    if suffix not in _WRITERS:
        raise CallError(
            f"a statement cannot be written as '{suffix}'",
            file=str(output),
            hint=f"give a name that ends in {', '.join(_WRITERS)}",
        )
    return _WRITERS[suffix]


def _write(output: Path, data: bytes) -> None:
    try:
        with atomic_write(output) as stream:
            stream.write(data)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CallError(f"cannot be written: {reason}", file=str(output), hint="check the path") from None
    print(f"written: {output}")


def _add_statement(parser: argparse.ArgumentParser) -> None:
    options.add_logs(parser, nargs="*")
    parser.add_argument(
        "--outing", type=arguments.outing, metavar="NUMBER", help="an outing of the logbook instead of logs"
    )
    parser.add_argument(
        "--two-way",
        metavar="ID",
        help="such as T2, the number that `analyse` gives it (default: the first, which is the best)",
    )
    options.add_judging(parser)
    parser.set_defaults(rule=None)  # None: an outing keeps the rule it was judged by
    corrections.add_by_hand(parser)
    parser.add_argument(
        "--sheet", type=Path, metavar="FILE", help="the setup sheet used in both passes, TOML or JSON"
    )
    parser.add_argument(
        "--condition",
        action="append",
        default=[],
        type=_condition,
        metavar="NAME=TEXT",
        help='a condition of the outing, such as "wind=2 m/s from the west"; repeat',
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="a file that ends in .html, .txt or .pdf (default: text on the terminal); PDF needs Chromium",
    )
    parser.add_argument("--paper", choices=PAPERS, default=PAPERS[0], help="of the PDF (default %(default)s)")
    add_showing(parser)
    options.add_unit(parser)
    options.add_temperature_unit(parser)
    options.add_logbook(parser)


def _condition(text: str) -> tuple[str, str]:
    name, sign, said = text.partition("=")
    if not sign or not name.strip():
        raise argparse.ArgumentTypeError(f"'{text}' is incomplete; write NAME=TEXT")
    return name.strip(), said.strip()


COMMANDS: Commands = {"statement": (statement_command, _add_statement)}
