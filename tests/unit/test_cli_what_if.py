"""The command `what-if`, from the sample logs to the answer, its refusals and its wrong calls."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sample_logs import data_folder
from telemetry.analysis import Request, read_and_analyse
from telemetry.cli import main
from telemetry.core.units import SPEED_UNITS
from telemetry.motor.power import PowerOptions
from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, operating_point, what_if
from telemetry.readers import ReadOptions

SPEED, MOTOR = (str(data_folder() / name) for name in ("four_passes.gpx", "four_passes_motor.csv"))
BOAT = json.loads((data_folder() / "four_passes_truth.json").read_text(encoding="utf-8"))["boat"]
KNOWN = [
    *("--pole-pairs", f"{BOAT['pole_pairs']}", "--pitch-mm", f"{BOAT['pitch_mm']}"),
    *("--diameter-mm", f"{BOAT['diameter_mm']}", "--kv", f"{BOAT['kv_rpm_per_v']}"),
    *("--cells", f"{BOAT['cells']}", "--motor-resistance-ohm", f"{BOAT['motor_resistance_ohm']}"),
    *("--no-load-current-a", f"{BOAT['no_load_current_a']}"),
]
LARGER = ["--new-diameter-mm", "49.5", "--new-pitch-mm", "69.3"]


def answered(capsys: pytest.CaptureFixture[str], *argv: str) -> str:
    assert main(["what-if", *argv]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_it_prints_what_the_library_reckons(capsys: pytest.CaptureFixture[str]) -> None:
    options = PowerOptions(
        pitch_mm=BOAT["pitch_mm"],
        diameter_mm=BOAT["diameter_mm"],
        kv_rpm_per_v=BOAT["kv_rpm_per_v"],
        cells=BOAT["cells"],
        motor_resistance_ohm=BOAT["motor_resistance_ohm"],
        no_load_current_a=BOAT["no_load_current_a"],
    )
    logs = [Path(SPEED), Path(MOTOR)]
    analysis = read_and_analyse(logs, Request(power=options), ReadOptions(pole_pairs=BOAT["pole_pairs"]))
    (motor,) = analysis.motors
    told = motor.power.of("P2")
    assert told is not None
    point = operating_point(told, motor.power.pack, options)
    assert isinstance(point, OperatingPoint)
    expected = what_if(point, PowerTrainChange(diameter_mm=49.5, pitch_mm=69.3))

    document = json.loads(answered(capsys, SPEED, MOTOR, *KNOWN, *LARGER, "--pass", "P2", "--json"))
    assert document["schema"] == "reciprocal-what-if/1"
    assert document["pass_id"] == "P2"
    assert document["change"]["diameter_mm"] == 49.5
    assert {key: document[key] for key in expected.to_dict()} == expected.to_dict()


@pytest.mark.parametrize("unit", list(SPEED_UNITS))
def test_the_table_is_in_the_readers_unit_with_intervals(
    unit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads(answered(capsys, SPEED, MOTOR, *KNOWN, *LARGER, "--json"))
    text = answered(capsys, SPEED, MOTOR, *KNOWN, *LARGER, "--unit", unit)
    assert text.startswith(f"What if, from the best second of {document['pass_id']} ")
    figure, shown = document["speed_mps"], SPEED_UNITS[unit]
    was, value, u95 = (figure[k] / shown.factor_si for k in ("measured", "value", "u95"))
    (line,) = [line for line in text.splitlines() if f"speed [{unit}]" in line]
    digits = shown.decimals
    assert line.split("]")[1].split() == [
        f"{was:.{digits}f}",
        f"{value:.{digits}f}",
        "±",
        f"{u95:.{digits}f}",
    ]
    assert all(assumption in text for assumption in document["assumptions"])


def test_the_fastest_pass_that_the_motor_log_covers_is_the_start(capsys: pytest.CaptureFixture[str]) -> None:
    analysis = read_and_analyse([Path(SPEED)])
    fastest = max(analysis.passes, key=lambda p: p.peak_mps).id
    assert f"best second of {fastest} " in answered(capsys, SPEED, MOTOR, *KNOWN, *LARGER)


def test_a_motor_that_is_known_narrows_the_answer(capsys: pytest.CaptureFixture[str]) -> None:
    unsure = [x for x in KNOWN if x not in KNOWN[-4:]]
    known, guessed = (
        json.loads(answered(capsys, SPEED, MOTOR, *options, *LARGER, "--json")) for options in (KNOWN, unsure)
    )
    assert known["motor_heat_w"]["u95"] < 0.5 * guessed["motor_heat_w"]["u95"]


@pytest.mark.parametrize(
    ("argv", "why"),
    [
        ([SPEED, MOTOR, *KNOWN, "--new-diameter-mm", "90"], "a diameter of 200 % of the measured one"),
        ([SPEED, MOTOR, *KNOWN[:4], "--new-cells", "5"], "the propeller's diameter and pitch"),
        ([SPEED, *KNOWN, "--new-cells", "5"], "no motor log"),
        (
            [SPEED, MOTOR.replace("four_passes", "blow_over"), *KNOWN, "--new-cells", "5"],
            "csv is not matched",
        ),
    ],
)
def test_what_cannot_be_reckoned_says_why(
    argv: list[str], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = answered(capsys, *argv)
    assert "cannot tell: " in text
    assert why in text
    document = json.loads(answered(capsys, *argv, "--json"))
    assert why in document["refused"]
    assert document["rpm"] is None


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        ([SPEED, MOTOR, *KNOWN], "no change given. Fix: give one"),
        ([SPEED, MOTOR, *LARGER, "--pass", "P9"], "there is no pass 'P9' in these logs. Fix: choose P1, P2"),
    ],
)
def test_a_wrong_call_is_a_sentence(argv: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["what-if", *argv]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err


def test_logs_without_a_pass_are_no_start(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["what-if", MOTOR, *KNOWN, *LARGER]) == 1
    assert "there is no pass in these logs to start from" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("option", "says"),
    [
        (["--cells", "six"], "'six' is not a number of cells"),
        (["--new-cells", "0"], "'0' is not a number of cells"),
        (["--new-kv", "-1600"], "'-1600' is not a valid positive number"),
        (["--new-kv", "fast"], "'fast' is not a valid positive number"),
    ],
)
def test_a_figure_that_is_none_is_named(
    option: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["what-if", SPEED, *option])
    assert stop.value.code == 2
    assert says in capsys.readouterr().err
