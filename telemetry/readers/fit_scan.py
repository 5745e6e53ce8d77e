"""A walk over the structure of a FIT file: what is there, where it breaks, and the record fields in bulk.

The walk touches each message once and decodes nothing; the fields of all record messages are then gathered
by numpy. fitparse is asked only where the walk breaks off, see :mod:`telemetry.readers.fit`.

References
----------
.. [1] FIT protocol description (file header, record header, definition and data messages, compressed
   timestamp header, base types and their invalid values, CRC), developer pages of the format's owner.
"""

from __future__ import annotations

import re
import struct
from array import array
from dataclasses import dataclass, field, replace
from itertools import repeat
from typing import Final

import numpy as np
import numpy.typing as npt

from telemetry.core.frames import FloatArray
from telemetry.core.progress import report

RECORD: Final = 20
"""Global number of the record message."""
TIMESTAMP: Final = 253
"""Number of the timestamp field in any message."""
_TOLD_EVERY: Final = 5000
FIELD_DESCRIPTION: Final = 206
"""Global number of the message that names a developer field."""
_UNTIMED: Final = (167, FIELD_DESCRIPTION)  # a sensor's calibration holds for the whole file
_MIN_RUN: Final = 8
_INVALID_STAMP: Final = b"\xff\xff\xff\xff"

# Base type: numpy code and the value that means "invalid" (None: not-a-number already says it).
_BASE_TYPES: Final[dict[int, tuple[str, int | None]]] = {
    0x00: ("u1", 0xFF),
    0x01: ("i1", 0x7F),
    0x02: ("u1", 0xFF),
    0x83: ("i2", 0x7FFF),
    0x84: ("u2", 0xFFFF),
    0x85: ("i4", 0x7FFFFFFF),
    0x86: ("u4", 0xFFFFFFFF),
    0x88: ("f4", None),
    0x89: ("f8", None),
    0x0A: ("u1", 0),
    0x8B: ("u2", 0),
    0x8C: ("u4", 0),
}


@dataclass
class _Layout:
    """One definition message, and where its data messages stand.

    ``fields`` maps a wanted field's number to its offset, size and base type, and is empty but for records;
    ``starts`` holds the offset of each payload
    in the file and ``stamps`` the time from a compressed header, -1 where there is none.
    """

    size: int
    order: str
    stamp_at: int
    number: int
    fields: dict[int, tuple[int, int, int]]
    developer: tuple[tuple[int, int, int, int], ...] = ()  # number, developer, offset and size of each
    starts: array[int] = field(default_factory=lambda: array("q"))
    stamps: array[int] = field(default_factory=lambda: array("q"))


