"""Logbook data as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from telemetry.cleaning.corrections import with_reason
from telemetry.core.text_table import text_table
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS, speed_text
from telemetry.logbook.backup import Backup
from telemetry.logbook.records import Boat, Conditions, Outing, SavedCorrection
from telemetry.logbook.rolling_copies import RollingCopy

_CUT = 24


def boats_text(boats: Sequence[tuple[Boat, int, int]]) -> str:
    """List boats with the number of their sheets and outings."""
    if not boats:
        return "No boat yet. Add one with `reciprocal boats --add NAME`."
    rows = [("boat", "hull", "length", "sheets", "outings", "note")]
    rows += [
        (
            boat.name,
            boat.hull_kind,
            "" if boat.length_m is None else f"{boat.length_m:g} m",
            str(sheets),
            str(outings),
            boat.note,
        )
        for boat, sheets, outings in boats
    ]
    return "\n".join(text_table(rows, right=(2, 3, 4)))


def outings_text(outings: Sequence[Outing], count: int, unit: str) -> str:
    """List outings, and the number of further ones.

    Parameters
    ----------
    outings : sequence of Outing
        The listed outings.
    count : int
        How many the search found.
    unit : str
        The reader's speed unit.
    """
    if not outings:
        return "No outing found."
    rows = [("no", "date, UTC", "boat", "sheet", "place", "passes", "peak", "best two-way", "verdict")]
    rows += [
        (
            str(o.id),
            moment_text(o.start_utc),
            _cut(o.boat),
            _cut(o.sheet_name),
            _cut(o.conditions.place),
            str(o.passes),
            speed_or_nothing(o.best_peak_mps, o.best_peak_u95_mps, unit),
            speed_or_nothing(o.best_two_way_mps, o.best_two_way_u95_mps, unit),
            o.best_verdict or "no two-way",
        )
        for o in outings
    ]
    lines = text_table(rows, right=(0, 5, 6, 7))
    if count > len(outings):
        lines.append(f"{len(outings)} of {count} outings; more with --limit")
    return "\n".join(lines)


def outing_text(outing: Outing, unit: str, temperature_unit: str) -> str:
    """Format an outing: boat, sheet, conditions and logs.

    Parameters
    ----------
    outing : Outing
        The outing.
    unit, temperature_unit : str
        The reader's units.
    """
    rows = [
        ("boat", outing.boat),
        ("sheet", f"{outing.sheet_name} ({outing.sheet_id})"),
        ("began", moment_text(outing.start_utc)),
        *conditions_text(outing.conditions, unit, temperature_unit).items(),
        ("analysed by", f"version {outing.program_version}"),
    ]
    rows += [("log", f"{log.file}, {log.size_bytes} bytes, SHA-256 {log.sha256[:12]}") for log in outing.logs]
    return "\n".join([f"Outing {outing.id}", *text_table(rows)])


def corrections_text(kept: Sequence[SavedCorrection]) -> str:
    """List the corrections by hand, undone ones too; empty if there are none."""
    if not kept:
        return ""
    rows = [("no", "in", "what", "why", "by", "on, UTC", "")]
    rows += [
        (
            str(one.id),
            _cut(one.file),
            one.correction.told(),
            one.correction.why,
            one.who,
            moment_text(one.made_utc),
            "" if one.back_utc is None else _taken_back(one),
        )
        for one in kept
    ]
    return "\n".join(["Corrected by hand", *text_table(rows, right=(0,))])


def _taken_back(one: SavedCorrection) -> str:
    by = f" by {one.back_who}" if one.back_who else ""
    return f"undone {moment_text(one.back_utc)}{by}{with_reason(one.back_why)}"


def conditions_text(c: Conditions, unit: str, temperature_unit: str) -> dict[str, str]:
    """Format the conditions of an outing by name; those not recorded are left out.

    Parameters
    ----------
    c : Conditions
        The conditions.
    unit, temperature_unit : str
        The reader's units.
    """
    degrees = TEMPERATURE_UNITS[temperature_unit]
    facts = (
        ("place", c.place),
        ("wind", wind_text(c.wind_mps, c.wind_from_deg, unit)),
        ("water", c.water),
        ("air", "" if c.air_c is None else f"{degrees.from_si(c.air_c):.1f} {degrees.name}"),
        (
            "water temperature",
            "" if c.water_c is None else f"{degrees.from_si(c.water_c):.1f} {degrees.name}",
        ),
        ("pack", c.pack),
        ("note", c.note),
    )
    return {name: text for name, text in facts if text}


def wind_text(wind_mps: float | None, from_deg: float | None, unit: str) -> str:
    """Write the wind.

    Examples
    --------
    >>> wind_text(2.5, 270.0, "m/s"), wind_text(None, None, "m/s")
    ('2.5 m/s from 270°', '')
    """
    if wind_mps is None:
        return ""
    strength = f"{SPEED_UNITS[unit].from_si(wind_mps):.1f} {unit}"
    return strength if from_deg is None else f"{strength} from {from_deg:.0f}°"


def moment_text(moment: datetime | None) -> str:
    """Format a moment in UTC to the minute; None is "day not stated"."""
    return "day not stated" if moment is None else f"{moment:%Y-%m-%d %H:%M}"


def speed_or_nothing(speed_mps: float | None, u95_mps: float | None, unit: str) -> str:
    """Format a speed with its uncertainty; None is empty."""
    return "" if speed_mps is None else speed_text(speed_mps, unit, u95_mps)


def backup_text(backup: Backup) -> str:
    """Describe what a backup holds."""
    names = {"boats": "boat", "sheets": "setup sheet", "outings": "outing", "logs": "log"}
    counts = [
        f"{backup.rows[table]} {name}{'' if backup.rows[table] == 1 else 's'}"
        for table, name in names.items()
    ]
    return f"{', '.join(counts)}, as of {moment_text(backup.made_utc)} UTC"


def copies_text(copies: Sequence[RollingCopy], where: str) -> str:
    """List a logbook's rolling copies and say how one is restored."""
    if not copies:
        return f"{where} has no copies yet: one is made after each outing, beside a logbook that is a file."
    rows = [["day", "made (UTC)", "file"]]
    rows += [[f"{copy.day}", moment_text(copy.made_utc), str(copy.file)] for copy in copies]
    return "\n".join([*text_table(rows), "", f"Restore one: reciprocal restore {copies[0].file} --replace"])


def _cut(text: str) -> str:
    return text if len(text) <= _CUT else text[: _CUT - 1] + "…"
