"""What a two-way statement contains, as plain facts taken from an analysis.

It covers every case: a two-way that does not count, one that cannot be told, and logs without any two-way are
stated as plainly as one that counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import PurePath
from typing import Final

import numpy as np
import pandas as pd

from telemetry import __version__
from telemetry.analysis import Analysis, Request
from telemetry.cleaning.corrections import BY_HAND
from telemetry.core.errors import CallError
from telemetry.core.frames import Finding, Log, MotorLog
from telemetry.core.geo import CourseLine
from telemetry.core.units import SPEED_UNITS
from telemetry.passes.find import Pass
from telemetry.passes.measure import PassData
from telemetry.ride.judge import RideEvent
from telemetry.setup import BenchDisplay, SetupSheet
from telemetry.statement.page import statement_page
from telemetry.statement.text import statement_text
from telemetry.twoway.mean import TwoWay, TwoWayVerdict
from telemetry.twoway.rules import Rule, load_rule, shipped

_DRAWN_POINTS: Final = 160  # of one pass: more than its drawing on paper can resolve
_DRAWN_BESIDE: Final = 0.3  # of the measured distance, before and after the gates


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFacts:
    """One log that the statement uses.

    Attributes
    ----------
    file : str
        Its name, without folders.
    kind, format, clock : str
        ``speed`` or ``motor``; the reader's name; whose clock stamped it.
    speed_source : str
        ``measured``, ``differenced``, or empty for a motor log.
    samples : int
    rate_hz : float
        0 if unknown.
    start_utc : pandas.Timestamp or None
        None where the log does not say which day it was.
    sha256 : str
        Of the file's bytes.
    """

    file: str
    kind: str
    format: str
    clock: str
    speed_source: str
    samples: int
    rate_hz: float
    start_utc: pd.Timestamp | None
    sha256: str


@dataclass(frozen=True, slots=True)
class Trace:
    """One pass between the gates and a little beyond, for the drawings.

    Attributes
    ----------
    along_m, across_m : tuple of float
        From gate A towards gate B, and to starboard of that direction [m].
    speed_mps : tuple of float
        Along the course, whichever direction, smoothed as for the crossing times.
    """

    along_m: tuple[float, ...]
    across_m: tuple[float, ...]
    speed_mps: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementPass:
    """One of the two passes.

    Attributes
    ----------
    pass_id, file : str
        The pass and the log it is in.
    heading_deg, peak_mps, peak_u95_mps : float
        Of the whole pass.
    entered_s, left_s : float
        On the log's clock [s].
    entered_utc, left_utc : pandas.Timestamp or None
    time_s, speed_mps, u95_mps : float
        Between the gates.
    findings : tuple of Finding
        Those of the log that touch the time between the gates, and those without a place in time.
    trace : Trace
        Empty if the analysis does not hold the measurement's data.
    """

    pass_id: str
    file: str
    heading_deg: float
    peak_mps: float
    peak_u95_mps: float
    entered_s: float
    left_s: float
    entered_utc: pd.Timestamp | None
    left_utc: pd.Timestamp | None
    time_s: float
    speed_mps: float
    u95_mps: float
    findings: tuple[Finding, ...]
    trace: Trace


@dataclass(frozen=True, kw_only=True)
class Statement:
    """All facts of a statement about one two-way.

    Attributes
    ----------
    two_way : TwoWay or None
        None if the logs hold none; ``notes`` then give the reason.
    judged : int
        How many two-ways the logs hold.
    ways : tuple of StatementPass
        The two passes in order of time; empty without a two-way.
    course_deg : float
        From gate A to gate B, clockwise from north [deg]; NaN without a two-way.
    rule : Rule
    rule_ships : bool
        False for a rule file of the user's own.
    request : Request
        The request, with a window or a mark of the user's own.
    logs : tuple of LogFacts
        The speed logs of the two passes and the motor logs joined to them.
    corrections : tuple of (str, str)
        What a person corrected by hand in these logs, each with its log's name.
    ride : tuple of RideEvent
        What was shown or possible in the two passes.
    notes, unused : tuple of str
        What the analysis cannot tell; the inputs that could not be used.
    sheet : SetupSheet or None
    showing : BenchDisplay
        Units and signs in which the sheet is shown.
    conditions : tuple of (str, str)
        Conditions of the outing as stated by the user, by name.
    unit : str
        The user's speed unit.
    version : str
        Of the program.
    made_utc : datetime or None
    """

    two_way: TwoWay | None
    judged: int
    ways: tuple[StatementPass, ...]
    course_deg: float
    rule: Rule
    rule_ships: bool
    request: Request
    logs: tuple[LogFacts, ...]
    corrections: tuple[tuple[str, str], ...]
    ride: tuple[RideEvent, ...]
    notes: tuple[str, ...]
    unused: tuple[str, ...]
    sheet: SetupSheet | None
    showing: BenchDisplay
    conditions: tuple[tuple[str, str], ...]
    unit: str
    version: str
    made_utc: datetime | None

    @property
    def verdict(self) -> TwoWayVerdict:
        """The two-way's verdict; ``cannot tell`` without one."""
        return self.two_way.verdict if self.two_way else "cannot tell"

    @property
    def file_stem(self) -> str:
        """A file name for it without a suffix: the day and the two-way."""
        start = next((way.entered_utc for way in self.ways), None)
        day = f"{start:%Y-%m-%d}-" if start is not None else ""
        return f"two-way-{day}{self.two_way.id if self.two_way else 'none'}"

    def to_text(self) -> str:
        """Format it as plain text."""
        return statement_text(self)

    def to_html(self, paper: str | None = None) -> str:
        """Render it as one self-contained page without scripts.

        Parameters
        ----------
        paper : str, optional
            A key of :data:`telemetry.statement.PAPERS`; without it the page fits any of them.
        """
        return statement_page(self, paper)


