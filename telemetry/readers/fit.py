"""FIT: the record messages of an activity file, or of several chained in one.

:mod:`telemetry.readers.fit_scan` walks over the file and reads the record fields in bulk. Where the walk
breaks off, fitparse gives a second opinion, and a finding says so if it gets further. Tests hold the walk to
the values of fitparse and fitdecode on every recorded log.

Damage ends the reading, not the log: what stands before is returned with a finding.
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterable, Iterator
from typing import Any, Final

import fitparse
import numpy as np
from fitparse.processors import FitFileDataProcessor
from fitparse.records import FieldDefinition

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import TRACK_COLUMNS, Finding, FloatArray, IntArray, Log, LogMeta, make_track
from telemetry.core.progress import report_each, scope
from telemetry.core.sanitize import LABEL, SHORT, cut, shortened
from telemetry.readers import notes, stamps
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.fit_motion import FAST_MESSAGES, gps_fixes, motion_frame
from telemetry.readers.fit_scan import TIMESTAMP, FitStructure, scan_fit
from telemetry.readers.headings import match
from telemetry.readers.motion_rows import means_around

# Field numbers of the record message in the FIT profile, with scale and offset: value = raw / scale - offset.
_SEMICIRCLES_PER_DEG: Final = 2.0**31 / 180.0
_FIELDS: Final[dict[int, tuple[str, float, float]]] = {
    0: ("lat_deg", _SEMICIRCLES_PER_DEG, 0.0),
    1: ("lon_deg", _SEMICIRCLES_PER_DEG, 0.0),
    2: ("alt_m", 5.0, 500.0),
    6: ("speed_mps", 1000.0, 0.0),
    31: ("horizontal_sd_m", 1.0, 0.0),
    32: ("vertical_mps", 1000.0, 0.0),
    # The enhanced fields hold the same quantities with more bits; they come later and so win.
    73: ("speed_mps", 1000.0, 0.0),
    78: ("alt_m", 5.0, 500.0),
}
_FRACTION_FIELD: Final = 48  # 1/128 s past the timestamp
_WANTED: Final = (*_FIELDS, _FRACTION_FIELD)

# So many times more fixes than records make it worthwhile to leave the records.
_MIN_FINER: Final = 1.5
_FIT_EPOCH_S: Final = 631_065_600  # 1989-12-31T00:00:00Z in Unix time
_FIRST_ABSOLUTE_S: Final = 0x10000000  # below, a timestamp counts from power-on

# What fitparse reads within about a second.
_MAX_BYTES: Final = 500_000
_MAX_MESSAGES: Final = 20_000
_TOLD_EVERY: Final = 1000

_MAX_STAMP_S: Final = 2**32 - 1
# fitparse keeps developer fields in one table for all files: without this lock a file would be read by the
# definitions of another one.
_ONE_FILE_AT_A_TIME: Final = threading.Lock()
_MAX_LISTED: Final = 12
_UNITLESS: Final = ("hdop", "satellites", "fix")
_HINT: Final = "copy the file from the device again"


def _sniff(head: bytes) -> bool:
    return head[8:12] == b".FIT"


def _read(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
    with scope(0.0, 0.6):
        found = scan_fit(data, _WANTED, FAST_MESSAGES)
    fixes = gps_fixes(found)
    if found.records == 0 and found.untimed and not found.damage and not fixes[0].size:
        raise NothingUsableError("none of its records carries a time", file=file, hint=_HINT)
    if found.records == 0 and not fixes[0].size:
        if found.damage:
            raise DamagedLogError(
                f"no usable record stands before the damage: {found.damage}", file=file, hint=_HINT
            )
        raise NothingUsableError(
            "none of its records holds a position, a speed or an altitude",
            file=file,
            hint="record the outing with GPS switched on",
        )
    with scope(0.6, 0.95):
        raw, findings = _decode(data, found)
    if found.damage:
        findings.append(
            Finding("salvaged", f"the file is damaged, what stands before was read: {found.damage}")
        )
    if found.empty_records:
        findings.append(
            Finding(
                "no-value",
                "records that hold neither a position, a speed nor an altitude were left out",
                found.empty_records,
            )
        )
    if found.wrong_checksums:
        findings.append(
            Finding("bad-checksum", "the file's checksum is wrong; its content was read all the same")
        )
    return (_track(raw, fixes, found, findings, file),)


def _decode(data: bytes, found: FitStructure) -> tuple[dict[int, FloatArray], list[Finding]]:
    """Return the record fields as the walk read them, or as fitparse did where it got further."""
    if found.damage and not found.cut and len(data) <= _MAX_BYTES and found.messages <= _MAX_MESSAGES:
        with _ONE_FILE_AT_A_TIME:
            fitparse.records.DEV_TYPES.clear()
            rows, stopped = _rows(fitparse_records(data), found.records)
        if len(rows) > found.records + found.untimed:
            message = f"read by the second decoder, which found {len(rows)} records ({stopped})"
            return _columns(rows), [Finding("second-decoder", message)]
    return found.columns(), []


def _rows(records: Iterator[Iterable[tuple[int, Any]]], likely: int) -> tuple[list[list[float]], str]:
    """Collect numbers up to the end or the first error; the text says what stopped it."""
    place = {number: i for i, number in enumerate((*_WANTED, TIMESTAMP))}
    stamp_at = place[TIMESTAMP]
    blank = [float("nan")] * len(place)
    rows: list[list[float]] = []
    try:
        for record in report_each(records, likely, _TOLD_EVERY):
            row = blank.copy()
            wanted = False
            for number, value in record:
                at = place.get(number)
                if at is None or isinstance(value, tuple | str | bytes):
                    continue
                if value is not None:
                    row[at] = value
                wanted = wanted or at != stamp_at
            if wanted:
                rows.append(row)
    except Exception as error:
        # Foreign decoders on foreign bytes let through struct, key and type errors besides their own.
        return rows, f"{type(error).__name__}: {shortened(str(error), SHORT)}"
    return rows, "end of file"


def _columns(rows: list[list[float]]) -> dict[int, FloatArray]:
    table = np.array(rows, dtype=np.float64).reshape(-1, len(_WANTED) + 1)
    return {number: table[:, i] for i, number in enumerate((*_WANTED, TIMESTAMP))}


class _NumbersOnly(FitFileDataProcessor):  # type: ignore[misc]
    """Leaves values as they stand in the file: no texts, no datetimes, no other units."""

    def run_type_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_field_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_unit_processor(self, field_data: Any) -> None:
        """Do nothing."""

    def run_message_processor(self, data_message: Any) -> None:
        """Do nothing."""


def fitparse_records(data: bytes) -> Iterator[Iterable[tuple[int, Any]]]:
    """Read the record messages by fitparse: each as pairs of field number and raw value."""
    # The checksum is verified by the scan, whose finding does not cost the records.
    with fitparse.FitFile(io.BytesIO(data), check_crc=False, data_processor=_NumbersOnly()) as fit:
        for message in fit.get_messages("record"):
            yield _numbered(message.fields)


def _numbered(fields: Iterable[Any]) -> Iterator[tuple[int, Any]]:
    """Field numbers and raw values; without developer fields, which count from zero again."""
    for one in fields:
        if isinstance(one.field_def, FieldDefinition):
            yield one.field_def.def_num, one.raw_value
        elif one.field_def is None and one.field.def_num == TIMESTAMP:  # from a compressed header
            yield TIMESTAMP, one.raw_value


def _track(
    raw: dict[int, FloatArray],
    fixes: tuple[IntArray, dict[str, FloatArray]],
    found: FitStructure,
    findings: list[Finding],
    file: str,
) -> Log:
    """Build the track of the receiver's own fixes where they are finer than the records, else of those."""
    if fixes[0].size > _MIN_FINER * found.records:
        message = "the receiver's own fixes are read, which are more than the records; fixes"
        findings.append(Finding("gps-rate", message, int(fixes[0].size)))
        stamp_us, columns = fixes
        absolute = True
    else:
        stamp_us, columns, absolute = _of_records(
            raw, _developer(found, raw, findings), found.untimed, findings, file
        )
    believed = stamps.believable(stamp_us)
    findings += notes.odd_stamps(stamp_us, believed)
    columns = {name: values[believed] for name, values in columns.items()}
    stamp_us = stamp_us[believed]
    order = stamps.chronological(stamp_us) if absolute else None
    if order is not None:
        findings += notes.sorted_by_time(stamp_us)
        stamp_us = stamp_us[order]
        columns = {name: values[order] for name, values in columns.items()}
    start_utc = None
    if absolute:
        start_utc = stamps.utc(int(stamp_us[0]))
    else:
        findings.append(
            Finding("no-date", "its times count from power-on: no day and no time of day", int(stamp_us.size))
        )
    t_s = stamps.seconds(stamp_us)
    motion, unread = motion_frame(found, int(stamp_us[0])) if absolute else (None, [])
    if motion is not None:
        message = "accelerations and turn rates are kept at their own rate beside the fixes; rows"
        findings.append(Finding("motion-rate", message, len(motion)))
        columns |= means_around(motion, t_s)
    if unread:
        findings.append(Finding("columns-unread", f"messages not read: {', '.join(unread)}", len(unread)))
    return make_track(columns, t_s, LogMeta(file, "fit", start_utc=start_utc), findings, motion)


