"""Spread an archive over the workers of a Dask scheduler, on this machine or others.

Logs travel as bytes and results come back as bytes: a worker needs this program, and neither the logs nor the
folder of results.
"""

from __future__ import annotations

import time
from collections.abc import Generator, Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from queue import Empty, Queue
from typing import Any, Final

from telemetry.archive.table import RowFacts
from telemetry.archive.worker import Engine, Outcome, Task, Work, run_task
from telemetry.core.errors import CallError, ReciprocalError

ENDED_ITS_WORKERS: Final = "ended its worker, as often as the scheduler allows"
_CONNECT_S: Final = 15.0
_LOOK_S: Final = 5.0  # how often a stalled run checks for workers
_PATIENCE_S: Final = 60.0
_UNDER_WAY: Final = 2  # for each thread of a worker, so that none waits while bytes travel
_RETRIES: Final = 2
_GO_ON: Final = "start it again, then repeat this call; finished items are kept"


def cluster_engine(address: str, does: Work = run_task, patience_s: float = _PATIENCE_S) -> Engine:
    """Make an engine of a running scheduler.

    Parameters
    ----------
    address : str
        Such as ``tcp://192.168.1.20:8786``.
    does : callable
        The work itself.
    patience_s : float
        How long to wait while there is no worker [s].

    Raises
    ------
    CallError
        If the packages for it are not installed.
    """
    try:
        import dask
        import distributed
    except ModuleNotFoundError as error:
        raise CallError(
            f"--scheduler needs a package that is not installed: {error.name}",
            hint="install it with `pip install dask distributed`",
        ) from None

    def engine(tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        # The bytes of logs are part of the task, so that the scheduler has them if a worker ends. Dask would
        # warn about their size.
        quiet = {"distributed.admin.large-graph-warning-threshold": "10GB"}
        with dask.config.set(quiet), _client(distributed, address) as client:
            yield from _Spread(distributed, client, address, does, patience_s).run(tasks)

    return engine


@contextmanager
def _client(distributed: Any, address: str) -> Iterator[Any]:
    try:
        client = distributed.Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise CallError(
            f"no scheduler answers at {address} ({error})",
            hint="start one with `dask scheduler`, and give the address that it prints",
        ) from None
    try:
        yield client
    finally:
        client.close(timeout=2)


class _Spread:
    """One run on a cluster."""

    def __init__(self, distributed: Any, client: Any, address: str, does: Work, patience_s: float) -> None:
        self.distributed, self.client = distributed, client
        self.address, self.does, self.patience_s = address, does, patience_s
        self.seen_at = time.monotonic()  # last time a worker was present

    def run(self, tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        running: dict[Any, Task] = {}
        ended: Queue[Any] = Queue()
        while True:
            for task in islice(tasks, max(self._room() - len(running), 0)):
                future = self.client.submit(self.does, task, key=task.key, pure=False, retries=_RETRIES)
                running[future] = task
                future.add_done_callback(ended.put)
            if not running:
                return
            with suppress(Empty):
                future = ended.get(timeout=_LOOK_S)
                yield running.pop(future), self._outcome(future)

    def _room(self) -> int:
        """Return how many tasks may be in progress, by the number of workers now."""
        try:
            threads: int = sum(self.client.nthreads().values())
        except (OSError, RuntimeError) as error:
            raise self._lost(str(error)) from None
        if threads:
            self.seen_at = time.monotonic()
        elif time.monotonic() - self.seen_at > self.patience_s:
            raise CallError(
                f"the scheduler at {self.address} has had no worker for {self.patience_s:.0f} s",
                hint=f"start one with `dask worker {self.address}`, then repeat this call: "
                "finished items are kept",
            )
        return max(_UNDER_WAY * threads, 1)

    def _outcome(self, future: Any) -> Outcome:
        if future.status == "finished":
            outcome: Outcome = future.result()
            return outcome
        if future.status != "error":
            raise self._lost(f"a task is {future.status}")
        error = future.exception()
        if isinstance(error, self.distributed.KilledWorker):
            return Outcome(b"", RowFacts.unusable(ENDED_ITS_WORKERS))
        if isinstance(error, ReciprocalError):
            raise error
        raise CallError(
            f"a worker of {self.address} cannot do the work ({type(error).__name__}: {error})",
            hint="install the same version of reciprocal on every worker",
        )

    def _lost(self, why: str) -> CallError:
        return CallError(f"the scheduler at {self.address} was lost ({why})", hint=_GO_ON)
