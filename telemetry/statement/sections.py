"""Everything below a statement's headline, as sections of rows, for text and page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from telemetry.cleaning.corrections import BY_HAND
from telemetry.core.sanitize import LABEL, LONG, SHORT, cut, sanitize, shortened
from telemetry.core.units import distance_text, speed_text
from telemetry.statement.wording import number_text
from telemetry.text.run import BEFORE_YOU_RUN, findings_lines, heading_text

if TYPE_CHECKING:
    from telemetry.statement.facts import LogFacts, Statement, StatementPass
    from telemetry.twoway.mean import TwoWay

_MAX_FINDINGS, _MAX_UNUSED, _MAX_CONDITIONS, _MAX_ITEMS = 3, 4, 8, 24
_MAX_CORRECTIONS = 2
_EVIDENCE = 200  # characters of a check's evidence

SectionRows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a statement.

    Attributes
    ----------
    key, title : str
        A stable name, and the heading.
    head : tuple of str
        The columns' headings; empty if each row is a name and a value, or a single sentence.
    rows : tuple of tuple of str
    """

    key: str
    title: str
    head: tuple[str, ...]
    rows: SectionRows


def sections(s: Statement) -> tuple[Section, ...]:
    """Build everything below the headline, in reading order; unknown facts are left out."""
    every = (
        _ways(s),
        _checks(s),
        Section("rule", "The rule and its source", (), _rule(s)),
        Section("gates", "Gates and measured distance", (), _gates(s.two_way) if s.two_way else ()),
        Section("findings", "Findings inside the measured distance", (), _findings(s.ways)),
        Section("by-hand", "Corrected by hand in these logs", (), _corrections(s)),
        Section("setup", "Setup sheet", (), _setup(s)),
        Section("conditions", "Conditions, as stated by the user", (), _conditions(s)),
        Section("logs", "The logs used", ("Log", "What it is", "SHA-256 of its bytes"), _logs(s)),
        Section("cautions", "Cautions", (), tuple((sanitize(text),) for text in _cautions(s))),
    )
    return tuple(section for section in every if section.rows)


def volume(s: Statement) -> int:
    """Count the characters below the headline."""
    return sum(len(cell) for section in sections(s) for row in section.rows for cell in row)


def _ways(s: Statement) -> Section:
    dated = all(way.entered_utc is not None for way in s.ways)
    clock = "UTC" if dated else "log's clock"
    columns = [
        {
            "Heading": heading_text(way.heading_deg),
            f"Enters, {clock}": _moment(way.entered_utc, way.entered_s),
            f"Leaves, {clock}": _moment(way.left_utc, way.left_s),
            "Time": f"{way.time_s:.3f} s",
            f"Speed, {s.unit}": number_text(way.speed_mps, s.unit, way.u95_mps),
            "Speed, m/s": number_text(way.speed_mps, "m/s", way.u95_mps),
            f"Peak, {s.unit}": number_text(way.peak_mps, s.unit, way.peak_u95_mps),
            "Log": shortened(way.file, LABEL),
        }
        for way in s.ways
    ]
    names = columns[0] if columns else ()
    rows = tuple((name, *(column[name] for column in columns)) for name in names)
    return Section("ways", "Both passes", ("", *(way.pass_id for way in s.ways)), rows)


def _moment(utc: pd.Timestamp | None, t_s: float) -> str:
    return f"{t_s:.3f} s" if utc is None else f"{utc.round('ms'):%H:%M:%S.%f}"[:-3]


def _checks(s: Statement) -> Section:
    checks = s.two_way.checks if s.two_way else ()
    rows = tuple((sanitize(c.name).capitalize(), c.result, shortened(c.detail, _EVIDENCE)) for c in checks)
    return Section("checks", "Checks, each with its evidence", ("Check", "Result", "Evidence"), rows)


def _rule(s: Statement) -> SectionRows:
    rule, window_s, mark_mps = s.rule, s.request.window_s, s.request.mark_mps
    origin = "built in" if s.rule_ships else "the user's own rule file"
    rows = [
        (shortened(rule.name, LABEL), f"{shortened(rule.title, SHORT)} ({origin})"),
        ("Source", shortened(rule.source, LONG)),
    ]
    if rule.notes:
        rows.append(("Note", shortened(rule.notes, LONG)))
    if window_s is not None:
        rows.append(("Time window", f"{window_s / 60.0:g} min, stated by the user in place of the rule's"))
    if mark_mps is not None:
        mark = speed_text(mark_mps, s.unit)
        rows.append(("Mark to beat", f"{mark}, stated by the user; margin {rule.margin_percent:g} %"))
    return tuple(rows)


