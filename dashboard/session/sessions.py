"""The sessions of all browser tabs: isolated from each other, bounded, and dropped when idle."""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Final

from dashboard.session.jobs import Queue
from dashboard.session.tab_session import Session

__all__ = ["IDLE", "MAX_BYTES_OF_ALL", "NO_ROOM", "Session", "Sessions", "new_token"]

_TOKEN: Final = re.compile(r"[A-Za-z0-9_-]{32,64}")
MAX_BYTES_OF_ALL: Final = 1_000_000_000
"""Memory limit of all sessions of a server: files, logs and results [byte]."""
_MAX_REMEMBERED_GONE: Final = 1000
_WORKERS: Final = 2
NO_ROOM: Final = (
    "Your logs are no longer loaded: others needed the memory, and your logs had been unused the "
    "longest. Drop them again to continue; outings saved in the logbook are still there."
)
IDLE: Final = (
    "Your logs are no longer loaded, because this page was unused for hours. Drop them again to continue; "
    "outings saved in the logbook are still there."
)


def new_token() -> str:
    """Return a session name that cannot be guessed."""
    return secrets.token_urlsafe(32)


class Sessions:
    """All sessions of one server: bounded in number and in memory, dropped when idle.

    Parameters
    ----------
    limit : int
        Maximum number of sessions; the one idle longest is dropped first.
    idle_s : float
        How long an unused session is kept [s].
    clock : callable
        Returns increasing seconds; tests pass their own.
    reader : callable
        Returns who is asking. A session belongs to the reader who opened it: the same token from another
        reader is another session.
    most_bytes : int
        Memory limit of all sessions [byte]; above it the one idle longest is dropped first.
    workers : int
        Threads that read and analyse for all sessions; without any the page waits for the work.
    """

    def __init__(
        self,
        limit: int = 32,
        idle_s: float = 6 * 3600.0,
        clock: Callable[[], float] = time.monotonic,
        reader: Callable[[], str] = str,
        most_bytes: int = MAX_BYTES_OF_ALL,
        workers: int = _WORKERS,
    ) -> None:
        self._limit = limit
        self._idle_s = idle_s
        self._clock = clock
        self._reader = reader
        self._most_bytes = most_bytes
        self._pool = ThreadPoolExecutor(workers, "reading") if workers else None
        self._lock = threading.RLock()
        self._sessions: OrderedDict[tuple[str, str], tuple[float, Session]] = OrderedDict()
        self._gone: OrderedDict[tuple[str, str], str] = OrderedDict()

    def __len__(self) -> int:
        """Return the number of sessions."""
        return len(self._sessions)

    @property
    def held_bytes(self) -> int:
        """Memory held by all sessions [byte]."""
        with self._lock:
            return sum(session.held_bytes for _, session in self._sessions.values())

    def peek(self, token: str | None) -> Session:
        """Return a session for reading; an unknown token gets an empty one that is not stored."""
        with self._lock:
            self._expire()
            return self._touch(token) or Session(lost=self._gone.get((self._reader(), token or ""), ""))

    def open(self, token: str | None) -> Session:
        """Return a session for changes, creating it if the token is new.

        Raises
        ------
        ValueError
            If the token is not from :func:`new_token`.
        """
        with self._lock:
            self._expire()
            found = self._touch(token)
            if found is None:
                if token is None or not _TOKEN.fullmatch(token):
                    raise ValueError("no such session; load the page again")
                key = (self._reader(), token)
                # The idle time counts from now, so that no page takes this session for one it has lost.
                began = int(time.time() * 1000)
                found = Session(
                    queue=Queue(self._pool, self._clock), lost=self._gone.get(key, ""), revision=began
                )
                found.grown = lambda: self._make_room(key)
                self._sessions[key] = (self._clock(), found)
                while len(self._sessions) > self._limit:
                    self._drop(next(iter(self._sessions)), NO_ROOM)
            return found

    def close(self) -> None:
        """End all work; the server stops."""
        with self._lock:
            for _, session in self._sessions.values():
                session.queue.close()
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def _touch(self, token: str | None) -> Session | None:
        key = (self._reader(), token or "")
        if key not in self._sessions:
            return None
        session = self._sessions[key][1]
        session.queue.hear()
        self._sessions[key] = (self._clock(), session)
        self._sessions.move_to_end(key)
        return session

    def _expire(self) -> None:
        oldest_kept = self._clock() - self._idle_s
        while self._sessions and next(iter(self._sessions.values()))[0] < oldest_kept:
            self._drop(next(iter(self._sessions)), IDLE)

    def _make_room(self, grown: tuple[str, str]) -> None:
        """Drop the longest idle sessions until all fit, but never the one that has just grown."""
        with self._lock:
            for key in list(self._sessions):
                if self.held_bytes <= self._most_bytes:
                    return
                if key != grown:
                    self._drop(key, NO_ROOM)

    def _drop(self, key: tuple[str, str], why: str) -> None:
        _, session = self._sessions.pop(key)
        if session.uploads or session.queue.under_way:
            self._gone[key] = why
            while len(self._gone) > _MAX_REMEMBERED_GONE:
                self._gone.popitem(last=False)
        session.close()
