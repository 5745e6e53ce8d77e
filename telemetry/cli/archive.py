"""The command ``analyse --archive``: its options, and the report of the items' outcome."""

from __future__ import annotations

import argparse
import sys
from argparse import Namespace
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Final

from tqdm import tqdm

from telemetry.archive import Summary, analyse_archive, cluster_engine, process_engine
from telemetry.archive.discover import unopened_archive_error
from telemetry.cli import arguments
from telemetry.cli.outcome import DONE, SOME_INPUT_UNUSED, complain
from telemetry.core.errors import CallError
from telemetry.readers import ReadOptions, column_maps

_MAX_NAMED: Final = 20


def add_archive(parser: argparse.ArgumentParser) -> None:
    """Add the options of an archive."""
    archive = parser.add_argument_group(
        "archive", "analyse thousands of logs; after an interruption the same call continues"
    )
    archive.add_argument(
        "--archive",
        type=Path,
        metavar="FOLDER",
        help="each folder in it is an outing, each loose log is analysed alone",
    )
    archive.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        help="folder for the results (default: FOLDER-analysed, next to it)",
    )
    archive.add_argument(
        "--jobs", type=arguments.jobs, metavar="N", help="parallel processes (default: one per processor)"
    )
    archive.add_argument("--scheduler", metavar="ADDRESS", help="use the workers of a Dask scheduler instead")


def check(args: Namespace) -> None:
    """Check that the options of an archive fit together.

    Raises
    ------
    CallError
        If they do not fit together.
    """
    if args.archive is None:
        given = [name for name in ("out", "jobs", "scheduler") if getattr(args, name) is not None]
        if given:
            raise CallError(f"--{given[0]} needs --archive", hint="add --archive FOLDER, or leave it out")
        if not args.logs:
            raise CallError("no log given", hint="name a log or a folder, or give --archive FOLDER")
        return
    if args.logs:
        raise CallError(
            "--archive cannot be combined with logs", hint="leave out either --archive or the logs"
        )
    if args.cut or args.restore or args.clock:
        raise CallError(
            "corrections by hand need the logs of one outing", hint="name those logs instead of --archive"
        )
    if args.json:
        raise CallError(
            "the results of an archive are JSON files already", hint="leave out --json, and see --out"
        )
    if args.brief or args.details:
        raise CallError(
            "an archive prints one summary for all outings", hint="leave out --brief and --details"
        )
    if args.jobs is not None and args.scheduler is not None:
        raise CallError("the scheduler decides how many jobs run", hint="leave out --jobs or --scheduler")


def analyse_all(args: Namespace) -> int:
    """Analyse an archive; report where the results are and which items could not be used."""
    try:
        archive: Path = args.archive.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise unopened_archive_error(args.archive, error) from None
    out = args.out or archive.parent / f"{archive.name}-analysed"  # of the root, in the root
    request = replace(arguments.judging(args), power=arguments.power_options(args, arguments.limits(args)))
    kept, damaged = column_maps.load()
    complain(damaged)
    options = ReadOptions(arguments.headings(args.headings), args.pole_pairs, args.gear, kept)
    engine = cluster_engine(args.scheduler) if args.scheduler else process_engine(args.jobs)
    try:
        with archive_progress() as progress:
            summary = analyse_archive(archive, out, engine, request, options, progress)
    except KeyboardInterrupt:
        print("reciprocal: interrupted; repeat the same call to continue", file=sys.stderr)
        raise
    _tell(summary)
    return SOME_INPUT_UNUSED if summary.unusable or summary.partly_used else DONE


def _tell(summary: Summary) -> None:
    unusable = summary.unusable
    done = len(summary.rows) - len(unusable)
    print(f"{len(summary.rows)} items: {done} done, {len(unusable)} could not be used")
    if summary.before:
        print(f"{summary.before} have results already, from the same options and version")
    if summary.outdated:
        print(f"{summary.outdated} were analysed again: another version of Python or a library made them")
    if summary.partly_used:
        print(f"{summary.partly_used} are done without some of their logs; the table gives the reason")
    if summary.motors_alone:
        print(f"{summary.motors_alone} have only a motor log: put it into a folder with its speed log")
    if summary.passed_over:
        print(f"{summary.passed_over} other files were skipped: their suffix is not that of a log")
    print(f"{summary.table} lists every item")
    for item, facts in unusable[:_MAX_NAMED]:
        where = "" if facts.error.startswith(item.name) else f"{item.name}: "
        print(f"reciprocal: {where}{facts.error}", file=sys.stderr)
    if len(unusable) > _MAX_NAMED:
        print(
            f"reciprocal: {len(unusable) - _MAX_NAMED} more could not be used; see the table",
            file=sys.stderr,
        )


@contextmanager
def archive_progress() -> Iterator[Callable[[int, int], None] | None]:
    """Show on stderr, if it is a terminal, how many items are done and the remaining time."""
    if not sys.stderr.isatty():
        yield None
        return
    with tqdm(unit=" items", delay=1.0, leave=False, smoothing=0.1) as bar:

        def show(settled: int, of: int) -> None:
            bar.total = of
            bar.update(settled - bar.n)

        yield show
