"""A logbook's SQLite file, checked before anything is written to it.

The file is opened through SQLite and never by hand. Closing any other descriptor of a database file drops
every POSIX lock that this process holds on it, whichever thread or connection took it; another process may
then checkpoint or write under a connection that believes itself alone, and acknowledged writes are lost.

References
----------
.. [1] "How To Corrupt An SQLite Database File", section 2.2, https://www.sqlite.org/howtocorrupt.html
.. [2] "URI Filenames", parameter ``immutable``, https://www.sqlite.org/uri.html
"""

from __future__ import annotations

import sqlite3
import stat
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from sqlalchemy import URL, Connection, inspect

from telemetry.core.errors import LogbookError

APPLICATION_ID: Final = 0x52637062  # "Rcpb": marks a SQLite file as a logbook, in its header
_FOREIGN: Final = "it is the database of another program"
_HINT: Final = "name a logbook, or a new file"
_ENDINGS: Final = ("", "-wal", "-shm", "-journal")
# A refusal is confirmed for this long: another process may be making the file at this moment [s].
_CONFIRM_S: Final = 0.25
_LOOK_AGAIN_S: Final = 0.02


def check_file(path: Path, where: str) -> None:
    """Check that a file is a logbook, or may become one, without writing to it.

    Raises
    ------
    LogbookError
        If it is something else, cannot be opened, or has lost its content.
    """
    until = time.monotonic() + _CONFIRM_S
    while (fault := _fault(path)) is not None:
        if time.monotonic() > until:
            reason, hint = fault
            raise LogbookError(reason, file=where, hint=hint)
        time.sleep(_LOOK_AGAIN_S)


def _fault(path: Path) -> tuple[str, str] | None:
    """Return why a file cannot be used, and what to do; None where it can."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        status = path.stat()
    except FileNotFoundError:
        return _lost_content(path)
    except (OSError, ValueError) as error:
        return _unopened(getattr(error, "strerror", None) or str(error))
    if not stat.S_ISREG(status.st_mode):
        return _unopened("it is a folder" if stat.S_ISDIR(status.st_mode) else "it is not a file")
    return _foreign(path) if status.st_size else _lost_content(path)


def _unopened(reason: str) -> tuple[str, str]:
    return f"it cannot be opened: {reason}", "check the path and its permissions"


def _lost_content(path: Path) -> tuple[str, str] | None:
    """Refuse to take an empty file for a new logbook where its write-ahead log shows that it held something.

    SQLite would delete that log, and with it what may still be recovered.
    """
    log = path.with_name(f"{path.name}-wal")
    try:
        if log.stat().st_size == 0:
            return None
    except OSError:
        return None
    return (
        f"it is empty, but {log.name} beside it holds the last changes of a logbook",
        "put the file back beside it, or move both away and restore your latest backup",
    )


def _foreign(path: Path) -> tuple[str, str] | None:
    """Look at the mark in the header of a file that holds something.

    SQLite opens it read-only and immutable: nothing is written, in it or beside it, no journal is rolled back
    and no lock is waited for. What another process writes meanwhile cannot mislead: the mark is in the header
    before anything else is, and stays there.
    """
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
    except sqlite3.OperationalError as error:
        return _unopened(str(error))
    try:
        # The header of a file that a checkpoint is just growing states more pages than there are yet.
        connection.execute("PRAGMA writable_schema = ON")
        (mark,) = connection.execute("PRAGMA application_id").fetchone()
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_NOTADB":
            return "it is no logbook", _HINT
        return _unopened(str(error))
    finally:
        connection.close()
    return None if mark == APPLICATION_ID else (_FOREIGN, _HINT)


def refuse_parts_of(url: URL, files: Iterable[Path], what: str) -> None:
    """Refuse to read or replace, as something else, a file that belongs to the open logbook itself.

    Parameters
    ----------
    url : URL
        The logbook.
    files : iterable of Path
        What the caller is about to open by hand.
    what : str
        What the files were given as, such as "a log".

    Raises
    ------
    LogbookError
        Naming the first of them.
    """
    if url.drivername != "sqlite":
        return
    own = {_identity(Path(f"{url.database}{ending}")) for ending in _ENDINGS} - {None}
    for file in files:
        if _identity(file) in own:
            raise LogbookError(
                f"it is the logbook itself, not {what}", file=str(file), hint="name another file"
            )


def _identity(file: Path) -> tuple[int, int] | None:
    """Return what tells a file from all others, under whatever name; None where there is no file."""
    try:
        status = file.stat()
    except (OSError, ValueError):
        return None
    return status.st_dev, status.st_ino


def mark_as_logbook(connection: Connection, where: str) -> None:
    """Mark a new database as a logbook, in the writer's transaction that makes its tables.

    Raises
    ------
    LogbookError
        If another program has just made it its own.
    """
    found = connection.exec_driver_sql("PRAGMA application_id").scalar()
    if found == APPLICATION_ID:
        return
    if found or inspect(connection).get_table_names():
        raise LogbookError(_FOREIGN, file=where, hint=_HINT)
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")


def use_write_ahead_log(path: Path, patience_s: float) -> None:
    """Switch a logbook to the write-ahead log.

    SQLite itself does not wait for another process that does the same.
    """
    connection = sqlite3.connect(path, timeout=patience_s, isolation_level=None)
    until = time.monotonic() + patience_s
    try:
        while True:
            try:
                connection.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if error.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > until:
                    raise
                time.sleep(0.01)
    finally:
        connection.close()
