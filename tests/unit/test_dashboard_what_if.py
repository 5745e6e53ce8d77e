"""What the page's what-if is given, and what it says in return."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import analysis_fixture
import pytest
from test_dashboard_motors import text_of

from dashboard.features.run.what_if_service import Supposed, supposed
from dashboard.features.run.what_if_view import what_if_told
from dashboard.ui.fields import WHAT_IF, Chosen
from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse
from telemetry.motor.power import PowerOptions
from telemetry.motor.what_if import PowerTrainChange
from telemetry.motor.what_if_start import start_pass, what_if_from
from telemetry.readers import ReadOptions

BOAT = json.loads((data_folder() / "four_passes_truth.json").read_text(encoding="utf-8"))["boat"]
NOTHING: dict[str, Any] = dict.fromkeys(WHAT_IF, "")


@pytest.fixture(scope="module")
def known() -> Analysis:
    sheet = PowerOptions(
        pitch_mm=BOAT["pitch_mm"],
        diameter_mm=BOAT["diameter_mm"],
        kv_rpm_per_v=BOAT["kv_rpm_per_v"],
        cells=BOAT["cells"],
    )
    files = [data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv")]
    return read_and_analyse(files, Request(power=sheet), ReadOptions(pole_pairs=BOAT["pole_pairs"]))


@pytest.mark.parametrize(
    ("wanted", "change"),
    [
        ({"diameter_mm": 48}, PowerTrainChange(diameter_mm=48.0)),
        ({"pitch_mm": "60.5", "cells": 5}, PowerTrainChange(pitch_mm=60.5, cells=5)),
        ({"kv_rpm_per_v": 1700}, PowerTrainChange(kv_rpm_per_v=1700.0)),
    ],
)
def test_the_fields_become_the_change_that_the_library_reckons(
    known: Analysis, wanted: dict[str, Any], change: PowerTrainChange
) -> None:
    got = supposed(known, "P3", NOTHING | wanted)
    start = start_pass(known.passes, known.motors, "P3")
    assert got == Supposed("P3", what_if_from(start, known.motors, known.request.power, change))
    assert got.answer is not None
    assert got.answer.refused == ""


def test_the_fields_are_in_the_units_chosen(known: Analysis) -> None:
    inches = supposed(known, "P1", NOTHING | {"diameter_mm": 2.0}, Chosen(length="in"))
    assert inches == supposed(known, "P1", NOTHING | {"diameter_mm": 50.8})
    assert inches is not None
    assert inches.answer is not None


def test_without_a_choice_it_starts_from_the_fastest_pass(known: Analysis) -> None:
    fastest = max(known.passes, key=lambda p: p.peak_mps).id
    for choice in (None, "P99"):
        got = supposed(known, choice, NOTHING)
        assert got == Supposed(fastest, None)
        assert what_if_told(got, "mph") == []


def test_the_answer_stands_beside_what_was_measured_with_its_assumptions(known: Analysis) -> None:
    got = supposed(known, "P1", NOTHING | {"diameter_mm": 48})
    assert got is not None
    assert got.answer is not None
    assert got.answer.rpm is not None
    text = text_of(what_if_told(got, "kn"))
    assert "Best second of P1 measured estimate" in text
    assert f"shaft rpm {got.answer.rpm.measured:.0f} {got.answer.rpm.value:.0f} ± " in text
    assert "speed [kn]" in text
    assert "heat of the pack [W]" in text
    assert text.count("Torque grows with") == 1


def test_a_refusal_is_said_and_shows_no_figure(known: Analysis) -> None:
    far = supposed(known, "P1", NOTHING | {"kv_rpm_per_v": 2 * BOAT["kv_rpm_per_v"]})
    bare = supposed(replace(known, motors=()), "P1", NOTHING | {"cells": 5})
    for got, why in (
        (far, "200 % of the measured are outside"),
        (bare, "pass has no power figures: no motor log"),
    ):
        text = text_of(what_if_told(got, "mph"))
        assert "cannot tell" in text
        assert why in text
        assert "rpm" not in text.replace("rpm/V", "")


def test_without_a_pass_there_is_nothing_to_start_from() -> None:
    empty = replace(analysis_fixture.analysis(), passes=())
    assert supposed(empty, None, NOTHING) is None
    assert text_of(what_if_told(None, "mph")) == "No pass to start from."
