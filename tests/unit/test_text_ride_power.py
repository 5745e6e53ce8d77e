"""The text on ride and power says what was seen, once, and why the rest cannot be told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sample_logs.simulator import MONO, BlowOver, Porpoising, RideScript, simulate_outing
from telemetry.analysis import Analysis, Request, analyse
from telemetry.cli import main
from telemetry.motor.power import Limits, PowerOptions
from telemetry.text.ride_power import power_text, ride_text


@pytest.fixture(scope="module")
def known() -> Analysis:
    outing = simulate_outing(3, boat=MONO)
    options = PowerOptions(
        pitch_mm=MONO.pitch_mm,
        kv_rpm_per_v=MONO.kv_rpm_per_v,
        cells=MONO.cells,
        limits=Limits(motor_temp_c=1.0),
    )
    return analyse([outing.track, outing.motor], Request(power=options))


def test_a_clean_ride_is_told_in_one_line(known: Analysis) -> None:
    lines = ride_text(known.ride, "mph").splitlines()
    assert len(known.ride) > 10
    assert lines[0] == "How it rode"
    assert lines[1].startswith("  not seen: porpoising at take-off (P1 P2 P3 P4)")
    assert len(lines) == 2


def test_what_cannot_be_told_says_why_once() -> None:
    outing = simulate_outing(3, rate_hz=1.0)
    text = ride_text(analyse([outing.track]).ride, "mph")
    (line,) = [line for line in text.splitlines() if line.startswith("  cannot tell: porpoising")]
    assert "P1 P2 P3 P4" in line
    assert "samples a second" in line or "Hz" in line


def test_a_blow_over_is_told_with_its_evidence() -> None:
    outing = simulate_outing(
        8, passes=1, ride=RideScript(porpoising=(Porpoising(growth_per_s=0.5),), blow_over=BlowOver())
    )
    text = ride_text(analyse([outing.track]).ride, "km/h")
    assert "P1 blow-over at speed" in text
    assert ", shown" in text
    assert "m/s²" in text


def test_the_power_table_has_a_row_for_every_pass(known: Analysis) -> None:
    text = power_text(known.motors)
    rows = [line.split() for line in text.splitlines() if line[:4] in ("  P1", "  P2", "  P3", "  P4")]
    table = [r for r in rows if not r[0].endswith(":")]
    assert [r[0] for r in table] == ["P1", "P2", "P3", "P4"]
    told = known.motors[0].power.passes[0]
    assert told.slip is not None
    assert f"{100 * told.slip:.1f}" in table[0]
    assert "clock matched by rpm against speed" in text


def test_a_limit_that_is_passed_is_named_with_its_source(known: Analysis) -> None:
    assert known.motors[0].power.passes[0].exceeded
    assert "limit 1 °C" in power_text(known.motors)


def test_temperatures_are_told_in_the_unit_chosen_and_nothing_else_changes(known: Analysis) -> None:
    heat = known.motors[0].power.passes[0].motor_heat
    assert heat is not None
    celsius, fahrenheit = (power_text(known.motors, unit) for unit in ("°C", "°F"))
    for text, unit, values in (
        (celsius, "°C", (heat.start_c, heat.end_c, heat.highest_after_c)),
        (fahrenheit, "°F", [c * 1.8 + 32 for c in (heat.start_c, heat.end_c, heat.highest_after_c)]),
    ):
        assert f"motor {unit}: start, end, after" in text
        (row,) = (line for line in text.splitlines() if line.startswith("  P1 "))
        assert " ".join(f"{v:.0f}" for v in values) in row
    assert "limit 33.8 °F" in fahrenheit
    assert "°C" not in fahrenheit
    assert celsius.splitlines()[:3] == fahrenheit.splitlines()[:3]


def test_a_log_of_another_outing_is_refused_in_words() -> None:
    here, elsewhere = simulate_outing(3), simulate_outing(44)
    analysis = analyse([here.track, elsewhere.motor])
    assert not analysis.motors[0].clock.trusted
    assert "No power figures: the motor log could not be matched to the speed log" in power_text(
        analysis.motors
    )


def test_without_a_pitch_slip_cannot_be_told(known: Analysis) -> None:
    bare = analyse(
        [known.speed_logs[0].cleaned.track, known.motor_logs[0]], replace(known.request, power=PowerOptions())
    )
    (line,) = [x for x in power_text(bare.motors).splitlines() if x.startswith("  P1 ") and "rpm" not in x]
    assert "cannot tell" in line


def test_the_options_reach_the_report(capsys: pytest.CaptureFixture[str], repository) -> None:  # type: ignore[no-untyped-def]
    data = repository / "sample_logs" / "data"
    logs = [str(data / "four_passes.gpx"), str(data / "four_passes_motor.csv")]
    options = [
        "--pole-pairs",
        "2",
        "--pitch-mm",
        "63",
        "--kv",
        "1600",
        "--cells",
        "6",
        "--limit-current-a",
        "50",
    ]
    assert main(["analyse", *logs, *options]) == 0
    printed = capsys.readouterr().out
    assert "mohm a cell" in printed
    assert "limit 50 A" in printed


def test_a_pitch_that_is_no_number_is_a_wrong_call(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["analyse", "x.gpx", "--pitch-mm", "round"])
    assert stop.value.code == 2
    assert "--pitch-mm" in capsys.readouterr().err
