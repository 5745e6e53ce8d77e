"""Long work that says how far it is and may be told to stop.

Readers and the analysis call :func:`report`, which costs a look at a context variable where nobody watches.
Whoever starts such work and wants to follow it, or to end it early, runs it inside :func:`watched`.

A context variable carries the watch, since it concerns the run and not what is read: no option of a reader
and no result depends on it, and it reaches through every layer between without being handed on by each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Watch = Callable[[float], None]
"""Takes the share done, 0 to 1; raises :class:`Cancelled` to end the work."""

T = TypeVar("T")

_WATCH: ContextVar[Watch | None] = ContextVar("reciprocal_watch", default=None)


class Cancelled(BaseException):
    """The work was told to stop; nothing of it is to be used.

    No ``Exception``, as with ``asyncio.CancelledError``: a boundary that turns whatever a foreign decoder
    raises into a sentence about the file must let it through.
    """


@contextmanager
def watched(watch: Watch) -> Iterator[None]:
    """Run what stands inside under a watch, in this thread alone.

    Examples
    --------
    >>> shares = []
    >>> with watched(shares.append):
    ...     tell(0.5)
    >>> tell(0.75)  # nobody watches any more
    >>> shares
    [0.5]
    """
    before = _WATCH.set(watch)
    try:
        yield
    finally:
        _WATCH.reset(before)


def report(share: float) -> None:
    """Tell the watcher watches how much is done.

    Raises
    ------
    Stopped
        If the work is to end here.
    """
    watch = _WATCH.get()
    if watch is not None:
        watch(share)


@contextmanager
def scope(low: float, high: float) -> Iterator[None]:
    """Let what stands inside be the part of the work from one share to another.

    Examples
    --------
    >>> shares = []
    >>> with watched(shares.append), part(0.5, 1.0):
    ...     tell(0.5)
    >>> shares
    [0.5, 0.75]
    """
    watch = _WATCH.get()
    if watch is None:
        yield
        return
    watch(low)
    with watched(lambda share: watch(low + (high - low) * share)):
        yield


def report_each(things: Iterable[T], total: int, every: int = 1) -> Iterator[T]:
    """Hand things on and tell how many are done, once in so many.

    Raises
    ------
    Stopped
        If the work is to end here.
    """
    for number, thing in enumerate(things):
        if number % every == 0:
            report(number / max(total, 1))
        yield thing
