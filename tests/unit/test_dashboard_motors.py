"""What the ride and power views are given: the pass that swings, the motor log that is joined."""

from __future__ import annotations

from typing import Any

import pytest

from dashboard.features.run.motor_service import drawn_motor, ripple_of
from dashboard.features.run.power_view import power_told
from dashboard.features.run.ride_view import ride_list
from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse
from telemetry.motor.power import PowerOptions
from telemetry.readers import ReadOptions


@pytest.fixture(scope="module")
def upset() -> Analysis:
    files = [
        data_folder() / name for name in ("blow_over.nmea", "blow_over_motor.csv", "four_passes_motor.csv")
    ]
    return read_and_analyse(files, Request(power=PowerOptions(pitch_mm=66.0)), ReadOptions(pole_pairs=3))


def text_of(parts: Any) -> str:
    """All text of components, in order."""
    if parts is None:
        return ""
    if isinstance(parts, str):
        return parts
    if isinstance(parts, list | tuple):
        return " ".join(text_of(p) for p in parts)
    return text_of(getattr(parts, "children", None))


def test_the_pass_that_swings_is_drawn_first(upset: Analysis) -> None:
    view = ripple_of(upset, None)
    assert view is not None
    swings = {e.pass_id for e in upset.ride if e.kind == "porpoising" and e.verdict == "shown"}
    assert view.pass_id in swings
    assert view.pass_id != upset.passes[0].id


def test_the_chosen_pass_is_drawn(upset: Analysis) -> None:
    view = ripple_of(upset, "P2")
    assert view is not None
    assert view.pass_id == "P2"


def test_the_joined_motor_log_is_drawn_and_the_foreign_one_said(upset: Analysis) -> None:
    drawn = drawn_motor(upset)
    assert drawn is not None
    assert drawn[0].clock.trusted
    assert drawn[0].log.meta.file.endswith("blow_over_motor.csv")
    told = text_of(power_told(upset.motors))
    assert "Clock matched by rpm against speed" in told
    assert "No power figures" in told


def test_the_blow_over_is_told_with_its_word(upset: Analysis) -> None:
    told = text_of(ride_list(upset.ride, "mph"))
    assert "P3 blow-over" in told
    assert "shown" in told
    assert "Not seen" in told


def test_without_passes_or_motors_it_is_said() -> None:
    assert text_of(ride_list((), "mph")) == "No pass to check the ride of."
    assert text_of(power_told(())) == "No motor log given with a speed log."
