"""Finding outings, and telling them as records."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session

from telemetry.core.sanitize import safe_file_name
from telemetry.logbook.records import Conditions, Outing, OutingSearch, StoredLog
from telemetry.logbook.tables import BoatRow, LogRow, OutingLogRow, OutingRow, SheetRow

FoundOutings = tuple[OutingRow, str, str]  # with the names of its boat and its sheet

_SORTS: Final[dict[str, tuple[Any, ...]]] = {
    "date": (OutingRow.when_utc,),
    "two-way": (OutingRow.best_two_way_mps,),
    "peak": (OutingRow.best_peak_mps,),
    "place": (OutingRow.place_folded, OutingRow.when_utc),
    "boat": (BoatRow.folded, OutingRow.when_utc),
}


def fold(text: str) -> str:
    """Return a text as searches compare it: storable, no case, single spaces.

    Examples
    --------
    >>> fold("  Straße  am SEE ")
    'strasse am see'
    """
    return " ".join(storable(text).casefold().split())


def storable(text: str) -> str:
    r"""Return a text that every database takes: what is no UTF-8 in it becomes a question mark.

    Examples
    --------
    >>> storable("b\udcffoat\0")
    'b?oat'
    """
    return text.encode("utf-8", "replace").decode().replace("\0", "")


def storable_parts(plain: Any) -> Any:
    r"""Return plain types with every text in them made storable, keys too.

    Examples
    --------
    >>> storable_parts({"note": ["b\udcffoat", 1.0, None]})
    {'note': ['b?oat', 1.0, None]}
    """
    if isinstance(plain, str):
        return storable(plain)
    if isinstance(plain, Mapping):
        return {storable_parts(key): storable_parts(value) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [storable_parts(one) for one in plain]
    return plain


def words_of(boat: str, sheet: str, conditions: Conditions) -> str:
    """Return everything of an outing that a text search looks through."""
    said = " ".join((conditions.place, boat, sheet, conditions.pack, conditions.note))
    return fold(said)


def conditions_to_columns(conditions: Conditions) -> dict[str, Any]:
    """Return the columns that hold the conditions."""
    said = {name: getattr(conditions, name) for name in Conditions.__dataclass_fields__}
    columns = {name: storable(value) if isinstance(value, str) else value for name, value in said.items()}
    return columns | {"place_folded": fold(columns["place"])}


def found_outings() -> Select[OutingRow, str, str]:
    """Return the query that every list of outings starts from."""
    return (
        select(OutingRow, BoatRow.name, SheetRow.name)
        .join(BoatRow, BoatRow.id == OutingRow.boat_id)
        .join(SheetRow, SheetRow.id == OutingRow.sheet_id)
    )


def search_query(search: OutingSearch) -> Select[OutingRow, str, str]:
    """Return the query of a search, in its order and its part."""
    query = found_outings().where(*_conditions(search))
    for column in _SORTS[search.sort]:
        ordered = column.desc() if search.descending else column.asc()
        # Only where some are empty: PostgreSQL takes no index for an order that gives those a place.
        query = query.order_by(ordered.nulls_last() if column.nullable else ordered)
    query = query.order_by(OutingRow.id.desc() if search.descending else OutingRow.id)
    return query.limit(search.limit).offset(search.offset or None)


def count_query(search: OutingSearch) -> Select[int]:
    """Return the query that counts all a search finds, whatever its part."""
    query = select(func.count(OutingRow.id))
    if search.boat:
        query = query.join(BoatRow, BoatRow.id == OutingRow.boat_id)
    return query.where(*_conditions(search))


def _conditions(search: OutingSearch) -> list[ColumnElement[bool]]:
    asked = [OutingRow.words.contains(word, autoescape=True) for word in fold(search.text).split()]
    if search.boat:
        asked.append(BoatRow.folded == fold(search.boat))
    if search.place:
        asked.append(OutingRow.place_folded == fold(search.place))
    if search.sheet_id:
        asked.append(OutingRow.sheet_id == storable(search.sheet_id))
    if search.since is not None:
        asked.append(OutingRow.start_utc >= search.since)
    if search.until is not None:
        asked.append(OutingRow.start_utc < search.until)
    for column, (low, high) in (
        (OutingRow.best_two_way_mps, search.two_way_mps),
        (OutingRow.best_peak_mps, search.peak_mps),
    ):
        if low is not None:
            asked.append(column >= low)
        if high is not None:
            asked.append(column <= high)
    return asked


def outing_records(session: Session, found: Sequence[FoundOutings]) -> tuple[Outing, ...]:
    """Turn rows into records, with each outing's logs."""
    logs = logs_of(session, [row.id for row, _, _ in found])
    return tuple(
        Outing(
            id=row.id,
            boat=boat,
            sheet_id=row.sheet_id,
            sheet_name=sheet,
            start_utc=row.start_utc,
            conditions=Conditions(**{n: getattr(row, n) for n in Conditions.__dataclass_fields__}),
            logs=logs[row.id],
            passes=row.pass_count,
            two_ways=row.two_way_count,
            best_two_way_mps=row.best_two_way_mps,
            best_two_way_u95_mps=row.best_two_way_u95_mps,
            best_verdict=row.best_verdict,
            best_peak_mps=row.best_peak_mps,
            best_peak_u95_mps=row.best_peak_u95_mps,
            program_version=row.program_version,
            added_utc=row.added_utc,
        )
        for row, boat, sheet in found
    )


def logs_of(session: Session, outing_ids: Sequence[int]) -> defaultdict[int, tuple[StoredLog, ...]]:
    """Return the logs of outings, without their bytes."""
    query = (
        select(OutingLogRow.outing_id, OutingLogRow.file, OutingLogRow.sha256, LogRow.size_bytes)
        .join(LogRow, LogRow.sha256 == OutingLogRow.sha256)
        .where(OutingLogRow.outing_id.in_(outing_ids))
        .order_by(OutingLogRow.outing_id, OutingLogRow.position)
    )
    logs: defaultdict[int, tuple[StoredLog, ...]] = defaultdict(tuple)
    for outing_id, file, sha256, size_bytes in session.execute(query):
        logs[outing_id] += (StoredLog(safe_file_name(file), sha256, size_bytes),)
    return logs
