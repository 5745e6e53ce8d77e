"""Many processes and threads at one logbook lose nothing: no lock is dropped behind SQLite's back."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from logbooks import BOAT, SHEET, add, everything, small_log, with_fleet
from stress_study import stress

from sample_logs import data_folder
from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook, schema

posix = pytest.mark.skipif(sys.platform == "win32", reason="POSIX locks, SIGKILL and a fork server")


def another_process_finds_it(file: Path) -> str:
    """Ask another process to leave the write-ahead log, which takes a lock that excludes every other user."""
    code = (
        "import sqlite3, sys\n"
        "connection = sqlite3.connect(sys.argv[1], timeout=0.0, isolation_level=None)\n"
        "try:\n"
        "    print('free', *connection.execute('PRAGMA journal_mode = DELETE').fetchone())\n"
        "except sqlite3.OperationalError as error:\n"
        "    print(error.sqlite_errorname)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True)
    return done.stdout.strip()


@posix
def test_opening_the_logbook_once_more_drops_no_lock_of_this_process(tmp_path: Path) -> None:
    """SQLite's "How To Corrupt", section 2.2: any closed descriptor drops them all."""
    file = tmp_path / "lake.sqlite"
    with open_logbook(file) as logbook, logbook._reading() as session:
        session.connection().exec_driver_sql("SELECT count(*) FROM boats").scalar()
        assert another_process_finds_it(file) == "SQLITE_BUSY"
        with open_logbook(file) as other:
            other.boats()
        for _ in range(3):
            with open_logbook(file):
                pass
        assert another_process_finds_it(file) == "SQLITE_BUSY"
    assert another_process_finds_it(file) == "free delete"
    with open_logbook(file) as logbook:  # and goes back to the write-ahead log
        assert logbook.boats() == ()
    with sqlite3.connect(file) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()


BY_HAND = """
import os, sys
from pathlib import Path
folder = Path(sys.argv[1])
own = {os.path.realpath(folder / f"logbook.sqlite{ending}") for ending in ("", "-wal", "-shm", "-journal")}
opened = []
def watch(event, args):
    if event in ("open", "os.open", "os.truncate", "os.chmod", "shutil.copyfile", "os.rename", "os.remove"):
        if isinstance(args[0], (str, os.PathLike)) and os.path.realpath(args[0]) in own:
            opened.append((event, str(args[0])))
from telemetry.cli import main
from dashboard.features.logbook.backup_service import Safe
from telemetry.logbook import open_logbook
samples = sys.argv[2:]
sys.addaudithook(watch)
calls = [
    ["add", *samples, "--boat", "Quorrel", "--sheet", "base", "--new", "--pole-pairs", "2"],
    ["boats"], ["outings", "--boat", "quorrel"], ["show", "1", "--write", str(folder / "out")],
    ["correct", "1", "--place", "Long Lake"], ["refresh"], ["backup", str(folder / "lake.zip")],
    ["export", str(folder / "tables")], ["restore", str(folder / "lake.zip"), "--replace"],
    ["statement", "--outing", "1"], ["remove", "1"],
]
for call in calls:
    code = main(call)
    assert code == 0, call
safe = Safe()
b"".join(safe.export().chunks())
data = b"".join(safe.backup().chunks())
safe.restore("lake.zip", data, "replace")
print("\\nOPENED", opened)
"""


