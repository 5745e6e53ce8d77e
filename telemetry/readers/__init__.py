"""One file a format, chosen by content through one registry.

To add a format, write one file that ends with ``READER = LogReader(name, suffixes, sniff, read)`` and add one
line to :data:`READERS`; the conformance tests then run it over every sample.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Final

from telemetry.errors import DamagedLogError, LogError, NothingUsableError, UnknownFormatError
from telemetry.frames import Log
from telemetry.readers import fit, gpx, nmea, table
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.kept import Explained, KeptMap
from telemetry.readers.table import explained

__all__ = [
    "READERS",
    "Explained",
    "KeptMap",
    "LogReader",
    "ReadOptions",
    "explained",
    "read_bytes",
    "read_log",
]

READERS: Final[tuple[LogReader, ...]] = (gpx.READER, fit.READER, nmea.READER, table.READER)
_HEAD_BYTES: Final = 4096
_LARGEST_BYTES: Final = 200_000_000


def read_log(path: Path, options: ReadOptions | None = None) -> tuple[Log, ...]:
    """Read a log file of any known format.

    Returns
    -------
    tuple of Track or MotorLog
        Usually one; a table with GPS and motor columns yields both, on one clock.

    Raises
    ------
    LogError
        If the file cannot be opened, recognised or used; the message says which and what to do.
    """
    file = str(path)
    try:
        if not path.is_file():
            reason = "it is a folder, not a log" if path.is_dir() else "there is no such file"
            raise LogError(reason, file=file, mend="give the path of one log file")
        if path.stat().st_size > _LARGEST_BYTES:
            raise LogError(
                f"it is larger than {_LARGEST_BYTES // 1_000_000} MB, which no log of an outing is",
                file=file,
                mend="cut the outing out of it first",
            )
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = f"it cannot be read: {getattr(error, 'strerror', None) or error}"
        raise LogError(reason, file=file, mend="check that the file exists and may be read") from error
    return read_bytes(data, file, options)


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
        raise NothingUsableError("it is empty", file=file, mend="export the log again from the device")
    reader = _choose(data[:_HEAD_BYTES], file)
    try:
        logs = reader.read(data, file, options or ReadOptions())
    except LogError:
        raise
    except Exception as error:
        reason = f"the {reader.name} reader cannot make sense of it ({type(error).__name__}: {error})"
        raise DamagedLogError(reason, file=file, mend="export the log again from the device") from error
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
            mend="save each part as a file of its own",
        )
    raise UnknownFormatError(
        "its content is none of the known formats: " + ", ".join(reader.name for reader in READERS),
        file=file,
        mend="export the log as GPX, FIT, NMEA 0183 or CSV with a line of headings",
    )
