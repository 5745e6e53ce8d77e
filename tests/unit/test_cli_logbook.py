"""The commands of the logbook, from adding an outing to moving everything to another machine."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from logbooks import small_log

from sample_logs import data_folder
from telemetry.cli import main
from telemetry.logbook import open_logbook
from telemetry.setup import Reading, SetupSheet

SAMPLES = [str(data_folder() / name) for name in ("four_passes.gpx", "four_passes_motor.csv")]
ADD = ["add", *SAMPLES, "--boat", "Quorrel", "--sheet", "base", "--new"]


def run(capsys: pytest.CaptureFixture[str], *argv: str, status: int = 0) -> tuple[str, str]:
    assert main(list(argv)) == status
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return said.out, said.err


@pytest.fixture
def small(tmp_path: Path) -> str:
    file = tmp_path / "small.csv"
    file.write_bytes(small_log().data)
    return str(file)


def test_an_outing_is_added_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    out, _ = run(
        capsys, *ADD, "--pole-pairs", "2", "--place", "Long Lake", "--unit", "m/s", "--wind", "2.5",
        "--wind-from", "270", "--air", "68", "--temperature-unit", "F", "--pack", "blue 6s",
    )  # fmt: skip
    assert "Outing 1" in out
    assert "2.5 m/s from 270°" in out
    assert "68.0 °F" in out
    assert "Best two-way: 31.6" in out

    listed, _ = run(capsys, "outings", "long", "blue", "--unit", "m/s")
    assert "Quorrel" in listed
    assert "31.6" in listed
    assert "No outing found." in run(capsys, "outings", "--faster-than", "200")[0]
    assert "No outing found." in run(capsys, "outings", "--since", "2026-01-01")[0]
    assert "Quorrel" in run(capsys, "outings", "--until", "2026-01-01T12:00", "--boat", "quorrel")[0]
    assert "Quorrel" in run(capsys, "boats")[0]

    shown, _ = run(capsys, "show", "1", "--unit", "m/s")
    assert "Long Lake" in shown
    assert "Power train" in shown
    document = json.loads(run(capsys, "show", "1", "--json")[0])
    assert document["schema"] == "reciprocal-analysis/1"
    assert document["logs"][0]["file"] == "four_passes.gpx"


def test_logs_are_written_out_again_byte_for_byte(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    run(capsys, *ADD)
    out = tmp_path / "out"
    run(capsys, "show", "1", "--json", "--write", str(out))
    for sample in map(Path, SAMPLES):
        assert (out / sample.name).read_bytes() == sample.read_bytes()
    _, err = run(capsys, "show", "1", "--json", "--write", str(out), status=1)
    assert "cannot be written: File exists" in err


def test_the_same_logs_again_are_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str], small: str
) -> None:
    run(capsys, *ADD)
    _, err = run(capsys, *ADD, status=2)
    assert "four_passes.gpx: this log is in the logbook already, in outing 1 of 2025-06-14 17:40 UTC" in err
    _, err = run(capsys, "add", SAMPLES[0], small, "--boat", "Quorrel", "--sheet", "base", status=2)
    assert "small.csv to that outing, name it: --to 1" in err
    assert "1" in run(capsys, "boats")[0]


def test_a_log_found_later_joins_its_outing(capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "add", SAMPLES[0], "--boat", "Quorrel", "--sheet", "base", "--new")
    out, _ = run(capsys, "add", SAMPLES[1], "--to", "1")
    assert "four_passes_motor.csv" in out
    assert "Power train" in out


@pytest.mark.parametrize(
    "more",
    [
        ["--boat", "Quorrel"],
        ["--sheet", "other", "--new"],
        ["--date", "2025-06-14"],
        ["--note", "windy"],
        ["--rule", "land"],
        ["--mark", "60"],
    ],
)
def test_what_a_joining_log_cannot_change_is_refused(
    more: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "add", SAMPLES[0], "--boat", "Quorrel", "--sheet", "base", "--new")
    _, err = run(capsys, "add", SAMPLES[1], "--to", "1", *more, status=2)
    assert "reciprocal correct" in err
    assert "motor" not in run(capsys, "show", "1")[0].partition("\n\n")[0]


def test_of_a_refused_correction_nothing_is_kept(capsys: pytest.CaptureFixture[str], small: str) -> None:
    run(capsys, "add", small, "--boat", "B", "--sheet", "S", "--new")
    cut = ["--cut", f"{Path(small).name}:0..0.2:spray"]
    _, err = run(capsys, "correct", "1", *cut, "--sheet", "none such", status=2)
    assert "none such" in err
    assert "spray" not in run(capsys, "show", "1")[0]
    run(capsys, "correct", "1", *cut)
    _, err = run(capsys, "correct", "1", "--take-back", "1", "--sheet", "none such", status=2)
    assert "undone" not in run(capsys, "show", "1")[0]


def test_what_is_missing_or_unknown_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, small: str
) -> None:
    assert "no boat or no sheet" in run(capsys, "add", small, "--boat", "B", status=2)[1]
    assert "no boat 'B'" in run(capsys, "add", small, "--boat", "B", "--sheet", "S", status=2)[1]
    run(capsys, "boats", "--add", "B", "--kind", "mono", "--length-m", "0.7")
    assert "no sheet that is called" in run(capsys, "add", small, "--boat", "B", "--sheet", "S", status=2)[1]
    assert "is there already" in run(capsys, "boats", "--add", "b", status=2)[1]
    assert "no boat given" in run(capsys, "boats", "--kind", "mono", status=2)[1]
    for argv in (["--add", "X", "--rename", "Y"], ["--rename", "Y"], ["--rename", ""]):
        assert "--rename needs --edit" in run(capsys, "boats", *argv, status=2)[1]
    assert "taken or empty" in run(capsys, "boats", "--edit", "B", "--rename", "", status=2)[1]
    assert run(capsys, "boats")[0].count("mono") == 1
    poem = tmp_path / "poem.txt"
    poem.write_text("the wind\n")
    _, err = run(capsys, "add", str(poem), small, "--boat", "B", "--sheet", "S", "--new", status=1)
    assert "poem.txt" in err
    assert "No outing" not in run(capsys, "outings")[0]
    assert "no outing 7" in run(capsys, "show", "7", status=2)[1]
    assert "empty name" in run(capsys, "add", "", "--boat", "B", "--sheet", "S", status=1)[1]
    for argv in (["show", "0"], ["outings", "--since", "June"], ["outings", "--sort", "colour"]):
        with pytest.raises(SystemExit):
            main(argv)


def test_what_is_said_of_an_outing_can_be_corrected_and_an_outing_removed(
    capsys: pytest.CaptureFixture[str], small: str
) -> None:
    run(capsys, "add", small, "--boat", "B", "--sheet", "S", "--new", "--place", "Lnog", "--note", "hot")
    with open_logbook() as logbook:
        logbook.add_sheet(SetupSheet("B", {"cells": Reading(6.0)}, name="next"))
    out, _ = run(capsys, "correct", "1", "--place", "Long Lake", "--sheet", "next")
    assert "Long Lake" in out
    assert "hot" in out
    assert "next" in out
    assert "red" in run(capsys, "boats", "--edit", "B", "--note", "red")[0]
    run(capsys, "boats", "--edit", "B", "--limit", "motor_temp_c=80", "--limit", "esc_temp_c=none")
    with open_logbook() as logbook:
        limits = logbook.boat("B").limits
    assert (limits.motor_temp_c, limits.esc_temp_c) == (80.0, None)
    assert limits.own == ("esc_temp_c", "motor_temp_c")
    with pytest.raises(SystemExit):
        main(["boats", "--edit", "B", "--limit", "colour=3"])
    assert "outing 1 is removed" in run(capsys, "remove", "1")[0]
    assert "No outing found." in run(capsys, "outings")[0]
    assert "0 outings" in run(capsys, "refresh")[0]


def test_everything_moves_to_another_machine(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, small: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, "add", small, "--boat", "B", "--sheet", "S", "--new")
    before = run(capsys, "outings")[0]
    backup = str(tmp_path / "all.zip")
    assert "1 boat, 1 setup sheet, 1 outing, 1 log, as of" in run(capsys, "backup", backup)[0]
    assert "there already" in run(capsys, "backup", backup, status=2)[1]
    run(capsys, "backup", backup, "--overwrite")
    assert "1 boats and 1 outings in it" in run(capsys, "restore", backup, status=2)[1]
    run(capsys, "restore", backup, "--replace")

    monkeypatch.setenv("RECIPROCAL_LOGBOOK", str(tmp_path / "elsewhere.sqlite"))
    assert "No outing found." in run(capsys, "outings")[0]
    run(capsys, "restore", backup)
    assert run(capsys, "outings")[0] == before
    assert "outings.csv" in run(capsys, "export", str(tmp_path / "tables"))[0]
    third = str(tmp_path / "third.sqlite")
    run(capsys, "restore", backup, "--logbook", third)
    assert run(capsys, "outings", "--logbook", third)[0] == before
