"""An oracle that lets everything pass would make all of this worthless: what it must not let pass."""

from __future__ import annotations

import random
import socket
import struct
import types
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fuzz_bytes import changed
from fuzz_fit import fit, messages_of, whole
from fuzz_mutators import gpx, nmea
from fuzz_oracle import FILE, examine, hold_log
from fuzz_seeds import seeds
from fuzz_watch import TooCostlyError, TouchedOutsideError, watched
from lxml import etree

from telemetry.core.errors import NothingUsableError
from telemetry.core.frames import Finding, Log
from telemetry.readers import read_bytes
from telemetry.readers.fit_scan import crc16

TABLE = b"t_s,speed_mps\n" + b"".join(b"%d,%d\n" % (i, i % 5) for i in range(20))


def log() -> Log:
    return read_bytes(TABLE, FILE)[0]


def test_an_exception_of_a_reader_s_own_gets_through() -> None:
    def read() -> tuple[Log, ...]:
        raise KeyError("x")

    with pytest.raises(KeyError):
        examine(read, 10)


def test_neither_logs_nor_an_error_is_a_defect() -> None:
    with pytest.raises(AssertionError, match="neither logs nor an error"):
        examine(tuple, 10)


@pytest.mark.parametrize(
    "error",
    [
        NothingUsableError("", file=FILE, hint="x"),
        NothingUsableError("why", file="", hint="x"),
        NothingUsableError("why", file=FILE),
    ],
)
def test_an_error_that_leaves_the_user_alone_is_a_defect(error: NothingUsableError) -> None:
    def read() -> tuple[Log, ...]:
        raise error

    with pytest.raises(AssertionError):
        examine(read, 10)


def test_a_log_that_reads_otherwise_the_second_time_is_a_defect() -> None:
    times = iter((0.0, 1e-9))

    def read() -> tuple[Log, ...]:
        one = log()
        frame = one.frame + next(times)
        return (replace(one, frame=frame),)

    with pytest.raises(AssertionError):
        examine(read, len(TABLE))


@pytest.mark.parametrize("value", [np.inf, -1.0, 151.0])
def test_a_value_out_of_its_column_s_range_is_a_defect(value: float) -> None:
    one = log()
    one.frame.iloc[3, 0] = value
    with pytest.raises(AssertionError, match="speed_mps"):
        hold_log(one)


@pytest.mark.parametrize(
    "finding",
    [
        Finding("Odd Stamp", "x"),
        Finding("odd-stamp", "x", 0),
        Finding("odd-stamp", "x\x1b[2J"),
        Finding("odd-stamp", "x" * 5000),
        Finding("odd-stamp", "x", 1, 5.0, 4.0),
        Finding("odd-stamp", "x", 1, 5.0, 1e9),
    ],
)
def test_a_finding_that_is_none_is_a_defect(finding: Finding) -> None:
    with pytest.raises(AssertionError):
        hold_log(replace(log(), findings=(finding,)))


def test_what_is_opened_is_seen(tmp_path: Path) -> None:
    with pytest.raises(TouchedOutsideError, match="open"), watched("it", 9.0, 900.0):
        (tmp_path / "a").write_text("x")
    with pytest.raises(TouchedOutsideError, match="socket"), watched("it", 9.0, 900.0):
        socket.socket().close()


def test_what_is_costly_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(TooCostlyError, match=r"takes .* s"), watched("it", 0.01, 900.0):
        sum(range(3_000_000))
    most_kb = iter((100 * 1024, 120 * 1024))  # of the process: it may have needed far more before
    monkeypatch.setattr(
        "fuzz_watch.resource.getrusage", lambda _: types.SimpleNamespace(ru_maxrss=next(most_kb))
    )
    with pytest.raises(TooCostlyError, match="needs 20 MB more"), watched("it", 9.0, 10.0):
        pass


def test_mutations_keep_their_format_s_shape() -> None:
    rng = random.Random(3)

    def raw(part: bytes) -> bytes:
        return changed(part, rng)

    begin = {name: seeds(name)[0] for name in ("fit", "gpx", "nmea")}
    whole_files = sum(_fits(fit(begin["fit"], rng, raw)) for _ in range(200))
    assert whole_files > 70
    well_formed = sum(_parses(gpx(begin["gpx"], rng, raw)) for _ in range(200))
    assert well_formed > 150
    right = [line for _ in range(50) for line in nmea(begin["nmea"], rng, raw).splitlines() if b"*" in line]
    assert np.mean([_sums(line) for line in right]) > 0.8


def _fits(data: bytes) -> bool:
    (size,) = struct.unpack_from("<I", data, 4) if len(data) > 16 else (0,)
    end = data[0] + size if data else 0
    return end + 2 == len(data) and crc16(data[:end]) == struct.unpack_from("<H", data, end)[0]


def _parses(data: bytes) -> bool:
    try:
        etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True))
    except (etree.XMLSyntaxError, ValueError):
        return False
    return True


def _sums(line: bytes) -> bool:
    body, _, stated = line.partition(b"$")[2].partition(b"*")
    return b"%02X" % int(np.bitwise_xor.reduce(np.frombuffer(body, dtype=np.uint8))) == stated[:2]


def test_a_fit_file_taken_apart_is_put_together_the_same() -> None:
    for data in seeds("fit")[:1]:
        assert whole(b"".join(messages_of(data))) == data
