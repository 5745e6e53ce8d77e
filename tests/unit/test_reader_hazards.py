"""One hazardous value in a log of any format costs that value or its sample, and nothing else.

The values are those that users and hostile files bring: numbers past all floats, dates at the ends of
calendars and clocks, steps back in time, another encoding, NUL bytes, cells and nested XML without end.
"""

from __future__ import annotations

from functools import reduce
from operator import xor

import numpy as np
import pytest

from telemetry.analysis import analyse
from telemetry.core.errors import LogError
from telemetry.core.frames import Log
from telemetry.readers import read_bytes

N, AT = 12, 5
SPEED = np.array([20.0 + 0.5 * (i % 2) for i in range(N)])
WIDE = "9" * 40_000
DEEP = "<a>" * 100_000


def points(hazard: str = "", time: str = "") -> list[str]:
    """Write a GPX point a second; one of them with a hazard in it, or another time."""
    return [
        f'<trkpt lat="{46 + 2e-4 * i:.4f}" lon="8.1">'
        f"<time>{time if time and i == AT else f'2025-06-14T08:30:{i:02d}Z'}</time>"
        f"<extensions><speed>{SPEED[i]}</speed></extensions>{hazard if i == AT else ''}</trkpt>"
        for i in range(N)
    ]


def gpx(hazard: str = "", time: str = "", encoding: str = "utf-8") -> bytes:
    body = "\n".join(points(hazard, time))
    return f'<gpx version="1.1"><trk><trkseg>{body}</trkseg></trk></gpx>'.encode(encoding)


def table(column: str = "", hazard: str = "") -> str:
    """Write a row a second; one of them with a hazard in one column."""
    rows = []
    for i in range(N):
        cells = {
            "time": f"2025-06-14T08:30:{i:02d}Z",
            "lat": f"{46 + 2e-4 * i:.4f}",
            "lon": "8.1",
            "speed (m/s)": str(SPEED[i]),
            "alt (m)": "190",
        }
        if i == AT and column:
            cells[column] = hazard
        rows.append(",".join(cells.values()))
    return "\n".join(["time,lat,lon,speed (m/s),alt (m)", *rows]) + "\n"


def nmea(field: int = 0, hazard: str = "") -> str:
    """Write an RMC sentence a second; one of them with a hazard in one field."""
    lines = []
    for i in range(N):
        place = f"46{2 * i:02d}.0000,N,00806.0000,E"
        fields = f"GPRMC,0830{i:02d}.00,A,{place},{SPEED[i]},0.0,140625,,,A".split(",")
        if i == AT and field:
            fields[field] = hazard
        body = ",".join(fields)
        lines.append(f"${body}*{reduce(xor, body.encode('latin-1', 'replace'), 0):02X}")
    return "\r\n".join(lines) + "\r\n"


def read(data: bytes) -> Log:
    """Read a log that is to be usable, and see that it can be analysed too."""
    (log,) = read_bytes(data, "any")
    assert np.isfinite(log.t_s).all()
    analyse([log])
    return log


def codes(log: Log) -> set[str]:
    return {finding.code for finding in log.findings}


def the_rest_stands(log: Log, column: str = "speed_mps", scale: float = 1.0) -> None:
    """Whether every other sample is there with its value, at its second."""
    for i in set(range(N)) - {AT}:
        at = np.flatnonzero(np.isclose(log.t_s - log.t_s[-1], i - (N - 1)))[0]
        assert log.column(column)[at] == pytest.approx(SPEED[i] * scale)  # type: ignore[index]


NUMBERS = ["1e400", "-1e400", "1e308", "-1e308", "nan", "inf", "0x1F", "1_000", "", "9" * 400, WIDE]
# A time that is none or far from the others costs its sample, and so does one that steps back, when cleaned.
TIMES = [
    "0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "1969-12-31T23:59:59Z", "1980-01-01T00:00:00Z",
    "2021-02-30T00:00:00Z", "2038-01-19T03:14:08Z", "2262-04-11T23:47:17Z", "9999-12-31T23:59:59Z",
    "9999-12-31T23:59:59-14:00", "12025-06-14T08:30:05Z", "2025-06-14T25:30:05Z", "yesterday", "now",
    "today", "1e400", "", "2025-06-14T08:29:00Z", "2025-06-14T08:30:04Z",
]  # fmt: skip


