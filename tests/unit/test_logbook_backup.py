"""A backup holds everything, row for row and log for log, and goes from any database to any other."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from logbooks import BOAT, SHEET, add, everything, new_database, small_log, with_fleet

from telemetry.cleaning.corrections import Cut
from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook, schema
from telemetry.logbook.migrations import HEAD
from telemetry.setup import FoundMeasure, Reading, ServiceTask

NOW = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def full(fleet: Logbook) -> Logbook:
    """A logbook with something in every table."""
    deeper = SHEET.edit(
        {"strut_depth_mm": Reading(4.0)}, name="deeper", made_utc=datetime(2020, 1, 1, tzinfo=UTC)
    )
    fleet.add_sheet(deeper)  # an older clock than its parent's: the order of time is not the order of descent
    fleet.add_sheet(deeper.edit({"strut_depth_mm": Reading(5.0)}, name="deeper still"))
    fleet.add_found(FoundMeasure(BOAT, {"strut_depth_mm": Reading(3.0)}, found_utc=NOW, note="naïve – «ok»"))
    fleet.set_service_tasks(BOAT, [ServiceTask("horn", "Horn", every_days=30)])
    fleet.service_done(BOAT, "horn", NOW, "loud")
    for hour in range(3):
        add(fleet, hour)
    fleet.remove_outing(2)
    fleet.correct_by_hand(1, [Cut(fleet.outing(1).logs[0].sha256, 12.0, 13.0, "Gischt, ünder")], who="Ada")
    assert all(everything(fleet).values()), "every table has a row"
    return fleet


@pytest.fixture(params=["into sqlite", "into postgresql"])
def elsewhere(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Logbook]:
    """Another logbook, on another machine so to say."""
    url = str(tmp_path / "other" / "lake.sqlite")
    if request.param == "into postgresql":
        server = request.getfixturevalue("postgres_server")
        with new_database(server) as url, open_logbook(url) as opened:
            yield opened
        return
    with open_logbook(url) as opened:
        yield opened


def test_a_restored_backup_is_equal_row_for_row_and_log_for_log(
    full: Logbook, elsewhere: Logbook, tmp_path: Path
) -> None:
    file = tmp_path / "backups" / "lake.zip"
    told = full.backup(file)
    before = everything(full)
    assert told.rows == {name: len(rows) for name, rows in before.items()}
    assert elsewhere.restore(file) == told
    assert everything(elsewhere) == before
    assert elsewhere.outings() == full.outings()
    assert elsewhere.logs(1) == full.logs(1) == (small_log(0),)
    assert elsewhere.evidence() == full.evidence()
    assert elsewhere.service(BOAT, NOW) == full.service(BOAT, NOW)
    added = add(elsewhere, 1)
    assert added.outing.id == 4  # numbering goes on after the highest
    elsewhere.add_boat("New")


def test_a_backup_is_readable_without_this_program(full: Logbook, tmp_path: Path) -> None:
    file = tmp_path / "lake.zip"
    full.backup(file)
    with zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None
        manifest = json.loads(archive.read("logbook.json"))
        assert manifest["schema"] == "reciprocal-backup/1"
        (log,) = full.outing(1).logs
        assert archive.read(f"logs/{log.sha256}") == small_log(0).data
        boats = [json.loads(line) for line in archive.read("tables/boats.jsonl").splitlines()]
        assert boats[0]["name"] == BOAT


def test_a_backup_of_an_earlier_step_is_restored_and_brought_up(
    full: Logbook, elsewhere: Logbook, tmp_path: Path
) -> None:
    first = schema.steps()[0]
    before = everything(full)
    file = tmp_path / "lake.zip"
    full.backup(file)
    # The same backup as the program of the first step would have written it.
    old = tmp_path / "old.zip"
    later = {"founds", "services", "services_done", "corrections"}
    with zipfile.ZipFile(file) as new, zipfile.ZipFile(old, "w") as archive:
        manifest = json.loads(new.read("logbook.json"))
        manifest["revision"] = first
        for name in later:
            del manifest["tables"][name]
        rows = [json.loads(line) for line in new.read("tables/outings.jsonl").splitlines()]
        for row in rows:
            del row["under_way_s"]
        outings = b"".join(json.dumps(row).encode() + b"\n" for row in rows)
        manifest["tables"]["outings"]["sha256"] = hashlib.sha256(outings).hexdigest()
        for member in new.namelist():
            if Path(member).stem not in later | {"outings", "logbook"}:
                archive.writestr(member, new.read(member))
        archive.writestr("tables/outings.jsonl", outings)
        archive.writestr("logbook.json", json.dumps(manifest))
    elsewhere.restore(old)
    after = everything(elsewhere)
    for name, rows_before in before.items():
        if name in later:
            assert after[name] == []
        elif name != "outings":
            assert after[name] == rows_before
    assert elsewhere.logs(1) == full.logs(1)


def test_restoring_over_a_filled_logbook_has_to_be_said(full: Logbook, tmp_path: Path) -> None:
    file = tmp_path / "lake.zip"
    full.backup(file)
    then = everything(full)
    add(full, 5)
    with pytest.raises(LogbookError, match=r"2 boats and 3 outings in it.*--replace"):
        full.restore(file)
    assert full.count_outings() == 3
    full.restore(file, replace=True)
    assert everything(full) == then


def test_a_backup_is_not_written_over_another_unless_said(fleet: Logbook, tmp_path: Path) -> None:
    file = tmp_path / "lake.zip"
    fleet.backup(file)
    first = file.read_bytes()
    fleet.add_boat("Third")
    with pytest.raises(LogbookError, match="there already"):
        fleet.backup(file)
    assert file.read_bytes() == first
    assert fleet.backup(file, overwrite=True).rows["boats"] == 3
    assert [path.name for path in tmp_path.iterdir() if path.suffix in {".zip", ".new"}] == ["lake.zip"]


def damaged(file: Path, out: Path, member: str, change: object) -> Path:
    """Copy a backup with one member changed by a function of its bytes, or left out."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name.startswith(member):
                data = change(data)  # type: ignore[operator]
            if data is not None:
                new.writestr(name, data)
    return out


