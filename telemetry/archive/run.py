"""Analyse an archive from end to end: discover, spread, save, summarise."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from telemetry.analysis import Request
from telemetry.archive.discover import ArchiveItem, find_items, utf8_name
from telemetry.archive.results import Results, key_of, request_id
from telemetry.archive.table import DONE, NOT_USED, RowFacts, write_table
from telemetry.archive.worker import MADE_BY, Engine, Outcome, Task
from telemetry.core.errors import CallError, LogError
from telemetry.readers import LogFile, ReadOptions, bytes_of
from telemetry.twoway.rules import load_rule

ArchiveProgress = Callable[[int, int], None]
"""Called with the number of finished items and their total."""


@dataclass(frozen=True, slots=True)
class Summary:
    """The result of an archive.

    Attributes
    ----------
    rows : tuple of (Item, str, Facts)
        Each item with its result's path in the folder of results (or an empty text), in order of names.
    before : int
        How many results an earlier run had finished.
    outdated : int
        How many results were computed again, since they came from other versions of Python or of a library.
    passed_over : int
        Files whose suffix is not that of a log.
    table : Path
        The summary.
    """

    rows: tuple[tuple[ArchiveItem, str, RowFacts], ...]
    before: int
    outdated: int
    passed_over: int
    table: Path

    @property
    def unusable(self) -> tuple[tuple[ArchiveItem, RowFacts], ...]:
        """The items that could not be used."""
        return tuple((item, facts) for item, _, facts in self.rows if facts.outcome == NOT_USED)

    @property
    def partly_used(self) -> int:
        """How many items are done without some of their logs."""
        return sum(facts.outcome == DONE and facts.unused_logs > 0 for _, _, facts in self.rows)

    @property
    def motors_alone(self) -> int:
        """How many items have a motor log, but no speed log to match it to."""
        return sum(facts.motor_logs > 0 and facts.speed_logs == 0 for _, _, facts in self.rows)


class _Run:
    """The items of one run, and the facts known of each so far."""

    def __init__(
        self, items: tuple[ArchiveItem, ...], results: Results, request: Request, options: ReadOptions
    ) -> None:
        self.items, self.results = items, results
        self.request, self.options = request, options
        self.question = request_id(request, options)
        self.keys: dict[int, str] = {}  # of the items seen so far
        self.facts: dict[str, RowFacts] = {}  # of the results, by key
        self.asked: set[str] = set()
        self.before = 0

    def tasks(self) -> Iterator[Task]:
        """Load item after item into memory, as requested; skip those that are finished."""
        for k, item in enumerate(self.items):
            if item.error is not None:
                continue
            task = self._task(item)
            self.keys[k] = task.key
            if task.key in self.asked:
                continue  # a copy of another item, under the same names
            self.asked.add(task.key)
            known = self.results.facts(task.key)
            if known is None:
                yield task
            else:
                self.facts[task.key] = known
                self.before += 1

    def _task(self, item: ArchiveItem) -> Task:
        logs: list[LogFile] = []
        unread: list[LogError] = []
        for file in item.files:
            name = utf8_name(file.name)
            try:
                logs.append(LogFile(name, bytes_of(file)))
            except LogError as error:
                unread.append(LogError(error.reason, file=name, hint=error.hint))
        key = key_of(logs, unread, self.question)
        return Task(key, tuple(logs), tuple(unread), self.request, self.options)

    def settle(self, task: Task, outcome: Outcome) -> None:
        """Save a result."""
        if outcome.made_by != MADE_BY:
            raise CallError(
                f"a worker runs {outcome.made_by}, this machine {MADE_BY}",
                hint="install the same versions on every worker",
            )
        if outcome.document:
            self.results.keep(task.key, outcome.document)
        self.facts[task.key] = outcome.facts

    @property
    def settled(self) -> int:
        """How many items have been seen and have their facts."""
        return len(self.keys) - len(self.asked) + len(self.facts)

    def rows(self) -> Iterator[tuple[ArchiveItem, str, RowFacts]]:
        for k, item in enumerate(self.items):
            if item.error is not None:
                yield item, "", RowFacts.unusable(str(item.error))
                continue
            file = self.results.file(self.keys[k])
            place = file.relative_to(self.results.folder).as_posix() if file.exists() else ""
            yield item, place, self.facts[self.keys[k]]


def analyse_archive(
    archive: Path,
    out: Path,
    engine: Engine,
    request: Request | None = None,
    options: ReadOptions | None = None,
    progress: ArchiveProgress | None = None,
) -> Summary:
    """Analyse every item of an archive that has no result yet, and write the summary.

    Parameters
    ----------
    archive : Path
        The folder of logs, see :mod:`telemetry.archive.discover`.
    out : Path
        The folder of results. It may be inside the archive; it is not searched for logs.
    engine : callable
        Where the work is done.
    request, options
        The request, and the options of the readers.
    progress : callable, optional

    Returns
    -------
    Summary
        The results and rows do not depend on the engine or on the order in which items end.

    Raises
    ------
    RuleError, CallError
        If the request or a folder cannot be used, or the engine cannot continue. Finished results are saved,
        and the same call continues from there.
    """
    request = request or Request()
    request = replace(request, rule=load_rule(request.rule))
    found = find_items(archive)
    results = Results(out)
    run = _Run(found.items, results, request, options or ReadOptions())
    refused = sum(item.error is not None for item in found.items)
    with closing(engine(run.tasks())) as outcomes:  # an engine that is closed early ends its workers
        for task, outcome in outcomes:
            run.settle(task, outcome)
            if progress:
                progress(refused + run.settled, len(found.items))
    rows = tuple(run.rows())
    write_table(results.table, rows)
    return Summary(rows, run.before, len(results.outdated), found.passed_over, results.table)
