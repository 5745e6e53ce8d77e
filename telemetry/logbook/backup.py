"""A whole logbook as one file that another machine takes, whatever database it came from.

The file is a ZIP archive: ``logbook.json`` says what is inside, ``tables/NAME.jsonl`` holds each table's rows
as lines of JSON in the order of their keys, ``logs/SHA256`` each log byte for byte. Times are ISO 8601 UTC.
The manifest holds the number of rows and the SHA-256 of every table, the step at which the tables stood, and
the highest number that each table ever gave: one of a removed outing is never another's, restored or not.
"""

from __future__ import annotations

import hashlib
import json
import math
import zipfile
import zlib
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import Connection, Table, inspect, select, text
from sqlalchemy.orm import Session

from telemetry.core.errors import LogbookError
from telemetry.core.paths import atomic_write
from telemetry.logbook import schema
from telemetry.logbook.importing import PROGRAM_VERSION, now_utc, open_document, unpacked
from telemetry.logbook.tables import Base
from telemetry.readers import Bounds

BACKUP_SCHEMA: Final = "reciprocal-backup/1"
MANIFEST: Final = "logbook.json"
_CHUNK: Final = 1 << 20
_ROWS_AT_ONCE: Final = 200
_LONGEST_MANIFEST: Final = 1_000_000
# The longest row is an analysis; that of an hour of a 25 Hz log takes less than a twentieth of this.
MAX_LINE_BYTES: Final = 1 << 24
_PAST_NUMBERS: Final = 2**31 - 1  # PostgreSQL numbers rows in 32 bits
_HINT: Final = "take another backup"
# What the standard library says of a damaged archive: a lying offset, method or flag gives the last two.
_DAMAGE: Final = (KeyError, zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError)
# What comes of rows, or a manifest, that are right by their hashes and not what is written into a backup.
MISSHAPEN: Final = (KeyError, TypeError, ValueError, AttributeError, RecursionError, OverflowError)


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds: the rows of each table by its name, and when and by which version it was made."""

    file: Path
    rows: dict[str, int]
    made_utc: datetime
    program_version: str


def table_member(name: str) -> str:
    """Name the member that holds a table's rows."""
    return f"tables/{name}.jsonl"


def log_member(sha256: str) -> str:
    """Name the member that holds a log."""
    return f"logs/{sha256}"


def write_backup(session: Session, file: Path, where: str, *, overwrite: bool) -> Backup:
    """Write everything as it is at the session's one moment; the file is read back before it gets its name.

    Raises
    ------
    LogbookError
        If the file is there already, or cannot be written.
    """
    try:
        if file.exists() and not overwrite:
            hint = "name a new file, or say --overwrite"
            raise LogbookError("it is there already", file=str(file), hint=hint)
        with atomic_write(file) as stream:
            with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, allowZip64=True) as archive:
                told = {
                    table.name: _write_table(session, table, archive) for table in Base.metadata.sorted_tables
                }
                manifest = {
                    "schema": BACKUP_SCHEMA,
                    "program_version": PROGRAM_VERSION,
                    "revision": schema.revision_of(session.connection()),
                    "made_utc": now_utc().isoformat(),
                    "tables": told,
                    "numbers": numbers_given(session.connection()),
                }
                archive.writestr(MANIFEST, json.dumps(manifest, indent=2))
            with zipfile.ZipFile(stream) as archive:
                verify_backup(archive, file)
    except OSError as error:
        raise LogbookError(
            f"the backup of {where} cannot be written: {error.strerror or error}",
            file=str(file),
            hint="make room, or name another place",
        ) from None
    return _told(manifest, file)


def _write_table(session: Session, table: Table, archive: zipfile.ZipFile) -> dict[str, Any]:
    """Write one table's rows; logs go beside, as files of their own."""
    lines = _lines(session, table, archive)
    if table.name == "logs":
        lines = iter(list(lines))  # an archive takes one member after the other: all logs, then their rows
    sha, count = hashlib.sha256(), 0
    with archive.open(table_member(table.name), "w", force_zip64=True) as stream:
        for line in lines:
            sha.update(line)
            stream.write(line)
            count += 1
    return {"rows": count, "sha256": sha.hexdigest()}


def _lines(session: Session, table: Table, archive: zipfile.ZipFile) -> Iterator[bytes]:
    query = select(table).order_by(*table.primary_key.columns).execution_options(yield_per=_ROWS_AT_ONCE)
    for row in session.execute(query).mappings():
        plain = dict(row)
        if table.name == "logs":
            content = unpacked(plain.pop("packing"), plain.pop("content"), plain["sha256"])
            archive.writestr(log_member(plain["sha256"]), content)
        elif table.name == "analyses":
            plain["document"] = open_document(plain["document"])
        text = json.dumps(plain, default=_iso, ensure_ascii=False, separators=(",", ":"))
        yield text.encode() + b"\n"


