"""What a folder of logs holds: outings, each to be analysed as one, and single logs.

A folder below the archive that holds logs is one outing, as ``reciprocal analyse FOLDER`` takes it. What lies
loose in the archive itself is each an item; loose files that differ in their endings alone (``lake.gpx`` and
``lake.csv``) belong together. Nobody has to open a log to know this, so that it costs nothing and never
depends on what a log says.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Final

from telemetry.core.errors import CallError, LogError, path_fault
from telemetry.readers import LOG_SUFFIXES, is_shadow

MARKER: Final = "reciprocal-archive.txt"
"""Lies in a folder of results, which is not a folder of logs."""
MAX_LOGS_OF_AN_OUTING: Final = 24


@dataclass(frozen=True, slots=True)
class ArchiveItem:
    """One thing to analyse.

    Attributes
    ----------
    name : str
        Where it lies in the archive: a folder, or a file (several are joined by `` + ``).
    files : tuple of Path
        Its logs, or archives of logs, in order of their names.
    error : LogError or None
        Why it is not even tried.
    """

    name: str
    files: tuple[Path, ...] = ()
    error: LogError | None = None


@dataclass(frozen=True, slots=True)
class ArchiveContents:
    """What lies in an archive.

    Attributes
    ----------
    items : tuple of ArchiveItem
        In order of their names.
    passed_over : int
        How many other files there are, whose names are those of no log.
    """

    items: tuple[ArchiveItem, ...]
    passed_over: int


def unopened_archive_error(archive: Path, error: Exception) -> CallError:
    """Make the refusal of an archive whose path leads nowhere."""
    reason = f"it cannot be opened: {path_fault(error)}"
    return CallError(reason, file=str(archive), hint="give the folder in which the logs lie")


def find_items(archive: Path) -> ArchiveContents:
    """Look through an archive and all folders below it.

    Raises
    ------
    CallError
        If it is not a folder, or none of its files looks like a log.
    """
    try:
        is_folder = archive.is_dir()
    except OSError as error:
        raise unopened_archive_error(archive, error) from None
    if not is_folder:
        raise CallError(f"{archive} is not a folder", hint="give the folder in which the logs lie")
    items: list[ArchiveItem] = []
    passed_over = 0

    def cannot(error: OSError) -> None:
        name = _name(archive, Path(error.filename))
        reason = f"the folder cannot be read: {error.strerror or error}"
        items.append(ArchiveItem(name, error=LogError(reason, file=name, hint="check that it may be read")))

    for path, folders, files in os.walk(archive, onerror=cannot):
        folder = Path(path)
        if MARKER in files:
            folders.clear()
            continue
        items += [_link(archive, folder / name) for name in folders if (folder / name).is_symlink()]
        logs = sorted(
            name for name in files if Path(name).suffix.lower() in LOG_SUFFIXES and not is_shadow(name)
        )
        passed_over += len(files) - len(logs)
        if folder == archive:
            items += _loose(archive, logs)
        elif logs:
            items.append(_outing(archive, folder, logs))
    if not items:
        ending = " ".join(sorted(LOG_SUFFIXES))
        raise CallError(
            f"no file in {archive} ends in {ending}", hint="give the folder in which the logs lie"
        )
    return ArchiveContents(tuple(sorted(items, key=lambda item: item.name)), passed_over)


def _loose(archive: Path, logs: list[str]) -> Iterator[ArchiveItem]:
    for _, group in groupby(sorted(logs, key=lambda name: (_stem(name), name)), key=_stem):
        names = list(group)
        yield ArchiveItem(" + ".join(map(utf8_name, names)), tuple(archive / name for name in names))


def _stem(name: str) -> str:
    """Take all endings of logs and of archives off a file's name: lake.gpx.gz is called lake."""
    while Path(name).suffix.lower() in LOG_SUFFIXES:
        name = Path(name).stem
    return name


def _outing(archive: Path, folder: Path, logs: list[str]) -> ArchiveItem:
    name = _name(archive, folder)
    if len(logs) <= MAX_LOGS_OF_AN_OUTING:
        return ArchiveItem(name, tuple(folder / log for log in logs))
    reason = f"{len(logs)} logs in one folder are not outing, which has {MAX_LOGS_OF_AN_OUTING} at most"
    hint = "give this folder itself to --archive, where each of its logs is taken alone"
    return ArchiveItem(name, error=LogError(reason, file=name, hint=hint))


def _link(archive: Path, folder: Path) -> ArchiveItem:
    name = _name(archive, folder)
    reason = "this is a link to another folder, and links are not followed"
    return ArchiveItem(name, error=LogError(reason, file=name, hint="give that folder itself to --archive"))


def _name(archive: Path, path: Path) -> str:
    return utf8_name(path.relative_to(archive).as_posix())


def utf8_name(name: str) -> str:
    r"""Write a file's name so that any program can: bytes that are not UTF-8 become ``\udc..``."""
    return name.encode("utf-8", "backslashreplace").decode()
