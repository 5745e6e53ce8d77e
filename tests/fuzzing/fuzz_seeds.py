"""Small inputs to begin from: the heads of recorded and sample logs, and a few written by hand."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

from fuzz_fit import definition, messages_of, whole

ROOT: Final = Path(__file__).resolve().parents[2]
_FOLDERS: Final = (ROOT.parent / "shared" / "real_logs", ROOT / "sample_logs" / "data")
_ENDINGS: Final = {"gpx": ".gpx", "fit": ".fit", "nmea": ".nmea", "table": ".csv"}
_LONG: Final = 3000

_POINT: Final = '<trkpt lat="46.0" lon="8.0"><ele>190</ele><time>2025-06-14T08:30:0%d.0Z</time>%s</trkpt>'
_MORE: Final = (
    "<course>90</course><speed>20.5</speed><fix>3d</fix><sat>9</sat><hdop>0.9</hdop>",
    '<extensions><a:speed xmlns:a="urn:a">21</a:speed><hAcc>0.4</hAcc><vspeed>-0.1</vspeed></extensions>',
)


def _gpx(version: str, inside: str) -> bytes:
    head = f'<?xml version="1.0" encoding="UTF-8"?><gpx version="{version}" creator="a"'
    space = f' xmlns="http://www.topografix.com/GPX/{version.replace(".", "/")}"'
    points = "".join(_POINT % (second, inside) for second in range(6))
    return f"{head}{space}><trk><name>n</name><trkseg>{points}</trkseg></trk></gpx>".encode()


def _hand_fit() -> bytes:
    rows = b"".join(
        b"\0" + (1_118_820_600 + i).to_bytes(4, "little") + (548_800_000 + 900 * i).to_bytes(4, "little")
        + (95_400_000).to_bytes(4, "little") + (15_000 + i).to_bytes(2, "little") + bytes([i])
        for i in range(12)
    )  # fmt: skip
    fields = ((253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (6, 2, 0x84), (31, 1, 0x02))
    timed = definition((6, 2, 0x84), local=1) + b"".join(bytes([0xA0 | i]) + b"\x10\x27" for i in range(9))
    return whole(definition(*fields) + rows + timed)


def _rows(headings: str, row: Callable[[int], str]) -> bytes:
    return "\n".join([headings, *(row(i) for i in range(30))]).encode() + b"\n"


_HAND: Final[dict[str, tuple[bytes, ...]]] = {
    "gpx": (_gpx("1.0", _MORE[0]), _gpx("1.1", _MORE[1]), _gpx("1.1", "")),
    "fit": (_hand_fit(),),
    "nmea": (
        b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
        b"$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39\r\n"
        b"$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48\r\n",
        b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D\r\n$GPZDA,225444,31,12,2024,00,00*4B\r\n" * 3,
    ),
    "table": (
        _rows("utc_ms,lat,lon,speed_mps", lambda i: f"{1_750_000_000_000 + 100 * i},46.{i:04d},8.0,{i}"),
        _rows(
            "Date;Time;Speed [km/h];Voltage [V];eRPM",
            lambda i: f"14.6.2025;08:30:{i:02d},5;{i};22,1;{900 * i}",
        ),
        _rows(
            "Time [ms]\tVoltage\tCurrent (A)\tRPM\tESC temp \u00b0C\tThrottle %",
            lambda i: f"{i * 50}\t22.2\t{i}\t{i * 1000}\t40\t9",
        ),
        _rows(
            "time,lat,lon,speed,fix,sats",
            lambda i: f"2025-06-14T08:30:{i:02d},46.{2 * i:04d},8,{22 * i},1,9",
        ),
        "time,lat,lon\n08:30:01,46.1,8\n08:30:02,46.2,8\n".encode("utf-16"),
    ),
}  # fmt: skip


def seeds(name: str) -> list[bytes]:
    """Return the inputs of one format to begin from, each of a few kilobytes."""
    if name in ("archive", "sniffing"):
        inside = {kind: seeds(kind) for kind in _ENDINGS}
        if name == "sniffing":
            return [data for kind in inside.values() for data in kind]
        return _archives(inside)
    found = sorted(path for folder in _FOLDERS for path in folder.rglob(f"*{_ENDINGS[name]}"))
    return [*_HAND[name], *(_head(path.read_bytes(), name) for path in found)]


def _head(data: bytes, name: str) -> bytes:
    """Cut the beginning out of a log, whole in its own way."""
    if name == "fit":
        messages = messages_of(data)
        definitions = [m for m in messages[:200] if m and m[0] & 0xC0 == 0x40][:6]
        return whole(b"".join(definitions + messages[:40])[:_LONG])
    if name == "gpx":
        end = data.rfind(b"</trkpt>", 0, _LONG)
        return data if end < 0 else data[: end + 8] + b"</trkseg></trk></gpx>"
    return data[: data.rfind(b"\n", 0, _LONG) + 1]


def _archives(inside: dict[str, list[bytes]]) -> list[bytes]:
    packed = []
    for kind, all_of_kind in inside.items():
        packed.append(gzip.compress(all_of_kind[0], 6, mtime=0))
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for number, data in enumerate(all_of_kind[:3]):
                archive.writestr(zipfile.ZipInfo(f"lake/{number}{_ENDINGS[kind]}"), data)
            archive.writestr(zipfile.ZipInfo("readme.md"), b"words")
        packed.append(out.getvalue())
    return packed
