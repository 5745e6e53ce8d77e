"""A logbook on a disk that may only be read shows everything, and refuses what would write."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from logbooks import add, everything, with_fleet

from sample_logs import data_folder
from telemetry.core.errors import LogbookError
from telemetry.logbook import open_logbook

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="permissions as Linux has them")

# Root may write anything: this takes that right from the process and those it starts.
PLAIN_USER = (
    ["setpriv", "--bounding-set", "-dac_override,-dac_read_search", "--inh-caps", "-all"]
    if shutil.which("setpriv")
    else []
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a logbook of an outing; tests take its write permission away."""
    folder = tmp_path / "disk"
    folder.mkdir()
    with open_logbook(folder / "lake.sqlite") as logbook:
        with_fleet(logbook)
        add(logbook)
    return folder


def content(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.is_file()}


def run(folder: Path, *argv: str) -> subprocess.CompletedProcess[str]:
    folder.chmod(0o555)
    for file in folder.iterdir():
        if file.is_file():
            file.chmod(0o444)
    before = content(folder)
    done = subprocess.run(
        [*PLAIN_USER, sys.executable, "-m", "telemetry.cli", *argv],
        capture_output=True,
        text=True,
        check=False,
    )
    assert content(folder) == before
    folder.chmod(0o755)
    assert "Traceback" not in done.stderr
    return done


@pytest.mark.parametrize(
    "argv",
    [
        ["outings"],
        ["boats"],
        ["show", "1"],
        ["show", "1", "--json"],
        ["backup", "OUT/lake.zip"],
        ["export", "OUT/tables"],
        ["statement", "--outing", "1"],
    ],
    ids=" ".join,
)
def test_what_reads_works_on_a_read_only_disk(folder: Path, tmp_path: Path, argv: list[str]) -> None:
    argv = [part.replace("OUT", str(tmp_path)) for part in argv]
    done = run(folder, *argv, "--logbook", str(folder / "lake.sqlite"))
    assert done.returncode == 0, done.stderr
    assert done.stdout


def test_an_analysis_works_where_the_programs_folder_may_only_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("RECIPROCAL_HOME", str(home))
    done = run(home, "analyse", str(data_folder() / "four_passes.gpx"), "--json")
    assert done.returncode == 0, done.stderr
    assert len(json.loads(done.stdout)["passes"]) == 4


def test_writing_is_refused_in_one_sentence(folder: Path) -> None:
    done = run(folder, "boats", "--add", "Late", "--logbook", str(folder / "lake.sqlite"))
    assert done.returncode != 0
    assert "it may only be read" in done.stderr


def test_changes_in_the_write_ahead_log_alone_are_not_passed_over(folder: Path, tmp_path: Path) -> None:
    """A copy taken while the logbook was in use: its log holds what the file does not."""
    copy = tmp_path / "copy"
    copy.mkdir()
    with open_logbook(folder / "lake.sqlite") as logbook:
        logbook.add_boat("Late")
        for name in ("lake.sqlite", "lake.sqlite-wal"):
            (copy / name).write_bytes((folder / name).read_bytes())
    assert (copy / "lake.sqlite-wal").stat().st_size
    done = run(copy, "boats", "--logbook", str(copy / "lake.sqlite"))
    if done.returncode == 0:
        assert "Late" in done.stdout
    else:
        assert "its latest changes are in lake.sqlite-wal" in done.stderr
        assert "copy both files" in done.stderr


def test_a_logbook_that_may_be_written_again_is(folder: Path) -> None:
    run(folder, "boats", "--logbook", str(folder / "lake.sqlite"))
    (folder / "lake.sqlite").chmod(0o644)
    with open_logbook(folder / "lake.sqlite") as logbook:
        before = everything(logbook)
        logbook.add_boat("Late")
        assert len(everything(logbook)["boats"]) == len(before["boats"]) + 1


def test_a_read_only_file_of_another_program_is_refused_as_ever(folder: Path) -> None:
    (folder / "notes.sqlite").write_text("strut 2.0\n" * 50)
    done = run(folder, "boats", "--logbook", str(folder / "notes.sqlite"))
    assert done.returncode != 0
    assert "it is no logbook" in done.stderr


def test_an_older_logbook_that_may_only_be_read_is_refused(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from telemetry.logbook import engine

    monkeypatch.setattr(engine, "HEAD", "0099")
    monkeypatch.setattr(engine, "read_only_address", lambda path, _: f"{path.as_uri()}?mode=ro")
    with pytest.raises(LogbookError, match=r"an earlier version .* it may only be read"):
        open_logbook(folder / "lake.sqlite")
