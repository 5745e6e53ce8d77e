"""Files the user dropped: read once, kept as logs, each with its own error."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Final

import pandas as pd

from telemetry.analysis import Analysis
from telemetry.errors import HeadingMapNeededError, LogError
from telemetry.frames import Finding, Log, MotorLog, Track
from telemetry.readers import ReadOptions, read_bytes
from telemetry.units import SPEED_UNITS

# What one file, one drop and one session may hold. An hour at 25 Hz is about 25 MB of GPX.
LARGEST_BYTES: Final = 32_000_000
MOST_FILES_A_DROP: Final = 12
MOST_BYTES_A_DROP: Final = 64_000_000
MOST_FILES: Final = 40
MOST_BYTES: Final = 160_000_000


@dataclass(frozen=True)
class Upload:
    """One dropped file.

    Attributes
    ----------
    key : str
        Hash of its bytes: dropping a file twice changes nothing.
    name : str
        The file's name without any folder.
    size : int
        Length [byte].
    logs : tuple of Track or MotorLog
        What was read; empty with an error.
    error : LogError or None
        Why it could not be used.
    data : bytes or None
        Kept only for tables, which may have to be read again with other headings or pole pairs.
    options : ReadOptions
        How it was read.
    """

    key: str
    name: str
    size: int
    logs: tuple[Log, ...]
    error: LogError | None
    data: bytes | None
    options: ReadOptions

    def refused(self, reason: str, mend: str) -> Upload:
        """Return the same file turned away: nothing of it is kept but its name."""
        error = LogError(reason, file=self.name, mend=mend)
        return replace(self, size=0, logs=(), error=error, data=None)


def read_upload(name: str, data: bytes, options: ReadOptions | None = None) -> Upload:
    """Read one dropped file; whatever is wrong with it ends in its ``error``."""
    options = options or ReadOptions()
    name = PurePath(name.replace("\\", "/")).name[:120] or "log"
    logs: tuple[Log, ...] = ()
    error: LogError | None = None
    if len(data) > LARGEST_BYTES:
        error = LogError(
            f"it is larger than {LARGEST_BYTES // 1_000_000} MB",
            file=name,
            mend="cut the outing out of it first",
        )
    else:
        try:
            logs = read_bytes(data, name, options)
        except LogError as refused:
            error = refused
    is_table = isinstance(error, HeadingMapNeededError) or any(log.meta.format == "table" for log in logs)
    return Upload(
        hashlib.sha256(data).hexdigest(), name, len(data), logs, error, data if is_table else None, options
    )


def read_again(upload: Upload, headings: Mapping[str, str], pole_pairs: int | None) -> Upload:
    """Read a table again with the user's heading map and pole pairs."""
    if upload.data is None:
        return upload
    options = replace(upload.options, headings=dict(headings), pole_pairs=pole_pairs)
    return read_upload(upload.name, upload.data, options)


@dataclass(frozen=True, slots=True)
class FileView:
    """What the page says of one file.

    Attributes
    ----------
    key, name : str
        The upload's.
    summaries : tuple of tuple of str
        For each log in it: kind, samples, rate, span, and which speed it holds.
    findings : tuple of Finding
        Everything noticed in it while reading and cleaning.
    error : str
        Why it could not be used, with the mend; empty when it could.
    headings : tuple of str
        A table's headings, when the user has to say what they mean.
    mapped : Mapping of str to str
        What the user said so far.
    pole_pairs : int or None
        What the user said of the motor, for a file that holds a motor log.
    needs_poles : bool
        Whether electrical rpm waits for the number of pole pairs.
    """

    key: str
    name: str
    summaries: tuple[tuple[str, ...], ...]
    findings: tuple[Finding, ...]
    error: str
    headings: tuple[str, ...]
    mapped: Mapping[str, str]
    pole_pairs: int | None
    needs_poles: bool


def file_view(upload: Upload, analysis: Analysis | None) -> FileView:
    """Describe an upload, with what the cleaning found once it has been analysed."""
    findings: list[Finding] = []
    for log in upload.logs:
        findings += _findings(log, analysis)
    headings = upload.error.headings if isinstance(upload.error, HeadingMapNeededError) else ()
    error = ""
    if upload.error is not None:
        mend = f" {upload.error.mend[0].upper()}{upload.error.mend[1:]}." if upload.error.mend else ""
        place = f" ({upload.error.place})" if upload.error.place else ""
        reason = upload.error.reason
        error = f"{reason[0].upper()}{reason[1:]}{place}.{mend}"
    return FileView(
        upload.key,
        upload.name,
        tuple(_summary(log) for log in upload.logs),
        tuple(findings),
        error,
        headings,
        upload.options.headings,
        upload.options.pole_pairs if any(isinstance(log, MotorLog) for log in upload.logs) else None,
        needs_poles=any(f.code == "pole-pairs-unknown" for f in findings),
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
        parts.append(f"{t_s.max() - t_s.min():.0f} s, day not stated")
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
    """Pairs of value and label for naming a table's column by hand: what a heading map may say."""
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