def _gates(chosen: TwoWay) -> SectionRows:
    placed = "given by the user" if chosen.gates_given else "placed automatically along the fitted line"
    points = ", ".join(
        f"{name} {gate.lat_deg:.7f} {gate.lon_deg:.7f}" for name, gate in zip("AB", chosen.gates, strict=True)
    )
    return (
        ("Distance", f"{distance_text(chosen.distance_m)}, {chosen.distance_m:.3f} m"),
        ("Gates", f"{placed}: {points} (WGS 84, degrees)"),
    )


def _findings(ways: Sequence[StatementPass]) -> SectionRows:
    rows: list[tuple[str, ...]] = []
    for way in ways:
        inside = [f for f in way.findings if f.start_s is not None and f.code not in BY_HAND]
        lines = cut(findings_lines(inside), _MAX_FINDINGS) or ("nothing odd",)
        rows += [(way.pass_id, text) for text in lines]
    files = {way.file: [f for f in way.findings if f.start_s is None] for way in ways}
    for file, found in files.items():
        name = "Whole log" if len(files) == 1 else f"All of {shortened(file, LABEL)}"
        rows += [(name, text) for text in cut(findings_lines(found), _MAX_FINDINGS)]
    return tuple(rows)


def _corrections(s: Statement) -> SectionRows:
    rows = [(shortened(file, LABEL), shortened(text, SHORT)) for file, text in s.corrections]
    more = len(rows) - _MAX_CORRECTIONS
    return (*rows[:_MAX_CORRECTIONS], *([("Further", f"{more} more corrections")] if more > 0 else []))


def _setup(s: Statement) -> SectionRows:
    if s.sheet is None:
        return ()
    items = [
        (sanitize(item.title), sanitize(s.showing.text(item, reading)))
        for item, reading in ((s.sheet.item(name), r) for name, r in s.sheet.tune.items())
    ]
    more = len(items) - _MAX_ITEMS
    tail = [("Further items", f"{more} more on the sheet")] if more > 0 else []
    name = f"{shortened(s.sheet.name, LABEL)} (content {s.sheet.sheet_id})"
    return (("Boat", shortened(s.sheet.boat, LABEL)), ("Sheet", name), *items[:_MAX_ITEMS], *tail)


def _conditions(s: Statement) -> SectionRows:
    rows = [(shortened(name, LABEL).capitalize(), shortened(text, LABEL)) for name, text in s.conditions]
    more = len(rows) - _MAX_CONDITIONS
    return (*rows[:_MAX_CONDITIONS], *([("Further", f"{more} more stated")] if more > 0 else []))


def _logs(s: Statement) -> SectionRows:
    rows = []
    for log in s.logs:
        if log.kind == "speed":
            kind = f"speed log, speed {log.speed_source}, clock of the {log.clock}"
        else:
            kind = "motor log, clock matched; not used for the figure" if s.two_way else "motor log"
        facts = f"{kind}, {log.format}, {log.samples} samples{_rate(log)}"
        rows.append((shortened(log.file, LABEL), facts, log.sha256))
    return tuple(rows)


def _rate(log: LogFacts) -> str:
    return f" at {log.rate_hz:.3g} Hz" if log.rate_hz else ""


def _cautions(s: Statement) -> Iterator[str]:
    speed_logs = [log for log in s.logs if log.kind == "speed"]
    if s.two_way is not None:
        if not s.two_way.gates_given:
            yield (
                "The gates were placed where this pair's average is highest: a best case. Gates "
                "fixed before the pass give a fairer figure."
            )
        if s.sheet is None:
            yield "No setup sheet was given: the page does not show that both passes ran on one setup."
        else:
            yield "Setup sheet and conditions are the user's statement; the logs do not show them."
        yield (
            "The ± covers the errors that the logs show and those usual in receivers' data sheets; a "
            "faulty receiver is not covered."
        )
    if not s.rule_ships:
        yield "The rule is the user's own file; compare it with your rule book."
    if any(log.speed_source == "differenced" for log in speed_logs):
        yield "The log has no measured speed: speeds are computed from its positions."
    if any(log.clock == "host" for log in speed_logs):
        yield "The time stamps come from the logging device, not from the receiver."
    if any(log.start_utc is None for log in speed_logs):
        yield "The log does not state the day."
    if len(speed_logs) > 1 and s.two_way is not None:
        yield "The two passes are in two logs, ordered by UTC."
    if s.corrections:
        yield "Corrections by hand are a person's judgement: check the original logs."
    for event in s.ride:
        yield f"{event.pass_id}, {event.phase}: {event.kind} {event.verdict}."
    yield from (f"Not used: {text}" for text in cut(s.unused, _MAX_UNUSED))
    yield "A hash identifies the bytes that were read, not who recorded them or where the receiver was."
    yield BEFORE_YOU_RUN
