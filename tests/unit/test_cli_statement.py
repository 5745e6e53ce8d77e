"""The command ``statement``: what it writes where, and wrong calls that end in a sentence."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import analysis_fixture
import pytest

from sample_logs import data_folder
from telemetry.analysis import Analysis, Request
from telemetry.cli import commands, main
from telemetry.core.errors import NothingUsableError
from telemetry.logbook import Boat, Conditions, open_logbook
from telemetry.setup import Reading, SetupSheet, toml_text

SHEET = SetupSheet("Quorrel", {"strut_depth_mm": Reading(3.2)}, name="calm water")


@pytest.fixture
def whole(monkeypatch: pytest.MonkeyPatch) -> Analysis:
    """Put a made-up analysis in the place of the real one."""
    made = analysis_fixture.analysis()
    monkeypatch.setattr(commands, "read_and_analyse", lambda *_: made)
    monkeypatch.delenv("RECIPROCAL_UNIT", raising=False)
    return made


def test_without_a_file_it_is_printed(whole: Analysis, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["statement", "a.gpx", "--unit", "km/h"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Two-way statement, 2026-06-13\n")
    assert "\n106.20 ± 0.18 km/h  (29.500 ± 0.050 m/s)\nCOUNTS." in out
    assert err == ""


def test_a_page_or_a_text_is_written_with_sheet_and_conditions(whole: Analysis, tmp_path: Path) -> None:
    sheet = tmp_path / "calm.toml"
    sheet.write_text(toml_text(SHEET.to_dict()), encoding="utf-8")
    for name in ("made.html", "made.TXT"):
        told = ["--sheet", str(sheet), "--condition", "wind=2 m/s = a breath", "-o", str(tmp_path / name)]
        assert main(["statement", "a.gpx", *told]) == 0
        made = (tmp_path / name).read_text(encoding="utf-8")
        assert made.startswith("<!DOCTYPE html>") == name.endswith("html")
        assert all(word in made for word in ("65.99", "Quorrel", "3.2 mm", "2 m/s = a breath", "a" * 64))


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["a.gpx", "-o", "made.docx"], "a name that ends in .html, .txt, .pdf"),
        (["a.gpx", "-o", "made"], "a name that ends in .html, .txt, .pdf"),
        (["a.gpx", "--two-way", "T7"], "these logs have no two-way 'T7'. Fix: choose T1"),
        (["a.gpx", "--rule", "river"], "there is no rule 'river'"),
        ([], "name logs, or give --outing NUMBER"),
        (["a.gpx", "--outing", "1"], "name logs, or give --outing NUMBER"),
        (["a.gpx", "-o", "/proc/none/made.html"], "cannot be written"),
    ],
)
def test_a_wrong_call_ends_in_a_sentence(
    whole: Analysis, argv: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["statement", *argv]) == 2
    out, err = capsys.readouterr()
    assert said in err
    assert out == ""


def test_what_could_not_be_used_is_named_beside_the_statement_and_on_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    error = NothingUsableError("it holds no sample", file="b.gpx")
    monkeypatch.setattr(
        commands, "read_and_analyse", lambda *_: replace(analysis_fixture.analysis(), errors=(error,))
    )
    assert main(["statement", "a.gpx", "b.gpx"]) == 1
    out, err = capsys.readouterr()
    assert "Not used: b.gpx: it holds no sample." in out
    assert "b.gpx: it holds no sample." in err


@pytest.mark.parametrize(
    ("browser", "said"), [("", "printing a PDF needs Chromium"), ("./none", "cannot be started")]
)
def test_a_pdf_without_a_browser_points_to_the_page(
    whole: Analysis,
    browser: str,
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("RECIPROCAL_CHROMIUM", browser)
    assert main(["statement", "a.gpx", "-o", str(tmp_path / "made.pdf")]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert "write it as .html and print that from any browser" in err
    assert list(tmp_path.iterdir()) == []


def test_an_outing_of_the_logbook_brings_its_sheet_and_conditions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "logbook.sqlite"
    with open_logbook(str(book)) as logbook:
        logbook.import_outing(
            [data_folder() / "four_passes.gpx"],
            Boat("Quorrel"),
            SHEET,
            Conditions(place="Long Lake", wind_mps=2.0, wind_from_deg=270.0),
        )
    assert main(["statement", "--outing", "1", "--logbook", str(book), "--unit", "m/s"]) == 0
    out = capsys.readouterr().out
    for word in ("Quorrel", "3.2 mm", "Place: Long Lake", "Wind: 2.0 m/s from 270°", "rule “water”"):
        assert word in out
    land = ["--rule", "land", "--length", "in"]
    assert main(["statement", "--outing", "1", "--logbook", str(book), *land]) == 0
    out = capsys.readouterr().out
    assert "rule “land”" in out
    assert "0.126 in" in out


def test_of_an_outing_what_is_not_said_stays_as_it_was_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "logbook.sqlite"
    asked = Request(rule="land", distance_m=60.0, mark_mps=20.0)
    with open_logbook(str(book)) as logbook:
        logbook.import_outing([data_folder() / "four_passes.gpx"], Boat("Quorrel"), SHEET, request=asked)

    def told(*words: str) -> str:
        assert main(["statement", "--outing", "1", "--logbook", str(book), "--unit", "m/s", *words]) == 0
        return capsys.readouterr().out

    def distance(text: str) -> str:
        return next(line for line in text.splitlines() if "60.0" in line)

    usual = told()
    assert "rule “land”" in usual
    water = told("--rule", "water")  # the usual rule can be asked for as any other
    assert "rule “water”" in water
    assert distance(water) == distance(usual)
    marked = told("--mark", "25")
    assert "rule “land”" in marked
    assert distance(marked) == distance(usual)
    assert "25.000" in marked
    assert "20.000" not in marked
