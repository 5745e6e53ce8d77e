"""Copies of a SQLite logbook that are made by themselves: one a day, of the last days and weeks.

After each outing the day's copy is replaced by a new one, through SQLite's own backup interface: it shows the
logbook at one moment, whoever writes meanwhile, and takes no lock away. The copies lie in a folder beside the
logbook and guard against what damages or empties its file; a stick or another machine takes a backup.

References
----------
.. [1] "SQLite Backup API", https://www.sqlite.org/backup.html
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Final

from telemetry.core.errors import LogbookError

DAYS: Final = 7
WEEKS: Final = 4
_SUFFIX: Final = ".sqlite"


@dataclass(frozen=True, slots=True)
class RollingCopy:
    """A copy of the logbook: its file, the day it is of, and when it was made."""

    file: Path
    day: date
    made_utc: datetime


def copies_folder(logbook: Path) -> Path:
    """Return the folder of a logbook's copies; it may not be there yet."""
    return logbook.with_name(f"{logbook.stem}-copies")


def rolling_copies(logbook: Path) -> tuple[RollingCopy, ...]:
    """List a logbook's copies, the latest first; none where they cannot be listed."""
    try:
        files = list(copies_folder(logbook).glob(f"*{_SUFFIX}"))
    except OSError:
        return ()
    found = []
    for file in files:
        try:
            made_utc = datetime.fromtimestamp(file.stat().st_mtime, UTC)
            found.append(RollingCopy(file, date.fromisoformat(file.stem), made_utc))
        except (OSError, ValueError):
            continue  # gone meanwhile, or not a copy
    return tuple(sorted(found, key=lambda copy: copy.day, reverse=True))


def make_copy(logbook: Path, today: date | None = None) -> RollingCopy:
    """Copy a logbook as it is now, in the place of the day's former copy, and remove those that are too old.

    Parameters
    ----------
    logbook : Path
    today : date, optional
        The day in UTC; now where none is given.

    Raises
    ------
    LogbookError
        If it cannot be made; the former copies are still there.
    """
    folder, day = copies_folder(logbook), today or datetime.now(UTC).date()
    file = folder / f"{day.isoformat()}{_SUFFIX}"
    beside = folder / f"{day.isoformat()}-{secrets.token_hex(8)}.new"
    try:
        folder.mkdir(exist_ok=True)
        copy_database(logbook, beside)
        beside.replace(file)
        made = RollingCopy(file, day, datetime.fromtimestamp(file.stat().st_mtime, UTC))
        for old in _too_old(rolling_copies(logbook)):
            old.file.unlink(missing_ok=True)
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LogbookError(
            f"its copy of today cannot be made: {reason}",
            file=str(file),
            hint="make room, or allow yourself to write there",
        ) from None
    finally:
        for ending in ("", "-wal", "-shm", "-journal"):
            if folder.is_dir() and os.access(folder, os.W_OK):
                Path(f"{beside}{ending}").unlink(missing_ok=True)
    return made


def copy_database(source: Path, target: Path) -> None:
    """Copy a database as it is at one moment into a new file, and check what was written.

    Raises
    ------
    OSError, sqlite3.Error
        If it cannot be read or written, or is damaged.
    """
    with (
        closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as original,
        closing(sqlite3.connect(target)) as copy,
    ):
        original.backup(copy)
        (found,) = copy.execute("PRAGMA quick_check(1)").fetchone()
        if found != "ok":
            raise sqlite3.DatabaseError(f"the logbook is damaged: {found}")


def _too_old(copies: Iterable[RollingCopy]) -> list[RollingCopy]:
    """Return the copies that are neither of the latest days nor the latest of one of the latest weeks."""
    latest_first = sorted(copies, key=lambda copy: copy.day, reverse=True)
    kept = {copy.file for copy in latest_first[:DAYS]}
    weeks: dict[tuple[int, int], RollingCopy] = {}
    for copy in latest_first:
        weeks.setdefault(copy.day.isocalendar()[:2], copy)
    kept |= {copy.file for copy in list(weeks.values())[:WEEKS]}
    return [copy for copy in latest_first if copy.file not in kept]
