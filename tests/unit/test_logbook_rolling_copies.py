"""Copies of the logbook are made after each outing, kept by days and weeks, and restored by one command."""

from __future__ import annotations

import sqlite3
from datetime import date, timedelta
from pathlib import Path

import pytest
from logbooks import add, everything, with_fleet

from telemetry.cli import main
from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook
from telemetry.logbook.rolling_copies import copies_folder, make_copy, rolling_copies


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A logbook of two boats."""
    with open_logbook(tmp_path / "lake.sqlite") as logbook:
        with_fleet(logbook)
    return tmp_path / "lake.sqlite"


def test_each_outing_makes_the_days_copy(file: Path) -> None:
    with open_logbook(file) as logbook:
        assert logbook.rolling_copies() == ()
        for hour in range(2):
            add(logbook, hour)
            (copy,) = logbook.rolling_copies()
            assert copy.file.parent == copies_folder(file)
            with Logbook(copy.file) as copied:
                assert everything(copied) == everything(logbook)
            assert logbook.copy_fault is None
    assert [path.name for path in copies_folder(file).iterdir()] == [copy.file.name]


def test_the_last_seven_days_and_four_weeks_are_kept(file: Path) -> None:
    """Thirty days in a row, from a Thursday: the weeks' latest are their Sundays."""
    first = date(2026, 1, 1)
    for k in range(30):
        make_copy(file, first + timedelta(days=k))
    days = [copy.day for copy in rolling_copies(file)]
    last = first + timedelta(days=29)  # Friday, 30 January
    assert days[:7] == [last - timedelta(days=k) for k in range(7)]
    assert days[7:] == [date(2026, 1, 18), date(2026, 1, 11)]
    assert {day.isocalendar().week for day in days} == {2, 3, 4, 5}


def test_a_copy_is_restored_by_one_command(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_logbook(file) as logbook:
        add(logbook)
        then = everything(logbook)
        (copy,) = logbook.rolling_copies()
    before = copy.file.read_bytes()
    with open_logbook(file) as logbook:
        logbook.remove_outing(1)
    assert main(["copies", "--logbook", str(file)]) == 0
    said = capsys.readouterr().out
    assert f"reciprocal restore {copy.file} --replace" in said
    assert main(["restore", str(copy.file), "--logbook", str(file)]) != 0
    assert "--replace" in capsys.readouterr().err
    assert main(["restore", str(copy.file), "--replace", "--logbook", str(file)]) == 0
    assert "1 outing" in capsys.readouterr().out
    with open_logbook(file) as logbook:
        assert everything(logbook) == then
    assert copy.file.read_bytes() == before


def test_a_copy_of_a_damaged_logbook_leaves_the_former_one(file: Path) -> None:
    with open_logbook(file) as logbook:
        add(logbook)
        (former,) = logbook.rolling_copies()
    before = former.file.read_bytes()
    data = bytearray(file.read_bytes())
    data[4096 * 3 : 4096 * 12] = b"\x99" * (4096 * 9)
    file.write_bytes(data)
    with pytest.raises(LogbookError, match="its copy of today cannot be made"):
        make_copy(file, former.day)
    assert former.file.read_bytes() == before
    assert [path.name for path in copies_folder(file).iterdir()] == [former.file.name]


def test_an_outing_is_kept_where_its_copy_cannot_be_made(
    file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copies_folder(file).write_text("in the way")
    with open_logbook(file) as logbook:
        assert add(logbook).outing.id == 1
        assert logbook.copy_fault is not None
        assert "its copy of today cannot be made" in str(logbook.copy_fault)


def test_a_copy_made_while_others_write_is_whole(file: Path) -> None:
    with open_logbook(file) as logbook, logbook._writing() as session:
        session.connection().exec_driver_sql("UPDATE boats SET note = 'half done'")
        with Logbook(make_copy(file).file) as copied:
            assert {boat.note for boat in copied.boats()} == {""}


@pytest.mark.parametrize("kept", ["a copy", "a backup"])
def test_an_empty_file_beside_copies_or_backups_is_not_taken_for_a_new_logbook(file: Path, kept: str) -> None:
    with open_logbook(file) as logbook:
        if kept == "a copy":
            add(logbook)
        else:
            logbook.backup(file.with_name("lake.zip"))
    for ending in ("-wal", "-shm"):
        file.with_name(file.name + ending).unlink(missing_ok=True)
    file.write_bytes(b"")
    with pytest.raises(LogbookError, match="it is empty, though it held something") as refusal:
        open_logbook(file)
    restored = str(refusal.value).rpartition("reciprocal restore ")[2].rstrip("`.")
    assert file.read_bytes() == b""
    file.unlink()
    assert main(["restore", restored, "--logbook", str(file)]) == 0
    with open_logbook(file) as logbook:
        assert len(logbook.boats()) == 2


def test_an_empty_file_alone_becomes_a_logbook(tmp_path: Path) -> None:
    (tmp_path / "lake.sqlite").touch()
    (tmp_path / "pictures.zip").write_bytes(b"PK\x05\x06" + bytes(18))
    with open_logbook(tmp_path / "lake.sqlite") as logbook:
        assert logbook.boats() == ()


def test_a_logbook_on_a_server_has_no_copies(logbook_url: str) -> None:
    with open_logbook(logbook_url) as logbook:
        with_fleet(logbook)
        add(logbook)
        assert bool(logbook.rolling_copies()) == (not logbook_url.startswith("postgresql"))


def test_a_file_of_another_program_is_not_restored(file: Path, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "music.sqlite") as connection:
        connection.execute("CREATE TABLE songs (title TEXT)")
    connection.close()
    with open_logbook(file) as logbook, pytest.raises(LogbookError, match="no backup of a logbook"):
        logbook.restore(tmp_path / "music.sqlite", replace=True)
