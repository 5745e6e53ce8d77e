"""Crafted backups: each is refused with one clear error or neutralised, and nothing is written elsewhere."""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from logbooks import add, everything, small_log, with_fleet

from telemetry.cli import main
from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook

Rows = list[dict[str, Any]]


@pytest.fixture
def genuine(tmp_path: Path) -> Path:
    """A backup of two boats and two outings."""
    file = tmp_path / "genuine.zip"
    with open_logbook(tmp_path / "genuine.sqlite") as logbook:
        with_fleet(logbook)
        add(logbook, 0)
        add(logbook, 1)
        logbook.backup(file)
    return file


def crafted(genuine: Path, table: str, change: Callable[[Rows], object]) -> Path:
    """Copy a backup with the rows of one table changed and every hash and count right."""

    def lines(data: bytes) -> bytes:
        rows = [json.loads(line) for line in data.splitlines()]
        change(rows)
        return b"".join(json.dumps(row).encode() + b"\n" for row in rows)

    return rewritten(genuine, table, lines)


def rewritten(genuine: Path, table: str, change: Callable[[bytes], bytes]) -> Path:
    """Copy a backup with the bytes of one table changed and every hash and count right."""
    out = genuine.with_name("crafted.zip")
    member = f"tables/{table}.jsonl"
    with zipfile.ZipFile(genuine) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        manifest = json.loads(old.read("logbook.json"))
        data = change(old.read(member))
        manifest["tables"][table] = {"rows": data.count(b"\n"), "sha256": hashlib.sha256(data).hexdigest()}
        for name in old.namelist():
            if name not in (member, "logbook.json"):
                new.writestr(name, old.read(name))
        new.writestr(member, data)
        new.writestr("logbook.json", json.dumps(manifest))
    return out


NAMES = {
    "../../escaped.csv": "escaped.csv",
    "..\\..\\escaped.csv": "escaped.csv",
    "/etc/escaped.csv": "escaped.csv",
    "C:\\run\\escaped.csv": "escaped.csv",
    "C:escaped.csv": "C_escaped.csv",
    "\\\\host\\share\\escaped.csv": "escaped.csv",
    "escaped.csv\x00.gpx": "escaped.csv_.gpx",
    "escaped\x1b[2J\u202e.csv": "escaped_[2J_.csv",
    "NUL": "_NUL",
    "com1.csv": "_com1.csv",
    "escaped.csv:hidden": "escaped.csv_hidden",
    "..": "log",
    "  ...escaped.csv. ": "escaped.csv",
    "a" * 4000 + ".csv": "a" * 176 + ".csv",
    "": "log",
}


