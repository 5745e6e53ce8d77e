"""An outing on its way into the logbook: everything is read and analysed before anything is written."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np

from telemetry import __version__
from telemetry.analysis import Analysis, AnalysisProgress, Request, analyse
from telemetry.cleaning.corrections import Correction, group_corrections
from telemetry.core.errors import LogbookError, LogError
from telemetry.core.frames import FloatArray, Log
from telemetry.core.progress import scope
from telemetry.core.sanitize import safe_file_name
from telemetry.kinematics.whole_log import Motion
from telemetry.logbook import request as asked
from telemetry.logbook.queries import storable, storable_parts
from telemetry.logbook.records import NamedLog
from telemetry.logbook.summary import SummaryRows, parse_utc, summary_rows
from telemetry.readers import ReadOptions, explain_table, open_bytes, open_file, read_bytes

_LEVEL: Final = 6
# What counts as use of the boat for its service: common practice, no source.
_UNDER_WAY_MPS: Final = 1.0
_LONGEST_STEP_S: Final = 2.0


@dataclass(frozen=True)
class Intake:
    """Logs taken in: those that could be read, as bytes and as logs, and the errors of the others."""

    named: tuple[NamedLog, ...]
    read: tuple[Log, ...]
    unused: tuple[LogError, ...]


@dataclass(frozen=True)
class Prepared:
    """An analysis ready to be written.

    Attributes
    ----------
    analysis : Analysis
    document : dict
        The analysis as the output contract writes it.
    request : dict
        What was asked, see :mod:`telemetry.logbook.request`.
    """

    analysis: Analysis
    document: dict[str, Any]
    request: dict[str, Any]

    @property
    def figures(self) -> SummaryRows:
        """The numbers for the tables."""
        return summary_rows(self.document)

    @property
    def under_way_s(self) -> float | None:
        """How long the boat was under way, in one speed log or another [s]; None without one.

        What two logs saw at once counts once. A log without a date has no place among the others: it counts
        where it saw more than all of them.
        """
        dated: list[FloatArray] = []
        alone_s: list[float] = []
        for log in self.analysis.speed_logs:
            spans_s = _spans_under_way(log.motion)
            start_utc = log.cleaned.track.meta.start_utc
            if start_utc is None:
                alone_s.append(_union_s(spans_s))
            else:
                dated.append(spans_s + start_utc.timestamp())
        if not dated and not alone_s:
            return None
        return max([*alone_s, _union_s(np.concatenate(dated)) if dated else 0.0])

    @property
    def start_utc(self) -> datetime | None:
        """When the outing began: a speed log knows; a motor log's own date counts where there is none."""
        for kind in ("speed", "motor"):
            starts = [parse_utc(log["start_utc"]) for log in self.document["logs"] if log["kind"] == kind]
            known = [start for start in starts if start is not None]
            if known:
                return min(known)
        return None


def _spans_under_way(motion: Motion) -> FloatArray:
    """Return begin and end of each step at which the boat moves, short of silence; shape (n, 2) [s]."""
    steps_s = np.minimum(np.diff(motion.t_s, append=motion.t_s[-1:]), _LONGEST_STEP_S)
    moves = np.nan_to_num(motion.speed_mps) > _UNDER_WAY_MPS
    return np.column_stack([motion.t_s, motion.t_s + steps_s])[moves]


def _union_s(spans_s: FloatArray) -> float:
    """Measure the time that spans cover together, shape (n, 2) [s]."""
    if not spans_s.size:
        return 0.0
    begin, end = spans_s[np.argsort(spans_s[:, 0])].T
    covered = np.maximum.accumulate(np.r_[begin[0], end[:-1]])
    return float(np.sum(np.maximum(end - np.maximum(begin, covered), 0.0)))


def digest(data: bytes) -> str:
    """Return the id of a log: the SHA-256 of its bytes."""
    return hashlib.sha256(data).hexdigest()


