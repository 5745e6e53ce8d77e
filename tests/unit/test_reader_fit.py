"""FIT files made here, byte by byte after the protocol's description."""

from __future__ import annotations

import dataclasses
import struct
from collections.abc import Sequence

import fitparse
import numpy as np
import pytest

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import Log, Track
from telemetry.readers import fit, fit_scan, read_bytes
from telemetry.readers.fit_scan import FitStructure, crc16, scan_fit

START = 1_000_000_000  # FIT seconds: 2021-09-08T01:46:40Z
STAMP, LAT, LON, ALT, SPEED, ENHANCED = (
    (253, 4, 0x86), (0, 4, 0x85), (1, 4, 0x85), (2, 2, 0x84), (6, 2, 0x84), (73, 4, 0x86),
)  # fmt: skip


def definition(*fields: tuple[int, int, int], local: int = 0, number: int = 20, big: bool = False) -> bytes:
    order = ">" if big else "<"
    head = struct.pack(order + "BBBHB", 0x40 | local, 0, big, number, len(fields))
    return head + b"".join(bytes(f) for f in fields)


def whole(body: bytes) -> bytes:
    head = struct.pack("<BBHI4s", 12, 16, 2132, len(body), b".FIT")
    return head + body + struct.pack("<H", crc16(head + body))


def record(second: int, speed: int = 12_000, lat_deg: float = 46.0) -> bytes:
    return struct.pack("<BIiiH", 0, START + second, round(lat_deg / 180 * 2**31), 95_443_718, speed)


# A developer's field 0 of one byte, and who it is that has it.
DEVELOPER = (
    struct.pack("<BBBHB", 0x42, 0, 0, 207, 1)
    + bytes([3, 1, 0x02])
    + b"\x02\x00"
    + struct.pack("<BBBHB", 0x43, 0, 0, 206, 3)
    + bytes([0, 1, 2, 1, 1, 2, 2, 1, 2])
    + b"\x03\x00\x00\x01"
)
BODY = definition(STAMP, LAT, LON, SPEED) + b"".join(record(i) for i in range(5))


def read(data: bytes) -> Log:
    (log,) = read_bytes(data, "made.fit")
    return log


def codes(log: Log) -> dict[str, int]:
    return {f.code: f.count for f in log.findings}


def test_plain_records() -> None:
    log = read(whole(BODY))
    assert log.findings == ()
    assert log.t_s.tolist() == [0, 1, 2, 3, 4]
    assert str(log.meta.start_utc) == "2021-09-08 01:46:40+00:00"
    np.testing.assert_allclose(log.frame.lat_deg, 46.0, atol=1e-7)
    np.testing.assert_allclose(log.frame.speed_mps, 12.0)


def test_enhanced_speed_wins_where_it_is_valid() -> None:
    rows = [(12_000, 70_000), (12_000, 0xFFFFFFFF), (0xFFFF, 0xFFFFFFFF)]
    body = definition(STAMP, SPEED, ENHANCED) + b"".join(
        struct.pack("<BIHI", 0, START + i, *row) for i, row in enumerate(rows)
    )
    np.testing.assert_array_equal(read(whole(body)).frame.speed_mps, [70.0, 12.0, np.nan])


def test_big_endian_and_a_message_of_another_kind_between() -> None:
    body = definition(STAMP, SPEED, big=True) + definition((253, 4, 0x86), local=1, number=21)
    body += (
        struct.pack(">BIH", 0, START, 5000)
        + struct.pack("<BI", 1, START)
        + struct.pack(">BIH", 0, START + 1, 6000)
    )
    assert list(read(whole(body)).frame.speed_mps) == [5.0, 6.0]


def test_compressed_timestamps_roll_over() -> None:
    first = START - START % 32 + 30
    body = definition(STAMP, SPEED) + struct.pack("<BIH", 0, first, 1000) + definition(SPEED, local=1)
    body += b"".join(struct.pack("<BH", 0x80 | 1 << 5 | (30 + i) % 32, 1000) for i in range(1, 5))
    assert read(whole(body)).t_s.tolist() == [0, 1, 2, 3, 4]