@pytest.mark.parametrize("name", NAMES)
def test_a_logs_name_leads_nowhere(
    genuine: Path, logbook_url: str, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = crafted(genuine, "outing_logs", lambda rows: rows[0].update(file=name))
    target = tmp_path / "deep" / "inside" / "target"
    with open_logbook(logbook_url) as logbook:
        logbook.restore(file)
        assert dict(everything(logbook)["outing_logs"][0])["file"] == NAMES[name]
        assert logbook.logs(1) == (type(small_log())(NAMES[name], small_log(0).data),)
    before = sorted(tmp_path.rglob("*"))
    assert main(["show", "1", "--write", str(target), "--logbook", logbook_url]) == 0
    capsys.readouterr()
    new = [path for path in sorted(tmp_path.rglob("*")) if path not in before and path.is_file()]
    assert [path for path in new if "sqlite" not in path.name] == [target / NAMES[name]]
    assert (target / NAMES[name]).read_bytes() == small_log(0).data


def test_a_name_that_is_in_a_logbook_already_leads_nowhere_either(
    fleet: Logbook, logbook_url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Written by an earlier version, or by another program."""
    add(fleet)
    with fleet._writing() as session:
        from sqlalchemy import text

        session.execute(text("UPDATE outing_logs SET file = '../../escaped.csv'"))
    assert fleet.outing(1).logs[0].file == "escaped.csv"
    target = tmp_path / "deep" / "inside" / "target"
    assert main(["show", "1", "--write", str(target), "--logbook", logbook_url]) == 0
    capsys.readouterr()
    assert [path.name for path in target.iterdir()] == ["escaped.csv"]
    assert not list(tmp_path.glob("escaped.csv"))
    fleet.export(tmp_path / "tables")
    assert "../" not in (tmp_path / "tables" / "outing_logs.csv").read_text()


def test_logs_of_one_name_are_written_side_by_side(
    fleet: Logbook, logbook_url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kind = type(small_log())
    logs = [kind("a/run.csv", small_log(0).data), kind("b/RUN.csv", small_log(1).data)]
    fleet.import_outing(logs, "Kittiwake", "flat water")
    assert main(["show", "1", "--write", str(tmp_path / "out"), "--logbook", logbook_url]) == 0
    capsys.readouterr()
    assert (tmp_path / "out" / "run.csv").read_bytes() == small_log(0).data
    assert (tmp_path / "out" / "RUN-2.csv").read_bytes() == small_log(1).data


def _row(**change: Any) -> Callable[[Rows], object]:
    return lambda rows: rows[0].update(change)


MISSHAPEN = r"its rows of \w+ are none that this program writes"
CRAFTED: dict[str, tuple[str, Callable[[Rows], object], str]] = {
    "the same key twice": ("boats", lambda rows: rows.append(dict(rows[0])), "contradict one another"),
    "the same name twice": (
        "boats",
        lambda rows: rows.append({**rows[0], "id": 9}),
        "contradict one another",
    ),
    "an outing of no boat": ("outings", _row(boat_id=99), "contradict one another"),
    "a log of no outing": ("outing_logs", _row(outing_id=99), "contradict one another"),
    "a name that is a number": ("outing_logs", _row(file=7), MISSHAPEN),
    "a name that is missing": ("outing_logs", _row(file=None), MISSHAPEN),
    "a text for a number": ("outings", _row(pass_count="; DROP TABLE boats"), MISSHAPEN),
    "a number past 64 bits": ("outings", _row(pass_count=2**64), MISSHAPEN),
    "a number past 32 bits": ("outings", _row(pass_count=2**33), MISSHAPEN),
    "true for a number": ("outings", _row(pass_count=True), MISSHAPEN),
    "a number that is none": ("outings", _row(wind_mps=float("nan")), MISSHAPEN),
    "an endless number": ("outings", _row(wind_mps=float("inf")), MISSHAPEN),
    "an object for a text": ("boats", _row(note={"a": 1}), MISSHAPEN),
    "half a character": ("boats", _row(note="\ud800"), MISSHAPEN),
    "no time": ("boats", _row(made_utc="yesterday"), MISSHAPEN),
    "a time before time": ("boats", _row(made_utc="0001-01-01T00:00:00+14:00"), MISSHAPEN),
    "an unknown column": ("boats", _row(evil="x"), MISSHAPEN),
    "a missing column": ("boats", lambda rows: rows[0].pop("note"), MISSHAPEN),
    "no key": ("boats", _row(id=None), MISSHAPEN),
    "an analysis that is none": ("analyses", _row(document=[1]), MISSHAPEN),
    "a log of another length": ("logs", _row(size_bytes=1), MISSHAPEN),
    "a log under another hash": ("logs", _row(sha256="0" * 64), "is missing or damaged"),
    "a log by a path": ("logs", _row(sha256="../../etc/passwd"), "is missing or damaged"),
    "a log under an object": ("logs", _row(sha256={"a": 1}), "is missing or damaged"),
    "a sheet that is its own parent": (
        "sheets",
        lambda rows: rows[0].update(parent_id=rows[0]["id"]),
        "parents that it lacks",
    ),
}


def _held(logbook: Logbook, file: Path, reason: str) -> None:
    before = everything(logbook)
    for replace in (False, True):
        with pytest.raises(LogbookError, match=reason if replace else f"{reason}|in it") as refusal:
            logbook.restore(file, replace=replace)
        assert "\n" not in str(refusal.value)
        assert "Traceback" not in str(refusal.value)
        assert len(str(refusal.value)) < 2500
    assert everything(logbook) == before


@pytest.mark.parametrize("what", CRAFTED)
def test_rows_that_this_program_never_wrote_are_refused(genuine: Path, fleet: Logbook, what: str) -> None:
    table, change, reason = CRAFTED[what]
    _held(fleet, crafted(genuine, table, change), reason)


LINES: dict[str, Callable[[bytes], bytes]] = {
    "no JSON": lambda data: data + b"{\n",
    "brackets within brackets": lambda data: b"[" * 200_000 + b"\n",
    "a list": lambda data: b"[]\n" + data,
    "a text": lambda data: b'"x"\n' + data,
    "no UTF-8": lambda data: data.replace(b"Kittiwake", b"\xff\xfe"),
    "an endless number": lambda data: data.replace(b'"length_m":0.8', b'"length_m":' + b"9" * 5000),
    "a line of 100 MB": lambda data: data.replace(b'"note":""', b'"note":"' + b"x" * 100_000_000 + b'"', 1),
}


@pytest.mark.parametrize("what", LINES)
def test_lines_that_this_program_never_wrote_are_refused(genuine: Path, fleet: Logbook, what: str) -> None:
    _held(fleet, rewritten(genuine, "boats", LINES[what]), f"{MISSHAPEN}|longer than any row")


def _manifest(genuine: Path, change: Callable[[dict[str, Any]], object]) -> Path:
    out = genuine.with_name("manifest.zip")
    with zipfile.ZipFile(genuine) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            if name != "logbook.json":
                new.writestr(name, old.read(name))
        manifest = json.loads(old.read("logbook.json"))
        change(manifest)
        new.writestr("logbook.json", json.dumps(manifest))
    return out


MANIFESTS: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "a future form": (lambda m: m.update(schema="reciprocal-backup/2"), "update the program"),
    "a future step": (lambda m: m.update(revision="0099"), "newer version"),
    "a step that is a path": (lambda m: m.update(revision="../../x"), "newer version"),
    "a step that is a list": (lambda m: m.update(revision=["0003"]), "newer version|no backup"),
    "a wrong hash": (lambda m: m["tables"]["boats"].update(sha256="0" * 64), "does not give its hash"),
    "a table left out": (lambda m: m["tables"].pop("corrections"), "it lacks the table corrections"),
    "a table too many": (lambda m: m["tables"].update(evil={"rows": 0, "sha256": "0"}), "missing or damaged"),
    "numbers past all": (lambda m: m.update(numbers={"outings": 2**70}), "no backup"),
    "a form that is a list": (lambda m: m.update(schema=[]), "no backup|update the program"),
    "tables that are a list": (lambda m: m.update(tables=[]), "no backup"),
}


@pytest.mark.parametrize("what", MANIFESTS)
def test_what_a_backup_says_of_itself_is_held_to(genuine: Path, fleet: Logbook, what: str) -> None:
    change, reason = MANIFESTS[what]
    _held(fleet, _manifest(genuine, change), reason)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_members_of_one_name_are_refused(genuine: Path, fleet: Logbook) -> None:
    with zipfile.ZipFile(genuine, "a") as archive:
        archive.writestr("tables/boats.jsonl", b"")
    _held(fleet, genuine, "two files of one name")


def test_members_that_lead_elsewhere_are_never_unpacked(
    genuine: Path, fleet: Logbook, tmp_path: Path
) -> None:
    with zipfile.ZipFile(genuine, "a") as archive:
        for name in ("../../escaped", "/etc/escaped", "C:\\escaped", "tables/../../escaped"):
            archive.writestr(name, b"x")
    before = {path for path in tmp_path.rglob("*") if "sqlite" not in path.name}
    fleet.restore(genuine, replace=True)
    assert {path for path in tmp_path.rglob("*") if "sqlite" not in path.name} == before
    assert not Path(os.sep, "etc", "escaped").exists()
