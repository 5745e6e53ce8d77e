"""Long work in the background: a queue for each reader, served in turn by a few threads of the server.

Threads and not processes: what takes long is numpy, LAPACK and the XML parser, which let go of the
interpreter, and the frames that a reader makes would cost more to hand over than to make. A reader's own
jobs run one after another, small ones first, so that a short motor log never waits for an hour's speed log;
readers take turns, so that twelve files of one never hold up the single file of another.
"""

from __future__ import annotations

import logging
import secrets
import threading
import time
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Final, Literal

from telemetry.core.errors import ReciprocalError
from telemetry.core.progress import Cancelled, watched

_log = logging.getLogger(__name__)

State = Literal["waiting", "under way", "done", "failed", "cancelled"]
JobKind = Literal["reading", "analysing", "keeping"]
_ORDER: Final[tuple[JobKind, ...]] = ("reading", "analysing", "keeping")
# A tab asks several times a second while something is under way; a phone that sleeps asks once a minute.
SILENT_S: Final = 300.0
_MAX_ENDED: Final = 24
_FAULT: Final = "Something went wrong here; nothing of it was kept. The server's own window says more."


@dataclass(frozen=True, slots=True)
class JobView:
    """What a page shows of a job: the share done is 0 to 1, and ``said`` why it failed."""

    key: str
    kind: JobKind
    name: str
    state: State
    share: float
    said: str


class Job:
    """One piece of work.

    Parameters
    ----------
    kind : {"reading", "analysing", "keeping"}
    name : str
        Of the file or whatever it is about.
    work : callable
        Takes the job; it runs under a watch that ends it where it was cancelled. Before it leaves anything
        behind it calls :meth:`conclude`, so that a cancelled job leaves nothing.
    size : int
        What it holds until it has run [byte].
    """

    def __init__(self, kind: JobKind, name: str, work: Callable[[Job], None], size: int = 0) -> None:
        self.key = secrets.token_urlsafe(9)
        self.kind = kind
        self.name = name
        self.size = size
        self._work: Callable[[Job], None] | None = work
        self._lock = threading.Lock()
        self._state: State = "waiting"
        self._share = 0.0
        self._said = ""
        self._concluding = False

    @property
    def open(self) -> bool:
        """Whether it waits or is under way."""
        return self._state in ("waiting", "under way")

    @property
    def waiting(self) -> bool:
        """Whether it has not begun."""
        return self._state == "waiting"

    @property
    def view(self) -> JobView:
        """Describe how it stands."""
        return JobView(self.key, self.kind, self.name, self._state, self._share, self._said)

    def cancel(self) -> None:
        """Have it end without leaving anything; what has ended stays as it is."""
        with self._lock:
            if self.open and not self._concluding:
                self._ends("cancelled")

    def conclude(self) -> None:
        """Pass the point from which it can no longer be cancelled: what was made is kept now.

        Raises
        ------
        Stopped
            If it was cancelled before.
        """
        with self._lock:
            if not self.open:
                raise Cancelled
            self._concluding = True

    def run(self, heard: Callable[[], bool]) -> None:
        """Do the work; whatever goes wrong ends in what is recorded about it."""
        with self._lock:
            if not self.waiting:
                return
            self._state = "under way"
            work = self._work
        assert work is not None

        def watch(share: float) -> None:
            if not heard():
                self.cancel()
            if not self.open:
                raise Cancelled
            self._share = max(self._share, min(share, 1.0))

        state, said = self._tried(work, watch)
        with self._lock:
            if self.open:
                self._said = said
                self._ends(state)

    def _tried(self, work: Callable[[Job], None], watch: Callable[[float], None]) -> tuple[State, str]:
        try:
            with watched(watch):
                watch(0.0)
                work(self)
        except Cancelled:
            return "cancelled", ""
        except ReciprocalError as error:
            return "failed", str(error)
        except Exception:
            _log.exception("a job failed: %s %s", self.kind, self.name)
            return "failed", _FAULT
        return "done", ""

    def _ends(self, state: State) -> None:
        self._state = state
        self._work = None  # and with it the bytes it held
        self.size = 0
        if state == "done":
            self._share = 1.0


class Queue:
    """The jobs of one reader's tab.

    Parameters
    ----------
    pool : Executor, optional
        Threads that do the work, shared by all readers; without a pool a job runs at once in the caller.
    clock : callable
        Seconds that only grow; tests pass their own.
    """

    def __init__(self, pool: Executor | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._pool = pool
        self._clock = clock
        self._heard_s = clock()
        self._lock = threading.Lock()
        self._jobs: dict[str, Job] = {}
        self._busy = False
        self._closed = False

    def hear(self) -> None:
        """Note that the tab is there; the jobs of one that is not heard of end by themselves."""
        self._heard_s = self._clock()

    @property
    def views(self) -> tuple[JobView, ...]:
        """Describe how every job stands that has not been taken off the list, in the order they came."""
        return tuple(job.view for job in list(self._jobs.values()))

    @property
    def under_way(self) -> bool:
        """Whether anything waits or is under way."""
        return any(job.open for job in list(self._jobs.values()))

    @property
    def waiting_bytes(self) -> int:
        """What open jobs hold [byte]."""
        return sum(job.size for job in list(self._jobs.values()))

    def count(self, kind: JobKind) -> int:
        """Count the open jobs of a kind."""
        return sum(job.open and job.kind == kind for job in list(self._jobs.values()))

    def add(self, job: Job) -> None:
        """Have a job done when its turn comes."""
        with self._lock:
            self._jobs[job.key] = job
            if self._closed:
                job.cancel()
            ended = [key for key, one in self._jobs.items() if not one.open]
            for key in ended[:-_MAX_ENDED]:
                del self._jobs[key]
        self._go_on()

    def cancel(self, key: str) -> None:
        """Cancel one job."""
        with self._lock:
            if key in self._jobs:
                self._jobs[key].cancel()

    def cancel_all(self, kind: JobKind | None = None) -> None:
        """Cancel every open job, or every one of a kind."""
        with self._lock:
            for job in self._jobs.values():
                if kind in (None, job.kind):
                    job.cancel()

    def forget(self, key: str) -> None:
        """Take a job that has ended off the list."""
        with self._lock:
            if key in self._jobs and not self._jobs[key].open:
                del self._jobs[key]

    def close(self) -> None:
        """Cancel everything, for good."""
        self._closed = True
        self.cancel_all()

    def _go_on(self) -> None:
        """Have the next job done, unless one is under way."""
        if self._pool is None:
            while (job := self._taken()) is not None:
                self._do(job)
            return
        job = self._taken()
        if job is not None:
            try:
                self._pool.submit(self._do_and_go_on, job)
            except RuntimeError:  # the server is ending
                self._busy = False
                self.close()

    def _taken(self) -> Job | None:
        with self._lock:
            waiting = [job for job in self._jobs.values() if job.waiting]
            if self._busy or not waiting:
                return None
            self._busy = True
            return min(waiting, key=lambda job: (_ORDER.index(job.kind), job.size))

    def _do_and_go_on(self, job: Job) -> None:
        self._do(job)
        self._go_on()

    def _do(self, job: Job) -> None:
        try:
            job.run(lambda: self._clock() - self._heard_s < SILENT_S)
        finally:
            with self._lock:
                self._busy = False
                if job.view.state == "done":  # what it left behind speaks for it
                    self._jobs.pop(job.key, None)
