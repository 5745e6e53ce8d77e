"""Background jobs: a queue for each reader, served in turn by a few threads of the server.

Threads and not processes: the long work is numpy, LAPACK and the XML parser, which release the interpreter,
and the frames of a reader would cost more to transfer than to compute. A reader's own jobs run one after
another, small ones first, so that a short motor log never waits for an hour's speed log; readers take turns,
so that twelve files of one never hold up the single file of another.
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
# A tab polls several times a second while a job is running; a phone that sleeps polls once a minute.
SILENT_S: Final = 300.0
_MAX_ENDED: Final = 24
_FAULT: Final = "A fault of the program; nothing was saved. The server's window shows the details."


@dataclass(frozen=True, slots=True)
class JobView:
    """State of a job for a page: the share done is 0 to 1, and ``said`` is why it failed."""

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
        Of the file or other subject.
    work : callable
        Takes the job; it runs under a watch that ends it once it is cancelled. Before it stores anything it
        calls :meth:`conclude`, so that a cancelled job leaves nothing.
    size : int
        Memory held until it has run [byte].
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
        """Whether it is queued or running."""
        return self._state in ("waiting", "under way")

    @property
    def waiting(self) -> bool:
        """Whether it has not started."""
        return self._state == "waiting"

    @property
    def view(self) -> JobView:
        """Return its state."""
        return JobView(self.key, self.kind, self.name, self._state, self._share, self._said)

    def cancel(self) -> None:
        """Cancel it so that it leaves nothing; an ended job is unchanged."""
        with self._lock:
            if self.open and not self._concluding:
                self._ends("cancelled")

    def conclude(self) -> None:
        """Pass the point of no return: the result is saved now.

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
        """Do the work; any error ends in its message."""
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
        self._work = None  # frees the bytes it held
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
        Returns increasing seconds; tests pass their own.
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
        """Note that the tab is there; the jobs of a silent tab are cancelled."""
        self._heard_s = self._clock()

    @property
    def views(self) -> tuple[JobView, ...]:
        """Return the state of every job in the list, in order of arrival."""
        return tuple(job.view for job in list(self._jobs.values()))

    @property
    def under_way(self) -> bool:
        """Whether any job is queued or running."""
        return any(job.open for job in list(self._jobs.values()))

    @property
    def waiting_bytes(self) -> int:
        """Memory held by open jobs [byte]."""
        return sum(job.size for job in list(self._jobs.values()))

    def count(self, kind: JobKind) -> int:
        """Count the open jobs of a kind."""
        return sum(job.open and job.kind == kind for job in list(self._jobs.values()))

    def add(self, job: Job) -> None:
        """Run a job when its turn comes."""
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
        """Remove an ended job from the list."""
        with self._lock:
            if key in self._jobs and not self._jobs[key].open:
                del self._jobs[key]

    def close(self) -> None:
        """Cancel everything, permanently."""
        self._closed = True
        self.cancel_all()

    def _go_on(self) -> None:
        """Run the next job, unless one is running."""
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
                if job.view.state == "done":  # its result is shown instead
                    self._jobs.pop(job.key, None)
