"""The commands of the bench, on files and on a logbook."""

import json
from pathlib import Path

import pytest
from bench_fixture import sheet

from telemetry.cli import main
from telemetry.logbook import Boat, open_logbook
from telemetry.setup import OwnItem, load_sheet, toml_text

PARTS = """
hull_length = 800
[[parts]]
name = "hull"
mass = 1.2
place = 330
[[parts]]
name = "pack"
mass = "1100 g"
place = 180
low = 150
high = 220
[[parts]]
name = "motor"
mass = 0.45
place = 330
[[parts]]
name = "controller"
mass = 0.25
place = 260
"""
SERVICE = """
[service.hinge-slop]
every_runs = 2
[done]
hinge-slop = 2025-06-01T00:00:00Z
[[outings]]
utc = 2025-06-10T08:00:00Z
[[outings]]
utc = 2025-06-11T08:00:00Z
hours = 0.2
"""


@pytest.fixture
def calm(tmp_path: Path) -> str:
    file = tmp_path / "calm.toml"
    file.write_text(toml_text(sheet().to_dict()), encoding="utf-8")
    return str(file)


@pytest.fixture
def logbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("RECIPROCAL_HOME", str(tmp_path))
    url = str(tmp_path / "lake.sqlite")
    with open_logbook(url) as book:
        book.add_boat("Kestrel")
    return url


def said(capsys: pytest.CaptureFixture[str], *args: str, status: int = 0) -> str:
    assert main(list(args)) == status
    told = capsys.readouterr()
    return told.out if status == 0 else told.err


def test_a_sheet_is_shown_edited_written_and_told_apart(capsys, calm: str, tmp_path: Path) -> None:
    assert "Strut depth" in said(capsys, "sheet", calm)
    rough = str(tmp_path / "rough.toml")
    said(
        capsys,
        "sheet",
        calm,
        "--set",
        "strut_depth_mm=3.5@caliper",
        "--set",
        "cells=",
        "--name",
        "rough",
        "--write",
        rough,
    )
    told = load_sheet(rough)
    assert (told.name, told.value("strut_depth_mm"), told.value("cells")) == ("rough", 3.5, None)
    assert told.parent == sheet().sheet_id
    differ = said(capsys, "sheet", rough, "--against", calm, "--length", "thou")
    assert "118.1 thou  137.8 thou" in differ
    assert "only on one sheet" in differ
    assert "Nothing differs" in said(capsys, "sheet", calm, "--against", calm)
    assert json.loads(said(capsys, "sheet", calm, "--json"))["sheet_id"] == sheet().sheet_id
    assert said(capsys, "sheet", calm, "--toml") == Path(calm).read_text(encoding="utf-8")


def test_the_items_are_listed_with_their_signs(capsys) -> None:
    told = said(capsys, "sheet", "--items", "--turn", "strut-angle")
    assert "tab_gap_right_outer_mm" in told
    assert "lower end" in told


def test_the_card_says_what_moved(capsys, calm: str, tmp_path: Path) -> None:
    card = tmp_path / "card.txt"
    told = said(
        capsys, "bench", calm, "--measured", "strut_depth_mm=6.0@0.05", "--note", "blow-over", "--crash",
        "--write", str(card),
    )  # fmt: skip
    assert "Raise the strut, by 3 mm" in told
    assert "After a crash" in told
    assert "blow-over" in told
    assert card.read_text(encoding="utf-8") == told
    assert "________" in said(capsys, "bench", calm)
    assert "live while a pack is connected" in said(capsys, "bench", "--crash")


def test_a_boat_as_found_comes_from_a_file_too(capsys, calm: str, tmp_path: Path) -> None:
    found = tmp_path / "found.toml"
    found.write_text('boat = "Kestrel"\n[readings]\nstrut_depth_mm = 6\n', encoding="utf-8")
    assert "1 moved" in said(capsys, "bench", calm, "--found", str(found))
    assert "1 as set" in said(capsys, "bench", calm, "--found", str(found), "--measured", "strut_depth_mm=3")
    found.write_text('boat = "Heron"\n[readings]\nstrut_depth_mm = 6\n', encoding="utf-8")
    assert "another boat" in said(capsys, "bench", calm, "--found", str(found), status=2)


def test_the_strut_from_two_heights(capsys) -> None:
    told = said(
        capsys,
        "strut",
        "--front",
        "20@0.1",
        "--rear",
        "21@0.1",
        "--span",
        "60",
        "--block",
        "24",
        "--overhang",
        "25",
    )
    assert "Strut angle 0.95" in told  # CHECKS.md, computed: 0.955
    assert "Depth at its rear 3.0" in told
    assert "cannot differ" in said(capsys, "strut", "--front", "1", "--rear", "90", "--span", "10", status=2)


def test_the_balance_of_parts(capsys, tmp_path: Path) -> None:
    file = tmp_path / "parts.toml"
    file.write_text(PARTS, encoding="utf-8")
    told = said(capsys, "balance", str(file), "--move", "pack=200", "--want", "269.1667")
    # CHECKS.md, computed: 269.17 mm, 33.65 %, and 276.5 mm with the pack 20 mm forward.
    assert "269.2 ± 0.3 mm" in told
    assert "33.65 ±" in told
    assert "276.5 ± 0.3 mm" in told
    assert "pack back by 20.0 mm, from 200.0 to 180.0 mm" in told
    assert "No move within the ranges" in said(capsys, "balance", str(file), "--want", "400")
    assert "Then:" in said(capsys, "balance", str(file), "--swap", "motor=385@331", "--mass", "g")
    wider = said(capsys, "balance", str(file), "--range", "hull=300:360", "--want", "10.7 in")
    assert "hull forward" in wider