def test_a_fraction_of_the_second() -> None:
    body = definition(STAMP, SPEED, (48, 1, 0x02)) + b"".join(
        struct.pack("<BIHB", 0, START + i // 4, 1000, i % 4 * 32) for i in range(8)
    )
    assert read(whole(body)).t_s.tolist() == [i / 4 for i in range(8)]


def test_times_from_power_on_have_no_date() -> None:
    body = definition(STAMP, SPEED) + b"".join(struct.pack("<BIH", 0, 100 + i, 1000) for i in range(3))
    log = read(whole(body))
    assert log.meta.start_utc is None
    assert codes(log) == {"no-date": 3}


@pytest.mark.parametrize("cut", range(1, 12))
def test_a_cut_tail_gives_every_whole_record(cut: int) -> None:
    log = read(whole(BODY)[:-cut])
    assert len(log.frame) == (5 if cut <= 2 else 4)
    assert codes(log) == {"salvaged": 1}


def test_a_wrong_checksum_is_told_and_costs_nothing() -> None:
    data = whole(BODY)
    log = read(data[:-1] + bytes([data[-1] ^ 1]))
    assert len(log.frame) == 5
    assert codes(log) == {"bad-checksum": 1}


def test_a_header_never_finished_by_its_recorder() -> None:
    data = bytearray(whole(BODY)[:-2])
    data[4:8] = bytes(4)
    log = read(bytes(data))
    assert len(log.frame) == 5
    assert codes(log).keys() == {"salvaged"}


def test_chained_files_and_a_false_stamp() -> None:
    later = (
        definition(STAMP, LAT, LON, SPEED)
        + b"".join(record(60 + i) for i in range(2))
        + record(2_000_000_000)
    )
    log = read(whole(BODY) + whole(later))
    assert log.t_s.tolist() == [0, 1, 2, 3, 4, 60, 61]
    assert codes(log) == {"odd-stamp": 1}


def test_a_size_that_misfits_its_type_costs_no_record() -> None:
    odd = definition(STAMP, LAT, LON, SPEED, (30, 1, 0x86)) + b"".join(
        record(10 + i) + b"\x01" for i in range(3)
    )
    log = read(whole(BODY + odd))
    assert len(log.frame) == 8
    assert codes(log) == {}


def test_fitparse_is_asked_where_the_walk_breaks_off(monkeypatch: pytest.MonkeyPatch) -> None:
    whole_log = read(whole(BODY))
    scan = fit.scan_fit

    def broken(data: bytes, wanted: tuple[int, ...], fast: tuple[int, ...]) -> FitStructure:
        return dataclasses.replace(scan(data, wanted, fast), records=2, damage="a made damage")

    monkeypatch.setattr(fit, "scan_fit", broken)
    log = read(whole(BODY))
    assert log.frame.equals(whole_log.frame)
    assert codes(log).keys() == {"second-decoder", "salvaged"}


@pytest.mark.parametrize("stamped", [True, False])
def test_a_run_of_like_messages_is_read_as_one_by_one(stamped: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs between other messages, cut anywhere, and compressed stamps that count on from them."""
    rng = np.random.default_rng(5)
    head = (STAMP, SPEED) if stamped else (SPEED,)
    body = definition(*head) + definition(SPEED, local=1) + definition((253, 4, 0x86), local=2, number=21)
    second = START
    for length in rng.integers(1, 60, 30).tolist():
        for _ in range(length):
            second += 1
            stamp = 0xFFFFFFFF if rng.random() < 0.1 else second
            body += struct.pack("<BIH", 0, stamp, 900) if stamped else struct.pack("<BH", 0, 900)
        body += struct.pack("<BI", 2, second)
        body += struct.pack("<BH", 0x80 | 1 << 5 | second % 32, 800)
    data = whole(body)
    for cut in (0, 1, 2, 3, 5, 9, 40, 700):
        runs = scan_fit(data[: len(data) - cut], (6,))
        with monkeypatch.context() as patch:
            patch.setattr(fit_scan, "_MIN_RUN", 10**9)
            singly = scan_fit(data[: len(data) - cut], (6,))
        assert (runs.messages, runs.records, runs.damage) == (singly.messages, singly.records, singly.damage)
        assert runs.columns().keys() == singly.columns().keys()
        for number, values in singly.columns().items():
            np.testing.assert_array_equal(runs.columns()[number], values)


def test_a_signalling_nan_is_a_missing_speed_and_no_warning() -> None:
    body = definition(STAMP, LAT, LON, (6, 4, 0x88))
    for i, bits in enumerate([0x41400000, 0x7FA00000, 0xFFFFFFFF, 0x41400000]):  # the first of them is 12.0
        body += record(i)[:-2] + struct.pack("<I", bits)
    speed = read(whole(body)).frame["speed_mps"].to_numpy()
    assert np.isnan(speed).tolist() == [False, True, True, False]


def test_a_stamp_that_says_invalid_is_none_to_count_on_from() -> None:
    first = START - START % 32
    body = definition(STAMP, SPEED) + definition(SPEED, local=1) + struct.pack("<BIH", 0, first, 1000)
    for i in range(1, 20):
        body += struct.pack("<BH", 0x80 | 1 << 5 | i, 1000 + i)
        if i == 5:
            body += struct.pack("<BIH", 0, 0xFFFFFFFF, 1000)
    log = read(whole(body))
    assert log.t_s.tolist() == list(range(20))
    assert codes(log) == {"no-time": 1}


def test_developer_fields_do_not_pass_for_the_record_s_own() -> None:
    # A developer field numbers from zero, as the latitude does.
    fields: Sequence[tuple[int, int, int]] = (STAMP, SPEED)
    head = struct.pack("<BBBHB", 0x60, 0, 0, 20, len(fields)) + b"".join(bytes(f) for f in fields)
    body = DEVELOPER + head + bytes([1, 0, 1, 0])
    body += b"".join(struct.pack("<BIHb", 0, START + i, 1000, 9) for i in range(3))
    log = read(whole(body))
    assert list(log.frame.columns) == ["speed_mps"]
    assert len(log.frame) == 3


def test_messages_of_nothing_but_their_head_are_counted_in_one_go() -> None:
    found = scan_fit(
        whole(definition() + bytes(500) + BODY + definition(local=1, number=21) + b"\x01" * 7), (6,)
    )
    assert (found.messages, found.empty_records, found.records, found.damage) == (512, 500, 5, "")


def test_what_another_file_said_of_its_developer_fields_is_forgotten() -> None:
    head = struct.pack("<BBBHB", 0x60, 0, 0, 20, 2) + bytes([*STAMP, *SPEED]) + bytes([1, 0, 1, 0])
    undescribed = whole(head + b"".join(struct.pack("<BIHb", 0, START + i, 1000, 9) for i in range(3)))
    fitparse.records.DEV_TYPES.clear()
    alone = read(undescribed)
    read(whole(DEVELOPER + BODY))
    assert read(undescribed).findings == alone.findings


def test_a_stamp_of_another_type_that_no_stamp_can_hold_is_none() -> None:
    fields = definition((253, 8, 0x89), SPEED)  # a float of eight bytes
    rows = [(START, 1000), (1e300, 1100), (-5.0, 1200), (START + 1, 1300)]
    log = read(whole(fields + b"".join(struct.pack("<BdH", 0, s, v) for s, v in rows)))
    assert log.frame["speed_mps"].tolist() == [1.0, 1.3]
    assert codes(log)["no-time"] == 2


def fast_messages(seconds: int = 4) -> bytes:
    """Write a record a second, fixes ten times and accelerations and turn rates a hundred times a second."""
    body = definition(STAMP, LAT, LON, SPEED)
    body += definition(
        STAMP, (0, 2, 0x84), (1, 4, 0x85), (2, 4, 0x85), (4, 4, 0x86), (7, 6, 0x83), local=1, number=160
    )
    body += definition(
        STAMP, (0, 2, 0x84), (1, 20, 0x84), *((n, 40, 0x88) for n in (5, 6, 7)), local=2, number=165
    )
    body += definition(
        STAMP, (0, 2, 0x84), (1, 20, 0x84), *((n, 20, 0x84) for n in (2, 3, 4)), local=3, number=164
    )
    body += definition((0, 1, 0x00), *((n, 4, 0x86) for n in (1, 2, 3)), (4, 12, 0x85), local=4, number=167)
    body += struct.pack("<BB3I3i", 4, 1, 5, 100, 32768, 10, 20, 30)
    offsets = struct.pack("<10H", *range(0, 100, 10))
    for second in range(seconds):
        body += record(second)
        for tenth in range(10):
            lat = round((46.0 + (second + tenth / 10) * 1e-4) / 180 * 2**31)
            body += struct.pack(
                "<BIHiiI3h", 1, START + second, tenth * 100, lat, 95_443_718, 12_000, 0, 1200, -50
            )
            moments = second + tenth / 10 + np.arange(10) / 100
            heave_g = 1.0 + 0.5 * np.sin(2 * np.pi * 20.0 * moments)
            body += struct.pack("<BIH", 2, START + second, tenth * 100) + offsets
            body += struct.pack("<30f", *np.zeros(20), *heave_g)
            body += struct.pack("<BIH", 3, START + second, tenth * 100) + offsets
            body += struct.pack("<30H", *[32768 + 10 + 200] * 10, *[32768 + 20] * 10, *[32768 + 30] * 10)
    return whole(body)


def test_fixes_and_motion_are_read_at_their_own_rates() -> None:
    log = read(fast_messages())
    assert isinstance(log, Track)
    np.testing.assert_allclose(log.t_s, np.arange(40) / 10, atol=1e-9)
    np.testing.assert_allclose(log.column("lat_deg"), 46.0 + np.arange(40) * 1e-5, atol=1e-7)
    assert set(log.frame.speed_mps) == {12.0}
    assert set(log.frame.vertical_mps) == {-0.5}
    assert log.motion is not None
    t_s = np.arange(400) / 100
    np.testing.assert_allclose(log.motion.index, t_s, atol=1e-9)
    np.testing.assert_allclose(
        log.motion["az_mps2"], 9.80665 * (1 + 0.5 * np.sin(2 * np.pi * 20 * t_s)), atol=1e-5
    )
    # (raw - level shift - offset) * factor / divisor
    assert set(log.motion["gx_dps"]) == {10.0}
    assert set(log.motion["gy_dps"]) == {0.0}
    assert {"gps-rate": 40, "motion-rate": 400}.items() <= codes(log).items()


def test_motion_without_a_calibration_is_named_and_not_read() -> None:
    body = BODY + definition(STAMP, *((n, 2, 0x84) for n in (2, 3, 4)), local=3, number=164)
    body += struct.pack("<BI3H", 3, START, 1, 2, 3)
    log = read(whole(body))
    assert isinstance(log, Track)
    assert log.motion is None
    (told,) = [f.message for f in log.findings if f.code == "columns-unread"]
    assert told == "messages not read: gyroscope (without calibration)"


def test_developer_fields_are_read_by_name_and_unit_or_named() -> None:
    described = definition((0, 1, 2), (1, 1, 2), (2, 1, 2), (3, 12, 7), (8, 6, 7), local=3, number=206)
    for number, base, name, unit in (
        (0, 0x88, b"Hdop", b""),
        (1, 0x84, b"GPS speed", b"km/h"),
        (2, 2, b"Mood", b""),
    ):
        described += struct.pack("<BBBB12s6s", 3, 0, number, base, name, unit)
    head = struct.pack("<BBBHB", 0x60, 0, 0, 20, 3) + bytes([*STAMP, *LAT, *LON])
    head += bytes([3, 0, 4, 0, 1, 2, 0, 2, 1, 0])
    rows = [struct.pack("<BIiifHB", 0, START + i, 500_000_000 + i, 9, 0.5 + i, 36 + i, 7) for i in range(3)]
    log = read(whole(described + head + b"".join(rows)))
    assert log.frame.hdop.tolist() == [0.5, 1.5, 2.5]
    np.testing.assert_allclose(log.column("speed_mps"), [10.0, 37 / 3.6, 38 / 3.6])
    assert codes(log) == {"columns-unread": 1}
    assert log.findings[0].message == "developer fields not read: Mood"


def test_records_without_any_time_are_counted_and_not_kept() -> None:
    timeless = definition(SPEED, local=1) + struct.pack("<BH", 1, 900) * 20
    log = read(whole(BODY + timeless + definition(SPEED, local=2) + struct.pack("<BH", 2, 900)))
    assert len(log.frame) == 5
    assert codes(log) == {"no-time": 21}


def test_refusals_are_one_sentence() -> None:
    with pytest.raises(NothingUsableError, match="none of its records holds a position"):
        read(whole(definition(STAMP) + struct.pack("<BI", 0, START)))
    with pytest.raises(NothingUsableError, match="none of its records carries a time"):
        read(whole(definition(SPEED) + struct.pack("<BH", 0, 1000)))
    with pytest.raises(DamagedLogError, match="no usable record stands before the damage"):
        read(whole(BODY)[:20])
