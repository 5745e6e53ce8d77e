"""What one browser tab has loaded, kept in memory, apart from every other's, within bounds, not for ever."""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Final

from dashboard.services.entries import Kept
from dashboard.services.jobs import Job, Kind, Queue
from dashboard.services.memory import held_bytes
from dashboard.services.uploads import MOST_BYTES, MOST_FILES, TOO_MUCH, Upload
from telemetry.analysis import Analysis, Request, analyse, rejudge
from telemetry.byhand import ByHand
from telemetry.frames import Log
from telemetry.rules import Rule

_TOKEN: Final = re.compile(r"[A-Za-z0-9_-]{32,64}")
_REMEMBERED_ANSWERS: Final = 8
MOST_BYTES_OF_ALL: Final = 1_000_000_000
"""What all sessions of a server may hold together: files, what was read from them and what was made of it."""
_MOST_REMEMBERED_GONE: Final = 1000
_WORKERS: Final = 2
NO_ROOM: Final = (
    "Your logs are no longer loaded: other readers' logs needed the memory, and yours had been unused the "
    "longest. Drop them again to go on; what you kept in the logbook is still there."
)
IDLE: Final = (
    "Your logs are no longer loaded, since this page was unused for hours. Drop them again to go on; what "
    "you kept in the logbook is still there."
)


def new_token() -> str:
    """Return a name for a session that nobody can guess."""
    return secrets.token_urlsafe(32)


