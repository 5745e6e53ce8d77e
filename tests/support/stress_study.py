"""Several processes of several threads at one logbook, some of them killed; acknowledged writes are counted.

A worker opens the logbook for every write, as a callback of the dashboard does, and notes each write that was
acknowledged in a file of its own by one appending call: what is noted must be in the logbook at the end.
"""

from __future__ import annotations

import os
import random
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from multiprocessing.synchronize import Event
from pathlib import Path

from crash_study import processes
from logbooks import BOAT, SHEET, small_log

from telemetry.logbook import Logbook, NamedLog, open_logbook

Write = Callable[[Logbook, str, int], None]


@dataclass(kw_only=True)
class Outcome:
    """What a stress left behind.

    Attributes
    ----------
    acknowledged : int
        Writes that the logbook said were kept.
    lost : tuple of str
        Those of them that are not in it at the end.
    refused : tuple of str
        Errors of writers that nobody killed, and of readers.
    integrity : str
        What the database's own check says, "ok" where all is well.
    kills : int
        Writers that were killed.
    reads : int
        Answers that the readers got meanwhile.
    """

    acknowledged: int
    lost: tuple[str, ...]
    refused: tuple[str, ...]
    integrity: str
    kills: int
    reads: int

    def __str__(self) -> str:
        return (
            f"{self.acknowledged} acknowledged, {len(self.lost)} lost, {len(self.refused)} refused, "
            f"{self.kills} kills, {self.reads} reads, integrity {self.integrity}"
        )


def add_boat(logbook: Logbook, name: str, _number: int) -> None:
    """Write a boat under the name."""
    logbook.add_boat(name)


def add_outing(logbook: Logbook, name: str, number: int) -> None:
    """Write an outing whose log has the name, and bytes of its own."""
    writer, thread, _ = name[1:].split("-")
    log = small_log.__wrapped__((int(writer) * 10 + int(thread)) * 1000 + number)
    logbook.import_outing([NamedLog(name, log.data)], BOAT, SHEET.name)


def _writer(url: str, name: str, threads: int, writes: int, notes: str, write: Write) -> None:
    def thread(which: int) -> None:
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT
        acknowledged = os.open(f"{notes}/{name}-{which}.kept", flags)
        for number in range(writes):
            record = f"{name}-{which}-{number}"
            try:
                with open_logbook(url) as logbook:
                    write(logbook, record, number)
            except Exception as error:
                line = f"{record}: {type(error).__name__}: {error}".replace("\n", " ")
                refused = os.open(f"{notes}/{name}-{which}.refused", flags)
                os.write(refused, f"{line}\n".encode())
                os.close(refused)
            else:
                os.write(acknowledged, f"{record}\n".encode())
        os.close(acknowledged)

    _in_threads(thread, threads)


def _reader(url: str, name: str, threads: int, notes: str, end: Event) -> None:
    """Open the logbook and read, again and again: what a dashboard with busy tabs does."""

    def thread(which: int) -> None:
        reads = 0
        while not end.is_set():
            try:
                with open_logbook(url) as logbook:
                    logbook.boats()
                    logbook.count_outings()
                reads += 1
            except Exception as error:
                with Path(f"{notes}/{name}-{which}.refused").open("a") as refused:
                    refused.write(f"read: {type(error).__name__}: {error}".replace("\n", " ") + "\n")
        Path(f"{notes}/{name}-{which}.reads").write_text(str(reads))

    _in_threads(thread, threads)


def _in_threads(act: Callable[[int], None], threads: int) -> None:
    running = [threading.Thread(target=act, args=(k,)) for k in range(threads)]
    for one in running:
        one.start()
    for one in running:
        one.join()


def stress(
    url: str,
    notes: Path,
    *,
    writers: int,
    threads: int,
    writes: int,
    readers: int = 0,
    kills: int = 0,
    rng: random.Random | None = None,
    write: Write = add_boat,
    timeout_s: float = 3000.0,
) -> Outcome:
    """Let writers and readers at a logbook, kill some writers at random moments, and count at the end.

    Parameters
    ----------
    writers, readers : int
        Processes of ``threads`` threads each; a reader reads until the last writer is done.
    writes : int
        Of each thread.
    kills : int
        That many writers are killed; another one with the same number of writes follows each.
    """
    notes.mkdir()
    context, end = processes(), processes().Event()
    watching = [
        context.Process(target=_reader, args=(url, f"r{k}", threads, str(notes), end)) for k in range(readers)
    ]

    def start(k: int) -> BaseProcess:
        one = context.Process(target=_writer, args=(url, f"w{k}", threads, writes, str(notes), write))
        one.start()
        return one

    for one in watching:
        one.start()
    running = [start(k) for k in range(writers)]
    killed = 0
    until = time.monotonic() + timeout_s
    while any(one.is_alive() for one in running) and time.monotonic() < until:
        if killed < kills and rng is not None:
            time.sleep(rng.uniform(0.05, 0.4))
            victim = rng.choice([one for one in running if one.is_alive()] or running)
            if victim.pid is not None and victim.is_alive():
                with suppress(ProcessLookupError):
                    os.kill(victim.pid, signal.SIGKILL)
                victim.join()
                if victim.exitcode == -signal.SIGKILL:
                    killed += 1
                    running.append(start(len(running)))
        else:
            time.sleep(0.02)
    end.set()
    for one in [*running, *watching]:
        one.join(timeout=max(1.0, until - time.monotonic()))
    hung = [f"process {one.pid} did not end" for one in [*running, *watching] if one.is_alive()]
    for one in [*running, *watching]:
        one.kill()
    return _counted(url, notes, killed, hung)


def _counted(url: str, notes: Path, killed: int, hung: list[str]) -> Outcome:
    kept = _lines(notes, "kept")
    refused = [*_lines(notes, "refused"), *hung]
    integrity = "ok"
    there: set[str] = set()
    try:
        with open_logbook(url) as logbook:
            there = {boat.name for boat in logbook.boats()}
            there |= {log.file for outing in logbook.outings() for log in outing.logs}
            with logbook._reading() as session:
                if logbook._engine.name == "sqlite":
                    found = session.connection().exec_driver_sql("PRAGMA integrity_check").scalars().all()
                    integrity = "; ".join(map(str, found))[:200]
    except Exception as error:
        integrity = f"{type(error).__name__}: {error}"
    return Outcome(
        acknowledged=len(kept),
        lost=tuple(record for record in kept if record not in there),
        refused=tuple(refused),
        integrity=integrity,
        kills=killed,
        reads=sum(map(int, _lines(notes, "reads"))),
    )


def _lines(notes: Path, ending: str) -> list[str]:
    return [line for file in sorted(notes.glob(f"*.{ending}")) for line in file.read_text().splitlines()]
