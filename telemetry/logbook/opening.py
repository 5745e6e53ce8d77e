"""Opening a database for the logbook: its file looked at, its engine set up, its tables in order."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import NoSuchModuleError

from telemetry.errors import LogbookError
from telemetry.logbook import schema
from telemetry.logbook.address import shown
from telemetry.logbook.faults import as_logbook_errors
from telemetry.logbook.migrations import HEAD

APPLICATION_ID: Final = 0x52637062  # "Rcpb": marks a SQLite file as a logbook, in its header
WRITES: Final = "logbook_writes"
_MAGIC: Final = b"SQLite format 3\x00"
_BUSY_S: Final = 15.0


def open_engine(url: URL) -> Engine:
    """Open a logbook's database, make it where there is none, and bring its tables up to date.

    Raises
    ------
    LogbookError
        If that cannot be, with the reason.
    """
    where = shown(url)
    with as_logbook_errors(where):
        if url.drivername == "sqlite":
            _prepare_file(Path(str(url.database)), where)
        engine = _engine(url, where)
        try:
            _bring_up(engine, where)
        except BaseException:
            engine.dispose()
            raise
        return engine


def _engine(url: URL, where: str) -> Engine:
    try:
        if url.drivername == "sqlite":
            engine = create_engine(url, connect_args={"timeout": _BUSY_S})
            event.listen(engine, "connect", _set_up_connection)
            event.listen(engine, "begin", _begin)
            return engine
        engine = create_engine(url, pool_pre_ping=True)
        event.listen(engine, "begin", _take_turn)
        return engine
    except (NoSuchModuleError, ModuleNotFoundError) as error:
        raise LogbookError(
            f"the driver for this database is not installed ({error})",
            file=where,
            mend='install it with pip install "psycopg[binary]"',
        ) from None


def _set_up_connection(connection: Any, _record: object) -> None:
    # The driver's own idea of when a transaction begins is switched off: `_begin` says it.
    connection.isolation_level = None
    for pragma in ("foreign_keys = ON", "synchronous = FULL"):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    # A writer takes its turn at once: had it read before it wrote, another could have come between.
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _take_turn(connection: Connection) -> None:
    # The same on PostgreSQL: one writer after the other, so that what was checked is still so.
    if connection.get_execution_options().get(WRITES, False):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_BUSY_S:.0f}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({APPLICATION_ID})")


def _prepare_file(path: Path, where: str) -> None:
    """Look whether the file is ours before anything is written to it; mark a new one."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        head = b""
    except OSError as error:
        raise LogbookError(
            f"it cannot be opened: {error.strerror}", file=where, mend="check the path and its permissions"
        ) from None
    if head:
        if not head.startswith(_MAGIC):
            raise LogbookError("it is no logbook", file=where, mend="name a logbook, or a new file")
        if int.from_bytes(head[68:72], "big") != APPLICATION_ID:
            raise LogbookError(
                "it is the database of another program", file=where, mend="name a logbook, or a new file"
            )
        return
    connection = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
    try:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        _into_wal(connection)
    finally:
        connection.close()


def _into_wal(connection: sqlite3.Connection) -> None:
    """Switch to the write-ahead log; SQLite itself does not wait for another process that does the same."""
    until = time.monotonic() + _BUSY_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > until:
                raise
            time.sleep(0.01)


def _bring_up(engine: Engine, where: str) -> None:
    with engine.connect() as connection:
        if schema.revision_of(connection) == HEAD:
            return
    with engine.connect() as connection:
        connection.execution_options(**{WRITES: True})
        with connection.begin():
            schema.bring_up(connection, where)
