"""Corrections by hand as rows of the database, inside the caller's transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from telemetry.cleaning.corrections import ByHand, ClockByHand, Correction, Cut, Restored, group_corrections
from telemetry.core.sanitize import safe_file_name
from telemetry.logbook.importing import now_utc, storable_correction
from telemetry.logbook.queries import storable
from telemetry.logbook.records import SavedCorrection
from telemetry.logbook.tables import CorrectionRow, OutingLogRow

_ANEW = "set anew"


def by_hand_of(session: Session, outing_id: int) -> ByHand:
    """Return what is corrected in an outing now."""
    return group_corrections([_correction(row) for row in _rows(session, outing_id) if row.back_utc is None])


def saved_corrections(session: Session, outing_id: int) -> tuple[SavedCorrection, ...]:
    """Return everything that was ever corrected in an outing, the oldest first."""
    query = select(OutingLogRow.sha256, OutingLogRow.file).where(OutingLogRow.outing_id == outing_id)
    files: dict[str, str] = {sha256: safe_file_name(file) for sha256, file in session.execute(query)}
    return tuple(
        SavedCorrection(
            row.id,
            _correction(row),
            files.get(row.sha256, row.sha256[:12]),
            row.made_utc,
            row.who,
            row.back_utc,
            row.back_who,
            row.back_why,
        )
        for row in _rows(session, outing_id)
    )


def write_corrections(session: Session, outing_id: int, corrections: Iterable[Correction], who: str) -> None:
    """Add corrections that do not hold yet; a clock ends the one that the motor log had."""
    now = [(row, _correction(row)) for row in _rows(session, outing_id) if row.back_utc is None]
    for one in map(storable_correction, corrections):
        if one in (known for _, known in now):
            continue
        if isinstance(one, ClockByHand):
            former = [row for row, known in now if isinstance(known, ClockByHand) and known.log == one.log]
            end_corrections(former, who, _ANEW)
        row = CorrectionRow(
            outing_id=outing_id,
            sha256=one.log,
            why=one.why,
            who=storable(who),
            made_utc=now_utc(),
            back_who="",
            back_why="",
            **_columns(one),
        )
        session.add(row)
    session.flush()


def end_corrections(rows: Sequence[CorrectionRow], who: str, why: str) -> None:
    """Take corrections back; they stay to be read."""
    for row in rows:
        row.back_utc, row.back_who, row.back_why = now_utc(), storable(who), storable(why)


def rows_in_force(session: Session, outing_id: int, ids: Sequence[int]) -> list[CorrectionRow]:
    """Return those rows of an outing that hold and have one of these numbers."""
    return [row for row in _rows(session, outing_id) if row.id in ids and row.back_utc is None]


def _rows(session: Session, outing_id: int) -> Sequence[CorrectionRow]:
    query = select(CorrectionRow).where(CorrectionRow.outing_id == outing_id).order_by(CorrectionRow.id)
    return session.scalars(query).all()


def _columns(one: Correction) -> dict[str, Any]:
    if isinstance(one, ClockByHand):
        return {
            "kind": "clock",
            "speed_sha256": one.speed_log,
            "offset_s": one.offset_s,
            "drift_ppm": one.drift_ppm,
            "u95_s": one.u95_s,
        }
    return {"kind": "cut" if isinstance(one, Cut) else "restored", "start_s": one.start_s, "end_s": one.end_s}


def _correction(row: CorrectionRow) -> Correction:
    if row.kind == "clock":
        offset_s, drift_ppm = row.offset_s or 0.0, row.drift_ppm or 0.0
        return ClockByHand(row.sha256, row.speed_sha256 or "", offset_s, drift_ppm, row.u95_s, row.why)
    kind = Cut if row.kind == "cut" else Restored
    return kind(row.sha256, row.start_s or 0.0, row.end_s or 0.0, row.why)
