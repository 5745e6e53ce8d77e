"""Any bytes fed to any reader give logs or one LogError; no input of 5 MB costs more than 2 s or 300 MB."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hostile_logs import CASES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from telemetry.core.errors import LogError
from telemetry.core.frames import MotorLog, Track
from telemetry.readers import READERS, ReadOptions, read_bytes

SECONDS, MEGABYTES = 2.0, 300.0

HEADS = st.sampled_from(
    [
        b"",
        b"<gpx>",
        b'<?xml version="1.0"?><gpx version="1.0"><trk><trkseg><trkpt lat="1" lon="2">',
        b"$GPRMC,",
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n",
        b"\x0e\x10\x54\x08\xff\x00\x00\x00.FIT\x00\x00",
        b"\x0c\x10\x54\x08\x00\x00\x00\x00.FIT",
        b"utc_ms,lat,lon,speed_mps\n",
        b"Date;Time;Speed [km/h]\n",
        b"\xff\xfet\x00,\x00",
        b"Time [s];Voltage [V];eRPM\n;V;\n0,1;22,2;100\n",
        b"time,lat,lon,speed\n",
    ]
)
PIECES = st.sampled_from(
    [
        b"<trkpt lat='1' lon='x'>",
        b"<time>2020-01-01T00:00:00Z</time>",
        b"<time>9999-12-31T23:59:59+99:99</time>",
        b"</trkpt>",
        b"<speed>nan</speed>",
        b"<speed>1e400</speed>",
        b"&amp;",
        b"<![CDATA[",
        b"<!-- ",
        b"<sat>8.5</sat>",
        b"$GPRMC,235959.999,A,4807.038,N,01131.000,E,022.4,084.4,311299,003.1,W",
        b"*6A",
        b"\r\n",
        b"\n",
        b"$",
        b",",
        b"$GPVTG,1,T,,M,2,N,3,K*",
        b"$GPZDA,1,31,02,2021,,*",
        b"1e308,",
        b"-1,",
        b"nan,",
        b"inf,",
        b"9" * 40,
        b'"',
        b";",
        b"25/05/2021",
        b"10:11:12,5",
        b"99:99:99",
        b"1970-01-01",
        b"\x40\x00\x00\x14\x00\x02\xfd\x04\x86\x06\x02\x84",
        b"\x00\x00\x00\x00\x40\x01\x02",
        b"\x80\x01\x02",
        b"\xff" * 9,
        b"\0" * 9,
        b".FIT",
        b"\xfe\xff",
    ]
)
LOGS = st.builds(
    lambda head, pieces: head + b"".join(pieces),
    HEADS,
    st.lists(st.one_of(PIECES, st.binary(max_size=12)), max_size=30),
)
quick = settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.too_slow])


@quick
@given(LOGS)
def test_any_bytes_give_logs_or_one_log_error(data: bytes) -> None:
    try:
        logs = read_bytes(data, "any")
    except LogError:
        return
    assert logs
    assert all(isinstance(log, Track | MotorLog) and len(log.frame) for log in logs)


@pytest.mark.parametrize("reader", READERS, ids=lambda r: r.name)
@quick
@given(data=LOGS)
def test_each_reader_bears_any_bytes_past_its_own_sniffing(reader, data: bytes) -> None:  # type: ignore[no-untyped-def]
    assert reader.sniff(data[:4096]) in (True, False)
    options = ReadOptions()
    try:
        logs = reader.read(data, "any", options)
    except LogError:
        return
    assert all(len(log.frame) for log in logs)


@quick
@given(st.text(max_size=300))
def test_any_text_is_no_trap_for_the_table_reader(text: str) -> None:
    try:
        read_bytes(("t_s,speed_mps\n0,1\n" + text).encode("utf-8", errors="surrogatepass"), "any")
    except LogError:
        return


@pytest.fixture(scope="module")
def measuring() -> Iterator[subprocess.Popen[str]]:
    """The program that reads hostile logs and says what each cost."""
    program = [sys.executable, str(Path(__file__).parents[1] / "support" / "hostile_logs.py")]
    with subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as running:
        yield running


@pytest.mark.parametrize("case", CASES)
def test_hostile_input_costs_no_more_than_two_seconds_and_300_megabytes(
    case: str, measuring: subprocess.Popen[str]
) -> None:
    # Processor time, in a process of its own, so that a busy machine does not count against the reader.
    assert measuring.stdin is not None
    assert measuring.stdout is not None
    print(case, file=measuring.stdin, flush=True)
    seconds, megabytes, result = measuring.stdout.readline().split(" ", 2)
    assert float(seconds) < SECONDS, result
    assert float(megabytes) < MEGABYTES, result