def build_statement(
    analysis: Analysis,
    two_way_id: str | None = None,
    *,
    unit: str = "mph",
    sheet: SetupSheet | None = None,
    showing: BenchDisplay | None = None,
    conditions: Mapping[str, str] | None = None,
    made_utc: datetime | None = None,
) -> Statement:
    """Collect what an analysis knows of one two-way.

    Parameters
    ----------
    analysis : Analysis
    two_way_id : str, optional
        Such as ``T2``; without it the first listed, which is the best by the rule if there is one.
    unit : str
        A key of :data:`telemetry.core.units.SPEED_UNITS`.
    sheet : SetupSheet, optional
        Setup of both passes.
    showing : BenchDisplay, optional
        Units and signs of the sheet.
    conditions : mapping of str to str, optional
        Conditions of the outing, such as ``{"wind": "2 m/s from the west"}``.
    made_utc : datetime, optional
        When the statement is made.

    Raises
    ------
    CallError
        If the analysis holds two-ways but none of that id, or there is no such unit.
    """
    if unit not in SPEED_UNITS:
        raise CallError(f"'{unit}' is not a speed unit", hint=f"choose {', '.join(SPEED_UNITS)}")
    chosen = _chosen(analysis, two_way_id)
    by_id = {p.id: p for p in analysis.passes}
    names = chosen.passes if chosen else ()
    passes = [by_id[name] for name in names]
    rule = load_rule(analysis.request.rule)
    return Statement(
        two_way=chosen,
        judged=len(analysis.two_ways),
        ways=tuple(_way(analysis, chosen, k, one) for k, one in enumerate(passes)) if chosen else (),
        course_deg=_from_a_to_b(chosen).heading_deg if chosen else float("nan"),
        rule=rule,
        rule_ships=rule in shipped(),
        request=analysis.request,
        logs=_logs(analysis, {p.log for p in passes} if chosen else None),
        corrections=_corrections(
            analysis,
            {p.log for p in passes} if chosen else None,
            [(p.log, *span) for p, span in zip(passes, chosen.crossings_s, strict=True)] if chosen else [],
        ),
        ride=tuple(e for e in analysis.ride if e.pass_id in names and e.verdict in ("shown", "possible")),
        notes=analysis.notes,
        unused=tuple(str(error) for error in analysis.errors),
        sheet=sheet,
        showing=showing or BenchDisplay(),
        conditions=tuple((conditions or {}).items()),
        unit=unit,
        version=__version__,
        made_utc=made_utc,
    )


def _chosen(analysis: Analysis, two_way_id: str | None) -> TwoWay | None:
    if not analysis.two_ways:
        return None
    if two_way_id is None:
        return analysis.two_ways[0]
    found = next((t for t in analysis.two_ways if t.id == two_way_id), None)
    if found is None:
        ids = [t.id for t in analysis.two_ways]
        known = ids[0] if len(ids) == 1 else f"one of {ids[0]} to {ids[-1]}"
        raise CallError(f"these logs have no two-way {two_way_id!r}", hint=f"choose {known}")
    return found


