"""A logbook for other programs: flat tables as CSV, and everything as one JSON document.

Units are SI and stand in the names; times are ISO 8601 in UTC. The logs' own bytes stay in the logbook and in
its backups.
"""

from __future__ import annotations

import csv
import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.core.sanitize import safe_file_name
from telemetry.logbook.importing import PROGRAM_VERSION, now_utc, open_document
from telemetry.logbook.tables import AnalysisRow, Base, BoatRow

EXPORT_SCHEMA: Final = "reciprocal-export/1"
_TABLES: Final = (
    "boats",
    "sheets",
    "founds",
    "outings",
    "outing_logs",
    "corrections",
    "passes",
    "two_ways",
    "services",
    "services_done",
)
_INSIDE: Final = frozenset({"folded", "place_folded", "words", "boat_id"})
_ROWS_AT_ONCE: Final = 500


def write_export(session: Session, folder: Path) -> tuple[Path, ...]:
    """Write the CSV tables and ``logbook.json`` into a new folder, which appears when all of it is there.

    Returns
    -------
    tuple of Path
        The files.

    Raises
    ------
    LogbookError
        If the folder is there already and not empty, or cannot be written.
    """
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise LogbookError("it is there already", file=str(folder), hint="name a new folder")
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f"{folder.name}-"))
        try:
            for name in _TABLES:
                _write_csv(beside / f"{name}.csv", session, name)
            _write_csv(beside / "readings.csv", session, "readings")
            _write_json(beside / "logbook.json", session)
            if folder.exists():
                folder.rmdir()
            beside.rename(folder)
        except BaseException:
            shutil.rmtree(beside, ignore_errors=True)
            raise
    except OSError as error:
        raise LogbookError(
            f"the export cannot be written: {error.strerror or error}",
            file=str(folder),
            hint="make room, or name another place",
        ) from None
    return tuple(sorted(folder.iterdir()))


def _write_csv(file: Path, session: Session, name: str) -> None:
    rows = _readings(session) if name == "readings" else map(_flat, _rows(session, name))
    with file.open("w", newline="", encoding="utf-8") as stream:
        first = next(rows, None)
        if first is not None:
            writer = csv.DictWriter(stream, list(first))
            writer.writeheader()
            writer.writerow(first)
            writer.writerows(rows)


def _rows(session: Session, name: str) -> Iterator[dict[str, Any]]:
    """Go through a table by its keys, without what only searches need; a boat is told by its name."""
    table = Base.metadata.tables[name]
    query: Select[Any] = select(*(c for c in table.columns if c.name not in _INSIDE))
    if "boat_id" in table.columns:
        query = query.add_columns(BoatRow.name.label("boat")).join(BoatRow, BoatRow.id == table.c.boat_id)
    query = query.order_by(*table.primary_key.columns)
    for row in session.execute(query, execution_options={"yield_per": _ROWS_AT_ONCE}).mappings():
        told = {key: _told(value) for key, value in row.items()}
        if name == "outing_logs":
            told["file"] = safe_file_name(str(told["file"]))
        yield told


def _told(value: object) -> object:
    return value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    """Write what is no single value as JSON."""
    return {
        key: json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else value
        for key, value in row.items()
    }


def _readings(session: Session) -> Iterator[dict[str, Any]]:
    """Go through the readings of all setup sheets, one a row."""
    for sheet in _rows(session, "sheets"):
        for item, reading in sheet["document"]["readings"].items():
            gauge = reading.get("gauge") or {}
            yield {
                "boat": sheet["boat"],
                "sheet_id": sheet["id"],
                "sheet": sheet["name"],
                "item": item,
                "value": reading["value"],
                "gauge": gauge.get("name", ""),
                "resolution": gauge.get("resolution", ""),
                "resolution_unit": gauge.get("unit", ""),
            }


def _write_json(file: Path, session: Session) -> None:
    """Write one document; outings carry the latest analysis as the output contract has it."""
    head = {"schema": EXPORT_SCHEMA, "program_version": PROGRAM_VERSION, "made_utc": now_utc().isoformat()}
    with file.open("w", encoding="utf-8") as stream:
        stream.write(json.dumps(head, ensure_ascii=False)[:-1])
        for name in _TABLES:
            if name in ("passes", "two_ways"):  # the analyses say it all
                continue
            stream.write(f',\n"{name}": [')
            for k, row in enumerate(_rows(session, name)):
                if name == "outings":
                    row["analysis"] = _latest_analysis(session, row["id"])
                stream.write((",\n" if k else "\n") + json.dumps(row, ensure_ascii=False, allow_nan=False))
            stream.write("]")
        stream.write("}\n")


def _latest_analysis(session: Session, outing_id: int) -> dict[str, Any]:
    query = select(AnalysisRow.document).where(AnalysisRow.outing_id == outing_id)
    content = session.scalars(query.order_by(AnalysisRow.id.desc()).limit(1)).one()
    return open_document(content)
