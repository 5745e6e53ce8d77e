"""Rows of an outing written, inside the caller's transaction."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.logbook.importing import PROGRAM_VERSION, Prepared, digest, now_utc, packed, press_document
from telemetry.logbook.records import NamedLog
from telemetry.logbook.tables import (
    AnalysisRow,
    BoatRow,
    LogRow,
    OutingLogRow,
    OutingRow,
    PassRow,
    TwoWayRow,
)


def refuse_known(session: Session, logs: Sequence[NamedLog], outing_id: int | None = None) -> None:
    """Refuse logs that an outing has already; one log is of one outing.

    Parameters
    ----------
    outing_id : int, optional
        The outing to which they are to be added.

    Raises
    ------
    LogbookError
        Naming the log and the outing.
    """
    hashes = {digest(log.data): log.file for log in logs}
    query = (
        select(
            OutingLogRow.sha256, OutingLogRow.outing_id, OutingRow.start_utc, OutingRow.place, BoatRow.name
        )
        .join(OutingRow, OutingRow.id == OutingLogRow.outing_id)
        .join(BoatRow, BoatRow.id == OutingRow.boat_id)
        .where(OutingLogRow.sha256.in_(hashes))
        .order_by(OutingLogRow.outing_id, OutingLogRow.position)
    )
    known = session.execute(query).all()
    if not known:
        return
    sha256, its_outing, start_utc, place, boat = known[0]
    when = "" if start_utc is None else f" of {start_utc:%Y-%m-%d %H:%M} UTC"
    at = f" at {place}" if place else ""
    others = [name for sha, name in hashes.items() if sha not in {row[0] for row in known}]
    hint = f"nothing was added; see outing {its_outing}"
    if others and outing_id is None:
        hint = f"nothing was added; to add {', '.join(others)} to that outing, name it: --to {its_outing}"
    raise LogbookError(
        f"this log is in the logbook already, in outing {its_outing}{when} with {boat}{at}",
        file=hashes[sha256],
        hint=hint,
    )


def write_logs(session: Session, outing_id: int, logs: Sequence[NamedLog], first: int = 0) -> None:
    """Store logs and link them to their outing."""
    for position, log in enumerate(logs, first):
        packing, content = packed(log.data)
        sha256 = digest(log.data)
        session.execute(
            insert(LogRow).values(sha256=sha256, size_bytes=len(log.data), packing=packing, content=content)
        )
        session.execute(
            insert(OutingLogRow).values(sha256=sha256, outing_id=outing_id, position=position, file=log.file)
        )


def write_analysis(session: Session, outing: OutingRow, prepared: Prepared) -> None:
    """Store an analysis as the outing's latest, and its numbers in place of the former one's."""
    told = prepared.figures
    session.execute(
        delete(AnalysisRow).where(
            AnalysisRow.outing_id == outing.id, AnalysisRow.program_version == PROGRAM_VERSION
        )
    )
    session.execute(
        insert(AnalysisRow).values(
            outing_id=outing.id,
            program_version=PROGRAM_VERSION,
            made_utc=now_utc(),
            request=prepared.request,
            document=press_document(prepared.document),
        )
    )
    for table, rows in ((PassRow, told.passes), (TwoWayRow, told.two_ways)):
        session.execute(delete(table).where(table.outing_id == outing.id))
        if rows:
            session.execute(insert(table), [{"outing_id": outing.id} | row for row in rows])
    outing.program_version = PROGRAM_VERSION
    outing.under_way_s = prepared.under_way_s
    for name, value in told.summary.items():
        setattr(outing, name, value)
