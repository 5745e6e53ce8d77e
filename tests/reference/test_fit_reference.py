"""FIT against fitdecode, an independent decoder, on the same recorded files, and against a published CRC."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from pathlib import Path

import fitdecode
import numpy as np
import pytest
from fitdecode.types import FieldDefinition

from telemetry.readers import fit, read_bytes
from telemetry.readers.fit_scan import TIMESTAMP, crc16, scan_fit

REAL = Path(__file__).parents[2].parent / "shared" / "real_logs" / "fit"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the recorded logs are not here")
NAMES = [
    "ride_1hz_clean",
    "ride_1hz_developer_fields_missing_positions",
    "cut_off_14391_records",
    "damaged_tail_false_last_record",
    "misaligned_field_sizes",
    "two_files_chained",
]


def decoded(data: bytes) -> list[dict[str, float]]:
    """Return each record as fitdecode's own processors present it, up to the damage."""
    records = []
    try:
        with warnings.catch_warnings(action="ignore"), fitdecode.FitReader(io.BytesIO(data)) as reader:
            for frame in reader:
                if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record":
                    records.append({f.name: f.value for f in frame.fields if f.name})
    except fitdecode.FitError:
        pass
    return records


@pytest.mark.parametrize("name", NAMES)
def test_values_equal_the_second_decoder_s(name: str) -> None:
    data = (REAL / f"{name}.fit").read_bytes()
    (log,) = read_bytes(data, name)
    frame = log.frame
    wanted = ("position_lat", "speed", "enhanced_speed", "altitude", "enhanced_altitude")
    expected = [r for r in decoded(data) if any(k in r for k in wanted)]
    stamps = [r["timestamp"] for r in expected]
    if name == "damaged_tail_false_last_record":
        assert stamps.pop().year == 2085  # type: ignore[attr-defined]
        expected.pop()
    assert len(frame) == len(expected)
    start = log.meta.start_utc
    assert start is not None
    np.testing.assert_array_equal(log.t_s, [(s - start.to_pydatetime()).total_seconds() for s in stamps])

    def column(*names: str, scale: float = 1.0) -> np.ndarray:
        values = [next((r[n] for n in names if r.get(n) is not None), np.nan) for r in expected]
        return np.array([v if isinstance(v, int | float) else np.nan for v in values], dtype=float) * scale

    np.testing.assert_allclose(log.column("speed_mps"), column("enhanced_speed", "speed"), atol=1e-12)
    np.testing.assert_allclose(log.column("alt_m"), column("enhanced_altitude", "altitude"), atol=1e-9)
    # FIT profile: semicircles, 2**31 of them to 180 degrees.
    semicircle = 180.0 / 2**31
    np.testing.assert_allclose(log.column("lat_deg"), column("position_lat", scale=semicircle), atol=1e-12)
    np.testing.assert_allclose(log.column("lon_deg"), column("position_long", scale=semicircle), atol=1e-12)


def fitdecode_records(data: bytes) -> Iterator[list[tuple[int, object]]]:
    """Return each record's own field numbers and raw values as fitdecode reads them."""
    with fitdecode.FitReader(
        io.BytesIO(data),
        processor=None,
        check_crc=fitdecode.CrcCheck.DISABLED,
        error_handling=fitdecode.ErrorHandling.IGNORE,
    ) as reader:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.global_mesg_num == 20:
                own = [f for f in frame.fields if isinstance(f.field_def, FieldDefinition)]
                implied = [f for f in frame.fields if f.field_def is None and f.field.def_num == TIMESTAMP]
                yield [(f.field_def.def_num, f.raw_value) for f in own] + [
                    (TIMESTAMP, f.raw_value) for f in implied
                ]


@pytest.mark.parametrize("name", NAMES)
def test_the_bulk_reading_equals_both_decoders(name: str) -> None:
    data = (REAL / f"{name}.fit").read_bytes()
    found = scan_fit(data, fit._WANTED)
    bulk = found.columns()
    for records in (fit.fitparse_records(data), fitdecode_records(data)):
        rows, _ = fit._rows(records, found.records)
        columns = fit._columns(rows)
        assert rows
        for number, values in columns.items():
            if number in bulk:
                np.testing.assert_array_equal(values, bulk[number][: len(rows)])
            else:
                assert np.isnan(values).all()
    assert np.isfinite(bulk[TIMESTAMP]).any()


def test_checksum_equals_its_catalogue_check_value() -> None:
    assert crc16(b"123456789") == 0xBB3D  # CRC RevEng catalogue, CRC-16/ARC
    assert crc16(b"") == 0


def test_checksum_equals_the_byte_by_byte_definition() -> None:
    rng = np.random.default_rng(3)
    for size in (1, 2, 63, 64, 65, 1000, 20_001):
        data = rng.bytes(size)
        value = 0
        for byte in data:
            value ^= byte
            for _ in range(8):
                value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
        assert crc16(data) == value
