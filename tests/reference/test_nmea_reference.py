"""NMEA 0183 against published checksums and against pynmea2 on recorded logs.

Checksums: the worked sentences of the gpsd project's "NMEA Revealed" and the field lists that go with it, and
the first two of the widely copied GPRMC/GPGGA description, read 2026-11-25.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pynmea2
import pytest

from telemetry.core.units import KMH_MPS, KNOT_MPS
from telemetry.readers import read_bytes
from telemetry.readers.nmea_fields import decimals, split

REAL = Path(__file__).parents[2].parent / "shared" / "real_logs" / "nmea"
needs_logs = pytest.mark.skipif(not REAL.is_dir(), reason="the recorded logs are not here")

PUBLISHED = [
    ("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", "6A"),
    ("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", "47"),
    ("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1", "39"),
    ("GPVTG,054.7,T,034.4,M,005.5,N,010.2,K", "48"),
    ("GPVTG,359.95,T,,M,15.15,N,28.0,K,A", "04"),
    ("GPRMC,061831.000,A,2236.9152,N,11403.2422,E,0.00,,130214,,,D", "76"),
]


@pytest.mark.parametrize(("body", "checksum"), PUBLISHED)
def test_published_checksums_are_right_and_any_other_is_wrong(body: str, checksum: str) -> None:
    for stated in range(256):
        found = split(f"${body}*{stated:02X}\r\n".encode())
        assert bool(found.checksum_ok[0]) == (stated == int(checksum, 16))
    assert split(f"${body}*{checksum.lower()}".encode()).checksum_ok[0]


def test_published_sentences_give_their_published_values() -> None:
    # "NMEA Revealed": 48 deg 07.038' N, 11 deg 31.000' E, 22.4 kn, 84.4 deg, 23 March 1994 12:35:19, 545.4 m.
    data = "".join(f"${body}*{checksum}\r\n" for body, checksum in PUBLISHED[:2]).encode()
    (log,) = read_bytes(data, "x")
    row = log.frame.iloc[0]
    assert row.lat_deg == pytest.approx(48 + 7.038 / 60, abs=1e-12)
    assert row.lon_deg == pytest.approx(11 + 31.0 / 60, abs=1e-12)
    assert row.speed_mps == pytest.approx(22.4 * 1852 / 3600, abs=1e-12)
    assert (row.course_deg, row.alt_m, row.hdop, row.satellites, row.fix) == (84.4, 545.4, 0.9, 8, 1)
    assert str(log.meta.start_utc) == "1994-03-23 12:35:19+00:00"


@needs_logs
@pytest.mark.parametrize(
    "name",
    [
        "at_rest_20_minutes",
        "cold_start",
        "dropouts",
        "ten_hz_talker_changes",
        "car_half_hz_midnight",
        "bad_checksums",
    ],
)
def test_rows_equal_what_pynmea2_reads(name: str) -> None:
    path = REAL / f"{name}.nmea"
    (log,) = read_bytes(path.read_bytes(), name)
    lines = path.read_text("latin-1").splitlines()[:20_000]
    messages = []
    for line in lines:
        if line[:1] == "$" and line[3:6] in ("RMC", "GGA", "VTG"):
            try:
                messages.append(pynmea2.parse(line, check=True))
            except pynmea2.ParseError:
                continue
    frame = log.frame.reset_index()
    start = log.meta.start_utc
    assert start is not None
    utc = start + frame.t_s.mul(1e6).round().astype("int64").astype("timedelta64[us]")
    rmc = [m for m in messages if m.sentence_type == "RMC"]
    assert len(rmc) > 20
    # Positions and the moment of each RMC, row by row.
    at = {moment: i for i, moment in reversed(list(enumerate(utc)))}
    uses_vtg = name in (
        "at_rest_20_minutes",
        "dropouts",
    )  # they write VTG's km/h more finely than RMC's knots
    for m in rmc:
        row = frame.loc[at[m.datetime]]
        assert row.fix == (m.status == "A")
        if m.lat:
            assert row.lat_deg == pytest.approx(m.latitude, abs=2e-8)
            assert row.lon_deg == pytest.approx(m.longitude, abs=2e-8)
        if m.spd_over_grnd is not None:
            tolerance = 0.01 * KNOT_MPS if uses_vtg else 1e-12
            assert row.speed_mps == pytest.approx(m.spd_over_grnd * KNOT_MPS, abs=tolerance)
    # VTG follows its RMC in these receivers.
    for before, m in itertools.pairwise(messages):
        if m.sentence_type == "VTG" and before.sentence_type == "RMC" and uses_vtg:
            kmh = m.spd_over_grnd_kmph
            assert frame.loc[at[before.datetime]].speed_mps == pytest.approx(float(kmh) * KMH_MPS, abs=1e-12)
    for m in (m for m in messages if m.sentence_type == "GGA" and m.altitude is not None and m.lat):
        rows = frame[utc.dt.time == m.timestamp.replace(tzinfo=None)]
        assert (rows.alt_m == m.altitude).any()
        assert (rows.satellites == int(m.num_sats)).any()


def test_numbers_equal_float_to_the_last_bit() -> None:
    rng = np.random.default_rng(7)
    texts = [
        f"{x:.{p}f}" for x, p in zip(rng.uniform(-9999, 18000, 3000), rng.integers(0, 10, 3000), strict=True)
    ]
    texts += ["0", "-0.5", ".5", "5.", "000.10", "", ".", "-", "1e5", "1.2.3", "12a", "--1", "+1", " 1"]
    joined = ",".join(texts).encode()
    ends = np.cumsum([len(t) + 1 for t in texts]) - 1
    starts = ends - [len(t) for t in texts]
    got, _ = decimals(np.frombuffer(joined, dtype=np.uint8), starts, ends)
    plain = [
        float(t) if t.strip("-.0123456789") == "" and t not in ("", ".", "-", "1.2.3", "--1") else np.nan
        for t in texts
    ]
    np.testing.assert_array_equal(got, plain)
