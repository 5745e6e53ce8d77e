"""An analysis as plain text: what was read and found, the passes, the two-ways, the ride and the power train.

Speeds are in the reader's unit, each with its 95 % uncertainty.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path, PurePath
from typing import Final

import pandas as pd

from telemetry.analysis import Analysis
from telemetry.core.frames import Finding, Log, MotorLog, group_by_code
from telemetry.core.text_table import text_table
from telemetry.core.units import CELSIUS, distance_text, speed_text
from telemetry.motor.sync.assign import motor_findings
from telemetry.passes.find import Pass
from telemetry.readers import SavedColumnMap
from telemetry.text.ride_power import power_text, ride_text
from telemetry.twoway.mean import TwoWay
from telemetry.twoway.rules import Rule

REPORT_WIDTH = 110
SINGLY = 3  # up to this many findings of one kind are listed singly
ESTIMATE = "An estimate: only officials of a sanctioning body decide a record."
BEFORE_YOU_RUN = (
    "Clubs, local rules and the water's authority come first: permission and speed limits differ by water."
)
_LAST_YEAR: Final = 9999  # of the calendar


def analysis_text(
    analysis: Analysis, unit: str, *, every_check: bool = False, temperature_unit: str = CELSIUS
) -> str:
    """Format an analysis for a terminal or for paper.

    Parameters
    ----------
    analysis : Analysis
        The analysis.
    unit : str
        The reader's speed unit, a key of :data:`telemetry.core.units.SPEED_UNITS`.
    every_check : bool
        Whether each two-way is shown with all its checks, or only the leading one.
    temperature_unit : str
        A key of :data:`telemetry.core.units.TEMPERATURE_UNITS`.
    """
    logs: list[Log] = [*(s.cleaned.track for s in analysis.speed_logs), *analysis.motor_logs]
    findings = [
        *(s.cleaned.findings for s in analysis.speed_logs),
        *(motor_findings(m, analysis.motors) for m in analysis.motor_logs),
    ]
    answer = _answer_text(analysis, unit)
    parts = [
        answer,
        _logs_text(logs, findings),
        _passes_text(analysis, unit) if analysis.passes else "",
        _two_ways_text(analysis, unit, every_check) if analysis.two_ways else "",
        ride_text(analysis.ride, unit) if analysis.ride else "",
        power_text(analysis.motors, temperature_unit) if analysis.motors else "",
        "\n".join(f"Note: {note}" for note in analysis.notes),
        # Repeated here: a terminal shows the end of its output.
        "\n".join(line for line in (answer, ESTIMATE, BEFORE_YOU_RUN) if line),
    ]
    return "\n\n".join(p for p in parts if p)


def rules_text(rules: Iterable[Rule]) -> str:
    """List rules with their conditions and sources."""
    return "\n\n".join(_rule_text(rule) for rule in rules)


def maps_text(maps: Sequence[SavedColumnMap], folder: Path) -> str:
    """List the saved heading maps, with their columns."""
    if not maps:
        return f"No heading map is saved in {folder}."
    lines = [f"Heading maps saved in {folder}"]
    for kept in maps:
        lines += [f"  {kept.id}, of {kept.kept_utc[:16].replace('T', ' ')} UTC: {kept.text()}"]
        headings = f"for tables headed {', '.join(kept.headings)}"
        lines += textwrap.wrap(headings, REPORT_WIDTH, initial_indent=" " * 4, subsequent_indent=" " * 4)
    return "\n".join(lines)


def _rule_text(rule: Rule) -> str:
    digits = "cut" if rule.rounding == "down" else "rounded"
    items = {
        "figure": f"mean {rule.mean}, in {rule.unit}, {digits} to {rule.decimals} decimals",
        "measured distance": "open: give it with --distance"
        if rule.distance_m is None
        else distance_text(rule.distance_m),
        "time window": (
            "open: give your rule book's window with --window-min"
            if rule.window_s is None
            else f"{rule.window_s / 60:g} min"
        ),
        "headings": f"opposite within {rule.heading_tolerance_deg:g}°",
        "margin over a mark": f"{rule.margin_percent:g} %" if rule.margin_percent else "none set",
        "largest uncertainty for a verdict": f"± {rule.u95_limit_percent:g} % of the average",
        "source": rule.source,
        "note": rule.notes,
    }
    lines = [f"{rule.name}: {rule.title}"]
    for item, text in items.items():
        if text:
            lines += textwrap.wrap(
                text, REPORT_WIDTH, initial_indent=f"  {item:<20}", subsequent_indent=" " * 22
            )
    return "\n".join(lines)


def _answer_text(analysis: Analysis, unit: str) -> str:
    best = analysis.leading_two_way
    if best:
        average = speed_text(best.average_mps, unit, best.u95_mps)
        passes = " + ".join(best.passes)
        return (
            f'Best two-way: {average} over {distance_text(best.distance_m)}, {passes}, rule "{best.rule}": '
            f"{verdict_text(best)}"
        )
    if analysis.passes:
        fastest = max(analysis.passes, key=lambda p: p.peak_mps)
        peak = speed_text(fastest.peak_mps, unit, fastest.peak_u95_mps)
        return f"No two-way. Highest peak: {peak}, {fastest.id}"
    return "No pass found." if analysis.speed_logs else ""


def verdict_text(two_way: TwoWay) -> str:
    """Format a verdict with the first check that prevents "counts", and its evidence."""
    decisive = {"does not count": "not met", "cannot tell": "cannot tell"}.get(two_way.verdict)
    why = next((f" ({c.name}: {c.detail})" for c in two_way.checks if c.result == decisive), "")
    return f"{two_way.verdict}{why}"


def _logs_text(logs: Sequence[Log], findings: Sequence[Sequence[Finding]]) -> str:
    if not logs:
        return "No log could be used."
    rows = [("file", "kind", "format", "samples", "rate", "from (UTC)", "to", "speed")]
    names = _short([log.meta.file for log in logs])
    for log, name in zip(logs, names, strict=True):
        rate = f"{log.rate_hz:.3g} Hz" if log.rate_hz else "unknown"
        rows.append(
            (
                name,
                "motor" if isinstance(log, MotorLog) else "speed",
                log.meta.format,
                f"{len(log.frame)}",
                rate,
                _clock(log.utc(float(log.t_s.min())), float(log.t_s.min()), with_day=True),
                _clock(log.utc(float(log.t_s.max())), float(log.t_s.max())),
                log.meta.speed_source or "",
            )
        )
    lines = ["Logs", *text_table(rows, right=(3, 4))]
    for name, found in zip(names, findings, strict=True):
        lines.append(f"  Found in {name}:{'' if found else ' nothing odd'}")
        lines += [f"    {text}" for text in findings_lines(found)]
    return "\n".join(lines)


def findings_lines(findings: Sequence[Finding]) -> Iterator[str]:
    """Format findings one by one, but many of a kind in one line."""
    for code, kind in group_by_code(findings).items():
        if len(kind) <= SINGLY:
            yield from map(_finding_text, kind)
        else:
            times = [t for f in kind for t in (f.start_s, f.end_s) if t is not None]
            span = f" between {min(times):.1f} and {max(times):.1f} s" if times else ""
            count = sum(f.count for f in kind)
            yield f"{code} ×{count} in {len(kind)} places{span}, the first: {kind[0].message}"


def _finding_text(finding: Finding) -> str:
    times = f" ×{finding.count}" if finding.count != 1 else ""
    span = ""
    if finding.start_s is not None and finding.end_s is not None:
        start, end = f"{finding.start_s:.1f}", f"{finding.end_s:.1f}"
        span = f" at {start} s" if start == end else f" at {start} to {end} s"
    return f"{finding.code}{times}{span}: {finding.message}"


def _passes_text(analysis: Analysis, unit: str) -> str:
    passes = analysis.passes
    logs = _short([log.cleaned.track.meta.file for log in analysis.speed_logs])
    rows = [("pass", "from (UTC)", "to", "heading", "take-off", "peak", "held 1 s", "log")]
    for p in passes:
        takeoff = f"{p.takeoff.end_s - p.takeoff.start_s:.1f} s" if p.takeoff else "not seen"
        rows.append(
            (
                p.id,
                _clock(p.start_utc, p.start_s),
                _clock(p.end_utc, p.end_s),
                heading_text(p.heading_deg),
                takeoff,
                _number(p.peak_mps, p.peak_u95_mps, unit),
                _number(p.held_1s_mps, p.held_1s_u95_mps, unit),
                logs[p.log],
            )
        )
    lines = [f"Passes (speeds in {unit}, ± is the 95 % interval)", *text_table(rows, right=(3, 4, 5, 6))]
    distances = sorted({d.distance_m for p in passes for d in p.distances})
    if distances:
        best = [("pass", *map(distance_text, distances))]
        for p in passes:
            speeds = {d.distance_m: _number(d.speed_mps, d.u95_mps, unit) for d in p.distances}
            best.append((p.id, *(speeds.get(d, "too short") for d in distances)))
        right = tuple(range(1, len(distances) + 1))
        lines += ["", f"Best average over a measured distance ({unit})", *text_table(best, right=right)]
    touched = [f"  {p.id} is affected by {text}" for p in passes for text in findings_lines(p.findings)]
    return "\n".join(lines + touched)


def _two_ways_text(analysis: Analysis, unit: str, every_check: bool) -> str:
    two_ways, leading = analysis.two_ways, analysis.leading_two_way
    passes = {p.id: p for p in analysis.passes}
    rows = [("", "two-way", "passes", "distance", f"average ({unit})", "verdict")]
    for t in two_ways:
        average = _number(t.average_mps, t.u95_mps, unit)
        star = "*" if t.best else ""
        rows.append((star, t.id, " + ".join(t.passes), distance_text(t.distance_m), average, t.verdict))
    lines = [
        f'Two-ways by the rule "{two_ways[0].rule}" (mean {two_ways[0].mean})',
        *text_table(rows, right=(4,)),
    ]
    if any(t.best for t in two_ways):
        lines.append("  * the best by the rule")
    for t in two_ways:
        if every_check or t is leading:
            lines += ["", *_two_way_lines(t, passes, unit)]
    return "\n".join(lines)


def _two_way_lines(two_way: TwoWay, passes: dict[str, Pass], unit: str) -> list[str]:
    independent, shared = (speed_text(u, unit) for u in (two_way.u_independent_mps, two_way.u_shared_mps))
    by_rule = f", rounded by the rule {two_way.official_text}" if two_way.official_text else ""
    average = speed_text(two_way.average_mps, unit, two_way.u95_mps)
    lines = [f"  {two_way.id}: {average}, {two_way.verdict}{by_rule}"]
    for pass_id, speed_mps, u95_mps, time_s in zip(
        two_way.passes, two_way.speeds_mps, two_way.speed_u95_mps, two_way.times_s, strict=True
    ):
        heading = f" heading {heading_text(passes[pass_id].heading_deg)}" if pass_id in passes else ""
        lines.append(f"    {pass_id}{heading}: {speed_text(speed_mps, unit, u95_mps)} in {time_s:.3f} s")
    lines.append(
        f"    standard uncertainty: {independent} is independent for each pass, {shared} is shared by both"
    )
    placed = "given" if two_way.gates_given else "placed automatically along the course line"
    where = " and ".join(f"{g.lat_deg:.7f},{g.lon_deg:.7f}" for g in two_way.gates)
    lines.append(f"    gates {placed}: {where}")
    lines += [f"    {c.result:<11}  {c.name}: {c.detail}" for c in two_way.checks]
    return lines


def _short(files: Sequence[str]) -> list[str]:
    """Drop the folders if the names alone tell the files apart."""
    names = [PurePath(file).name for file in files]
    return names if len(set(names)) == len(set(files)) else list(files)


def _number(speed_mps: float, u95_mps: float, unit: str) -> str:
    if math.isnan(speed_mps):
        return "cannot tell"
    return speed_text(speed_mps, unit, u95_mps).removesuffix(f" {unit}")


def heading_text(heading_deg: float) -> str:
    """Format a heading with three digits; "unknown" for NaN."""
    return "unknown" if math.isnan(heading_deg) else f"{round(heading_deg) % 360:03d}°"


def _clock(utc: pd.Timestamp | None, t_s: float, *, with_day: bool = False) -> str:
    if utc is None:
        return f"{t_s:.1f} s"
    tenths = utc.round("100ms")
    if tenths.year > _LAST_YEAR:  # a false stamp within the calendar's last tenth of a second
        tenths = utc.floor("100ms")
    return (
        tenths.strftime("%Y-%m-%d %H:%M:%S" if with_day else "%H:%M:%S") + f".{tenths.microsecond // 100000}"
    )