def take_in(logs: Iterable[Path | NamedLog]) -> tuple[tuple[NamedLog, ...], tuple[LogError, ...]]:
    """Read files into memory, each content once; archives give the logs in them.

    A log keeps its own name, neither the folder it lay in nor the archive.
    """
    taken: dict[str, NamedLog] = {}
    errors: list[LogError] = []
    for log in logs:
        opened = open_file(log) if isinstance(log, Path) else open_bytes(log.data, log.file)
        errors += opened.errors
        for found in opened.files:
            taken.setdefault(digest(found.data), NamedLog(safe_file_name(found.file), found.data))
    return tuple(taken.values()), tuple(errors)


def read_outing_logs(
    logs: Sequence[NamedLog],
    options: ReadOptions,
    unread: Sequence[LogError] = (),
    progress: AnalysisProgress | None = None,
) -> Intake:
    """Read logs; ``unread`` are errors met before.

    Raises
    ------
    LogError
        If none can be read; the first one's.
    """
    usable: list[NamedLog] = []
    read: list[Log] = []
    unused = list(unread)
    for k, log in enumerate(logs):
        if progress:
            progress(f"reading {log.file}", 0.5 * k / len(logs))
        try:
            with scope(0.5 * k / len(logs), 0.5 * (k + 1) / len(logs)):
                read += read_bytes(log.data, log.file, options)
        except LogError as error:
            unused.append(error)
        else:
            usable.append(log)
    if not usable:
        raise unused[0] if unused else LogbookError("no log was given", hint="name the logs of the outing")
    return Intake(tuple(usable), tuple(read), tuple(unused))


def complete_options(former: ReadOptions, now: ReadOptions | None) -> ReadOptions:
    """Complete what readers are told now by what they were told before."""
    if now is None:
        return former
    return ReadOptions(
        {**former.headings, **now.headings},
        former.pole_pairs if now.pole_pairs is None else now.pole_pairs,
        former.gear_ratio if now.gear_ratio is None else now.gear_ratio,
        {**former.kept, **now.kept},
    )


def drop_unused_maps(named: Sequence[NamedLog], options: ReadOptions) -> ReadOptions:
    """Leave out the heading maps that no table among the logs needs: the rest is kept with the analysis."""
    used = {}
    for log in named:
        with suppress(LogError):  # it is no table
            kept = explain_table(log.data, log.file, options).kept
            if kept is not None:
                used[kept.id] = kept
    return replace(options, kept=used)


def prepare(
    read: Sequence[Log], request: Request, options: ReadOptions, progress: AnalysisProgress | None = None
) -> Prepared:
    """Analyse the logs of one outing.

    Raises
    ------
    RuleError, CallError
        If the request cannot be used.
    """
    request = replace(
        request, by_hand=group_corrections([storable_correction(one) for one in request.by_hand.all])
    )
    with scope(0.5, 1.0):
        analysis = analyse(read, request, progress=progress)
    return Prepared(analysis, analysis.to_dict(), storable_parts(asked.to_dict(request, options)))


def storable_correction(one: Correction) -> Correction:
    """Return a correction whose reason every database takes."""
    return replace(one, why=storable(one.why))


def packed(data: bytes) -> tuple[str, bytes]:
    """Return how a log is stored and its stored bytes: pressed where that makes it smaller."""
    pressed = zlib.compress(data, _LEVEL)
    return ("zlib", pressed) if len(pressed) < len(data) else ("plain", data)


def unpacked(packing: str, content: bytes, sha256: str) -> bytes:
    """Give a log's bytes back, and hold them to their hash.

    Raises
    ------
    LogbookError
        If they are not the bytes that were stored.
    """
    try:
        data = zlib.decompress(content) if packing == "zlib" else content
    except zlib.error:
        data = b""
    if digest(data) != sha256:
        raise LogbookError(
            f"the log {sha256[:12]} is damaged: its bytes do not give its hash",
            hint="restore your latest backup into a new logbook",
        )
    return data


def press_document(document: dict[str, Any]) -> bytes:
    """Return an analysis' document as it is stored."""
    text = json.dumps(document, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return zlib.compress(text.encode(), _LEVEL)


def open_document(content: bytes) -> dict[str, Any]:
    """Read a stored document."""
    document: dict[str, Any] = json.loads(zlib.decompress(content))
    return document


def now_utc() -> datetime:
    """Return this moment."""
    return datetime.now(UTC)


PROGRAM_VERSION: Final = __version__