def test_the_balance_of_a_sheet_needs_its_masses(capsys, calm: str) -> None:
    assert "no mass with its place" in said(capsys, "balance", calm, status=2)


def test_service_from_a_file(capsys, tmp_path: Path) -> None:
    file = tmp_path / "kestrel.toml"
    file.write_text(SERVICE, encoding="utf-8")
    rows = [line for line in said(capsys, "service", str(file)).splitlines() if "Hinge slop" in line]
    assert "due" in rows[0]
    assert "2 of 2 runs" in rows[0]
    assert "2025-06-01" in rows[0]


def test_sheets_founds_and_service_live_in_the_logbook(
    capsys, calm: str, logbook: str, tmp_path: Path
) -> None:
    of_boat = ("--boat", "Kestrel", "--logbook", logbook)
    assert "no setup sheet yet" in said(capsys, "sheet", *of_boat)
    assert "no setup sheet yet" in said(capsys, "bench", *of_boat, status=2)
    assert "kept: calm" in said(capsys, "sheet", calm, "--keep", "--logbook", logbook)
    said(capsys, "sheet", "calm", "--set", "strut_depth_mm=3.5", "--name", "rough", "--keep", *of_boat)
    listed = said(capsys, "sheet", *of_boat)
    assert listed.index("calm") < listed.index("rough")
    told = said(
        capsys, "bench", "calm", "--measured", "strut_depth_mm=3.0", "--back-to", "rough", "--keep", *of_boat
    )
    assert "Lower the strut, by 0.5 mm" in told
    with open_logbook(logbook) as book:
        assert [found.value("strut_depth_mm") for found in book.founds("Kestrel")] == [3.0]
    file = tmp_path / "own.toml"
    file.write_text("[service.fail-safe]\nevery_days = 7\n", encoding="utf-8")
    rows = said(capsys, "service", str(file), "--done", "fail-safe", *of_boat).splitlines()
    assert any("Fail-safe" in row and "not due" in row and "of 7 days" in row for row in rows)
    assert "no task" in said(capsys, "service", "--done", "sails", *of_boat, status=2)


def test_an_item_of_the_boat_alone_is_known_from_the_logbook(capsys, calm: str, logbook: str) -> None:
    wing = OwnItem(name="wing_height_mm", title="Wing height", unit="mm", at_bench=True)
    with open_logbook(logbook) as book:
        book.edit_boat("Kestrel", Boat("Kestrel", own_items=(wing,)))
    of_boat = ("--boat", "Kestrel", "--logbook", logbook)
    said(
        capsys, "sheet", calm, "--set", "wing_height_mm=40", "--name", "winged", "--keep", *of_boat, status=2
    )
    said(capsys, "sheet", calm, "--keep", "--logbook", logbook)
    said(capsys, "sheet", "calm", "--set", "wing_height_mm=40", "--name", "winged", "--keep", *of_boat)
    told = said(capsys, "bench", "winged", "--measured", "wing_height_mm=44", *of_boat)
    assert "Wing height: from 44 mm to 40 mm" in told
    assert "1 moved" in told
    file = Path(calm).with_name("found.toml")
    file.write_text('boat = "Kestrel"\nreadings.wing_height_mm = 44', encoding="utf-8")
    assert "1 moved" in said(capsys, "bench", "winged", "--found", str(file), *of_boat)


@pytest.mark.parametrize(
    ("args", "what"),
    [
        (("sheet",), "no sheet given"),
        (("sheet", "none.toml"), "cannot be read"),
        (("sheet", "CALM", "--set", "strut"), "ITEM=VALUE"),
        (("sheet", "CALM", "--set", "strut_dept=3"), "did you mean strut_depth_mm"),
        (("sheet", "CALM", "--set", "strut_depth_mm=3 kg"), "kg cannot be converted"),
        (("sheet", "CALM", "--write", "/nowhere/x.toml"), "cannot be written"),
        (("bench",), "no sheet given"),
        (("bench", "CALM", "--keep"), "no measurements to save"),
        (("balance",), "no parts given"),
        (("balance", "CALM", "--range", "pack=1"), "LOW:HIGH"),
        (("service",), "no boat given"),
        (("service", "CALM", "--done", "pack"), "needs the logbook"),
    ],
)
def test_a_wrong_call_is_one_sentence(capsys, calm: str, args: tuple[str, ...], what: str) -> None:
    told = said(capsys, *(calm if arg == "CALM" else arg for arg in args), status=2)
    assert what in told
    assert told.count("\n") == 1
    assert "Fix:" in told


def test_the_after_crash_list_alone_is_written_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "list.txt"
    told = said(capsys, "bench", "--crash", "--write", str(file))
    assert file.read_text(encoding="utf-8") == told
    assert "After a crash" in told


@pytest.mark.parametrize(
    "more", [["--measured", "strut_depth_mm=6"], ["--found", "f.toml"], ["--back-to", "a.toml"], ["--keep"]]
)
def test_what_is_of_a_sheet_is_not_passed_over_without_one(
    more: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["bench", "--crash", *more]) == 2
    assert "no sheet given" in capsys.readouterr().err


def test_a_sheet_that_cannot_be_written_leaves_the_file_as_it_was(
    calm: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "kept.toml"
    file.write_text("before")
    told = said(capsys, "sheet", calm, "--name", "l\udce9ger", "--write", str(file), status=2)
    assert "l\ufffdger" in told
    assert file.read_text() == "before"