def _developer(
    found: FitStructure, raw: dict[int, FloatArray], findings: list[Finding]
) -> dict[str, FloatArray]:
    """Read the developer fields whose name and unit mean a column of the track; name the others."""
    given = found.developer_columns() if raw[TIMESTAMP].size == found.records else {}
    read: dict[str, FloatArray] = {}
    unread: list[str] = []
    for (name, unit), values in given.items():
        named = [m for m in match([name], [unit], {}) if m.column in TRACK_COLUMNS]
        fits = bool(named) and bool(named[0].unit or named[0].column in _UNITLESS)
        if fits and named[0].column not in read and np.isfinite(values).any():
            read[named[0].column] = values * named[0].factor + named[0].offset
        else:
            unread.append(f"{name} [{unit}]" if unit else name)
    if unread:
        listed = ", ".join(cut(unread, _MAX_LISTED, LABEL))
        findings.append(Finding("columns-unread", f"developer fields not read: {listed}", len(unread)))
    return read


def _of_records(
    raw: dict[int, FloatArray],
    developer: dict[str, FloatArray],
    unkept: int,
    findings: list[Finding],
    file: str,
) -> tuple[IntArray, dict[str, FloatArray], bool]:
    """Return the records' times and columns, and whether the times are absolute."""
    stamp_s = raw[TIMESTAMP]
    # A damaged definition may give the stamp any type, even one that holds more than a stamp can.
    possible = (stamp_s >= 0.0) & (stamp_s <= _MAX_STAMP_S)
    absolute = bool((possible & (stamp_s >= _FIRST_ABSOLUTE_S)).any())
    # Where some stamps are absolute, those that count from power-on cannot be placed among them.
    timed = possible & ((stamp_s >= _FIRST_ABSOLUTE_S) | (not absolute))
    if not timed.any():
        raise NothingUsableError("none of its records carries a time", file=file, hint=_HINT)
    untimed = int((~timed).sum()) + unkept
    if untimed:
        findings.append(Finding("no-time", "records without a usable time were left out", untimed))
    fraction = raw.get(_FRACTION_FIELD, np.zeros(stamp_s.size))[timed] / 128.0
    fraction_s = np.where((fraction >= 0.0) & (fraction < 1.0), fraction, 0.0)
    stamp_us = np.rint((stamp_s[timed] + fraction_s + absolute * _FIT_EPOCH_S) * 1e6).astype(np.int64)

    columns: dict[str, FloatArray] = {}
    for number, (name, scale, offset) in _FIELDS.items():
        if number in raw:
            values = raw[number][timed] / scale - offset
            columns[name] = np.where(np.isnan(values), columns.get(name, values), values)
    for name, values in developer.items():  # the record's own fields go first
        own = columns.get(name, np.full(stamp_us.size, np.nan))
        columns[name] = np.where(np.isnan(own), values[timed], own)
    return stamp_us, columns, absolute


READER = LogReader("fit", (".fit",), _sniff, _read)
