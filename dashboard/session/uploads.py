"""Files the user dropped: read once, stored as logs, each with its own error."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from telemetry.analysis import Analysis
from telemetry.core.errors import ColumnMapNeededError, LogError, PolePairsNeededError
from telemetry.core.frames import Finding, Log, Track
from telemetry.core.progress import scope
from telemetry.core.sanitize import safe_file_name
from telemetry.core.units import SPEED_UNITS
from telemetry.readers import (
    Bounds,
    ExplainedTable,
    ReadOptions,
    explain_table,
    open_bytes,
    read_bytes,
    with_passed_over,
)
from telemetry.readers.headings import match

# Limits of one file, one drop and one session. An hour at 25 Hz is about 25 MB of GPX.
LARGEST_BYTES: Final = 32_000_000
MAX_FILES_A_DROP: Final = 12
MAX_BYTES_A_DROP: Final = 64_000_000
MAX_FILES: Final = 40
MAX_BYTES: Final = 160_000_000
# The most headings of a table that is read without a question and still offers each to be named.
_MAX_NAMED: Final = 40


def content_of(data_url: str) -> bytes:
    """Decode the bytes of a file from the browser's data address."""
    try:
        return base64.b64decode(data_url.partition(",")[2], validate=True)
    except binascii.Error:
        return b""


@dataclass(frozen=True)
class Upload:
    """One dropped file.

    Attributes
    ----------
    key : str
        Hash of its bytes: dropping a file twice changes nothing.
    name : str
        The file's name without any folder; a log from an archive is called ``archive.zip/inner.gpx``.
    size : int
        Length [byte].
    logs : tuple of Track or MotorLog
        The logs; empty with an error.
    error : LogError or None
        Why it could not be used.
    data : bytes or None
        The file's bytes, for a table to be read again with other headings and for the logbook; None if it was
        refused.
    said : ExplainedTable or None
        The explanation of a table, new or saved; None for other formats.
    """

    key: str
    name: str
    size: int
    logs: tuple[Log, ...]
    error: LogError | None
    data: bytes | None
    said: ExplainedTable | None

    def refused(self, reason: str, hint: str) -> Upload:
        """Return the same file refused: only its name is kept."""
        error = LogError(reason, file=self.name, hint=hint)
        return replace(self, size=0, logs=(), error=error, data=None, said=None)


TOO_MUCH: Final = "too much is loaded already", "remove some files, then drop it again"


def turned_away(name: str) -> Upload:
    """Build the error for a file for which there is no room."""
    reason, hint = TOO_MUCH
    return _unread(LogError(reason, file=plain_name(name), hint=hint))


def read_uploads(name: str, data: bytes, options: ReadOptions | None = None) -> tuple[Upload, ...]:
    """Read one dropped file, or each log of a dropped archive."""
    name = plain_name(name)
    if len(data) > LARGEST_BYTES:
        reason = f"it is larger than {LARGEST_BYTES // 1_000_000} MB"
        return (_unread(LogError(reason, file=name, hint="cut the outing out of it first")),)
    opened = open_bytes(data, name, Bounds(LARGEST_BYTES, MAX_BYTES_A_DROP, MAX_FILES_A_DROP))
    read = []
    for k, found in enumerate(opened.files):
        with scope(k / len(opened.files), (k + 1) / len(opened.files)):
            read.append(_read(found.file, found.data, options or ReadOptions()))
    usable = next((k for k, upload in enumerate(read) if upload.logs), None)
    if usable is not None:
        read[usable] = replace(read[usable], logs=with_passed_over(read[usable].logs, opened))
    return (*read, *(_unread(error) for error in opened.errors))


def read_upload(name: str, data: bytes, options: ReadOptions | None = None) -> Upload:
    """Read one log; whatever is wrong with it ends in its ``error``."""
    return _read(plain_name(name), data, options or ReadOptions())


def plain_name(name: str) -> str:
    """Return a file's name from any path that a browser, or somebody else, sent with it."""
    return safe_file_name(name)


def _unread(error: LogError) -> Upload:
    key = hashlib.sha256(str(error).encode()).hexdigest()
    return Upload(key, error.file, 0, (), error, None, None)


def _read(name: str, data: bytes, options: ReadOptions) -> Upload:
    logs: tuple[Log, ...] = ()
    error: LogError | None = None
    try:
        logs = read_bytes(data, name, options)
    except LogError as refused:
        error = refused
    asked = isinstance(error, ColumnMapNeededError | PolePairsNeededError)
    is_table = asked or any(log.meta.format == "table" for log in logs)
    said: ExplainedTable | None = None
    if is_table:
        with suppress(LogError):  # a table without headings has no column to name
            said = explain_table(data, name, options)
    key = hashlib.sha256(data).hexdigest()
    return Upload(key, name, len(data), logs, error, data if logs or is_table else None, said)


def read_again(
    upload: Upload,
    headings: Mapping[str, str] | None,
    pole_pairs: int | None,
    gear_ratio: float | None = None,
) -> Upload:
    """Read a table again with the user's explanation, replacing all earlier ones.

    Parameters
    ----------
    upload : Upload
    headings : mapping of str to str or None
        None if the user was not asked: the earlier column map is kept.
    pole_pairs : int or None
    gear_ratio : float or None
    """
    if upload.data is None:
        return upload
    if headings is None:
        headings = upload.said.columns if upload.said else {}
    return _read(upload.name, upload.data, ReadOptions(dict(headings), pole_pairs, gear_ratio))


