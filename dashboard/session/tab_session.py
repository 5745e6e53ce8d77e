"""The logs that one browser tab has loaded, in memory, and the results computed from them."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from dashboard.session.jobs import Job, JobKind, Queue
from dashboard.session.memory import held_bytes
from dashboard.session.saved_outing import SavedOuting
from dashboard.session.uploads import MAX_BYTES, MAX_FILES, TOO_MUCH, Upload
from telemetry.analysis import Analysis, Request, analyse, rejudge
from telemetry.cleaning.corrections import ByHand
from telemetry.core.frames import Log
from telemetry.twoway.rules import Rule

_REMEMBERED_ANSWERS: Final = 8


def _new_edition() -> str:
    # A tab may outlive its session, so that a count from zero could name another session's answers.
    return secrets.token_hex(8)


@dataclass
class Session:
    """The logs, rules and latest answers of one browser tab, and its jobs.

    Attributes
    ----------
    uploads : dict of str to Upload
        By content hash, in order of arrival.
    rules : dict of str to Rule
        The user's own rules by name.
    by_hand : ByHand
        What the reader corrected in these logs.
    corrected : bool
        Whether anything was ever corrected here, or an outing with corrections was opened.
    who : str
        Name of the person who corrects, for the logbook; empty if unknown.
    asked : dict of str to object
        Initial values of the page's controls, by the names of ``RequestForm``: from the request of an
        opened outing, or from the setup sheet that the logs were saved with.
    kept : SavedOuting or None
        The outing that these logs were saved as, or those removed then.
    lost : str
        Why logs that were here are gone, in words for the reader; empty if none are.
    queue : Queue
        The reading, analysing and saving in the background.
    revision : int
        Increases with every change of ``uploads``, ``rules`` or the answers.
    """

    uploads: dict[str, Upload] = field(default_factory=dict)
    rules: dict[str, Rule] = field(default_factory=dict)
    by_hand: ByHand = field(default_factory=ByHand)
    corrected: bool = False
    who: str = ""
    asked: dict[str, object] = field(default_factory=dict)
    kept: SavedOuting | None = None
    lost: str = ""
    queue: Queue = field(default_factory=Queue, repr=False)
    revision: int = 0
    grown: Callable[[], None] | None = field(default=None, repr=False)
    _answers: OrderedDict[Request, Analysis] = field(default_factory=OrderedDict, repr=False)
    _state: int = field(default=0, repr=False)
    _answered: int = field(default=0, repr=False)
    _edition: str = field(default_factory=_new_edition, repr=False)
    _held: int = field(default=0, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)
    _judging: threading.Lock = field(default_factory=threading.Lock, repr=False)

    @property
    def logs(self) -> tuple[Log, ...]:
        """Every log that was read."""
        return tuple(log for upload in self.uploads.values() for log in upload.logs)

    @property
    def stale(self) -> bool:
        """Whether the logs have changed since the answers were computed."""
        return self._state != self._answered

    @property
    def has_answer(self) -> bool:
        """Whether there is anything to show."""
        return bool(self._answers)

    @property
    def held_bytes(self) -> int:
        """Memory held: files, logs and results, and files waiting to be read [byte]."""
        return self._held + self.queue.waiting_bytes

    def has_room(self, n_bytes: int) -> bool:
        """Return whether another file of this size fits, together with those waiting to be read."""
        files = len(self.uploads) + self.queue.count("reading")
        taken = sum(u.size for u in self.uploads.values()) + self.queue.waiting_bytes
        return files < MAX_FILES and taken + n_bytes <= MAX_BYTES

    @property
    def latest(self) -> Analysis | None:
        """The latest answer, whatever the request; None before any."""
        with self._lock:
            return next(reversed(self._answers.values()), None)

    def put(self, upload: Upload) -> None:
        """Add a file or replace the same one; one that would be too much is stored as its own error."""
        with self._lock:
            others = [u for u in self.uploads.values() if u.key != upload.key]
            if len(others) >= MAX_FILES or sum(u.size for u in others) + upload.size > MAX_BYTES:
                upload = upload.refused(*TOO_MUCH)
            before = self.logs
            self.uploads[upload.key] = upload
            turned_away = [key for key, u in self.uploads.items() if u.error is not None and u.data is None]
            for key in turned_away[:-MAX_FILES]:
                del self.uploads[key]
            self.lost = ""
            self._changed(before)
        self._weigh()

    def remove(self, key: str) -> None:
        """Remove a file."""
        with self._lock:
            before = self.logs
            self.uploads.pop(key, None)
            self.by_hand = self.by_hand.without(*(c for c in self.by_hand.all if key in c.logs))
            if not self.uploads:
                self.asked = {}
            self._changed(before)
        self._weigh()

    def add_rule(self, rule: Rule) -> None:
        """Store a rule of the user's own."""
        with self._lock:
            self.rules[rule.name] = rule
            self.revision += 1

    def correct(self, by_hand: ByHand) -> None:
        """Set the corrections by hand, replacing all earlier ones."""
        with self._lock:
            self.corrected = self.corrected or self.by_hand != by_hand
            self.by_hand = by_hand
            self.revision += 1

    def keep(self, kept: SavedOuting, asked: dict[str, object]) -> None:
        """Record the outing that the logs were saved as, and the new values of the page's controls."""
        with self._lock:
            self.kept = kept
            self.asked = asked
            self.revision += 1

    def failure(self, kind: JobKind) -> str:
        """Return why the latest job of a kind failed, once; empty if none did."""
        said = ""
        for view in self.queue.views:
            if view.kind == kind and view.state == "failed":
                said = view.said
                self.queue.forget(view.key)
        return said

    def settle(self) -> None:
        """Analyse the logs in the background, once those still to come have been read."""
        self.queue.cancel_all("analysing")
        self._forget_analyses()
        if self.stale or self.queue.count("reading"):
            self.queue.add(Job("analysing", "", self._analysing))

    def cancel(self, key: str | None = None) -> None:
        """Cancel one job, or all.

        An answer for other logs than the present ones is withdrawn together with the analysis that was to
        replace it, so that nobody takes it for theirs.
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
        """Answer a request about the loaded logs, however long it takes; None if there are none.

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
        """Answer a request from results computed already; None if there are none.

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

    def edition(self, request: Request) -> str:
        """Identify the answer to a request: while the id is the same, a page need not change."""
        with self._lock:
            return f"{self._edition} {hash(request)}"

    def close(self) -> None:
        """End all jobs and release everything."""
        self.queue.close()
        with self._lock:
            self.uploads.clear()
            self._forget_answers()
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
            self._forget_answers()
            self.revision += 1

    def _forget_answers(self) -> None:
        self._answers.clear()
        self._edition = _new_edition()

    def _take(self, made: Analysis, state: int) -> None:
        """Store an answer, unless the logs have changed meanwhile."""
        with self._lock:
            if state == self._state:
                self._forget_answers()
                self._answers[made.request] = made
                self._answered = state
                self.revision += 1

    def _changed(self, before: tuple[Log, ...]) -> None:
        self.revision += 1
        if list(map(id, self.logs)) != list(map(id, before)):
            self._state += 1
            self.kept = None
        if not self.logs:
            self._answers.clear()
            self._answered = self._state

    def _weigh(self) -> None:
        """Update the memory held; the server may have to make room for it."""
        with self._lock:
            made = [(a.speed_logs, a.motor_logs, a.measured, a.motors) for a in self._answers.values()]
            uploads = list(self.uploads.values())
        self._held = held_bytes(uploads, made)
        if self.grown is not None:
            self.grown()
