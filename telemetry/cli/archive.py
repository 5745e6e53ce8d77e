"""The command analyse with an archive: its options, and how it tells what became of the items."""

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
    """Add what is recorded about an archive."""
    archive = parser.add_argument_group(
        "archive", "thousands of logs analysed again; after a kill the same call goes on from where it was"
    )
    archive.add_argument(
        "--archive",
        type=Path,
        metavar="FOLDER",
        help="each folder below it is an outing, each log that lies loose in it stands alone",
    )
    archive.add_argument(
        "--out", type=Path, metavar="FOLDER", help="of the results (default: FOLDER-analysed, beside it)"
    )
    archive.add_argument(
        "--jobs", type=arguments.jobs, metavar="N", help="processes at once (default: one a processor)"
    )
    archive.add_argument(
        "--scheduler", metavar="ADDRESS", help="spread over the workers of a Dask scheduler instead"
    )


def check(args: Namespace) -> None:
    """Hold the options of an archive to one another.

    Raises
    ------
    CallError
        If they do not fit together.
    """
    if args.archive is None:
        given = [name for name in ("out", "jobs", "scheduler") if getattr(args, name) is not None]
        if given:
            raise CallError(f"--{given[0]} goes with --archive", hint="add --archive FOLDER, or leave it out")
        if not args.logs:
            raise CallError("no log is named", hint="name a log or a folder, or give --archive FOLDER")
        return
    if args.logs:
        raise CallError("an archive is analysed by itself", hint="leave out either --archive or the logs")
    if args.cut or args.restore or args.clock:
        raise CallError(
            "corrections by hand are of one outing's logs", hint="name these in place of --archive"
        )
    if args.json:
        raise CallError("an archive's results are JSON files", hint="leave out --json, and see --out")
    if args.jobs is not None and args.scheduler is not None:
        raise CallError("the scheduler decides how many jobs run", hint="leave out --jobs or --scheduler")


def analyse_all(args: Namespace) -> int:
    """Analyse an archive and say where the results are and what could not be used."""
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
        print("reciprocal: interrupted; the same call goes on from here", file=sys.stderr)
        raise
    _tell(summary)
    return SOME_INPUT_UNUSED if summary.unusable or summary.partly_used else DONE


def _tell(summary: Summary) -> None:
    unusable = summary.unusable
    done = len(summary.rows) - len(unusable)
    print(f"{len(summary.rows)} items: {done} done, {len(unusable)} could not be used")
    if summary.before:
        print(f"{summary.before} were analysed before, by the same question and version, and were not again")
    if summary.outdated:
        print(f"{summary.outdated} were analysed again: another Python or library had made them")
    if summary.partly_used:
        print(f"{summary.partly_used} are done with some of their logs left out; the table names why")
    if summary.motors_alone:
        print(f"{summary.motors_alone} are a motor log alone: put it into a folder with its speed log")
    if summary.passed_over:
        print(f"{summary.passed_over} other files were passed over: their names are those of no logs")
    print(f"{summary.table} has a row for each item")
    for item, facts in unusable[:_MAX_NAMED]:
        where = "" if facts.error.startswith(item.name) else f"{item.name}: "
        print(f"reciprocal: {where}{facts.error}", file=sys.stderr)
    if len(unusable) > _MAX_NAMED:
        print(
            f"reciprocal: {len(unusable) - _MAX_NAMED} more could not be used, see the table",
            file=sys.stderr,
        )


@contextmanager
def archive_progress() -> Iterator[Callable[[int, int], None] | None]:
    """Show on stderr how many items are settled and how long the rest will take, where a person watches."""
    if not sys.stderr.isatty():
        yield None
        return
    with tqdm(unit=" items", delay=1.0, leave=False, smoothing=0.1) as bar:

        def show(settled: int, of: int) -> None:
            bar.total = of
            bar.update(settled - bar.n)

        yield show
