"""What a database says when it cannot, as the project's own errors."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from telemetry.core.errors import LogbookError

# Words of the errors' names: SQLite's result codes and PostgreSQL's classes as psycopg names them.
_KNOWN: Final = (
    (
        ("SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_SHMSIZE", "SQLITE_IOERR_FSYNC", "DiskFull"),
        "the disk is full",
        "make room and do it again; nothing of this step was kept, all before it is there",
    ),
    (
        ("SQLITE_BUSY", "SQLITE_LOCKED", "LockNotAvailable", "DeadlockDetected", "SerializationFailure"),
        "another program is writing in it",
        "wait for it to end, or stop it, then do it again",
    ),
    (
        ("SQLITE_READONLY", "SQLITE_PERM", "ReadOnlySqlTransaction", "InsufficientPrivilege"),
        "it may only be read",
        "allow yourself to write the file and its folder, or name another logbook",
    ),
    (
        ("SQLITE_NOTADB", "SQLITE_CORRUPT"),
        "it is no logbook, or it is damaged",
        "restore your latest backup into a new file",
    ),
    (
        ("SQLITE_CANTOPEN",),
        "it cannot be opened",
        "check that its folder exists and that you may write there",
    ),
    (
        ("OperationalError", "ConnectionTimeout"),
        "the database cannot be reached or used",
        "check that its server runs and that the address, user and password are right",
    ),
)


def _names(error: BaseException) -> list[str]:
    """Every name under which a database's refusal may be known."""
    if isinstance(error, sqlite3.Error) and getattr(error, "sqlite_errorname", None):
        return [error.sqlite_errorname]
    return [kind.__name__ for kind in type(error).__mro__]


def explain_db_error(error: SQLAlchemyError | sqlite3.Error, where: str) -> LogbookError:
    """Say in one sentence what a database refused, and what the user can do."""
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    names = _names(cause)
    first_line = next(iter(str(cause).strip().splitlines()), "")
    for known, reason, hint in _KNOWN:
        # A result code's extended forms begin with it: SQLITE_BUSY_SNAPSHOT is a SQLITE_BUSY.
        if any(name == word or name.startswith(f"{word}_") for name in names for word in known):
            return LogbookError(f"{reason} ({first_line})", file=where, hint=hint)
    return LogbookError(f"the database refuses ({first_line})", file=where, hint="see what it says")


@contextmanager
def as_logbook_errors(where: str) -> Iterator[None]:
    """Let nothing of a database's own errors through but as :class:`LogbookError`."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise explain_db_error(error, where) from error
