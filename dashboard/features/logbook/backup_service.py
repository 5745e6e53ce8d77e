"""Keeping a logbook safe: one file of everything out of it and in again, and tables for other programs."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from dashboard.session.uploads import plain_name
from telemetry.core.errors import FilledLogbookError, LogbookError
from telemetry.core.paths import home_folder
from telemetry.logbook import Backup, Logbook, open_logbook

LARGEST_BACKUP_BYTES: Final = 64_000_000
LARGEST_UNPACKED_BYTES: Final = 1_000_000_000
MAX_MEMBERS: Final = 100_000
WORD: Final = "replace"
"""What has to be written for a backup to take the place of what is there."""
_CHUNK: Final = 1 << 20
_BY_COMMAND: Final = "take it in with `reciprocal restore FILE` on the machine that serves this page"


@dataclass(frozen=True, slots=True)
class Parcel:
    """A file on its way to the browser, in a folder of its own that goes with it."""

    name: str
    folder: tempfile.TemporaryDirectory[str]
    file: Path

    def chunks(self) -> Iterator[bytes]:
        """Hand the file over piece by piece, then forget it."""
        with self.folder, self.file.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                yield chunk


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: what was taken in, and where what was there before is kept, if anything was."""

    taken: Backup
    saved: Path | None


@dataclass(frozen=True, slots=True)
class BackupClient:
    """A logbook by its address; None is the user's own."""

    url: str | None = None

    def backup(self) -> Parcel:
        """Write a backup.

        Raises
        ------
        LogbookError
            If it cannot be made.
        """
        return self._packed("logbook", lambda logbook, folder: logbook.backup(folder / "logbook.zip").file)

    def export(self) -> Parcel:
        """Write tables and a JSON document for other programs, packed into one file.

        Raises
        ------
        LogbookError
            If it cannot be made.
        """
        return self._packed("logbook-tables", _tables)

    def _packed(self, name: str, write: Callable[[Logbook, Path], Path]) -> Parcel:
        """Have a file written into a folder of its own, which does not outlive a failure."""
        folder = tempfile.TemporaryDirectory(prefix="reciprocal-")
        try:
            with open_logbook(self.url) as logbook:
                file = write(logbook, Path(folder.name))
        except BaseException:
            folder.cleanup()
            raise
        return Parcel(f"{name}-{datetime.now(UTC):%Y-%m-%d}.zip", folder, file)

    def restore(self, name: str, data: bytes, word: str) -> Restored:
        """Take a backup in that came from the browser: all of it, or nothing.

        What is in the logbook is only replaced where ``WORD`` was written, and is saved first.

        Raises
        ------
        LogbookError
            If it is no backup, is damaged or too large, or something would be lost.
        """
        name = plain_name(name)
        with tempfile.TemporaryDirectory(prefix="reciprocal-restore-") as folder:
            file = Path(folder) / "backup.zip"
            file.write_bytes(data)
            try:
                _hold_to_bounds(file, len(data))
                return self._take(file, replace=word.strip().casefold() == WORD)
            except FilledLogbookError as error:
                hint = f"write the word {WORD} to put the backup in their place; what is there is saved first"
                raise LogbookError(error.reason, file="This logbook", hint=hint) from None
            except LogbookError as error:
                its_own = error.file == str(file)
                where = name if its_own else error.file
                raise LogbookError(error.reason, file=where, place=error.place, hint=error.hint) from None

    def _take(self, file: Path, *, replace: bool) -> Restored:
        with open_logbook(self.url) as logbook:
            try:
                return Restored(logbook.restore(file), None)
            except FilledLogbookError:
                if not replace:
                    raise
            saved = home_folder() / "replaced" / f"logbook-{datetime.now(UTC):%Y-%m-%dT%H%M%S.%fZ}.zip"
            logbook.backup(saved)
            return Restored(logbook.restore(file, replace=True), saved)


def _hold_to_bounds(file: Path, size: int) -> None:
    """Refuse what is too large before anything of it is unpacked.

    Raises
    ------
    LogbookError
    """
    if size > LARGEST_BACKUP_BYTES:
        megabytes = LARGEST_BACKUP_BYTES // 1_000_000
        raise LogbookError(f"it is larger than {megabytes} MB", file=str(file), hint=_BY_COMMAND)
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
    except (OSError, zipfile.BadZipFile, NotImplementedError):
        return  # the logbook says that it is no backup
    unpacked = sum(member.file_size for member in members)
    if unpacked > LARGEST_UNPACKED_BYTES or len(members) > MAX_MEMBERS:
        raise LogbookError("it unpacks to more than a page may take in", file=str(file), hint=_BY_COMMAND)


def _tables(logbook: Logbook, folder: Path) -> Path:
    inside = folder / "logbook"
    logbook.export(inside)
    return Path(shutil.make_archive(str(inside), "zip", inside))
