"""The commands compare, history and next, on a logbook of a simulated season."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from seasons import BOAT

from telemetry.cli import main
from telemetry.core.units import MPH_MPS
from telemetry.logbook import open_logbook


def told(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    assert main(argv) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def asked(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, Any]:
    return json.loads(told(capsys, *argv, "--json"))  # type: ignore[no-any-return]


def test_compare_tells_the_season_as_it_was_made(season_url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Simulated with the propeller's and the hull's physics: 3.0 mm drags more than 2.0 mm."""
    argv = ("compare", BOAT, "Strut 3.0 mm", "Strut 2.0 mm", "--logbook", season_url, "--care", "0,5 mph")
    text = told(capsys, *argv)
    assert "Two-way average: faster, +1." in text
    assert "Strut depth: 3 mm → 2 mm" in text
    assert "Adjusted for pack voltage at rest" in text
    table = asked(capsys, *argv)
    assert table["verdict"] == "faster"
    assert table["effects"][0]["care"] == pytest.approx(0.5 * MPH_MPS)
    assert [e["measure"] for e in table["effects"]][:3] == ["two_way_mps", "peak_mps", "held_1s_mps"]


def test_the_units_are_the_users(season_url: str, capsys: pytest.CaptureFixture[str]) -> None:
    argv = ("compare", BOAT, "Strut 3.0 mm", "Strut 2.0 mm", "--logbook", season_url)
    text = told(capsys, *argv, "--unit", "km/h", "--temperature-unit", "F")
    assert "km/h" in text
    assert "°F" in text
    assert "mph" not in text


def test_groups_of_outings_can_stand_for_sheets(season_url: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = told(
        capsys, "compare", BOAT, "--before-outings", "1,2", "--after-outings", "5", "--logbook", season_url
    )
    assert "Before: outings 1, 2 of Strut 3.0 mm" in text
    mixed = told(
        capsys, "compare", BOAT, "--before-outings", "1,3", "--after-outings", "5,6", "--logbook", season_url
    )
    assert "more than one sheet" in mixed


def test_history_and_next_follow_the_strut(season_url: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "history", BOAT, "--item", "strut_depth_mm", "--logbook", season_url)
    assert "Best sheet: Strut 2.0 mm" in text
    assert "changed: strut depth" in text
    assert len(asked(capsys, "history", BOAT, "--measure", "slip", "--logbook", season_url)["points"]) == 3
    # Made with the best depth at 1.8 mm: of 2.0 mm, no step of the bench gains what matters.
    advice = asked(capsys, "next", BOAT, "--logbook", season_url)
    assert (advice["verdict"], advice["trial"]) == ("leave it", None)
    text = told(capsys, "next", BOAT, "--ripple", "0.3 mph", "--logbook", season_url)
    assert text.startswith("Leave it at Strut 2.0 mm")


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("compare", BOAT), "a side is missing"),
        (("compare", BOAT, "Strut 3.0 mm", "no such"), "no such"),
        (("compare", BOAT, "Strut 3.0 mm", "Strut 3.0 mm"), "both sides"),
        (("compare", "Nobody", "a", "b"), "Nobody"),
        (("history", BOAT, "--item", "rudder_depth_mm"), "no sheet of this boat states"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(
    season_url: str, capsys: pytest.CaptureFixture[str], argv: tuple[str, ...], words: str
) -> None:
    assert main([*argv, "--logbook", season_url]) == 2
    err = capsys.readouterr().err
    assert words in err
    assert "Fix: " in err
    assert "Traceback" not in err


@pytest.mark.parametrize("argv", [("--care", "0"), ("--care", "fast"), ("--before-outings", "a")])
def test_a_wrong_option_is_a_wrong_call(argv: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["compare", BOAT, "a", "b", *argv])
    assert stop.value.code == 2


def test_an_empty_boat_has_too_little(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    url = str(tmp_path / "new.sqlite")
    with open_logbook(url) as book:
        book.add_boat("Dunlin")
    assert "Too little to advise" in told(capsys, "next", "Dunlin", "--logbook", url)
    assert "No outing of this boat" in told(capsys, "history", "Dunlin", "--logbook", url)
