"""One file a format, chosen by content through one registry.

To add a format, write one file that ends with ``READER = LogReader(name, suffixes, sniff, read)`` and add one
line to :data:`READERS`; the conformance tests then run it over every sample.
"""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Final

from telemetry.core.errors import (
    DamagedLogError,
    LogError,
    NothingUsableError,
    UnknownFormatError,
    path_fault,
)
from telemetry.core.frames import Finding, Log
from telemetry.core.sanitize import LABEL, SHORT, cut, shortened
from telemetry.readers import fit, gpx, nmea, table
from telemetry.readers.archive import (
    ARCHIVE_SUFFIXES,
    Bounds,
    LogFile,
    PassedOver,
    is_archive,
    is_shadow,
    unpack_archive,
)
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.heading_form import form_name, heading_form
from telemetry.readers.saved_columns import ExplainedTable, SavedColumnMap
from telemetry.readers.table import explain_table

__all__ = [
    "ARCHIVE_SUFFIXES",
    "LOG_SUFFIXES",
    "READERS",
    "Bounds",
    "ExplainedTable",
    "LogFile",
    "LogReader",
    "Opened",
    "ReadOptions",
    "SavedColumnMap",
    "bytes_of",
    "explain_table",
    "form_name",
    "heading_form",
    "is_shadow",
    "open_bytes",
    "open_file",
    "read_bytes",
    "read_log",
    "read_logs",
    "read_opened",
    "with_passed_over",
]

READERS: Final[tuple[LogReader, ...]] = (gpx.READER, fit.READER, nmea.READER, table.READER)
LOG_SUFFIXES: Final = frozenset({s for reader in READERS for s in reader.suffixes}) | set(ARCHIVE_SUFFIXES)
"""Endings by which a log is looked for in a folder; the content still decides the format."""

_HEAD_BYTES: Final = 4096
_MAX_NAMED: Final = 3
_HINT_PATH: Final = "give the path of one log file"


@dataclass(frozen=True, slots=True)
class Opened:
    """What a file on disk or from the network holds: itself, or the logs of an archive.

    Attributes
    ----------
    files : tuple of LogFile
        The logs, not read yet.
    errors : tuple of LogError
        One for each that could not be taken out, or for the file as a whole.
    passed_over : tuple of str
        Other files of an archive, which are not logs.
    """

    files: tuple[LogFile, ...]
    errors: tuple[LogError, ...]
    passed_over: tuple[str, ...] = ()


def open_file(path: Path) -> Opened:
    """Bring a file into memory; a .zip or .gz gives what is in it."""
    try:
        return open_bytes(bytes_of(path), str(path))
    except LogError as error:
        return Opened((), (error,))


def bytes_of(path: Path) -> bytes:
    """Bring a log, or an archive of logs, into memory as it is.

    Raises
    ------
    LogError
        If it is not a file, cannot be read, or is larger than any log.
    """
    file, largest = str(path), Bounds().each_bytes
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            reason = "it is a folder, not a log" if path.is_dir() else "it is no file"
            raise LogError(reason, file=file, hint=_HINT_PATH)
        if status.st_size > largest:
            reason = f"it is larger than {largest // 1_000_000} MB, which no log of an outing is"
            raise LogError(reason, file=file, hint="cut the outing out of it first")
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise LogError("there is no such file", file=file, hint=_HINT_PATH) from None
    except (OSError, ValueError) as error:
        reason = f"it cannot be read: {path_fault(error)}"
        raise LogError(reason, file=file, hint="check that the file exists and may be read") from None


def open_bytes(data: bytes, file: str, bounds: Bounds | None = None) -> Opened:
    """Take the logs out of an archive; any other bytes are one log by themselves."""
    if not is_archive(data):
        return Opened((LogFile(file, data),), ())
    files, errors, passed_over = [], [], []
    try:
        for found in unpack_archive(data, file, bounds or Bounds(), _is_log):
            if isinstance(found, LogFile):
                files.append(found)
            elif isinstance(found, PassedOver):
                passed_over.append(found.name)
            else:
                errors.append(found)
    except LogError as error:
        errors.append(error)
    if not files and not errors:
        errors.append(NothingUsableError("no log is in this archive", file=file, hint="pack the logs again"))
    return Opened(tuple(files), tuple(errors), tuple(passed_over))