def _logs(analysis: Analysis, numbers: set[int] | None) -> tuple[LogFacts, ...]:
    """Return the speed logs of these numbers, all if none is given, and the motor logs matched to them."""
    chosen = range(len(analysis.speed_logs)) if numbers is None else sorted(numbers)
    logs: list[Log] = [analysis.speed_logs[k].cleaned.track for k in chosen]
    if numbers is None:
        logs += analysis.motor_logs
    else:
        logs += [j.log for j in analysis.motors if j.clock.trusted and j.speed_log in numbers]
    return tuple(
        LogFacts(
            file=PurePath(log.meta.file).name,
            kind="motor" if isinstance(log, MotorLog) else "speed",
            format=log.meta.format,
            clock=log.meta.clock,
            speed_source=log.meta.speed_source or "",
            samples=log.t_s.size,
            rate_hz=log.rate_hz,
            start_utc=log.meta.start_utc,
            sha256=log.meta.sha256,
        )
        for log in logs
    )


def _corrections(
    analysis: Analysis, numbers: set[int] | None, spans: Sequence[tuple[int, float, float]]
) -> tuple[tuple[str, str], ...]:
    """List the corrections by hand in these logs, first those between the gates.

    ``spans`` are the times between the gates, each with its log's number.
    """
    found = [
        (k, f)
        for k, log in enumerate(analysis.speed_logs)
        if numbers is None or k in numbers
        for f in log.cleaned.findings
        if f.code in BY_HAND
    ]
    found.sort(key=lambda one: not any(k == one[0] and one[1].touches(*span) for k, *span in spans))
    files = [log.read.meta.file for log in analysis.speed_logs]
    lines = [(files[k], f"{f.count} samples {f.message}") for k, f in found]
    lines += [
        (j.log.meta.file, f"clock {j.clock.why}")
        for j in analysis.motors
        if j.by_hand is not None and (numbers is None or j.speed_log in numbers)
    ]
    return tuple((PurePath(file).name, text) for file, text in lines)


def _from_a_to_b(chosen: TwoWay) -> CourseLine:
    """Return the course line with its origin at gate A, towards gate B."""
    a, b = chosen.gates
    line = CourseLine(a.east_m, a.north_m, chosen.course.heading_deg)
    along_m, _ = line.along_across(b.east_m, b.north_m)
    return line if along_m > 0.0 else replace(line, heading_deg=(line.heading_deg + 180.0) % 360.0)


def _way(analysis: Analysis, chosen: TwoWay, which: int, one: Pass) -> StatementPass:
    log = analysis.speed_logs[one.log]
    track = log.cleaned.track
    entered_s, left_s = chosen.crossings_s[which]
    findings = log.cleaned.findings
    measured = {p.id: m for p, m in zip(analysis.passes, analysis.measured, strict=False)}
    return StatementPass(
        pass_id=one.id,
        file=PurePath(track.meta.file).name,
        heading_deg=one.heading_deg,
        peak_mps=one.peak_mps,
        peak_u95_mps=one.peak_u95_mps,
        entered_s=entered_s,
        left_s=left_s,
        entered_utc=track.utc(entered_s),
        left_utc=track.utc(left_s),
        time_s=chosen.times_s[which],
        speed_mps=chosen.speeds_mps[which],
        u95_mps=chosen.speed_u95_mps[which],
        findings=tuple(f for f in findings if f.start_s is None or f.touches(entered_s, left_s)),
        trace=_trace(measured[one.id].data, chosen) if one.id in measured else Trace((), (), ()),
    )


def _trace(data: PassData, chosen: TwoWay) -> Trace:
    """Project a pass onto the course, gate A at zero, as for the time between the gates."""
    line = _from_a_to_b(chosen)
    chain = data.along(line)
    _, across_m = line.along_across(data.east_m, data.north_m)
    across_m = np.interp(chain.t_s, data.t_s[data.position_node], across_m)
    beside_m = _DRAWN_BESIDE * chosen.distance_m
    shown = np.flatnonzero(
        (chain.t_s >= data.start_s)
        & (chain.t_s <= data.end_s)
        & (chain.along_m >= -beside_m)
        & (chain.along_m <= chosen.distance_m + beside_m)
    )
    kept = shown[np.unique(np.linspace(0, shown.size - 1, min(shown.size, _DRAWN_POINTS)).astype(np.int64))]
    columns = (chain.along_m, across_m, np.abs(chain.along_mps))
    return Trace(*(tuple(np.round(column[kept], 3).tolist()) for column in columns))
