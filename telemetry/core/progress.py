"""Progress and cancellation of long work.

Readers and the analysis call :func:`report`, which costs one context-variable lookup if nobody watches.
A caller who wants to follow such work, or to end it early, runs it inside :func:`watched`.

A context variable carries the callback, since it concerns the run and not the data: no option of a reader
and no result depends on it, and the layers in between do not have to pass it on.
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
    """The work was cancelled; none of it is to be used.

    Not an ``Exception``, as with ``asyncio.CancelledError``: code that turns whatever exception a third-party
    decoder raises into a message about the file must not catch it.
    """


@contextmanager
def watched(watch: Watch) -> Iterator[None]:
    """Call ``watch`` with the progress of the enclosed work, in this thread only.

    Examples
    --------
    >>> shares = []
    >>> with watched(shares.append):
    ...     report(0.5)
    >>> report(0.75)  # nobody watches any more
    >>> shares
    [0.5]
    """
    before = _WATCH.set(watch)
    try:
        yield
    finally:
        _WATCH.reset(before)


def report(share: float) -> None:
    """Report the share of the work that is done.

    Raises
    ------
    Cancelled
        If the work is to end here.
    """
    watch = _WATCH.get()
    if watch is not None:
        watch(share)


@contextmanager
def scope(low: float, high: float) -> Iterator[None]:
    """Map nested progress onto the range [low, high].

    Examples
    --------
    >>> shares = []
    >>> with watched(shares.append), scope(0.5, 1.0):
    ...     report(0.5)
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
    """Yield the things and report progress after every ``every``-th one.

    Parameters
    ----------
    things : iterable
        The things to yield.
    total : int
        How many there are.
    every : int
        How often to report.

    Raises
    ------
    Cancelled
        If the work is to end here.
    """
    for number, thing in enumerate(things):
        if number % every == 0:
            report(number / max(total, 1))
        yield thing
