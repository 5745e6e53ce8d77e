"""The options on the power train, from the command line to the request and to what the report says."""

from __future__ import annotations

import json
from dataclasses import asdict

import pytest

from sample_logs import data_folder
from telemetry.cli import arguments, build_parser, main
from telemetry.cli.analysing_arguments import LIMITS
from telemetry.motor.power import LIMIT_NAMES, USUAL_LIMITS_SOURCE, YOURS, Limits, PowerOptions

LOGS = [str(data_folder() / name) for name in ("four_passes.gpx", "four_passes_motor.csv")]
KNOWN = ["--pole-pairs", "2", "--pitch-mm", "63", "--kv", "1600", "--cells", "6"]


def options_of(*argv: str) -> PowerOptions:
    args = build_parser().parse_args(["analyse", "a.gpx", *argv])
    return arguments.power_options(args, arguments.limits(args))


def printed(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    assert main(["analyse", *LOGS, *argv]) == 0
    return capsys.readouterr().out


def test_nothing_said_is_nothing_known_and_the_usual_limits() -> None:
    assert options_of() == PowerOptions()


def test_every_figure_reaches_its_field() -> None:
    figures = {
        "pitch_mm": ("--pitch-mm", 63.5),
        "diameter_mm": ("--diameter-mm", 45.2),
        "kv_rpm_per_v": ("--kv", 1610.0),
        "cells": ("--cells", 6),
        "motor_resistance_ohm": ("--motor-resistance-ohm", 0.0081),
        "no_load_current_a": ("--no-load-current-a", 4.1),
    }
    assert set(figures) | {"limits"} == set(asdict(PowerOptions()))
    argv = [str(x) for pair in figures.values() for x in pair]
    assert options_of(*argv) == PowerOptions(**{name: value for name, (_, value) in figures.items()})


@pytest.mark.parametrize("name", LIMIT_NAMES)
def test_every_limit_can_be_set_and_lifted(name: str) -> None:
    option = f"--limit-{name.replace('_', '-')}"
    assert options_of(option, "12.5").limits == Limits(**{name: 12.5}, own=(name,))
    assert options_of(option, "none").limits == Limits(**{name: None}, own=(name,))


def test_the_table_of_limits_is_that_of_the_library() -> None:
    assert tuple(LIMITS) == LIMIT_NAMES


@pytest.mark.parametrize("text", ["-1", "0", "nan", "hot", "None "])
def test_what_is_no_limit_is_named(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["analyse", "a.gpx", f"--limit-motor-temp-c={text}"])
    assert stop.value.code == 2
    assert f"'{text}' is not a valid limit; write a positive number, or none" in capsys.readouterr().err


def test_whose_limit_was_passed_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    ours = [x for x in printed(capsys, *KNOWN, "--limit-cell-v", "3.9").splitlines() if "limit 3.9 V" in x]
    assert ours
    assert all(YOURS in line for line in ours)
    assert ", limit " not in printed(capsys, *KNOWN, "--limit-cell-v", "none")


def test_the_usual_limits_are_called_common_practice(capsys: pytest.CaptureFixture[str]) -> None:
    # Eight cells said where there are six: each seems to fall below what is usual.
    text = printed(capsys, *KNOWN[:-1], "8")
    assert f"limit 3.2 V ({USUAL_LIMITS_SOURCE})" in text


def test_a_limit_that_was_typed_is_the_users_own_even_at_the_usual_value(
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = printed(capsys, *KNOWN[:-1], "8", "--limit-cell-v", "3.2")
    assert f"limit 3.2 V ({YOURS})" in text
    assert USUAL_LIMITS_SOURCE not in text


def test_limits_come_back_from_plain_types_as_they_were() -> None:
    limits = options_of("--limit-rpm", "40000", "--limit-cell-v", "3.2").limits
    again = Limits(**json.loads(json.dumps(asdict(limits))))
    assert again == limits
    assert hash(again) == hash(limits)


def test_temperatures_are_in_the_unit_asked_for(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "motor °C: start" in printed(capsys, *KNOWN)
    assert "motor °F: start" in printed(capsys, *KNOWN, "--temperature-unit", "F")
    monkeypatch.setenv("RECIPROCAL_TEMPERATURE_UNIT", "f")
    assert "motor °F: start" in printed(capsys, *KNOWN)
    assert "motor °C: start" in printed(capsys, *KNOWN, "--temperature-unit", "°C")
    with pytest.raises(SystemExit) as stop:
        main(["analyse", "a.gpx", "--temperature-unit", "K"])
    assert stop.value.code == 2
    assert "'K' is not a temperature unit; choose C or F" in capsys.readouterr().err


def test_the_demo_shows_slip_and_load_of_every_sample_outing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--no-serve"]) == 0
    tables = capsys.readouterr().out.split("Power train, from ")[1:]
    assert len(tables) == 3
    for table in tables:
        assert "/" not in table.splitlines()[0]  # the file's name, not where the samples lie
        rows = [line for line in table.split("\n\n")[0].splitlines() if line.startswith("  P")]
        assert len(rows) >= 3
        assert not any("cannot tell" in row for row in rows)