def _is_log(name: str, head: bytes) -> bool:
    """Check whether a file in an archive is a log, by its content or its name."""
    ending = PurePosixPath(name).suffix.lower()
    return any(ending in reader.suffixes or reader.sniff(head) for reader in READERS)


def read_logs(path: Path, options: ReadOptions | None = None) -> tuple[tuple[Log, ...], tuple[LogError, ...]]:
    """Read everything that a log file, or an archive of logs, holds.

    Returns
    -------
    logs : tuple of Track or MotorLog
        In the order of the file; a log out of an archive is called ``archive.zip/inner.gpx``.
    errors : tuple of LogError
        One for each part that cannot be used; the rest is read all the same.
    """
    return read_opened(open_file(path), options)


def read_opened(
    opened: Opened, options: ReadOptions | None = None
) -> tuple[tuple[Log, ...], tuple[LogError, ...]]:
    """Read the logs that a file holds, as :func:`read_logs` returns them."""
    logs: list[Log] = []
    errors = list(opened.errors)
    for found in opened.files:
        try:
            logs += read_bytes(found.data, found.file, options)
        except LogError as error:
            errors.append(error)
    return with_passed_over(logs, opened), tuple(errors)


def with_passed_over(logs: Sequence[Log], opened: Opened) -> tuple[Log, ...]:
    """Let the first of an archive's logs tell what else was in it."""
    if not logs or not opened.passed_over:
        return tuple(logs)
    names = ", ".join(cut(opened.passed_over, _MAX_NAMED, LABEL))
    message = f"files beside it in the archive are no logs and were passed over: {names}"
    told = Finding("passed-over", message, len(opened.passed_over))
    return replace(logs[0], findings=(*logs[0].findings, told)), *logs[1:]


def read_log(path: Path, options: ReadOptions | None = None) -> tuple[Log, ...]:
    """Read a log file of any known format, packed or not, of which every part has to be usable.

    Returns
    -------
    tuple of Track or MotorLog
        Usually one; a table with GPS and motor columns yields both, on one clock.

    Raises
    ------
    LogError
        If the file cannot be opened, recognised or used; the message says which and what to do.
    """
    logs, errors = read_logs(path, options)
    if errors:
        raise errors[0]
    return logs


def read_bytes(data: bytes, file: str, options: ReadOptions | None = None) -> tuple[Log, ...]:
    """Read a log from its bytes; ``file`` is only the name used in messages and in the meta.

    Raises
    ------
    UnknownFormatError
        If no reader, or more than one, claims the content.
    LogError
        Any other reason why the log cannot be used. Nothing else leaves this function: it is the one boundary
        where an exception that escapes a reader (foreign bytes meet foreign decoders) becomes a LogError.
    """
    if not data:
        raise NothingUsableError("it is empty", file=file, hint="export the log again from the device")
    reader = _choose(data[:_HEAD_BYTES], file)
    try:
        logs = reader.read(data, file, options or ReadOptions())
    except LogError:
        raise
    except Exception as error:
        told = shortened(str(error), SHORT)
        reason = f"the {reader.name} reader cannot make sense of it ({type(error).__name__}: {told})"
        raise DamagedLogError(reason, file=file, hint="export the log again from the device") from error
    digest = hashlib.sha256(data).hexdigest()
    return tuple(replace(log, meta=replace(log.meta, sha256=digest)) for log in logs)


def _choose(head: bytes, file: str) -> LogReader:
    claims = [reader for reader in READERS if reader.sniff(head)]
    if len(claims) == 1:
        return claims[0]
    if claims:
        raise UnknownFormatError(
            "it looks like several formats at once: " + ", ".join(reader.name for reader in claims),
            file=file,
            hint="save each part as a file of its own",
        )
    raise UnknownFormatError(
        "its content is none of the known formats: " + ", ".join(reader.name for reader in READERS),
        file=file,
        hint="export the log as GPX, FIT, NMEA 0183 or CSV with a line of headings",
    )
