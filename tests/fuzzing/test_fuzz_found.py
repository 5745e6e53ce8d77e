"""What fuzzing once found, each cut down to a small file written by hand: none of it may come back."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path

import pytest
from fuzz_targets import TARGETS

from telemetry.core.errors import LogbookError
from telemetry.logbook import open_logbook
from telemetry.readers import Bounds, read_bytes

FOUND = sorted((Path(__file__).parent / "found").iterdir())


@pytest.mark.parametrize("file", FOUND, ids=lambda file: file.stem)
def test_a_file_that_once_did_harm_does_none(file: Path) -> None:
    TARGETS["sniffing"].check(file.read_bytes(), 3.0, True)


def test_no_row_is_read_as_the_moment_of_reading() -> None:
    file = Path(__file__).parent / "found" / "rows_of_this_moment.csv"
    (log,) = read_bytes(file.read_bytes(), file.name)
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]


def test_a_zip_whose_name_does_not_fit_is_told_in_a_sentence() -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("\u00e9" * 6000 + ".csv", b"t_s,speed_mps\n0,1\n1,2\n")
    data = bytearray(packed.getvalue())
    data[31] ^= 1  # of the name before the file; the one in the list says otherwise
    TARGETS["archive"].check(bytes(data), 3.0, True)


BRACKETS, DIGITS = "[" * 100_000, "9" * 5000


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("rule", f"{'k' * 5000} = 1"),
        ("rule", f"distance_m = {BRACKETS}"),
        ("rule", f"distance_m = {DIGITS}"),
        ("sheet", f"strut_angle_deg = {DIGITS}"),
        ("sheet", f'{{"boat": {DIGITS}}}'),
        ("sheet", f'{{"boat": {BRACKETS}'),
        ("map", BRACKETS),
        ("map", f'{{"pole_pairs": {DIGITS}}}'),
    ],
    ids=lambda value: value[:12],
)
def test_a_text_that_once_did_harm_does_none(kind: str, text: str) -> None:
    TARGETS[kind].check(text.encode(), 3.0, True)


def made_backup(tmp_path: Path, manifest: dict[str, object], **tables: bytes) -> Path:
    """Write a backup whose hashes are right, whatever else is wrong with it."""
    told = {
        name: {"rows": rows.count(b"\n"), "sha256": hashlib.sha256(rows).hexdigest()}
        for name, rows in tables.items()
    }
    whole = {
        "schema": "reciprocal-backup/1",
        "program_version": "0.1.0",
        "revision": "0001",
        "made_utc": "2025-06-14T08:00:00+00:00",
        "tables": told,
    }
    file = tmp_path / "made.zip"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, rows in tables.items():
            archive.writestr(f"tables/{name}.jsonl", rows)
        archive.writestr("logbook.json", json.dumps(whole | manifest))
    return file


@pytest.mark.parametrize(
    ("manifest", "tables", "reason"),
    [
        ({"revision": None}, {"logs": b""}, "update the program"),
        ({"made_utc": "yesterday"}, {"logs": b""}, "no backup of a logbook"),
        ({"tables": []}, {"logs": b""}, "no backup of a logbook"),
        ({"tables": {"logs": {"rows": 0}}}, {"logs": b""}, "no backup of a logbook"),
        ({"note": "x" * 2_000_000}, {"logs": b""}, "no backup of a logbook"),
        ({}, {}, "its list of logs is missing or damaged"),
        ({}, {"logs": b"[]\n"}, "its list of logs is missing or damaged"),
        ({}, {"logs": b"{}\n"}, "its list of logs is missing or damaged"),
        ({}, {"logs": b"", "boats": b"[1]\n"}, "its rows of boats are none"),
        ({}, {"logs": b"", "boats": b"{"}, "its rows of boats are none"),
    ],
)
def test_a_backup_that_fits_its_hashes_and_nothing_else_is_told(
    tmp_path: Path, manifest: dict[str, object], tables: dict[str, bytes], reason: str
) -> None:
    file = made_backup(tmp_path, manifest, **tables)
    with open_logbook(tmp_path / "lake.sqlite") as logbook:
        logbook.add_boat("Kittiwake")
        with pytest.raises(LogbookError, match=reason):
            logbook.restore(file, replace=True)
        assert [boat.name for boat in logbook.boats()] == ["Kittiwake"]


def test_a_backup_s_log_is_no_way_to_fill_the_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = bytes(3_000_000)
    sha256 = hashlib.sha256(log).hexdigest()
    file = made_backup(tmp_path, {}, logs=json.dumps({"sha256": sha256}).encode() + b"\n")
    with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"logs/{sha256}", log)
    monkeypatch.setattr("telemetry.logbook.backup.Bounds", lambda: Bounds(each_bytes=1_000_000))
    with (
        open_logbook(tmp_path / "lake.sqlite") as logbook,
        pytest.raises(LogbookError, match="larger than any log"),
    ):
        logbook.restore(file)
