"""Corrections by hand on the page "After the water", and what can be corrected."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Final

import numpy as np
import pandas as pd

from dashboard.session.tab_session import Session
from telemetry.analysis import Analysis
from telemetry.cleaning.corrections import (
    RESTORABLE,
    ClockByHand,
    Correction,
    Cut,
    Restored,
    in_stretches,
    log_key,
    parse_moment_s,
)
from telemetry.core.errors import CallError
from telemetry.core.frames import Finding, Track
from telemetry.logbook import open_logbook
from telemetry.motor.sync.assign import MotorAssignment
from telemetry.passes.find import Pass

MAX_RUNS: Final = 12
_ROUNDED_S: Final = 0.006
_DAY_S: Final = 86_400.0


@dataclass(frozen=True, slots=True)
class Done:
    """A correction: its key for undoing it, what was done and why."""

    key: str
    what: str
    why: str
    kind: str


@dataclass(frozen=True, slots=True)
class Aside:
    """A run of samples that the cleaning excluded."""

    log: str
    start_s: float
    end_s: float
    what: str


@dataclass(frozen=True, slots=True)
class ClockNow:
    """A motor log's clock, and the automatic estimate.

    Attributes
    ----------
    motor : str
        The motor log's key.
    offset_s : float
        The clock that the page shows and steps from: by hand, automatic, or a first guess.
    by_hand : bool
    own, apart : str
        The automatic estimate and its distance from the clock, in words.
    """

    motor: str
    offset_s: float
    by_hand: bool
    own: str
    apart: str


def speed_logs(analysis: Analysis) -> list[tuple[str, str]]:
    """List the speed logs as key and name."""
    return [(log_key(log.read.meta), PurePath(log.read.meta.file).name) for log in analysis.speed_logs]


def marked(analysis: Analysis, window: tuple[float, float]) -> tuple[str, str, str] | None:
    """Find the log and the times of a part of the speed plot's time axis.

    Parameters
    ----------
    analysis : Analysis
    window : (float, float)
        On the axis: milliseconds since 1970 where every log knows its day, else seconds of each log.

    Returns
    -------
    (str, str, str) or None
        The log that has most samples in it, and both ends as the fields write them; None without one.
    """
    tracks = [log.read for log in analysis.speed_logs]
    dated = all(track.meta.start_utc is not None for track in tracks)
    spans = [_on_clock(track, window) if dated else window for track in tracks]
    counts = [np.sum((t.t_s >= a) & (t.t_s <= b)) for t, (a, b) in zip(tracks, spans, strict=True)]
    if not counts or not max(counts):
        return None
    k = int(np.argmax(counts))
    return log_key(tracks[k].meta), *(moment_text(tracks[k], t_s) for t_s in spans[k])


def _on_clock(track: Track, window: tuple[float, float]) -> tuple[float, float]:
    start_s = pd.Timestamp(track.meta.start_utc).timestamp()
    return window[0] / 1000.0 - start_s, window[1] / 1000.0 - start_s


def moment_text(track: Track, t_s: float) -> str:
    """Format a moment as `parse_moment_s` reads it: UTC to a hundredth, or seconds."""
    utc = track.utc(round(t_s, 2))
    if utc is None:
        return f"{t_s:.2f}"
    text = utc.strftime("%H:%M:%S.%f")[:-4]
    if not 0.0 <= t_s < _DAY_S or abs(parse_moment_s(text, track) - t_s) > _ROUNDED_S:
        return f"{utc:%Y-%m-%d} {text}"
    return text


def cut_out(session: Session, analysis: Analysis, log: str, start: str, end: str, why: str) -> None:
    """Cut a stretch.

    Raises
    ------
    CallError
        If the times cannot be read, or are not in that log.
    """
    _add(session, Cut(log, *_span(analysis, log, start, end), why.strip()))


def restore(session: Session, analysis: Analysis, log: str, start: str, end: str, why: str) -> None:
    """Restore what the cleaning excluded in a stretch.

    Raises
    ------
    CallError
        If the times cannot be read, or nothing was excluded there.
    """
    start_s, end_s = _span(analysis, log, start, end)
    if not any(a.log == log and a.start_s <= end_s and a.end_s >= start_s for a in _asides(analysis)):
        raise CallError("nothing was excluded there", hint="mark one of the crosses")
    _add(session, Restored(log, start_s, end_s, why.strip()))


def was_real(session: Session, log: str, start_s: float, end_s: float, why: str) -> None:
    """Restore one run that the cleaning excluded."""
    _add(session, Restored(log, start_s - _ROUNDED_S, end_s + _ROUNDED_S, why.strip()))


def _add(session: Session, correction: Correction) -> None:
    session.correct(session.by_hand.with_(correction))


def _span(analysis: Analysis, log: str, start: str, end: str) -> tuple[float, float]:
    track = _track(analysis, log)
    if track is None:
        raise CallError("this log is no longer loaded", hint="mark the stretch again")
    if not start.strip() or not end.strip():
        raise CallError("no stretch is marked", hint="mark it on the plot, or write its start and end")
    span = parse_moment_s(start, track), parse_moment_s(end, track)
    t_s = track.t_s
    if not ((t_s >= span[0]) & (t_s <= span[1])).any():
        raise CallError("no sample lies between these times", hint="mark it on the plot, or write others")
    return span


def _track(analysis: Analysis, key: str) -> Track | None:
    return next((log.read for log in analysis.speed_logs if log_key(log.read.meta) == key), None)


def take_back(session: Session, key: str) -> None:
    """Undo a correction; an unknown one changes nothing."""
    session.correct(session.by_hand.without(*(c for c in session.by_hand.all if _key(c) == key)))


def _key(correction: Correction) -> str:
    return hashlib.sha256(repr(correction).encode()).hexdigest()[:16]


def done(session: Session, analysis: Analysis) -> tuple[Done, ...]:
    """List the corrections of the logs that are shown."""
    rows = (_done(analysis, one) for one in session.by_hand.all)
    return tuple(one for one in rows if one is not None)


def _done(analysis: Analysis, one: Correction) -> Done | None:
    """Format a correction; None if its log is not shown."""
    if isinstance(one, ClockByHand):
        joined = _joined(analysis, one.log)
        name = PurePath(joined.log.meta.file).name if joined else ""
        said = f"Clock of {name} set to {one.offset_s:+.2f} s"
        return Done(_key(one), said, one.why, "clock") if joined else None
    track = _track(analysis, one.log)
    if track is None:
        return None
    span = " to ".join(moment_text(track, t_s) for t_s in (one.start_s, one.end_s))
    unit = " s" if track.meta.start_utc is None else " UTC"
    of = f" of {PurePath(track.meta.file).name}" if len(analysis.speed_logs) > 1 else ""
    if isinstance(one, Restored):
        return Done(_key(one), f"Restored as real{of}: {span}{unit}", one.why, "restored")
    count = int(in_stretches(track.t_s, [one]).sum())
    return Done(_key(one), f"Cut{of}: {span}{unit}, {count} samples", one.why, "cut")


def set_aside(analysis: Analysis) -> tuple[tuple[Aside, ...], int]:
    """List what the cleaning excluded, runs that affect a pass first, and the total number."""
    asides = _asides(analysis)
    logs = [key for key, _ in speed_logs(analysis)]
    order = sorted(asides, key=lambda a: not any(_touches(a, p, logs) for p in analysis.passes))
    return tuple(order[:MAX_RUNS]), len(asides)


def _touches(aside: Aside, one: Pass, logs: list[str]) -> bool:
    return logs[one.log] == aside.log and aside.start_s <= one.end_s and aside.end_s >= one.start_s


def _asides(analysis: Analysis) -> list[Aside]:
    return [
        Aside(log_key(log.read.meta), f.start_s, f.end_s, _aside_text(log.read, f))
        for log in analysis.speed_logs
        for f in log.cleaned.findings
        if f.code in RESTORABLE and f.start_s is not None and f.end_s is not None
    ]


def _aside_text(track: Track, finding: Finding) -> str:
    assert finding.start_s is not None
    unit = " s" if track.meta.start_utc is None else " UTC"
    samples = "1 sample" if finding.count == 1 else f"{finding.count} samples"
    return f"{moment_text(track, finding.start_s)}{unit}, {samples}: {finding.message.partition(':')[0]}"


def motor_logs(analysis: Analysis) -> list[tuple[str, str]]:
    """List the motor logs as key and name."""
    return [(log_key(j.log.meta), PurePath(j.log.meta.file).name) for j in analysis.motors]


def clock_now(
    session: Session, analysis: Analysis, motor: str | None
) -> tuple[MotorAssignment, ClockNow] | None:
    """Return the clock of a motor log, by default of the first one; None without any."""
    joined = _joined(analysis, motor) or next(iter(analysis.motors), None)
    if joined is None:
        return None
    own = joined.own
    if own.trusted:
        automatic = f"Automatic: {own.offset_s:+.2f} ± {own.u95_s:.2f} s, by {own.method}."
    else:
        automatic = f"No automatic match: {own.why}."
    apart = f"Your setting differs by {joined.apart_s:.2f} s." if joined.by_hand and own.trusted else ""
    offset_s = joined.clock.offset_s if np.isfinite(joined.clock.offset_s) else _guess_s(analysis, joined)
    by_hand = session.by_hand.clock_of(log_key(joined.log.meta)) is not None
    return joined, ClockNow(log_key(joined.log.meta), round(offset_s, 3), by_hand, automatic, apart)


def _guess_s(analysis: Analysis, joined: MotorAssignment) -> float:
    """Start from the controller's own date, else with both logs' starts together [s]."""
    stated, start = joined.log.meta.start_utc, analysis.speed_logs[joined.speed_log].read.meta.start_utc
    return 0.0 if stated is None or start is None else (stated - start).total_seconds()


def set_clock(
    session: Session, analysis: Analysis, motor: str | None, offset_s: float | None, step_s: float = 0.0
) -> None:
    """Set a motor log's clock by hand, to an offset or by a step from where it is.

    Raises
    ------
    CallError
        If there is no such motor log, or the offset is impossible.
    """
    now = clock_now(session, analysis, motor)
    if now is None:
        raise CallError("there is no motor log together with a speed log", hint="drop one")
    joined, clock = now
    speed = log_key(analysis.speed_logs[joined.speed_log].read.meta)
    latest = session.by_hand.clock_of(clock.motor)  # several steps may arrive before the first is answered
    if offset_s is None:
        offset_s = (clock.offset_s if latest is None else latest.offset_s) + step_s
    drift_ppm = joined.own.drift_ppm if joined.own.trusted else 0.0
    said = ClockByHand(clock.motor, speed, round(offset_s, 3), drift_ppm)
    _add(session, said if latest is None else replace(said, u95_s=latest.u95_s, why=latest.why))


def seconds(said: float | str | None) -> float:
    """Parse the field of an offset [s].

    Raises
    ------
    CallError
        If it is empty.
    """
    if said is None or said == "":
        raise CallError("no offset is given", hint="write seconds")
    return float(said)


def own_clock(session: Session, motor: str) -> None:
    """Return to the automatic clock."""
    former = session.by_hand.clock_of(motor)
    if former is not None:
        session.correct(session.by_hand.without(former))


def _joined(analysis: Analysis, motor: str | None) -> MotorAssignment | None:
    return next((j for j in analysis.motors if log_key(j.log.meta) == motor), None)


@dataclass(frozen=True, slots=True)
class InLogbook:
    """The outing that the logs are saved as, and whether its corrections are those of the page."""

    outing_id: int
    in_step: bool


def in_logbook(url: str | None, session: Session) -> InLogbook | None:
    """Find the logbook's outing with these logs; None if none has them, or nothing was corrected here.

    Parameters
    ----------
    url : str or None
        The logbook's file or URL; None is the user's own.
    session : Session
    """
    if not session.uploads or not session.corrected:
        return None
    with open_logbook(url) as book:
        outing_id = book.outing_with(list(session.uploads))
        if outing_id is None:
            return None
        recorded = book.asked(outing_id)[0].by_hand
        hashes = {log.sha256 for log in book.outing(outing_id).logs}
    mine = {one for one in session.by_hand.all if hashes.issuperset(one.logs)}
    return InLogbook(outing_id, mine == set(recorded.all))


def keep_in_logbook(url: str | None, session: Session) -> int:
    """Record the page's corrections in the outing that has these logs, and return its number.

    Raises
    ------
    LogbookError
        If it cannot be written.
    CallError
        If no outing has these logs.
    """
    found = in_logbook(url, session)
    if found is None:
        raise CallError("these logs are not in the logbook", hint="save the outing first")
    with open_logbook(url) as book:
        book.hold_to(found.outing_id, session.by_hand, who=session.who)
    return found.outing_id