@dataclass
class Session:
    """The logs, rules and latest answers of one browser tab, and what is being done for it.

    Attributes
    ----------
    uploads : dict of str to Upload
        By content hash, in the order they came.
    rules : dict of str to Rule
        The user's own rules by name.
    by_hand : ByHand
        What the reader corrected in these logs.
    who : str
        Who says so, for the logbook to record; empty where nobody said.
    asked : dict of str to object
        What the page's controls begin with, by the names of ``dashboard.services.questions.Asked``: as an
        outing that was laid open was asked, or as the setup sheet says that the logs were kept with.
    kept : Kept or None
        The latest outing that logs were kept as.
    lost : str
        Why logs that were here are no longer, in words for their reader; empty where nothing was lost.
    queue : Queue
        What is read, analysed and kept in the background.
    revision : int
        Grows with every change of ``uploads``, ``rules`` or the answers.
    """

    uploads: dict[str, Upload] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    by_hand: ByHand = field(default_factory=ByHand)
    who: str = ""
    asked: dict[str, object] = field(default_factory=dict)
    kept: Kept | None = None
    lost: str = ""
    queue: Queue = field(default_factory=Queue, repr=False)
    revision: int = 0
    grown: Callable[[], None] | None = field(default=None, repr=False)
    _answers: OrderedDict[Request, Analysis] = field(default_factory=OrderedDict, repr=False)
    _state: int = field(default=0, repr=False)
    _answered: int = field(default=0, repr=False)
    _held: int = field(default=0, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)
    _judging: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def logs(self) -> tuple[Log, ...]:
        """Every log that was read."""
        return tuple(log for upload in self.uploads.values() for log in upload.logs)

    @property
    def stale(self) -> bool:
        """Whether the logs are others than those that the answers are of."""
        return self._state != self._answered

    @property
    def has_answer(self) -> bool:
        """Whether there is anything to show."""
        return bool(self._answers)

    @property
    def held_bytes(self) -> int:
        """What this session holds: files, what was read and made of them, what waits to be read [byte]."""
        return self._held + self.queue.waiting_bytes

    def has_room(self, n_bytes: int) -> bool:
        """Tell whether another file of so many bytes may come in, beside what waits to be read."""
        files = len(self.uploads) + self.queue.count("reading")
        taken = sum(u.size for u in self.uploads.values()) + self.queue.waiting_bytes
        return files < MOST_FILES and taken + n_bytes <= MOST_BYTES

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
                upload = upload.refused(*TOO_MUCH)
            before = self.logs
            self.uploads[upload.key] = upload
            turned_away = [key for key, u in self.uploads.items() if u.error is not None and u.data is None]
            for key in turned_away[:-MOST_FILES]:
                del self.uploads[key]
            self.lost = ""
            self._changed(before)
        self._weigh()

    def remove(self, key: str) -> None:
        """Forget a file."""
        with self._lock:
            before = self.logs
            self.uploads.pop(key, None)
            self.by_hand = self.by_hand.without(*(c for c in self.by_hand.all if key in c.logs))
            if not self.uploads:
                self.asked = {}
            self._changed(before)
        self._weigh()

    def add_rule(self, rule: Rule) -> None:
        """Keep a rule of the user's own."""
        with self._lock:
            self.rules[rule.name] = rule
            self.revision += 1

    def correct(self, by_hand: ByHand) -> None:
        """Correct the logs by hand, in the place of all that was corrected before."""
        with self._lock:
            self.by_hand = by_hand
            self.revision += 1

    def keep(self, kept: Kept, asked: dict[str, object]) -> None:
        """Note which outing the logs were kept as, and what the page's controls are to show then."""
        with self._lock:
            self.kept = kept
            self.asked = asked
            self.revision += 1

    def failure(self, kind: Kind) -> str:
        """Say why the latest job of a kind failed, once; empty where none did."""
        said = ""
        for view in self.queue.views:
            if view.kind == kind and view.state == "failed":
                said = view.said
                self.queue.forget(view.key)
        return said

    def settle(self) -> None:
        """Have the logs analysed in the background, once those that are still to come have been read."""
        self.queue.cancel_all("analysing")
        self._forget_analyses()
        if self.stale or self.queue.count("reading"):
            self.queue.add(Job("analysing", "", self._analysing))

    def cancel(self, key: str | None = None) -> None:
        """Cancel one job, or all.

        An answer that is not of the logs that are here now is taken back with the analysis that was to
        replace it: nobody is to take it for theirs.
        """
        if key is None:
            self.queue.cancel_all()
        else:
            self.queue.cancel(key)
        if not self.stale:
            self._forget_analyses()  # there was nothing to analyse
        elif not self.queue.count("analysing"):
            self._take_back()

    def analysis(self, request: Request) -> Analysis | None:
        """Answer a request about the logs loaded, however long it takes; None while there is none.

        The logs are analysed once; a changed rule, distance or pair of gates only judges again.
        """
        with self._lock:
            logs, state = self.logs, self._state
        if not logs:
            return None
        if not self.stale:
            return self.answer(request)
        made = analyse(logs, request)
        self._take(made, state)
        return made

    def answer(self, request: Request) -> Analysis | None:
        """Answer a request from what was made of the logs; None where nothing was made yet.

        While other logs are being read or analysed it is the answer for those before.
        """
        with self._judging:
            with self._lock:
                if request in self._answers:
                    self._answers.move_to_end(request)
                    return self._answers[request]
                known = next(reversed(self._answers.values()), None)
            if known is None:
                return None
            answer = rejudge(known, request)
            with self._lock:
                if next(reversed(self._answers.values()), None) is known:
                    self._answers[request] = answer
                    while len(self._answers) > _REMEMBERED_ANSWERS:
                        self._answers.popitem(last=False)
            return answer

    def close(self) -> None:
        """End what is under way and let go of everything."""
        self.queue.close()
        with self._lock:
            self.uploads.clear()
            self._answers.clear()
            self._held = 0

    def _analysing(self, job: Job) -> None:
        with self._lock:
            logs, state = self.logs, self._state
        if not logs or not self.stale:
            return
        try:
            made = analyse(logs, Request())
        except Exception:
            self._take_back()
            raise
        job.conclude()
        self._take(made, state)
        self._weigh()

    def _forget_analyses(self) -> None:
        for view in self.queue.views:
            if view.kind == "analysing":
                self.queue.forget(view.key)

    def _take_back(self) -> None:
        with self._lock:
            self._answers.clear()
            self.revision += 1

    def _take(self, made: Analysis, state: int) -> None:
        """Keep an answer, unless the logs are others by now."""
        with self._lock:
            if state == self._state:
                self._answers.clear()
                self._answers[made.request] = made
                self._answered = state
                self.revision += 1

    def _changed(self, before: tuple[Log, ...]) -> None:
        self.revision += 1
        if list(map(id, self.logs)) != list(map(id, before)):
            self._state += 1
        if not self.logs:
            self._answers.clear()
            self._answered = self._state

    def _weigh(self) -> None:
        """Reckon anew what is held; the server may have to make room for it."""
        with self._lock:
            made = [(a.speed_logs, a.motor_logs, a.measured, a.motors) for a in self._answers.values()]
            uploads = list(self.uploads.values())
        self._held = held_bytes(uploads, made)
        if self.grown is not None:
            self.grown()


class Sessions:
    """All sessions of one server: bounded in number and in memory, dropped when idle.

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
    most_bytes : int
        What all may hold together [byte]; past it the one idle longest goes first.
    workers : int
        How many threads read and analyse for all of them; with none it is done while the page waits.
    """

    def __init__(
        self,
        limit: int = 32,
        idle_s: float = 6 * 3600.0,
        clock: Callable[[], float] = time.monotonic,
        reader: Callable[[], str] = str,
        most_bytes: int = MOST_BYTES_OF_ALL,
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
        """Count the sessions kept."""
        return len(self._sessions)

    @property
    def held_bytes(self) -> int:
        """What all sessions hold together [byte]."""
        with self._lock:
            return sum(session.held_bytes for _, session in self._sessions.values())

    def peek(self, token: str | None) -> Session:
        """Return a session to look at; an unknown token gets an empty one that is not kept."""
        with self._lock:
            self._expire()
            return self._touch(token) or Session(lost=self._gone.get((self._reader(), token or ""), ""))

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
                key = (self._reader(), token)
                # Counted from now, so that no page takes this session for one that it has lost.
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
        """End everything that is under way; the server stops."""
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
        """Let the longest idle go until all fit, but never the one that has just grown."""
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
            while len(self._gone) > _MOST_REMEMBERED_GONE:
                self._gone.popitem(last=False)
        session.close()