def test_nothing_opens_or_closes_the_database_file_by_hand(home: Path) -> None:
    """Python reports every file that it opens; SQLite's own openings do not show there."""
    samples = [str(data_folder() / name) for name in ("four_passes.gpx", "four_passes_motor.csv")]
    done = subprocess.run(
        [sys.executable, "-c", BY_HAND, str(home), *samples],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "OPENED []"


def test_the_logbooks_own_files_are_taken_for_nothing_else(tmp_path: Path) -> None:
    """Read as a log or a backup, or written over by one, they would be opened and closed by hand."""
    file, link = tmp_path / "lake.sqlite", tmp_path / "link.csv"
    with open_logbook(file) as logbook:
        with_fleet(logbook)
        link.symlink_to(file)
        before = everything(logbook)
        for own in (file, tmp_path / "lake.sqlite-wal", link):
            with pytest.raises(LogbookError, match="it is the logbook itself, not a log"):
                logbook.import_outing([own], BOAT, SHEET.name)
            with pytest.raises(LogbookError, match="it is the logbook itself, not a backup"):
                logbook.restore(own, replace=True)
            with pytest.raises(LogbookError, match="it is the logbook itself, not a file for its backup"):
                logbook.backup(own, overwrite=True)
        assert everything(logbook) == before


@posix
@pytest.mark.parametrize("kills", [0, 3], ids=["unharmed", "with SIGKILLs"])
def test_every_acknowledged_write_of_many_processes_and_threads_is_there(
    logbook_url: str, tmp_path: Path, kills: int
) -> None:
    """Each write opens the logbook anew, as a callback of the dashboard does, while others read."""
    with open_logbook(logbook_url):
        pass
    outcome = stress(
        logbook_url,
        tmp_path / "notes",
        writers=3,
        threads=2,
        writes=20,
        readers=1,
        kills=kills,
        rng=random.Random(12),
    )
    assert (outcome.lost, outcome.refused, outcome.integrity) == ((), (), "ok")
    assert outcome.kills == kills
    assert outcome.acknowledged == 120 if not kills else outcome.acknowledged >= 120
    assert outcome.reads > 0


def test_an_empty_file_beside_a_write_ahead_log_is_not_taken_for_a_new_logbook(tmp_path: Path) -> None:
    """SQLite would delete that log, and with it what may still be recovered."""
    file, log = tmp_path / "lake.sqlite", tmp_path / "lake.sqlite-wal"
    with open_logbook(file) as logbook:
        with_fleet(logbook)
        add(logbook)
        content = log.read_bytes()
        assert content
    copy = tmp_path / "copy"
    copy.mkdir()
    (copy / log.name).write_bytes(content)
    for make_empty in (lambda: None, (copy / file.name).touch):
        make_empty()
        with pytest.raises(LogbookError, match=r"it is empty, but lake\.sqlite-wal beside it"):
            open_logbook(copy / file.name)
        assert (copy / log.name).read_bytes() == content


def test_a_new_logbook_is_marked_with_its_tables_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "lake.sqlite"

    def fail(*_: object) -> None:
        raise LogbookError("broken off")

    with monkeypatch.context() as patch:
        patch.setattr(schema, "bring_up", fail)
        with pytest.raises(LogbookError, match="broken off"):
            open_logbook(file)
    with open_logbook(file) as logbook:
        with_fleet(logbook)
    with sqlite3.connect(file) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (0x52637062,)
    connection.close()


def test_another_programs_database_in_the_write_ahead_log_stays_as_it_is(tmp_path: Path) -> None:
    """Neither its file nor its log changes, no file appears beside it, whatever it holds uncommitted."""
    file = tmp_path / "music.sqlite"
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE songs (title TEXT)")
    connection.commit()
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir() if not one.name.endswith("-shm")}
    with pytest.raises(LogbookError, match="the database of another program"):
        open_logbook(file)
    assert {
        one.name: one.read_bytes() for one in tmp_path.iterdir() if not one.name.endswith("-shm")
    } == before
    connection.close()
    alone = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    assert list(alone) == [file.name]
    with pytest.raises(LogbookError, match="the database of another program"):
        open_logbook(file)
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == alone


def test_a_log_of_the_same_boat_is_read_while_the_logbook_is_open(fleet: Logbook, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_bytes(small_log(3).data)
    assert fleet.import_outing((one for one in [log]), BOAT, SHEET.name).outing.passes == 2
