"""List a folder of logs: outings, each to be analysed as one, and single logs.

A folder in the archive that holds logs is one outing, as for ``reciprocal analyse FOLDER``. Loose files in
the archive itself are one item each; loose files that differ in their suffixes only (``lake.gpx`` and
``lake.csv``) belong together. No log has to be opened for this, so that it costs nothing and never depends
on a log's content.
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
"""The file is in a folder of results, which is not a folder of logs."""
MAX_LOGS_OF_AN_OUTING: Final = 24


@dataclass(frozen=True, slots=True)
class ArchiveItem:
    """One thing to analyse.

    Attributes
    ----------
    name : str
        Its path in the archive: a folder, or a file (several are joined by `` + ``).
    files : tuple of Path
        Its logs, or archives of logs, in order of their names.
    error : LogError or None
        Why it cannot be tried at all.
    """

    name: str
    files: tuple[Path, ...] = ()
    error: LogError | None = None


@dataclass(frozen=True, slots=True)
class ArchiveContents:
    """The contents of an archive.

    Attributes
    ----------
    items : tuple of ArchiveItem
        In order of their names.
    passed_over : int
        How many other files there are, whose suffix is not that of a log.
    """

    items: tuple[ArchiveItem, ...]
    passed_over: int


def unopened_archive_error(archive: Path, error: Exception) -> CallError:
    """Build the error for an archive that cannot be opened."""
    reason = f"it cannot be opened: {path_fault(error)}"
    return CallError(reason, file=str(archive), hint="give the folder that holds the logs")


def find_items(archive: Path) -> ArchiveContents:
    """List an archive and all folders below it.

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
        raise CallError(f"{archive} is not a folder", hint="give the folder that holds the logs")
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
            f"no file in {archive} has one of the suffixes {ending}",
            hint="give the folder that holds the logs",
        )
    return ArchiveContents(tuple(sorted(items, key=lambda item: item.name)), passed_over)


def _loose(archive: Path, logs: list[str]) -> Iterator[ArchiveItem]:
    for _, group in groupby(sorted(logs, key=lambda name: (_stem(name), name)), key=_stem):
        names = list(group)
        yield ArchiveItem(" + ".join(map(utf8_name, names)), tuple(archive / name for name in names))


def _stem(name: str) -> str:
    """Remove all suffixes of logs and of archives from a file's name: lake.gpx.gz becomes lake."""
    while Path(name).suffix.lower() in LOG_SUFFIXES:
        name = Path(name).stem
    return name


def _outing(archive: Path, folder: Path, logs: list[str]) -> ArchiveItem:
    name = _name(archive, folder)
    if len(logs) <= MAX_LOGS_OF_AN_OUTING:
        return ArchiveItem(name, tuple(folder / log for log in logs))
    reason = f"{len(logs)} logs in one folder are not one outing, which has at most {MAX_LOGS_OF_AN_OUTING}"
    hint = "give this folder itself to --archive, which then takes each of its logs alone"
    return ArchiveItem(name, error=LogError(reason, file=name, hint=hint))


def _link(archive: Path, folder: Path) -> ArchiveItem:
    name = _name(archive, folder)
    reason = "this is a link to another folder, and links are not followed"
    return ArchiveItem(name, error=LogError(reason, file=name, hint="give that folder itself to --archive"))


def _name(archive: Path, path: Path) -> str:
    return utf8_name(path.relative_to(archive).as_posix())


def utf8_name(name: str) -> str:
    r"""Format a file's name so that any program can show it: bytes that are not UTF-8 become ``\udc..``."""
    return name.encode("utf-8", "backslashreplace").decode()
