"""Inputs of five megabytes that are made to be slow, large or misleading, and the cost of reading one.

Run as a program, it reads the case of each name that it is given on its input, in a process of its own, and
prints the seconds spent and the peak memory [MB] that reading added to that process. The process is limited
far above that: a reader without bounds ends itself and not the machine.
"""

from __future__ import annotations

import gzip
import io
import os
import resource
import struct
import sys
import time
import zipfile
import zlib
from collections.abc import Callable

import numpy as np

SIZE = 5_000_000
_GPX = b'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'


def _filled(head: bytes, unit: bytes, tail: bytes = b"") -> bytes:
    return head + unit * ((SIZE - len(head) - len(tail)) // len(unit)) + tail


def _fit(definition: bytes, unit: bytes, claim: int | None = None) -> bytes:
    body = definition + unit * ((SIZE - len(definition)) // len(unit))
    return struct.pack("<BBHI4sH", 14, 16, 2132, len(body) if claim is None else claim, b".FIT", 0) + body


def _record_definition(*fields: tuple[int, int, int]) -> bytes:
    return struct.pack("<BBBHB", 0x40, 0, 0, 20, len(fields)) + b"".join(bytes(f) for f in fields)


def _dated_row(i: int) -> bytes:
    return b"2021-05-%02dT%02d:%02d:%02d.%03d,1\n" % (i % 28, i % 24, i % 60, i % 61, i % 1000)


def _yearly_row(i: int) -> bytes:
    return b"%04d-05-05T10:11:12Z,%d\n" % (1981 + i % 8000, i % 30)


def _random() -> bytes:
    return np.random.default_rng(11).bytes(SIZE)


_STAMP, _LAT, _LON, _SPEED = (253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (6, 2, 0x84)
_USUAL = b"\x00" + struct.pack("<IiiH", 1_000_000_000, 500_000_000, 90_000_000, 12_000)
_WIDEST = struct.pack("<BBBHB", 0x40, 0, 0, 20, 255) + bytes([6, 2, 0x84]) * 255
_DEFINED = _record_definition(_STAMP, _LAT, _LON, _SPEED)
_ENTITIES = (
    b'<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(12))
    + b"]><gpx><trk><name>&m;</name>"
)
_POINT = b'<trkpt lat="46.1" lon="8.1"><time>2025-01-01T00:00:00Z</time></trkpt>'


def _zip(*files: bytes, ending: str = "csv") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for number, data in enumerate(files):
            archive.writestr(f"{number}.{ending}", data)
    return out.getvalue()


def _overlapping() -> bytes:
    """A zip whose list names one file a hundred times: what it unpacks to is in the file only once."""
    data = _zip(_filled(b"t_s,speed_mps\n", b"1,2\n"))
    listed = data.index(b"PK\x01\x02")
    end = data.index(b"PK\x05\x06")
    entries = data[listed:end] * 100
    tail = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, 100, 100, len(entries), listed, 0)
    return data[:listed] + entries + tail


def _listed_without_end() -> bytes:
    entry = struct.pack("<4s4B4HL2L5H2L", b"PK\x01\x02", 20, 0, 20, 0, *[0] * 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    entries = entry * (SIZE // len(entry))
    count = min(len(entries) // len(entry), 0xFFFF)
    tail = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, count, count, len(entries), 0, 0)
    return b"PK\x03\x04" + entries + tail


def _bomb(name: str, head: bytes, size: int) -> bytes:
    """Make a zip of a head and spaces, in parts: what making it costs must not hide what reading it costs."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open(name, "w") as member:
        member.write(head)
        for _ in range(size // SIZE):
            member.write(b" " * SIZE)
    return out.getvalue()


def _dull() -> bytes:
    """Make a zip of a GPX that shrinks nearly as much as is let through."""
    times = (b"<time>2025-01-01T00:%02d:%02dZ</time>" % (i // 60 % 60, i % 60) for i in range(9000))
    return _zip(_GPX + b'<trkpt lat="46.1" lon="8.1">' + b"".join(times) * 56, ending="gpx")


def _gz_of(size: int, begin: bytes = b"t_s,speed_mps\n") -> bytes:
    """Make a gzip file of noughts: one part is packed, since after a full flush the next packs the same."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 16 + zlib.MAX_WBITS)
    head = packer.compress(begin) + packer.flush(zlib.Z_FULL_FLUSH)
    part = packer.compress(bytes(SIZE)) + packer.flush(zlib.Z_FULL_FLUSH)
    end = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS).flush()
    check = zlib.crc32(begin)
    for _ in range(size // SIZE):
        check = zlib.crc32(bytes(SIZE), check)
    return head + part * (size // SIZE) + end + struct.pack("<II", check, (size + len(begin)) % 2**32)


CASES: dict[str, Callable[[], bytes]] = {
    "zeros": lambda: bytes(SIZE),
    "random": _random,
    "one long line": lambda: b"time,lat,lon\n" + b"1" * SIZE,
    "many columns": lambda: b"a," * (SIZE // 2),
    "many columns with values": lambda: b"t," * 1_000_000 + b"\n" + b"1," * 1_000_000 + b"\n",
    "csv of two columns": lambda: _filled(b"t_s,speed_mps\n", b"1,2\n"),
    "csv of words": lambda: _filled(b"time,lat,lon\n1,2,3\n", b"a,b,c\n"),
    "csv of quotes": lambda: _filled(b"t_s,speed_mps\n1,2\n", b'1,"2\n'),
    "csv of dates": lambda: _filled(b"Date,Time,lat,lon\n", b"05/25/2021,1:2:3,46.1,8.1\n"),
    "csv of different dates": lambda: b"time,speed_mps\n" + b"".join(map(_dated_row, range(190_000))),
    "csv of nul bytes": lambda: _filled(b"t_s,speed_mps\n1,2\n", b"1,\0\n"),
    "gpx of bare points": lambda: _filled(_GPX, b'<trkpt lat="1" lon="2"/>'),
    "gpx of timed points": lambda: _filled(_GPX, _POINT, b"</trkseg></trk></gpx>"),
    "gpx nested": lambda: _filled(_GPX, b"<a>"),
    "gpx of empty elements": lambda: _filled(_GPX, b"<a/>"),
    "gpx of namespaces": lambda: _filled(b"<gpx", b" xmlns"),
    "gpx of attributes": lambda: b"<gpx" + b"".join(b' a%d=""' % i for i in range(430_000)) + b"/>",
    "gpx entity bomb": lambda: _filled(_ENTITIES, _POINT),
    "gpx entity bomb in zip": lambda: _zip(_ENTITIES + _POINT * 2000, ending="gpx"),
    "gpx bomb in zip": lambda: _bomb("0.gpx", _GPX, 250_000_000),
    "gpx in zip as dull as may be": _dull,
    "fit bomb in gz": lambda: _gz_of(1_000_000_000, _fit(_DEFINED, b"\0", 0xFFFFFFF0)[:1000]),
    "fit claiming gigabytes in zip": lambda: _zip(_fit(_DEFINED, _USUAL, 0xFFFFFFF0)[:900_000], ending="fit"),
    "csv of one cell": lambda: b't_s,speed_mps\n0,1\n1,"' + b"2" * SIZE,
    "csv of years": lambda: b"time,speed_mps\n" + b"".join(map(_yearly_row, range(150_000))),
    "csv in utf-16": lambda: _filled(b"t_s,speed_mps\n", b"1,2\n").decode().encode("utf-16-le")[:SIZE],
    "gpx of open brackets": lambda: _filled(_GPX, b"<"),
    "gpx of long text": lambda: _filled(_GPX + b'<trkpt lat="1" lon="2"><time>', b"2"),
    "nmea of dollars": lambda: _filled(b"$GPRMC,1*00\n", b"$"),
    "nmea of commas": lambda: _filled(b"$GPRMC,", b","),
    "nmea of line ends": lambda: _filled(b"$GPRMC,1*00", b"\n"),
    "nmea of stray lines": lambda: _filled(b"$GPGLL,,,,,,V,N*64\n", b"a\n"),
    "nmea of shortest sentences": lambda: _filled(b"$GPRMC,\n", b"$GPRMC,1*55\n"),
    "fit claiming gigabytes": lambda: _fit(_DEFINED, _USUAL, 0xFFFFFFF0),
    "fit of usual records": lambda: _fit(_DEFINED, _USUAL),
    "fit of shortest records": lambda: _fit(_record_definition((6, 2, 0x84)), b"\x80\x00\x01"),
    "fit of empty messages": lambda: _fit(_record_definition(), b"\x00"),
    "fit of definitions": lambda: _fit(b"", _WIDEST),
    "gpx of a foreign definition": lambda: _filled(
        b'<!DOCTYPE gpx SYSTEM "file:///dev/zero">' + _GPX, _POINT, b"</trkseg></trk></gpx>"
    ),
    "nmea line without end": lambda: b"$GPRMC,123519,A," + b"1" * SIZE,
    "zip bomb": lambda: _zip(b"t_s,speed_mps\n" + bytes(400_000_000)),
    "zip of one file a hundred times": _overlapping,
    "zip that lists without end": _listed_without_end,
    "zip of a hundred bombs": lambda: _zip(*[b"t_s,speed_mps\n" + bytes(6_000_000)] * 100),
    "gz bomb": lambda: _gz_of(1_000_000_000),
    "gz of empty parts": lambda: gzip.compress(b"", mtime=0) * (SIZE // 20),
    "gz of random": lambda: gzip.compress(_random(), 1),
    "fit of headers": lambda: struct.pack("<BBHI4s", 12, 16, 2132, 0, b".FIT") * (SIZE // 12),
}  # fmt: skip


def main() -> None:
    """Read the cases that are named, each in a copy of this process, which has imported everything."""
    from telemetry.readers import read_bytes

    for warm in (b"t_s,speed_mps\n0,1\n1,2\n", _GPX + _POINT + b"</trkseg></trk></gpx>"):
        read_bytes(warm, "warm")  # what is only imported when needed is no part of the cost
    for name in sys.stdin:
        copy = os.fork()
        if copy == 0:
            _read(name.strip())
            sys.stdout.flush()
            os._exit(0)
        _, status = os.waitpid(copy, 0)
        if status:
            print(f"inf inf ended with {os.waitstatus_to_exitcode(status)}", flush=True)


def _read(case: str) -> None:
    """Read one case and print what it cost."""
    from telemetry.core.errors import LogError
    from telemetry.readers import open_bytes, read_bytes

    data = CASES[case]()
    resource.setrlimit(resource.RLIMIT_CPU, (60, 60))
    resource.setrlimit(resource.RLIMIT_AS, (8_000_000_000, 8_000_000_000))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.process_time()
    opened = open_bytes(data, "hostile")
    told = [f"{type(error).__name__}: {error}"[:140] for error in opened.errors]
    for found in opened.files:
        try:
            told += [f"{len(log.frame)} samples" for log in read_bytes(found.data, found.file)]
        except LogError as error:
            told.append(f"{type(error).__name__}: {error}"[:140])
    result = " and ".join(told)
    spent = time.process_time() - begun
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{spent:.3f} {(after - before) / 1024:.0f} {result}")


if __name__ == "__main__":
    main()