@pytest.mark.parametrize(
    ("member", "change", "reason"),
    [
        ("logs/", lambda data: data[:-1] + b"?", "does not give its hash"),
        ("logs/", lambda data: None, "missing or damaged"),
        (
            "tables/boats",
            lambda data: data.replace(b"Kitt", b"Kott"),
            r"tables/boats.jsonl does not give its hash",
        ),
        ("tables/sheets", lambda data: None, "missing or damaged"),
        ("logbook.json", lambda data: None, "no backup of a logbook"),
        ("logbook.json", lambda data: b"{}", "no backup of a logbook"),
        ("logbook.json", lambda data: data.replace(b"backup/1", b"backup/9"), "update the program"),
        ("logbook.json", lambda data: data.replace(f'"{HEAD}"'.encode(), b'"9999"'), "update the program"),
    ],
)
def test_a_damaged_or_newer_backup_changes_nothing(
    tmp_path: Path, member: str, change: object, reason: str
) -> None:
    file = tmp_path / "lake.zip"
    with open_logbook(tmp_path / "lake.sqlite") as logbook:
        with_fleet(logbook)
        add(logbook)
        logbook.backup(file)
        before = everything(logbook)
        bad = damaged(file, tmp_path / "bad.zip", member, change)
        with pytest.raises(LogbookError, match=reason):
            logbook.restore(bad, replace=True)
        assert everything(logbook) == before


@pytest.mark.parametrize("cut", [0.1, 0.5, 0.99])
def test_a_backup_that_was_cut_off_is_refused(tmp_path: Path, cut: float) -> None:
    file = tmp_path / "lake.zip"
    with open_logbook(tmp_path / "lake.sqlite") as logbook:
        with_fleet(logbook)
        logbook.backup(file)
        data = file.read_bytes()
        file.write_bytes(data[: int(cut * len(data))])
        with pytest.raises(LogbookError, match="no backup"):
            logbook.restore(file, replace=True)
        assert len(logbook.boats()) == 2
    with open_logbook(tmp_path / "new.sqlite") as new, pytest.raises(LogbookError, match="cannot be opened"):
        new.restore(tmp_path / "nowhere.zip")


def test_a_backup_that_finds_no_room_leaves_the_former_one(
    fleet: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "lake.zip"
    fleet.backup(file)
    first = file.read_bytes()

    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("telemetry.core.paths.os.fsync", full_disk)
    with pytest.raises(LogbookError, match="cannot be written: No space left"):
        fleet.backup(file, overwrite=True)
    assert file.read_bytes() == first
    assert [path.name for path in tmp_path.iterdir() if path.suffix in {".zip", ".new"}] == ["lake.zip"]


def test_a_number_told_once_is_never_another_outings_after_a_restore(
    fleet: Logbook, elsewhere: Logbook, tmp_path: Path
) -> None:
    for hour in range(3):
        add(fleet, hour)
    fleet.remove_outing(3)
    fleet.remove_outing(2)
    fleet.backup(tmp_path / "lake.zip")
    elsewhere.restore(tmp_path / "lake.zip")
    assert add(elsewhere, 3).outing.id == 4
    elsewhere.restore(tmp_path / "lake.zip", replace=True)  # the outing it loses was told to its user as 4
    assert add(elsewhere, 3).outing.id == 5


def test_numbers_of_a_logbook_without_an_outing_are_remembered_too(
    fleet: Logbook, elsewhere: Logbook, tmp_path: Path
) -> None:
    add(fleet)
    fleet.remove_outing(1)
    fleet.backup(tmp_path / "lake.zip")
    elsewhere.restore(tmp_path / "lake.zip")
    assert add(elsewhere).outing.id == 2