@dataclass
class FitStructure:
    """What a walk over a FIT file found.

    Attributes
    ----------
    messages : int
        Data messages of any kind.
    records : int
        Record messages with at least one of the wanted fields.
    untimed : int
        Record messages with wanted fields and without any time, which are counted and not kept.
    empty_records : int
        Record messages without any of them.
    damage : str
        Where and why the walk ended before the end of the file; empty if it did not.
    cut : bool
        Whether the damage is that the file's bytes end too early, so that no other decoder can read more.
    wrong_checksums : int
        Of the chained files, how many state another checksum than theirs.
    """

    data: bytes
    wanted: tuple[int, ...]
    messages: int = 0
    records: int = 0
    empty_records: int = 0
    untimed: int = 0
    damage: str = ""
    cut: bool = False
    wrong_checksums: int = 0
    fast: tuple[int, ...] = ()
    _layouts: list[_Layout] = field(default_factory=list)
    _others: list[_Layout] = field(default_factory=list)

    def columns(self) -> dict[int, FloatArray]:
        """Raw values of the wanted fields and the timestamps, in file order, NaN where invalid or absent."""
        if not self.records:
            return {}
        buffer = np.frombuffer(self.data, dtype=np.uint8)
        starts = np.concatenate([np.asarray(layout.starts, dtype=np.int64) for layout in self._layouts])
        order = np.argsort(starts, kind="stable")
        numbers = {n for layout in self._layouts for n in layout.fields} | {TIMESTAMP}
        result = {}
        for number in sorted(numbers):
            parts = [_gather(buffer, layout, number) for layout in self._layouts]
            result[number] = np.concatenate(parts)[order]
        return result

    def messages_of(self, number: int) -> list[dict[int, FloatArray]]:
        """Raw values of every field of one of the ``fast`` messages, for each definition of it.

        Returns
        -------
        list of dict of int to ndarray, shape (n, k)
            One row for each message in file order, one column for each value of the field, NaN where invalid.
        """
        buffer = np.frombuffer(self.data, dtype=np.uint8)
        chosen = [layout for layout in self._others if layout.number == number and len(layout.starts)]
        return [{n: _gather_values(buffer, layout, n) for n in layout.fields} for layout in chosen]

    def developer_columns(self) -> dict[tuple[str, str], FloatArray]:
        """Values of the records' developer fields by name and unit, in file order, NaN where absent.

        A field whose type is not a single number has NaN only.
        """
        if not self.records:
            return {}
        buffer = np.frombuffer(self.data, dtype=np.uint8)
        described = self._described()
        starts = np.concatenate([np.asarray(layout.starts, dtype=np.int64) for layout in self._layouts])
        order = np.argsort(starts, kind="stable")
        result: dict[tuple[str, str], FloatArray] = {}
        first = 0
        for layout in self._layouts:
            for number, developer, offset, size in layout.developer:
                name, unit, base = described.get((developer, number), (f"field {number}", "", 0xFF))
                values = result.setdefault((name, unit), np.full(starts.size, np.nan))
                if base in _BASE_TYPES and np.dtype(_BASE_TYPES[base][0]).itemsize == size:
                    place = replace(layout, fields={number: (offset, size, base)})
                    values[first : first + len(layout.starts)] = _gather_values(buffer, place, number)[:, 0]
            first += len(layout.starts)
        return {name: values[order] for name, values in result.items()}

    def _described(self) -> dict[tuple[int, int], tuple[str, str, int]]:
        """Name, unit and base type of each developer field, by developer and number."""
        result = {}
        for layout in self._others:
            if layout.number != FIELD_DESCRIPTION or not {0, 1, 2, 3} <= layout.fields.keys():
                continue
            for start in layout.starts:
                parts = {
                    n: self.data[start + at : start + at + size] for n, (at, size, _) in layout.fields.items()
                }
                name, unit = (
                    parts.get(n, b"").split(b"\0")[0].decode("utf-8", errors="replace") for n in (3, 8)
                )
                result[parts[0][0], parts[1][0]] = (name, unit, parts[2][0])
        return result


def _gather(buffer: npt.NDArray[np.uint8], layout: _Layout, number: int) -> FloatArray:
    values = np.full(len(layout.starts), np.nan)
    if number in layout.fields:
        values = _gather_values(buffer, layout, number)[:, 0]
    if number == TIMESTAMP:
        compressed = np.asarray(layout.stamps, dtype=np.int64)
        values = np.where(compressed >= 0, compressed.astype(np.float64), values)
    return values


def _gather_values(buffer: npt.NDArray[np.uint8], layout: _Layout, number: int) -> FloatArray:
    """Values of a field, shape (n, k) for a field of k values, NaN where invalid."""
    starts = np.asarray(layout.starts, dtype=np.int64)
    offset, size, base = layout.fields[number]
    code, invalid = _BASE_TYPES[base]
    raw = buffer[(starts + offset)[:, None] + np.arange(size)].view(f"{layout.order}{code}")
    with np.errstate(invalid="ignore"):  # a NaN that signals is one like any other
        values = raw.astype(np.float64)
    if invalid is not None:
        values[raw == invalid] = np.nan
    return np.asarray(values)


def scan_fit(data: bytes, wanted: tuple[int, ...], fast: tuple[int, ...] = ()) -> FitStructure:
    """Walk over a FIT file, or several in one, up to the end or the first damage.

    Parameters
    ----------
    data : bytes
        The file.
    wanted : tuple of int
        Numbers of the record fields to keep.
    fast : tuple of int
        Global numbers of further messages whose fields are all kept, see :meth:`FitStructure.messages_of`.
    """
    result = FitStructure(data, wanted, fast=fast)
    at = 0
    while at < len(data) and not result.damage:
        if len(data) - at < 12 or data[at + 8 : at + 12] != b".FIT" or data[at] < 12:
            result.damage = f"no FIT header at byte {at}"
            break
        body = at + data[at]
        (size,) = struct.unpack_from("<I", data, at + 4)
        if size == 0:
            # A recorder that lost power never came back to write the length.
            result.damage = f"the header at byte {at} states no length"
            _walk(result, body, len(data), final=True)
            break
        end = body + size
        _walk(result, body, min(end, len(data)), final=end > len(data))
        if end + 2 > len(data):
            result.cut = result.cut or not result.damage
            result.damage = result.damage or "the file ends before its stated length"
        elif not result.damage and crc16(data[at:end]) != struct.unpack_from("<H", data, end)[0]:
            result.wrong_checksums += 1
        at = end + 2
    return result