@dataclass(frozen=True, slots=True, kw_only=True)
class FileView:
    """One file as shown on the page.

    Attributes
    ----------
    key, name : str
        The upload's.
    summaries : tuple of tuple of str
        For each log in it: kind, samples, rate, span, and which speed it holds.
    findings : tuple of Finding
        Everything found in it by reading and cleaning.
    error : str
        Why it could not be used, with the fix; empty if it could.
    is_table : bool
        Whether the user can name its columns.
    headings : tuple of str
        A table's headings, if the user has to, or may, say what they mean.
    mapped : Mapping of str to str
        The user's column map so far.
    understood : Mapping of str to str
        The column that the program recognises in each heading.
    pole_pairs, gear_ratio : int and float, or None
        The user's facts of the motor.
    needs_headings, needs_poles : bool
        Whether reading needs the user's column names; whether electrical rpm needs the number of pole pairs.
    """

    key: str
    name: str
    summaries: tuple[tuple[str, ...], ...]
    findings: tuple[Finding, ...]
    error: str
    is_table: bool
    headings: tuple[str, ...]
    mapped: Mapping[str, str]
    understood: Mapping[str, str]
    pole_pairs: int | None
    gear_ratio: float | None
    needs_headings: bool
    needs_poles: bool


def file_view(upload: Upload, analysis: Analysis | None) -> FileView:
    """Describe an upload, with what the cleaning found once it has been analysed."""
    findings: list[Finding] = []
    for log in upload.logs:
        findings += _findings(log, analysis)
    said = upload.said
    needs_headings = isinstance(upload.error, ColumnMapNeededError)
    offered = said is not None and (needs_headings or len(said.headings) <= _MAX_NAMED)
    needs_poles = any(f.code == "pole-pairs-unknown" for log in upload.logs for f in log.findings)
    error = ""
    if upload.error is not None:
        hint = f" {upload.error.hint[0].upper()}{upload.error.hint[1:]}." if upload.error.hint else ""
        place = f" ({upload.error.place})" if upload.error.place else ""
        reason = upload.error.reason
        error = f"{reason[0].upper()}{reason[1:]}{place}.{hint}"
    return FileView(
        key=upload.key,
        name=upload.name,
        summaries=tuple(_summary(log) for log in upload.logs),
        findings=tuple(findings),
        error=error,
        is_table=said is not None,
        headings=said.headings if said and offered else (),
        mapped=said.columns if said else {},
        understood={m.heading: m.column for m in match(said.headings, said.units, {})} if said else {},
        pole_pairs=said.pole_pairs if said else None,
        gear_ratio=said.gear_ratio if said else None,
        needs_headings=needs_headings,
        needs_poles=needs_poles or isinstance(upload.error, PolePairsNeededError),
    )


def _findings(log: Log, analysis: Analysis | None) -> tuple[Finding, ...]:
    if analysis is not None and isinstance(log, Track):
        for speed_log in analysis.speed_logs:
            meta = speed_log.cleaned.track.meta
            if (meta.sha256, meta.file, meta.format) == (log.meta.sha256, log.meta.file, log.meta.format):
                return speed_log.cleaned.findings
    return log.findings


def _summary(log: Log) -> tuple[str, ...]:
    kind = "CSV" if log.meta.format == "table" else log.meta.format.upper()
    parts = [f"{kind} {'speed' if isinstance(log, Track) else 'motor'} log"]
    parts.append(f"{len(log.frame):,} samples".replace(",", "\u202f"))
    if log.rate_hz:
        parts.append(f"{log.rate_hz:.0f} Hz" if log.rate_hz >= 100 else f"{log.rate_hz:.3g} Hz")
    t_s = log.t_s
    start, end = log.utc(float(t_s.min())), log.utc(float(t_s.max()))
    if start is None or end is None:
        parts.append(f"{t_s.max() - t_s.min():.0f} s, day unknown")
    else:
        until = "" if start.date() == end.date() else f"{_day(end)} "
        parts += [_day(start), f"{start:%H:%M:%S} to {until}{end:%H:%M:%S} UTC"]
    if isinstance(log, Track):
        measured = log.meta.speed_source == "measured"
        parts.append("speed measured by the receiver" if measured else "speed worked out from positions")
    return tuple(parts)


def _day(when: pd.Timestamp) -> str:
    return f"{when.day} {when:%b %Y}"  # strftime's own day without a zero is spelled differently on Windows


def column_choices() -> list[tuple[str, str]]:
    """Pairs of value and label for naming a table's column by hand: the targets of a heading map."""
    return [
        ("clock", "Time: a clock, with or without a date"),
        ("elapsed:s", "Time since the start [s]"),
        ("elapsed:ms", "Time since the start [ms]"),
        ("lat_deg:deg", "Latitude [°]"),
        ("lon_deg:deg", "Longitude [°]"),
        *((f"speed_mps:{unit}", f"Speed over ground [{unit}]") for unit in SPEED_UNITS),
        ("course_deg:deg", "Course over ground [°]"),
        ("alt_m:m", "Altitude [m]"),
        ("hdop", "HDOP"),
        ("satellites", "Satellites"),
        ("voltage_v:V", "Pack voltage [V]"),
        ("current_a:A", "Pack current [A]"),
        ("erpm:rpm", "Electrical rpm"),
        ("motor_rpm:rpm", "Motor rpm"),
        ("rpm:rpm", "Propeller shaft rpm"),
        ("throttle_pct:%", "Throttle [%]"),
        ("esc_temp_c:°C", "Controller temperature [°C]"),
        ("esc_temp_c:°F", "Controller temperature [°F]"),
        ("motor_temp_c:°C", "Motor temperature [°C]"),
        ("motor_temp_c:°F", "Motor temperature [°F]"),
        ("charge_mah:mAh", "Charge drawn [mAh]"),
    ]
