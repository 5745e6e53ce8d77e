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

import os
import sqlite3
import stat
import time
import zipfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, inspect

from telemetry.core.errors import LogbookError
from telemetry.logbook.rolling_copies import rolling_copies

APPLICATION_ID: Final = 0x52637062  # "Rcpb": marks a SQLite file as a logbook, in its header
_FOREIGN: Final = "it is the database of another program"
_HINT: Final = "name a logbook, or a new file"
_ENDINGS: Final = ("", "-wal", "-shm", "-journal")
# A refusal is confirmed for this long: another process may be making the file at this moment [s].
_CONFIRM_S: Final = 0.25
_LOOK_AGAIN_S: Final = 0.02
_MAX_ARCHIVES: Final = 50
# Pauses of a waiting writer: 20 ms at first, 10 ms after half a second, 1 ms after ten.
_LONGEST_PAUSE_S: Final = 0.02
_HURRY_HZ: Final = 2.0


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
    """Refuse to take an empty file for a new logbook where something shows that it held one.

    SQLite would delete its write-ahead log, and with it what may still be recovered.
    """
    log = path.with_name(f"{path.name}-wal")
    if log.is_file() and log.stat().st_size:
        return (
            f"it is empty, but {log.name} beside it holds the last changes of a logbook",
            "put the file back beside it, or move both away and restore your latest backup",
        )
    if not path.exists():
        return None
    kept = [copy.file for copy in rolling_copies(path)] or _backups_beside(path)
    if kept:
        reason = f"it is empty, though it held something: {kept[0].name} is a copy or backup of a logbook"
        return reason, f"remove the empty file, then `reciprocal restore {kept[0]}`"
    return None


def _backups_beside(path: Path) -> list[Path]:
    """Find backups in the folder of a file."""
    try:
        archives = sorted(path.parent.glob("*.zip"))[:_MAX_ARCHIVES]
    except OSError:
        return []
    found = []
    for archive in archives:
        with suppress(OSError, zipfile.BadZipFile, ValueError), zipfile.ZipFile(archive) as opened:
            if {"logbook.json", "tables/boats.jsonl"} <= set(opened.namelist()):
                found.append(archive)
    return found


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


def is_logbook(path: Path) -> bool:
    """Check whether a file is a SQLite logbook; nothing is written, and it is opened through SQLite alone."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return False
    return stat.S_ISREG(status.st_mode) and status.st_size > 0 and _foreign(path) is None


def read_only_address(path: Path, where: str) -> str | None:
    """Return the URI under which a logbook can only be read; None where it may be written.

    A logbook in the write-ahead log needs two files beside it even to be read. Where they cannot be made and
    the log is empty, as it is after the last user of a logbook closed it, SQLite reads the file as immutable.

    Raises
    ------
    LogbookError
        If it cannot be read as it stands: its latest changes are in a log that cannot be opened.
    """
    if not path.is_file() or (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        return None
    address = f"{path.absolute().as_uri()}?mode=ro"
    if _readable(address):
        return address
    log = path.with_name(f"{path.name}-wal")
    if not (log.exists() and log.stat().st_size) and _readable(f"{address}&immutable=1"):
        return f"{address}&immutable=1"
    if log.exists() and log.stat().st_size:
        reason = (
            f"its latest changes are in {log.name}, which can only be read where its folder may be written"
        )
        raise LogbookError(
            reason, file=where, hint="copy both files into a folder of yours and name the copy"
        )
    return None


def _readable(address: str) -> bool:
    connection = sqlite3.connect(address, uri=True)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        return False
    finally:
        connection.close()
    return True


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


def begin_writing(connection: Any, patience_s: float) -> None:
    """Begin a transaction that writes, waiting for its turn among many writers.

    SQLite's own waiting polls less often the longer it lasts, so that a writer who just came overtakes those
    who wait: under load some were refused after 15 s. Here who has waited longer polls more often.

    Raises
    ------
    sqlite3.OperationalError
        If its turn does not come in time.
    """
    begun = time.monotonic()
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                connection.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as error:
                waited_s = time.monotonic() - begun
                # Its extended forms too: a log that is just recovered, a reader at an older state of it.
                if not error.sqlite_errorname.startswith("SQLITE_BUSY") or waited_s > patience_s:
                    raise
                time.sleep(_LONGEST_PAUSE_S / (1.0 + _HURRY_HZ * waited_s))
    finally:
        connection.execute(f"PRAGMA busy_timeout = {round(1000.0 * patience_s)}")


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
