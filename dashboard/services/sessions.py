"""What one browser tab has loaded, kept in memory, apart from every other's and not for ever."""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from dashboard.services.uploads import MOST_BYTES, MOST_FILES, Upload
from telemetry.analysis import Analysis, Request, analyse, rejudge
from telemetry.frames import Log
from telemetry.rules import Rule

_TOKEN: Final = re.compile(r"[A-Za-z0-9_-]{32,64}")
_REMEMBERED_ANSWERS: Final = 8


def new_token() -> str:
    """Return a name for a session that nobody can guess."""
    return secrets.token_urlsafe(32)


@dataclass
class Session:
    """The logs, rules and latest answers of one browser tab.

    Attributes
    ----------
    uploads : dict of str to Upload
        By content hash, in the order they came.
    rules : dict of str to Rule
        The user's own rules by name.
    facts : dict of str to float
        What a setup sheet says of the power train of logs that came out of the logbook, by the names of
        :data:`dashboard.components.power.FACTS`.
    revision : int
        Grows with every change of ``uploads`` or ``rules``.
    """

    uploads: dict[str, Upload] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    facts: dict[str, float] = field(default_factory=dict)
    revision: int = 0
    _answers: OrderedDict[Request, Analysis] = field(default_factory=OrderedDict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def logs(self) -> tuple[Log, ...]:
        """Every log that was read."""
        return tuple(log for upload in self.uploads.values() for log in upload.logs)

    @property
    def latest(self) -> Analysis | None:
        """The answer that was given last, whatever was asked; None before any."""
        with self._lock:
            return next(reversed(self._answers.values()), None)

    def put(self, upload: Upload) -> None:
        """Add a file or replace the same one; one that would be too much is kept as its own refusal."""
        with self._lock:
            others = [u for u in self.uploads.values() if u.key != upload.key]
            if len(others) >= MOST_FILES or sum(u.size for u in others) + upload.size > MOST_BYTES:
                upload = upload.refused("too much is loaded already", "remove some files, then drop it again")
            self.uploads[upload.key] = upload
            turned_away = [key for key, u in self.uploads.items() if u.error is not None and u.data is None]
            for key in turned_away[:-MOST_FILES]:
                del self.uploads[key]
            self._changed()

    def remove(self, key: str) -> None:
        """Forget a file."""
        with self._lock:
            self.uploads.pop(key, None)
            if not self.uploads:
                self.facts.clear()
            self._changed()

    def add_rule(self, rule: Rule) -> None:
        """Keep a rule of the user's own."""
        with self._lock:
            self.rules[rule.name] = rule
            self.revision += 1

    def analysis(self, request: Request) -> Analysis | None:
        """Answer a request about the logs loaded; None while there is none.

        The logs are analysed once; a changed rule, distance or pair of gates only judges again.
        """
        with self._lock:
            if request in self._answers:
                self._answers.move_to_end(request)
                return self._answers[request]
            if not self.logs:
                return None
            known = next(reversed(self._answers.values()), None)
            answer = analyse(self.logs, request) if known is None else rejudge(known, request)
            self._answers[request] = answer
            while len(self._answers) > _REMEMBERED_ANSWERS:
                self._answers.popitem(last=False)
            return answer

    def _changed(self) -> None:
        self.revision += 1
        self._answers.clear()


class Sessions:
    """All sessions of one server: bounded in number, dropped when idle.

    Parameters
    ----------
    limit : int
        How many to keep; the one idle longest goes first.
    idle_s : float
        How long an unused session is kept [s].
    clock : callable
        Seconds that only grow; tests pass their own.
    reader : callable
        Names who is asking. A session belongs to the reader who opened it: the same token from another one
        is another session.
    """

    def __init__(
        self,
        limit: int = 32,
        idle_s: float = 6 * 3600.0,
        clock: Callable[[], float] = time.monotonic,
        reader: Callable[[], str] = str,
    ) -> None:
        self._limit = limit
        self._idle_s = idle_s
        self._clock = clock
        self._reader = reader
        self._lock = threading.Lock()
        self._sessions: OrderedDict[tuple[str, str], tuple[float, Session]] = OrderedDict()

    def __len__(self) -> int:
        """Count the sessions kept."""
        return len(self._sessions)

    def peek(self, token: str | None) -> Session:
        """Return a session to look at; an unknown token gets an empty one that is not kept."""
        with self._lock:
            self._expire()
            return self._touch(token) or Session()

    def open(self, token: str | None) -> Session:
        """Return a session to change, making it where the token is new.

        Raises
        ------
        ValueError
            If the token is none that :func:`new_token` makes.
        """
        with self._lock:
            self._expire()
            found = self._touch(token)
            if found is None:
                if token is None or not _TOKEN.fullmatch(token):
                    raise ValueError("no such session; load the page again")
                found = Session()
                self._sessions[self._reader(), token] = (self._clock(), found)
                while len(self._sessions) > self._limit:
                    self._sessions.popitem(last=False)
            return found

    def _touch(self, token: str | None) -> Session | None:
        key = (self._reader(), token or "")
        if key not in self._sessions:
            return None
        session = self._sessions[key][1]
        self._sessions[key] = (self._clock(), session)
        self._sessions.move_to_end(key)
        return session

    def _expire(self) -> None:
        oldest_kept = self._clock() - self._idle_s
        while self._sessions and next(iter(self._sessions.values()))[0] < oldest_kept:
            self._sessions.popitem(last=False)
