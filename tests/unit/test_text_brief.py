"""The bank view: the answer in at most ten lines."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sample_logs import data_folder
from telemetry import Analysis, Request, read_and_analyse, rejudge
from telemetry.cli import main
from telemetry.text.brief import brief_text
from telemetry.text.run import analysis_text


@pytest.fixture(scope="module")
def four_passes() -> Analysis:
    return read_and_analyse([data_folder() / "four_passes.gpx", data_folder() / "four_passes_motor.csv"])


@pytest.fixture(scope="module")
def blow_over() -> Analysis:
    return read_and_analyse([data_folder() / "blow_over.nmea", data_folder() / "blow_over_motor.csv"])


def line(text: str, begin: str) -> str:
    (found,) = (row for row in text.splitlines() if row.startswith(begin))
    return found


def test_it_has_at_most_ten_lines_with_the_answer_first(four_passes: Analysis, blow_over: Analysis) -> None:
    for analysis in (four_passes, blow_over):
        lines = brief_text(analysis, "mph").splitlines()
        assert len(lines) <= 10
        assert lines[0].startswith("Top speed: ")
        assert lines[1].startswith("Best two-way: ")
        assert max(map(len, lines)) <= 160


def test_every_speed_is_in_the_unit_asked_for(four_passes: Analysis) -> None:
    assert "m/s" not in brief_text(four_passes, "mph")
    assert "mph" not in brief_text(four_passes, "km/h")


def test_a_two_way_that_fails_its_rule_is_still_the_answer_with_the_reason(four_passes: Analysis) -> None:
    late = rejudge(four_passes, replace(four_passes.request, window_s=20.0))
    best = four_passes.leading_two_way
    assert best is not None
    assert late.leading_two_way is not None
    figure = f"{late.leading_two_way.average_mps / 0.44704:.2f}"
    for text in (brief_text(late, "mph"), analysis_text(late, "mph").splitlines()[0]):
        told = line(text, "Best two-way: ")
        assert figure in told
        assert "does not count (time window: " in told
        assert "the rule allows 20 s" in told


def test_what_was_seen_of_the_ride_is_named_with_its_pass(blow_over: Analysis, four_passes: Analysis) -> None:
    assert "blow-over in P3" in line(brief_text(blow_over, "mph"), "Ride: ")
    assert "bench --crash" in line(brief_text(blow_over, "mph"), "Before the next pass")
    assert line(brief_text(four_passes, "mph"), "Ride: ") == "Ride: nothing seen that should not be there"
    assert "Before the next pass" not in brief_text(four_passes, "mph")


def test_the_power_train_is_summed_over_the_passes(four_passes: Analysis) -> None:
    passes = four_passes.motors[0].power.passes
    text = brief_text(four_passes, "mph", temperature_unit="°F")
    lowest = min(passes, key=lambda p: p.lowest_voltage_v)
    hottest = max(p.motor_heat.highest_after_c for p in passes)
    assert f"{lowest.lowest_voltage_v:.1f} V in {lowest.pass_id}" in line(text, "Lowest pack voltage: ")
    assert f"motor {hottest * 1.8 + 32:.0f} °F" in line(text, "Hottest part: ")
    assert line(text, "Charge used").endswith(f"{sum(p.charge_mah for p in passes):.0f} mAh")


def test_the_lowest_cell_is_told_where_the_cells_are_known(four_passes: Analysis) -> None:
    power = replace(four_passes.request.power, cells=6)
    known = rejudge(four_passes, Request(power=power))
    lowest = min(p.lowest_voltage_v for p in known.motors[0].power.passes) / 6
    assert f"{lowest:.2f} V" in line(brief_text(known, "mph"), "Lowest cell: ")


def test_without_a_speed_there_is_a_reason(tmp_path: Path) -> None:
    motor = read_and_analyse([data_folder() / "four_passes_motor.csv"])
    assert "cannot tell (no speed log was given)" in line(brief_text(motor, "mph"), "Top speed: ")
    nothing = read_and_analyse([tmp_path / "absent.gpx"])
    assert "cannot tell (no log could be used)" in line(brief_text(nothing, "mph"), "Top speed: ")


def test_the_command_takes_brief_or_details_but_not_both(capsys: pytest.CaptureFixture[str]) -> None:
    log = str(data_folder() / "four_passes.gpx")
    lengths = {}
    for option in ("--brief", "--details", "--unit=mph"):
        assert main(["analyse", log, option]) == 0
        lengths[option] = len(capsys.readouterr().out.splitlines())
    assert lengths["--brief"] <= 10 < lengths["--unit=mph"] < 60 < lengths["--details"]
    with pytest.raises(SystemExit):
        main(["analyse", log, "--brief", "--details"])