def _run_of(data: bytes, at: int, end: int) -> int:
    """Count how often the byte at a place stands there in a row."""
    same = re.compile(re.escape(data[at : at + 1]) + b"+", re.DOTALL).match(data, at, end)
    return same.end() - at if same else 1


def _run_of_records(data: bytes, at: int, end: int, step: int) -> int:
    """Count the whole messages of one definition that follow each other from a place on.

    Each message begins with the same head byte, so the head bytes of a run are a slice with a step.
    """
    run = 0
    length = _MIN_RUN
    head = data[at : at + 1]
    while True:
        stop = min(at + (run + length) * step, end - step + 1)
        heads = data[at + run * step : stop : step]
        same = len(heads) - len(heads.lstrip(head))
        run += same
        if same < length:
            return max(run, 1)
        length *= 4


def _last_stamp(
    data: bytes, layout: _Layout, first: int, last: int, before: tuple[int, str]
) -> tuple[int, str]:
    """Find the last valid timestamp of a run of messages; returns its place and byte order."""
    if layout.stamp_at < 0:
        return before
    for at in range(last, first - 1, -layout.size - 1):
        if not data.startswith(_INVALID_STAMP, at + 1 + layout.stamp_at):
            return at + 1 + layout.stamp_at, layout.order
    return before


def _walk(result: FitStructure, at: int, end: int, *, final: bool) -> None:
    """Walk over one file's messages; ``final`` where ``end`` is the end of all bytes there are."""
    data = result.data
    layouts: list[_Layout | None] = [None] * 16
    messages = records = empty = 0
    stamp = 0  # of the last message that had one, which compressed headers count on from
    stamp_place, stamp_order = -1, "<"
    while at < end:
        head = data[at]
        if head & 0xC0 == 0x40:
            layout, after = _define(data, at, end, result.wanted, result.fast)
            if layout is None:
                result.damage = f"a definition is cut at byte {at}"
                break
            layouts[head & 0x0F] = layout
            if layout.fields:
                (result._layouts if layout.number == RECORD else result._others).append(layout)
            at = after
            continue
        known = layouts[head >> 5 & 0x03 if head & 0x80 else head & 0x0F]
        if known is None:
            result.damage = f"a message without definition at byte {at}"
            break
        if known.size == 0 and not head & 0x80:
            # Messages of nothing but their head say nothing; millions of them must not take seconds.
            run = _run_of(data, at, end)
            messages += run
            empty += run * (known.number == RECORD)
            at += run
            continue
        after = at + 1 + known.size
        if after > end:
            result.damage = "the file ends inside a message" if final else f"a message overruns at byte {at}"
            result.cut = final
            break
        run = 1
        if after < end and data[after] == head and not head & 0x80:
            run = _run_of_records(data, at, end, known.size + 1)
        if run >= _MIN_RUN and known.fields:
            last = at + (run - 1) * (known.size + 1)
            if TIMESTAMP in known.fields or known.number != RECORD:
                known.starts.extend(range(at + 1, last + 2, known.size + 1))
                known.stamps.extend(repeat(-1, run))
                records += run * (known.number == RECORD)
            else:
                result.untimed += run
            stamp_place, stamp_order = _last_stamp(data, known, at, last, (stamp_place, stamp_order))
            messages += run
            report(at / len(data))
            at = last + known.size + 1
            continue
        if known.stamp_at >= 0 and not data.startswith(_INVALID_STAMP, at + 1 + known.stamp_at):
            stamp_place, stamp_order = at + 1 + known.stamp_at, known.order
        compressed = -1
        if head & 0x80:
            if stamp_place >= 0:
                (stamp,) = struct.unpack_from(stamp_order + "I", data, stamp_place)
                stamp_place = -1
            stamp = compressed = stamp + ((head & 0x1F) - stamp) % 32
        if known.fields and known.number == RECORD and compressed < 0 and TIMESTAMP not in known.fields:
            result.untimed += 1
        elif known.fields:
            known.starts.append(at + 1)
            known.stamps.append(compressed)
            records += known.number == RECORD
        elif known.number == RECORD:
            empty += 1
        messages += 1
        if messages % _TOLD_EVERY == 0:
            report(at / len(data))
        at = after
    result.messages += messages
    result.records += records
    result.empty_records += empty


