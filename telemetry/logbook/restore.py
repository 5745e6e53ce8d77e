"""A backup put into a database: everything, or nothing."""

from __future__ import annotations

import math
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from itertools import islice
from typing import Any, Final

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    DateTime,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    func,
    insert,
    select,
    text,
)
from sqlalchemy.exc import DataError, IntegrityError
from sqlalchemy.types import TypeEngine

from telemetry.core.errors import FilledLogbookError, LogbookError
from telemetry.core.sanitize import safe_file_name
from telemetry.logbook import schema
from telemetry.logbook.backup import MISSHAPEN, log_member, numbers_given, read_rows
from telemetry.logbook.importing import packed, press_document
from telemetry.logbook.migrations import HEAD, VERSION_TABLE
from telemetry.logbook.tables import Base

_AT_ONCE: Final = 200
MAX_NUMBER: Final = 2**31 - 1  # PostgreSQL's integers have 32 bits
# What JSON holds of each type of column; the first that fits counts.
_KINDS: Final[tuple[tuple[type[TypeEngine[Any]], tuple[type, ...]], ...]] = (
    (DateTime, (str,)),
    (Boolean, (bool,)),
    (Integer, (int,)),
    (Float, (int, float)),
    (JSON, (dict, list)),
    (String, (str,)),
)


def refuse_filled(connection: Connection, where: str) -> None:
    """Refuse to put a backup over what somebody has written.

    Raises
    ------
    FilledLogbookError
    """
    filled = {
        table.name: connection.scalar(select(func.count()).select_from(table)) or 0
        for table in Base.metadata.sorted_tables
    }
    if any(filled.values()):
        raise FilledLogbookError(
            f"there are {filled['boats']} boats and {filled['outings']} outings in it",
            file=where,
            hint="restore into a new logbook with --logbook, or say --replace to lose these",
        )


def put_in(connection: Connection, archive: zipfile.ZipFile, manifest: dict[str, Any], where: str) -> None:
    """Put a backup's rows in the place of all there is, in the caller's transaction.

    The tables are first made as they were when the backup was taken, and then brought up to date as a logbook
    of that time would be: so every older backup can be restored.
    """
    revision = manifest["revision"]
    # What this logbook numbered and now loses was told to its user just as what the backup had lost already.
    told = [numbers_given(connection), manifest.get("numbers", {})]
    there = MetaData()
    there.reflect(connection, only=lambda name, _: name in (*Base.metadata.tables, VERSION_TABLE))
    there.drop_all(connection)
    schema.bring_up(connection, where, revision)
    then = MetaData()
    then.reflect(connection)
    for table in then.sorted_tables:
        if table.name == VERSION_TABLE:
            continue
        if table.name not in manifest["tables"]:
            reason = f"it lacks the table {table.name}"
            raise LogbookError(reason, file=archive.filename or "", hint="take another backup")
        try:
            with closing(read_rows(archive, table.name)) as rows:
                ordered = _parents_first(list(rows)) if table.name == "sheets" else rows
                for batch in _batches(_row(table, plain, archive) for plain in ordered):
                    connection.execute(insert(table), batch)
        except IntegrityError:
            reason = f"its rows of {table.name} contradict one another, or rows that it lacks"
            raise LogbookError(reason, file=archive.filename or "", hint="take another backup") from None
        except (*MISSHAPEN, DataError):
            reason = f"its rows of {table.name} are none that this program writes"
            raise LogbookError(reason, file=archive.filename or "", hint="take another backup") from None
    if revision != HEAD:
        schema.bring_up(connection, where)
    for table in Base.metadata.sorted_tables:
        count_on(connection, table, max(numbers.get(table.name, 0) for numbers in told))


def _row(table: Table, plain: dict[str, Any], archive: zipfile.ZipFile) -> dict[str, Any]:
    """Turn a line of a backup into a row of the database at hand."""
    made: dict[str, Any] = {}
    if table.name == "logs":
        data = archive.read(log_member(plain["sha256"]))
        if plain["size_bytes"] != len(data):
            raise ValueError("a log is longer or shorter than its row says")
        made["packing"], made["content"] = packed(data)
    elif table.name == "analyses":
        if not isinstance(plain["document"], dict):
            raise TypeError("an analysis is not an object")
        made["document"] = press_document(plain.pop("document"))
    elif table.name == "outing_logs":
        made["file"] = safe_file_name(plain.pop("file"))
    columns = {column.name: column for column in table.columns if column.name not in made}
    if plain.keys() != columns.keys():
        raise KeyError("other columns than the table's")
    return made | {name: _value(columns[name], value) for name, value in plain.items()}


def _value(column: Column[Any], value: Any) -> Any:
    """Return a value of a backup as its column takes it; SQLite itself would take any.

    Raises
    ------
    TypeError, ValueError
        If it is not what this program writes there.
    """
    if value is None:
        if not column.nullable:
            raise TypeError(f"{column.name} is missing")
        return None
    kinds = next((kinds for sort, kinds in _KINDS if isinstance(column.type, sort)), None)
    # A number in place of a word is a number even where true and false are numbers too.
    if kinds is None or type(value) not in kinds:
        raise TypeError(f"{column.name} is of another kind")
    if isinstance(column.type, DateTime):
        moment = datetime.fromisoformat(value).astimezone(UTC)
        return moment if column.type.timezone else moment.replace(tzinfo=None)
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{column.name} is not finite")
    if isinstance(column.type, Integer) and not -MAX_NUMBER <= value <= MAX_NUMBER:
        raise ValueError(f"{column.name} is larger than any number that was given")
    return value


def _parents_first(sheets: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Order sheets so that each comes after the one it was made from."""
    waiting = sorted(sheets, key=lambda sheet: sheet["made_utc"])
    placed: dict[str, dict[str, Any]] = {}
    while waiting:
        before = len(placed)
        still = []
        for sheet in waiting:
            if sheet["parent_id"] is None or sheet["parent_id"] in placed:
                placed[sheet["id"]] = sheet
            else:
                still.append(sheet)
        if len(placed) == before:
            raise LogbookError("setup sheets in the backup have parents that it lacks", hint="take another")
        waiting = still
    return list(placed.values())


def _batches(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    rest = iter(rows)
    while batch := list(islice(rest, _AT_ONCE)):
        yield batch


def count_on(connection: Connection, table: Table, told: int = 0) -> None:
    """Let a database number new rows after those put in, and after the highest number told before."""
    column = table.autoincrement_column
    if column is None:
        return
    highest = max(told, connection.scalar(select(func.max(column))) or 0)
    if highest and connection.dialect.name == "postgresql":
        connection.execute(
            text("SELECT setval(pg_get_serial_sequence(:table, :column), :highest)"),
            {"table": table.name, "column": column.name, "highest": highest},
        )
    elif highest and table.dialect_options["sqlite"]["autoincrement"]:  # the other tables count by themselves
        named = {"table": table.name, "highest": highest}
        connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :table"), named)
        connection.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:table, :highest)"), named)