def numbers_given(connection: Connection) -> dict[str, int]:
    """Return the highest number that each table ever gave a row, removed ones too, by the table's name."""
    if connection.dialect.name == "sqlite":
        if not inspect(connection).has_table("sqlite_sequence"):
            return {}
        rows = connection.execute(text("SELECT name, seq FROM sqlite_sequence"))
        return {name: seq for name, seq in rows if name in Base.metadata.tables}
    told = {}
    there = inspect(connection).get_table_names()
    for table in Base.metadata.sorted_tables:
        column = table.autoincrement_column
        if column is None or table.name not in there:
            continue
        last = connection.scalar(
            text("SELECT pg_sequence_last_value(pg_get_serial_sequence(:table, :column)::regclass)"),
            {"table": table.name, "column": column.name},
        )
        if last is not None:
            told[table.name] = last
    return told


def _iso(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in a backup")


def read_manifest(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    """Read what a backup says of itself.

    Raises
    ------
    LogbookError
        If it is no backup, or one whose form this program does not know.
    """
    try:
        if archive.getinfo(MANIFEST).file_size > _LONGEST_MANIFEST:
            raise ValueError("no manifest is as long")
        manifest: dict[str, Any] = json.loads(archive.read(MANIFEST))
        form = manifest["schema"]
        if form == BACKUP_SCHEMA:
            _told(manifest, file)
            _ = manifest["revision"], [told["sha256"] for told in manifest["tables"].values()]
            # Absent from backups of earlier versions.
            if not all(
                type(n) is int and 0 <= n < _PAST_NUMBERS for n in manifest.get("numbers", {}).values()
            ):
                raise ValueError("a number that no table gave")
    except (*_DAMAGE, *MISSHAPEN):
        raise LogbookError("it is no backup of a logbook", file=str(file), hint=_HINT) from None
    if form != BACKUP_SCHEMA:
        raise LogbookError(
            f"its form is {form}, this program knows {BACKUP_SCHEMA}",
            file=str(file),
            hint="update the program",
        )
    return manifest


def verify_backup(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    """Hold every member of a backup to its hash; return the manifest.

    Raises
    ------
    LogbookError
        Naming what is damaged or missing.
    """
    names = archive.namelist()
    if len(names) != len(set(names)):
        raise LogbookError("it holds two files of one name", file=str(file), hint=_HINT)
    manifest = read_manifest(archive, file)
    schema.check_known(manifest["revision"], str(file))
    for name, told in manifest["tables"].items():
        _hold(archive, file, table_member(name), told["sha256"])
    try:
        logs = [str(row["sha256"]) for row in read_rows(archive, "logs")]
    except (*_DAMAGE, *MISSHAPEN):
        raise LogbookError("its list of logs is missing or damaged", file=str(file), hint=_HINT) from None
    for sha256 in logs:
        _hold(archive, file, log_member(sha256), sha256, Bounds().each_bytes)
    return manifest


def _hold(
    archive: zipfile.ZipFile, file: Path, member: str, sha256: str, most_bytes: float = math.inf
) -> None:
    sha = hashlib.sha256()
    try:
        if archive.getinfo(member).file_size > most_bytes:
            raise LogbookError(f"{member} is larger than any log", file=str(file), hint=_HINT)
        with archive.open(member) as stream:
            while chunk := stream.read(_CHUNK):
                sha.update(chunk)
    except _DAMAGE:
        raise LogbookError(f"{member} is missing or damaged", file=str(file), hint=_HINT) from None
    if sha.hexdigest() != sha256:
        raise LogbookError(f"{member} does not give its hash", file=str(file), hint=_HINT)


def read_rows(archive: zipfile.ZipFile, table: str) -> Generator[dict[str, Any]]:
    """Go through a table's rows.

    Raises
    ------
    ValueError
        If a line is longer than any row; it is not read to its end.
    """
    stream: IO[bytes]
    with archive.open(table_member(table)) as stream:
        while line := stream.readline(MAX_LINE_BYTES + 1):
            if len(line) > MAX_LINE_BYTES:
                raise ValueError("a line is longer than any row")
            yield json.loads(line)


def _told(manifest: dict[str, Any], file: Path) -> Backup:
    return Backup(
        file,
        {name: told["rows"] for name, told in manifest["tables"].items()},
        datetime.fromisoformat(manifest["made_utc"]),
        manifest["program_version"],
    )


def open_backup(file: Path) -> tuple[zipfile.ZipFile, Backup, dict[str, Any]]:
    """Open a backup and hold all of it to its hashes.

    Raises
    ------
    LogbookError
        If it cannot be opened, is no backup, or is damaged.
    """
    try:
        archive = zipfile.ZipFile(file)
    except (*_DAMAGE, ValueError) as error:
        reason = getattr(error, "strerror", None)
        raise LogbookError(
            f"it cannot be opened: {reason}" if reason else "it is no backup of a logbook",
            file=str(file),
            hint="check the path" if reason else _HINT,
        ) from None
    try:
        manifest = verify_backup(archive, file)
    except BaseException:
        archive.close()
        raise
    return archive, _told(manifest, file), manifest
