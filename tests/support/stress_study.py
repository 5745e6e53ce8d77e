"""Several processes of several threads at one logbook, some of them killed; acknowledged writes are counted.

A worker opens the logbook for every write, as a callback of the dashboard does, and notes each write that was
acknowledged in a file of its own by one appending call: what is noted must be in the logbook at the end.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

import dash
from crash_study import processes
from dash_client import DashClient
from logbooks import BOAT, SHEET, small_log

from dashboard.app import Config, create_app
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
    longest_s : float
        The longest time from opening the logbook to the acknowledgement of one write [s].
    """

    acknowledged: int
    lost: tuple[str, ...]
    refused: tuple[str, ...]
    integrity: str
    kills: int
    reads: int
    longest_s: float

    def __str__(self) -> str:
        return (
            f"{self.acknowledged} acknowledged, {len(self.lost)} lost, {len(self.refused)} refused, "
            f"{self.kills} kills, {self.reads} reads, longest write {self.longest_s:.1f} s, "
            f"integrity {self.integrity}"
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
        longest_s = 0.0
        for number in range(writes):
            record, begun = f"{name}-{which}-{number}", time.monotonic()
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
                longest_s = max(longest_s, time.monotonic() - begun)
        os.close(acknowledged)
        Path(f"{notes}/{name}-{which}.longest").write_text(f"{longest_s}\n")

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


def _at_work(notes: Path, running: list[BaseProcess]) -> list[int]:
    """Return which writers run and have had a write acknowledged: before that a kill shows little."""
    return [
        k
        for k, one in enumerate(running)
        if one.is_alive() and any(file.stat().st_size for file in notes.glob(f"w{k}-*.kept"))
    ]


@contextmanager
def dashboard(url: str, notes: Path, tabs: int) -> Iterator[None]:
    """Serve the dashboard in a process of its own, with busy tabs at it; answers count as reads."""
    notes.mkdir(exist_ok=True)
    with (notes / "server.log").open("w") as log:
        serving = subprocess.Popen(
            [sys.executable, "-m", "telemetry.cli", "serve", "--port", "0", "--logbook", url],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
    assert serving.stdout is not None
    address = serving.stdout.readline().split(" - ")[0].split("//")[-1].strip()
    end = threading.Event()
    bodies = _bodies(url)
    busy = [
        threading.Thread(target=_tab, args=(address, bodies, f"{notes}/tab-{k}", end)) for k in range(tabs)
    ]
    for one in busy:
        one.start()
    try:
        yield
    finally:
        end.set()
        for one in busy:
            one.join()
        serving.terminate()
        serving.wait()
        serving.stdout.close()


def _bodies(url: str) -> list[bytes]:
    """Return what a browser sends to list, to find and to tell of boats on the page "Logbook"."""
    dash.page_registry.clear()
    client = DashClient(create_app(Config(logbook=url)))
    values: dict[str, Any] = {
        "book-text.value": "",
        "book-sort.value": "date",
        "book-ascending.checked": False,
        "book-page.value": 1,
        "unit.value": "mph",
        "length-unit.value": "mm",
        "book-revision.data": 0,
    }
    changed = "book-revision.data"
    return [
        json.dumps(client.body(client.key(name), values, changed)).encode()
        for name in ("offer", "find", "tell_boat")
    ]


def _tab(address: str, bodies: list[bytes], notes: str, end: threading.Event) -> None:
    connection = http.client.HTTPConnection(address, timeout=120)
    answers = 0
    with Path(f"{notes}.refused").open("w") as refused:
        while not end.is_set():
            for body in bodies:
                try:
                    kind = {"Content-Type": "application/json"}
                    connection.request("POST", "/_dash-update-component", body, kind)
                    answer = connection.getresponse()
                    said = answer.read()
                except OSError as error:
                    refused.write(f"tab: {type(error).__name__}: {error}\n")
                    connection.close()
                    continue
                if answer.status == 200 and b'"notice"' not in said:
                    answers += 1
                else:
                    refused.write(f"tab: {answer.status} {said[:300]!r}\n")
    connection.close()
    Path(f"{notes}.reads").write_text(f"{answers}\n")


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
    tabs: int = 0,
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
    tabs : int
        So many busy tabs of a dashboard that is served meanwhile.
    """
    notes.mkdir(exist_ok=True)
    with dashboard(url, notes, tabs) if tabs else nullcontext():
        killed, hung = _run(
            url, notes, (writers, readers, threads, writes), kills, rng or random.Random(0), write, timeout_s
        )
    return _counted(url, notes, killed, hung)


def _run(
    url: str,
    notes: Path,
    sizes: tuple[int, int, int, int],
    kills: int,
    rng: random.Random,
    write: Write,
    timeout_s: float,
) -> tuple[int, list[str]]:
    """Run writers and readers to their end; return how many were killed and what did not end."""
    writers, readers, threads, writes = sizes
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
        if killed < kills:
            time.sleep(rng.uniform(0.05, 0.4))
            for k in rng.sample(at_work := _at_work(notes, running), k=min(1, len(at_work))):
                victim = running[k]
                victim.kill()
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
    return killed, hung


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
        longest_s=max(map(float, _lines(notes, "longest")), default=0.0),
    )


def _lines(notes: Path, ending: str) -> list[str]:
    return [line for file in sorted(notes.glob(f"*.{ending}")) for line in file.read_text().splitlines()]