@pytest.mark.parametrize("hazard", NUMBERS, ids=lambda h: h[:12] or "empty")
@pytest.mark.parametrize("element", ["ele", "course", "sat", "hdop", "magvar", "ageofdgpsdata"])
def test_a_number_that_is_none_costs_a_gpx_itself(element: str, hazard: str) -> None:
    the_rest_stands(read(gpx(f"<{element}>{hazard}</{element}>")))


@pytest.mark.parametrize("hazard", TIMES, ids=lambda h: h or "empty")
def test_a_time_that_is_none_costs_a_gpx_its_point(hazard: str) -> None:
    the_rest_stands(read(gpx(time=hazard)))


@pytest.mark.parametrize("hazard", NUMBERS, ids=lambda h: h[:12] or "empty")
@pytest.mark.parametrize("column", ["lat", "lon", "speed (m/s)", "alt (m)"])
def test_a_number_that_is_none_costs_a_table_itself(column: str, hazard: str) -> None:
    the_rest_stands(read(table(column, hazard).encode()))


@pytest.mark.parametrize("hazard", TIMES, ids=lambda h: h or "empty")
def test_a_time_that_is_none_costs_a_table_its_row(hazard: str) -> None:
    the_rest_stands(read(table("time", hazard).encode()))


@pytest.mark.parametrize("hazard", [*NUMBERS, "-", "240000", "-1", "0830-5"], ids=lambda h: h[:12] or "empty")
@pytest.mark.parametrize("field", [1, 3, 5, 7, 8])
def test_a_number_that_is_none_costs_a_sentence_itself(field: int, hazard: str) -> None:
    the_rest_stands(read(nmea(field, hazard).encode()), scale=1852 / 3600)


@pytest.mark.parametrize(
    "date", ["000000", "010100", "310299", "320125", "999999", "1e400", "190138", "311299"]
)
def test_a_date_that_is_none_costs_a_sentence_its_day(date: str) -> None:
    the_rest_stands(read(nmea(9, date).encode()), scale=1852 / 3600)


def test_an_nmea_line_without_end_costs_itself() -> None:
    log = read(
        nmea().encode() + b"$GPRMC,083015.00,A," + b"4" * 1_000_000 + b"\r\n" + b"$GPGGA," + b"," * 1_000_000
    )
    the_rest_stands(log, scale=1852 / 3600)
    assert "bad-checksum" in codes(log)


def test_a_table_of_a_million_columns_is_refused_in_a_sentence() -> None:
    for data in (
        b"t_s,speed_mps" + b",x" * 1_000_000 + b"\n",
        b"t," * 20_000 + b"\n" + b"1," * 20_000 + b"\n",
    ):
        with pytest.raises(LogError, match=r"longer than|more than 1000 columns"):
            read_bytes(data, "any")


def test_xml_nested_without_end_costs_what_follows() -> None:
    log = read(gpx(DEEP))
    assert "salvaged" in codes(log)
    assert log.column("speed_mps")[:AT].tolist() == SPEED[:AT].tolist()  # type: ignore[index]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig"])
def test_a_text_in_another_encoding_is_the_same_text(encoding: str) -> None:
    for data, scale in ((gpx(), 1.0), (table().encode(), 1.0), (nmea().encode(), 1852 / 3600)):
        text = data.decode()
        if text.startswith("$") and encoding.startswith("utf-16"):
            continue  # NMEA 0183 is ASCII: refused below
        the_rest_stands(read(text.encode(encoding)), scale=scale)


def test_nmea_in_two_bytes_a_letter_is_no_log() -> None:
    with pytest.raises(LogError):
        read_bytes(nmea().encode("utf-16-le"), "any")


@pytest.mark.parametrize(
    "hazard", [b"\0", b"\0" * 40, b"\xe9", b"\xff\xfe", b"\xc3\x28", b"\xed\xa0\x80", b"\x7f"]
)
def test_bytes_of_another_encoding_cost_at_most_their_own_place(hazard: bytes) -> None:
    the_rest_stands(read(gpx("<name>here</name>").replace(b"here", hazard)))
    the_rest_stands(read(table("alt (m)", "here").encode().replace(b"here", hazard)))
    the_rest_stands(read(nmea(10, "here").encode().replace(b"here", hazard)), scale=1852 / 3600)
