"""Spread an archive over processes of this machine.

A worker that ends (killed for its memory, or crashed in a library) breaks the whole pool and does not say
which item it was working on. So items in progress are tried again one by one: an item that twice ends a
worker with nothing else to do is the cause.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from itertools import islice
from multiprocessing import connection
from typing import Final

from telemetry.archive.table import RowFacts
from telemetry.archive.worker import Engine, Outcome, Task, Work, run_task

ENDED_ITS_WORKER: Final = "ended its worker twice: the process was killed, or crashed outside Python"
_TRIES: Final = 2
_UNDER_WAY: Final = 2  # for each worker: one in work, one queued, so that no worker idles
_HEARS_S: Final = 0.2
_MAX_JOBS: Final = 60  # Windows can wait for 63 handles at most
_ONE_THREAD: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def usual_jobs() -> int:
    """Return the number of processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def process_engine(jobs: int | None = None, does: Work = run_task) -> Engine:
    """Make an engine of processes; one job uses a worker process too, so that all runs are alike.

    Parameters
    ----------
    jobs : int, optional
        How many worker processes; by default one per processor.
    does : callable
        The work itself.
    """
    jobs = min(jobs or usual_jobs(), _MAX_JOBS)

    def engine(tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        with single_threaded_workers():
            while under_way := (yield from _together(tasks, jobs, does)):
                yield from _isolate_crashing_item(under_way, does)

    return engine


def _together(
    tasks: Iterator[Task], jobs: int, does: Work
) -> Generator[tuple[Task, Outcome], None, list[Task]]:
    """Work until no task is left or a worker ends; return the tasks that were in progress then."""
    running: dict[Future[Outcome], Task] = {}
    suspects: list[Task] = []
    with _pool(jobs) as pool:
        while not suspects:
            for task in islice(tasks, _UNDER_WAY * jobs - len(running)):
                try:
                    running[_submit(pool, does, task)] = task
                except BrokenProcessPool:
                    suspects.append(task)
            if not running:
                break
            for future, outcome in _next_settled(running):
                task = running.pop(future)
                if outcome is None:
                    suspects.append(task)
                else:
                    yield task, outcome
    for future, task in running.items():  # all have ended, since the pool is shut down
        if not future.cancelled() and future.exception() is None:
            yield task, future.result()
        else:
            suspects.append(task)
    return suspects


def _isolate_crashing_item(tasks: list[Task], does: Work) -> Generator[tuple[Task, Outcome]]:
    """Work on tasks with a single worker, to find the one that ends it."""
    left = deque((task, _TRIES) for task in tasks)
    while left:
        with _pool(1) as pool, suppress(BrokenProcessPool):
            while left:
                task, tries = left[0]
                left[0] = task, tries - 1
                ((_, outcome),) = _next_settled([_submit(pool, does, task)])
                if outcome is None:
                    break
                left.popleft()
                yield task, outcome
        if left and left[0][1] == 0:
            yield left.popleft()[0], Outcome(b"", RowFacts.unusable(ENDED_ITS_WORKER))


@contextmanager
def _pool(jobs: int) -> Iterator[ProcessPoolExecutor]:
    """Start workers; any early exit (Ctrl-C, an error) ends them at once."""
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), initializer=_begin)
    try:
        yield pool
    except BaseException:
        for worker in set(multiprocessing.active_children()) - others:
            worker.terminate()
        # A worker may have ended amid writing a result. A reader of it waits as long as any process could
        # still write it, this one included.
        pool._result_queue._writer.close()  # type: ignore[attr-defined]
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _submit(pool: ProcessPoolExecutor, does: Work, task: Task) -> Future[Outcome]:
    """Submit a task; workers that start with it ignore Ctrl-C, which this process handles."""
    with _defer_sigint():
        return pool.submit(does, task)


def _next_settled(
    running: Iterable[Future[Outcome]],
) -> list[tuple[Future[Outcome], Outcome | None]]:
    """Wait until some tasks are done; return them with their outcome, None if the worker ended.

    Ctrl-C is handled between short waits only: amid one it would leave a future locked, and the pool could
    never be shut down.
    """
    running = tuple(running)
    while True:
        with _defer_sigint():
            finished, _ = wait(running, _HEARS_S, FIRST_COMPLETED)
            broken = {f for f in finished if isinstance(f.exception(), BrokenProcessPool)}
            settled = [(f, None if f in broken else f.result()) for f in finished]
        if settled:
            return settled


@contextmanager
def _defer_sigint() -> Iterator[None]:
    """Defer Ctrl-C until the end of the block."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def single_threaded_workers() -> Iterator[None]:
    """Make workers that start in the block compute in one thread: more only wait for one another.

    It must be set before they load their libraries, hence in the environment that they inherit.
    """
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _begin() -> None:
    """Initialise a worker: it ends with the process that started it, even if that one is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)
