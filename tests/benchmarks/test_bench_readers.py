"""Reading an hour at 10 Hz against the usual decoders; ``pytest -m benchmark -s`` prints the table.

Each pair of times is taken alternately and the smallest of each is compared, so that a busy machine falls on
both alike.
"""

from __future__ import annotations

import functools
import io
import operator
import struct
from collections.abc import Callable

import fitdecode
import fitparse
import gpxpy
import numpy as np
import pandas as pd
import pynmea2
import pytest
from timing import least

from telemetry.readers import read_bytes
from telemetry.readers.fit_scan import crc16
from telemetry.readers.gpx_points import points_of_elements

pytestmark = pytest.mark.benchmark
N = 36_000
RATIOS: list[tuple[str, str, float, float, float, float, str]] = []

T_S = np.arange(N) / 10.0
SPEED_MPS = 20.0 + 12.0 * np.sin(T_S / 20.0)
LAT_DEG = 46.0 + np.cumsum(SPEED_MPS * np.cos(T_S / 60.0)) * 0.1 / 111_142
LON_DEG = 8.0 + np.cumsum(SPEED_MPS * np.sin(T_S / 60.0)) * 0.1 / 77_487
UTC = pd.to_datetime(1_750_000_000_000 + 100 * np.arange(N), unit="ms")
ISO = [f"{t:%Y-%m-%dT%H:%M:%S}.{t.microsecond // 1000:03d}Z" for t in UTC]


def compare(
    name: str,
    against: str,
    data: bytes,
    theirs: Callable[[], object],
    asked: str,
    rounds: int = 3,
    n: int = N,
) -> None:
    """Time our reading of bytes beside another's; the ratio is for people to judge, on a quiet machine."""
    (log,) = read_bytes(data, "x")
    assert log.t_s.size == n  # a fast reading of half the log would be no reading
    own, other = least(lambda: read_bytes(data, "x"), theirs, rounds)
    RATIOS.append((name, against, own, other, own / other, other / own, asked))


@pytest.fixture(scope="module", autouse=True)
def table():  # type: ignore[no-untyped-def]
    yield
    print(f"\n{'reading':44} {'against':16} {'ours s':>8} {'theirs s':>9} {'ratio':>7} {'faster':>7}  asked")
    for name, against, own, other, ratio, faster, asked in RATIOS:
        print(f"{name:44} {against:16} {own:8.3f} {other:9.3f} {ratio:7.2f} {faster:6.1f}x  {asked}")


def gpx_text(n: int) -> str:
    points = "".join(
        f'<trkpt lat="{LAT_DEG[i]:.7f}" lon="{LON_DEG[i]:.7f}"><ele>400.0</ele><time>{ISO[i]}</time>'
        "<extensions>"
        f"<x:TrackPointExtension><x:speed>{SPEED_MPS[i]:.3f}</x:speed>"
        "<x:course>45.0</x:course></x:TrackPointExtension></extensions></trkpt>"
        for i in range(n)
    )
    head = '<?xml version="1.0"?><gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1" '
    return f'{head}xmlns:x="urn:x"><trk><trkseg>{points}</trkseg></trk></gpx>'


@pytest.mark.parametrize("n", [12_000, N])
def test_gpx(n: int) -> None:
    text = gpx_text(n)
    data = text.encode()
    name = f"GPX, {n} points with speed and course"
    compare(name, "gpxpy", data, lambda: gpxpy.parse(text), "3x faster", 2, n)
    compare(name, "element walk", data, lambda: points_of_elements(text), "3x faster", 3, n)


def sentence(body: str) -> str:
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n"


def nmea_angle(angle_deg: float, width: int) -> str:
    return f"{int(angle_deg):0{width}d}{angle_deg % 1 * 60:08.5f}"


def test_nmea() -> None:
    lines = []
    for i in range(N):
        clock = f"{UTC[i]:%H%M%S}.{UTC[i].microsecond // 10_000:02d}"
        place = f"{nmea_angle(LAT_DEG[i], 2)},N,{nmea_angle(LON_DEG[i], 3)},E"
        lines.append(
            sentence(f"GPRMC,{clock},A,{place},{SPEED_MPS[i] * 3600 / 1852:.3f},45.00,{UTC[i]:%d%m%y},,,A")
        )
        lines.append(sentence(f"GPGGA,{clock},{place},1,12,0.80,400.0,M,47.0,M,,"))
    data = "".join(lines).encode()

    def theirs() -> None:
        for line in lines:
            pynmea2.parse(line, check=True)

    compare("NMEA 0183, RMC and GGA, checksums verified", "pynmea2", data, theirs, "4x, aim 8x faster")


def test_fit() -> None:
    fields = b"".join(map(bytes, [(253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (2, 2, 0x84), (6, 2, 0x84)]))
    body = struct.pack("<BBBHB", 0x40, 0, 0, 20, 5) + fields
    rows = zip(T_S.astype(int), LAT_DEG / 180 * 2**31, LON_DEG / 180 * 2**31, SPEED_MPS * 1000, strict=True)
    body += b"".join(
        struct.pack("<BIiiHH", 0, 1_000_000_000 + int(t), int(a), int(o), 4500, int(v)) for t, a, o, v in rows
    )
    head = struct.pack("<BBHI4s", 12, 16, 2132, len(body), b".FIT")
    data = head + body + struct.pack("<H", crc16(head + body))

    def usual() -> None:
        for _ in fitparse.FitFile(io.BytesIO(data)).get_messages("record"):
            pass

    def second() -> None:
        with fitdecode.FitReader(io.BytesIO(data)) as reader:
            for _ in reader:
                pass

    for name, decoder in (("fitparse", usual), ("fitdecode", second)):
        compare("FIT, records", name, data, decoder, "3x faster", 2)


@pytest.mark.parametrize("style", ["epoch milliseconds", "ISO 8601", "date and time, semicolons"])
def test_csv(style: str) -> None:
    separator = ";" if "semicolons" in style else ","
    head = {
        "epoch milliseconds": ["utc_ms"],
        "ISO 8601": ["timestamp"],
        "date and time, semicolons": ["Date", "Time"],
    }[style] + ["lat", "lon", "speed_mps", "alt_m", "bearing_deg"]
    rows = []
    for i in range(N):
        stamp = {
            "epoch milliseconds": f"{1_750_000_000_000 + 100 * i}",
            "ISO 8601": ISO[i],
            "date and time, semicolons": f"{UTC[i]:%d.%m.%Y};{ISO[i][11:-1]}",
        }[style]
        rows.append([stamp, f"{LAT_DEG[i]:.7f}", f"{LON_DEG[i]:.7f}", f"{SPEED_MPS[i]:.3f}", "400.0", "45.0"])
    data = "\n".join(separator.join(row) for row in [head, *rows]).encode()
    compare(
        f"CSV, {style}",
        "pandas.read_csv",
        data,
        lambda: pd.read_csv(io.BytesIO(data), sep=separator),
        "ratio <= 5",
        5,
    )