def _define(
    data: bytes, at: int, end: int, wanted: tuple[int, ...], fast: tuple[int, ...]
) -> tuple[_Layout | None, int]:
    """Read a definition message; None where it does not fit before ``end``."""
    if at + 6 > end:
        return None, at
    order = ">" if data[at + 2] else "<"
    (global_number,) = struct.unpack_from(order + "H", data, at + 3)
    count = data[at + 5]
    after = at + 6 + 3 * count
    numbers, sizes, bases = (data[at + 6 + i : after : 3] for i in range(3))
    size = sum(sizes)
    developer: list[tuple[int, int, int, int]] = []
    if data[at] & 0x20:
        if after + 1 > end:
            return None, at
        developer_fields = data[after]
        cells = data[after + 1 : after + 1 + 3 * developer_fields]
        for number, width, index in zip(cells[::3], cells[1::3], cells[2::3], strict=False):
            developer.append((number, index, size, width))
            size += width
        after += 1 + 3 * developer_fields
    if after > end:
        return None, at
    stamp_at = -1
    fields: dict[int, tuple[int, int, int]] = {}
    offset = 0
    for number, width, base in zip(numbers, sizes, bases, strict=True):
        if number == TIMESTAMP and base == 0x86 and width == 4:
            stamp_at = offset
        # A field of several values, or of a size its type cannot have, is not a single number.
        itemsize = np.dtype(_BASE_TYPES[base][0]).itemsize if base in _BASE_TYPES else 0
        is_read = global_number == RECORD and itemsize == width and number in (*wanted, TIMESTAMP)
        is_fast = global_number in fast and itemsize > 0 and width > 0 and width % itemsize == 0
        if is_read or is_fast or (global_number == FIELD_DESCRIPTION and width > 0):
            fields[number] = (offset, width, base)
        offset += width
    if not fields.keys() - {TIMESTAMP}:
        fields = {}
    if global_number in fast and TIMESTAMP not in fields and global_number not in _UNTIMED:
        fields = {}  # values that no time belongs to
    return _Layout(size, order, stamp_at, global_number, fields, tuple(developer)), after


def crc16(data: bytes) -> int:
    """Checksum of a FIT file: CRC-16 with polynomial 0x8005, reflected, from zero.

    The checksum is linear, so the bytes are cut into equal columns whose checksums advance together; each is
    then carried over the columns behind it by one table.

    References
    ----------
    .. [1] CRC RevEng catalogue, CRC-16/ARC: check value 0xBB3D.

    Examples
    --------
    >>> hex(crc16(b"123456789"))
    '0xbb3d'
    """
    rows = 64 + int(len(data) ** 0.5)
    padded = np.zeros(-(-len(data) // rows) * rows, dtype=np.uint16)
    padded[padded.size - len(data) :] = np.frombuffer(data, dtype=np.uint8)  # zeros in front change nothing
    columns = padded.reshape(-1, rows)
    checksum = np.zeros(columns.shape[0], dtype=np.uint16)
    carried = np.uint16(1) << np.arange(16, dtype=np.uint16)
    for row in range(rows):
        checksum = checksum >> 8 ^ _CRC_TABLE[(checksum ^ columns[:, row]) & 0xFF]
        carried = carried >> 8 ^ _CRC_TABLE[carried & 0xFF]
    carry = _linear_table(carried)
    total = 0
    for one in checksum:
        total = int(carry[total] ^ one)
    return total


def _linear_table(images: npt.NDArray[np.uint16]) -> npt.NDArray[np.uint16]:
    """All values of a linear map, from its values on the single bits."""
    table = np.zeros(1, dtype=np.uint16)
    for image in images:
        table = np.concatenate([table, table ^ image])
    return table


def _crc_table() -> npt.NDArray[np.uint16]:
    value = np.arange(256, dtype=np.uint16)
    for _ in range(8):
        value = np.where(value & 1, value >> 1 ^ np.uint16(0xA001), value >> 1)
    return value


_CRC_TABLE: Final = _crc_table()
