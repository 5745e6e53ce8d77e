"""Opening a database for the logbook: its file looked at, its engine set up, its tables in order."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import NoSuchModuleError

from telemetry.core.errors import LogbookError
from telemetry.logbook import schema
from telemetry.logbook.db_errors import as_logbook_errors
from telemetry.logbook.migrations import HEAD
from telemetry.logbook.sqlite_file import APPLICATION_ID, check_file, mark_as_logbook, use_write_ahead_log
from telemetry.logbook.url import shown

WRITES: Final = "logbook_writes"
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
            check_file(Path(str(url.database)), where)
        engine = _engine(url, where)
        try:
            _bring_up(engine, where)
            if url.drivername == "sqlite":
                _into_wal(engine, Path(str(url.database)))
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
            hint='install it with pip install "psycopg[binary]"',
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


def _bring_up(engine: Engine, where: str) -> None:
    with engine.connect() as connection:
        if schema.revision_of(connection) == HEAD:
            return
    with engine.connect() as connection:
        connection.execution_options(**{WRITES: True})
        with connection.begin():
            if engine.name == "sqlite":
                mark_as_logbook(
                    connection, where
                )  # in one transaction with the tables: a kill leaves both or neither
            schema.bring_up(connection, where)


def _into_wal(engine: Engine, path: Path) -> None:
    with engine.connect() as connection:
        if connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal":
            return
    use_write_ahead_log(path, _BUSY_S)
