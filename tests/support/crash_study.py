"""Importing in a process of its own that is killed at a random moment, and what is there afterwards."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Literal

from logbooks import BOAT, SHEET, everything, small_log

from telemetry.logbook import Logbook, open_logbook

Aim = Literal["anywhere", "while writing"]


@dataclass
class Tally:
    """How the kills ended: the import was there whole or not at all; anything else is an error raised."""

    kills: int = 0
    whole: int = 0
    none: int = 0
    after_its_end: int = 0


def _import(url: str, hour: int, report: Connection) -> None:
    """Import one outing, and tell when it begins, when it begins to write, and when it is done."""
    logs = [small_log(hour)]
    with open_logbook(url) as logbook:

        def tell(step: str, _share: float) -> None:
            if step == "writing":
                report.send("writing")

        report.send("begins")
        logbook.import_outing(logs, BOAT, SHEET.name, progress=tell)
        report.send("done")


def processes() -> multiprocessing.context.ForkServerContext:
    """Make processes that start quickly and share nothing with this one but what they are given."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["telemetry.logbook", "sample_logs.writers", "psycopg"])
    return context


def spans_s(url: str, hours: Iterable[int]) -> tuple[float, float]:
    """Measure how long an import takes and how long its writing; the longest of some, unharmed [s]."""
    whole, writing = [], []
    for hour in hours:
        here, there = multiprocessing.Pipe(duplex=False)
        child = processes().Process(target=_import, args=(url, hour, there))
        child.start()
        at = {step: _wait(here, step) for step in ("begins", "writing", "done")}
        child.join()
        whole.append(at["done"] - at["begins"])
        writing.append(at["done"] - at["writing"])
    return max(whole), max(writing)


def _wait(report: Connection, step: str) -> float:
    while report.recv() != step:
        pass
    return time.monotonic()


def kill_imports(logbook: Logbook, url: str, hours: Iterable[int], rng: random.Random) -> Tally:
    """Start an import for each hour, kill it at a random moment, and hold the logbook to all or nothing.

    Every second one is killed at some moment of the whole import, the others at some moment of its writing.

    Raises
    ------
    AssertionError
        If anything that was there before is not, or a part of an import is.
    """
    hours = list(hours)
    whole_s, writing_s = spans_s(url, (hours[0] - 1, hours[0] - 2))
    tally = Tally()
    before = everything(logbook)
    for k, hour in enumerate(hours):
        aim: Aim = "while writing" if k % 2 else "anywhere"
        here, there = multiprocessing.Pipe(duplex=False)
        child = processes().Process(target=_import, args=(url, hour, there))
        child.start()
        there.close()
        _wait(here, "writing" if aim == "while writing" else "begins")
        time.sleep(rng.uniform(0.0, 1.1 * (writing_s if aim == "while writing" else whole_s)))
        assert child.pid is not None
        with suppress(ProcessLookupError):  # it was done before its moment came
            os.kill(child.pid, signal.SIGKILL)
        child.join()
        tally.kills += 1
        tally.after_its_end += child.exitcode == 0
        before = _held(logbook, before, hour, tally)
    return tally


def _held(
    logbook: Logbook, before: dict[str, list[tuple[object, ...]]], hour: int, tally: Tally
) -> dict[str, list[tuple[object, ...]]]:
    """Hold the logbook to what it was, with the killed import whole on top or not at all."""
    if logbook._engine.name == "sqlite":
        with logbook._reading() as session:
            found = session.connection().exec_driver_sql("PRAGMA integrity_check").scalar()
            broken = session.connection().exec_driver_sql("PRAGMA foreign_key_check").all()
        assert (found, broken) == ("ok", [])
    after = everything(logbook)
    new = {name: [row for row in rows if row not in before[name]] for name, rows in after.items()}
    assert {name: [row for row in rows if row in before[name]] for name, rows in after.items()} == before
    if not any(new.values()):
        tally.none += 1
        return after
    tally.whole += 1
    assert {name: len(rows) for name, rows in new.items() if rows} == {
        "outings": 1,
        "logs": 1,
        "outing_logs": 1,
        "analyses": 1,
        "passes": 2,
        "two_ways": 1,
    }
    outing = dict(new["outings"][0])
    assert logbook.logs(outing["id"]) == (small_log(hour),)
    assert len(logbook.analysis(outing["id"])["passes"]) == 2
    return after
