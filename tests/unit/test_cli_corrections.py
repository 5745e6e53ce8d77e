"""Corrections by hand on the command line: of logs, and of an outing in the logbook."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from made_tracks import made_track

from sample_logs import data_folder
from sample_logs.writers import to_csv
from telemetry.cleaning.corrections import parse_moment_s
from telemetry.cli import main
from telemetry.core.errors import CallError


@pytest.fixture
def logs(tmp_path: Path) -> list[str]:
    names = ("four_passes.gpx", "four_passes_motor.csv")
    return [str(shutil.copy(data_folder() / name, tmp_path / name)) for name in names]


def analysed(capsys: pytest.CaptureFixture[str], *call: object) -> dict[str, object]:
    status = main(["analyse", *map(str, call), "--pole-pairs", "3", "--json"])
    said = capsys.readouterr()
    assert (status, said.err) == (0, "")
    document: dict[str, object] = json.loads(said.out)
    return document


def test_cut_restore_and_clock_are_taken_and_told(
    logs: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    cut = f"{logs[0]}:62..72:the wake: of a ferry"
    told = analysed(capsys, *logs, "--cut", cut, "--clock", "four_passes_motor.csv:-22.4+-0.1:by eye")
    assert told["by_hand"]["cuts"][0]["why"] == "the wake: of a ferry"  # type: ignore[index]
    assert told["clock"]["method"] == "by hand"  # type: ignore[index]
    assert (told["clock"]["offset_s"], told["clock"]["u95_s"]) == (-22.4, 0.1)  # type: ignore[index]
    plain = analysed(capsys, *logs)
    assert len(told["passes"]) == len(plain["passes"]) - 1  # type: ignore[arg-type]


def test_utc_and_seconds_mean_the_same_moment(logs: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    plain = analysed(capsys, *logs)
    start = plain["logs"][0]["start_utc"]  # type: ignore[index]
    by_seconds = analysed(capsys, *logs, "--cut", "four_passes.gpx:10..20.5")
    (one,) = by_seconds["by_hand"]["cuts"]  # type: ignore[index]
    for start_utc, end_utc in (
        (one["start_utc"], one["end_utc"]),
        (one["start_utc"][11:], one["end_utc"][11:23]),
    ):
        told = analysed(capsys, *logs, "--cut", f"four_passes.gpx:{start_utc}..{end_utc}")
        assert told == by_seconds
    assert start is not None


def test_a_statement_names_what_was_cut(logs: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["statement", logs[0], "--cut", f"{logs[0]}:2..6:launching"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Corrected by hand in these logs" in said
    assert "cut by hand, 2.00 to 6.00 s: launching" in said


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--cut", "nowhere.gpx:1..2", "it is not one of these speed logs. Fix: name one of four_passes.gpx"),
        ("--cut", "four_passes_motor.csv:1..2", "it is not one of these speed logs"),
        ("--clock", "four_passes.gpx:1", "it is not one of these motor logs"),
        ("--cut", "four_passes.gpx:9..3", "a stretch from 9 s to 3 s"),
        ("--cut", "four_passes.gpx:25:61:00..25:62:00", "is not a time"),
        ("--clock", "four_passes_motor.csv:-22+-0", "a clock interval of 0 s"),
    ],
)
def test_what_cannot_be_corrected_is_one_clear_sentence(
    logs: list[str], capsys: pytest.CaptureFixture[str], option: str, value: str, said: str
) -> None:
    assert main(["analyse", *logs, "--pole-pairs", "3", option, value]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert told.out == ""


@pytest.mark.parametrize("value", ["lake.gpx", "lake.gpx:1", "lake.gpx:1-2", ":1..2", "lake.gpx:one..two"])
def test_what_is_no_stretch_is_a_wrong_call(value: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["analyse", "lake.gpx", "--cut", value])
    assert ended.value.code == 2
    assert "is not a stretch of a log; write FILE:START..END[:WHY]" in capsys.readouterr().err


def test_an_outing_is_corrected_listed_and_corrected_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "lake.csv").write_bytes(to_csv(made_track()))
    book = ["--logbook", str(tmp_path / "lake.sqlite")]

    def call(*words: str) -> str:
        status = main([*words, *book])
        said = capsys.readouterr()
        assert (status, said.err) == (0, "")
        return said.out

    call("add", str(tmp_path / "lake.csv"), "--boat", "Kittiwake", "--sheet", "first", "--new")
    before = call("show", "1", "--json")
    told = call("correct", "1", "--cut", "lake.csv:12..13:spray", "--by", "Ada")
    assert "Corrected by hand" in told
    shown = call("show", "1")
    for words in ("cut out from 12.00 to 13.00 s", "spray", "Ada", "nothing corrected by hand"):
        assert words in shown
    assert call("show", "1", "--json") != before
    assert "spray" in call("statement", "--outing", "1")
    told = call("correct", "1", "--take-back", "1", "--by", "Bo", "--why", "it was true")
    assert "undone" in told
    assert "by Bo: it was true" in told
    assert call("show", "1", "--json") == before
    assert main(["correct", "1", "--take-back", "1", *book]) == 2
    assert "no correction 1 of outing 1 holds" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "at_s"),
    [
        ("12.5", 12.5),
        ("-3", -3.0),
        ("09:30:07.25", 7.25),
        ("9:31", 60.0),
        ("2026-06-13T09:30:10Z", 10.0),
        ("2026-06-13 09:29:50", -10.0),
        ("00:00:00 UTC", 14.5 * 3600.0),  # the first midnight after a start at 09:30
    ],
)
def test_moments_are_read_on_the_logs_clock(text: str, at_s: float) -> None:
    assert parse_moment_s(text, made_track()) == pytest.approx(at_s)


def test_a_log_without_a_day_takes_seconds_alone() -> None:
    track = made_track(start_utc=None)
    assert parse_moment_s("4", track) == 4.0
    with pytest.raises(CallError, match="does not say which day"):
        parse_moment_s("09:30:00", track)
