"""Said once on the command line, known the next time; listed and forgotten by ``reciprocal maps``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from telemetry.cli import main

SPEED = "wann,vgps\n" + "".join(f"{i / 10},{min(i, 90) / 3 if i < 150 else 2:.2f}\n" for i in range(300))
MOTOR = "t_s,Voltage [V],eRPM\n" + "".join(f"{i / 10},22.2,{600 * min(i, 90)}\n" for i in range(300))


@pytest.fixture
def logs(tmp_path: Path) -> list[str]:
    (tmp_path / "speed.csv").write_text(SPEED, encoding="utf-8")
    (tmp_path / "motor.csv").write_text(MOTOR, encoding="utf-8")
    (tmp_path / "map.toml").write_text('"wann" = "elapsed:s"\n"vgps" = "speed_mps:m/s"\n', encoding="utf-8")
    return [str(tmp_path / "speed.csv"), str(tmp_path / "motor.csv")]


def codes(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, set[str]]:
    """Finding codes by kind of log."""
    assert main(["analyse", "--json", *argv]) == 0
    told = json.loads(capsys.readouterr().out)
    return {log["kind"]: {f["code"] for f in log["findings"]} for log in told["logs"]}


def test_said_once_known_the_next_time(
    logs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", *logs]) == 1
    assert "reciprocal headings speed.csv" in capsys.readouterr().err
    said = codes(capsys, *logs, "--headings", str(tmp_path / "map.toml"), "--pole-pairs", "3")
    assert not any("heading-map-kept" in found for found in said.values())
    known = codes(capsys, *logs)
    assert known.keys() == {"speed", "motor"}
    assert all("heading-map-kept" in found for found in known.values())
    assert "pole-pairs-unknown" not in known["motor"]


def test_what_is_kept_is_listed_and_forgotten(
    logs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["maps"]) == 0
    assert capsys.readouterr().out.startswith("No heading map is saved in ")
    codes(capsys, *logs, "--headings", str(tmp_path / "map.toml"), "--pole-pairs", "3")
    assert main(["maps"]) == 0
    listed = capsys.readouterr().out
    assert "wann as elapsed:s, vgps as speed_mps:m/s" in listed
    assert "pole pairs 3\n    for tables headed t_s, Voltage [V], eRPM" in listed
    name = next(line.split(",")[0].strip() for line in listed.splitlines() if "pole pairs 3" in line)
    assert main(["maps", "--forget", name]) == 0
    assert capsys.readouterr().out == "forgotten: pole pairs 3\n"
    assert "pole-pairs-unknown" in codes(capsys, *logs)["motor"]
    assert main(["maps", "--forget", name]) == 2
    assert "no map is kept" in capsys.readouterr().err
    assert main(["maps", "--forget", "all"]) == 0
    assert capsys.readouterr().out == "forgotten: wann as elapsed:s, vgps as speed_mps:m/s\n"
    assert main(["maps", "--forget", "all"]) == 0
    assert capsys.readouterr().out.startswith("No heading map is saved in ")


def test_a_damaged_map_is_named_on_stderr_and_the_logs_are_read_all_the_same(
    logs: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], home: Path
) -> None:
    codes(capsys, *logs, "--headings", str(tmp_path / "map.toml"), "--pole-pairs", "3")
    for file in (home / "heading_maps").iterdir():
        file.write_text("{", encoding="utf-8")
    assert main(["analyse", logs[1]]) == 0
    said = capsys.readouterr().err
    assert said.count("moved aside") == 2
    assert "Traceback" not in said


def test_electrical_rpm_alone_asks_for_the_pole_pairs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "turns.csv"
    log.write_text("t_s,eRPM\n0,60000\n0.1,60000\n", encoding="utf-8")
    assert main(["analyse", str(log)]) == 1
    assert "give the motor's pole pairs" in capsys.readouterr().err
    assert main(["analyse", str(log), "--pole-pairs", "2"]) == 0
    assert main(["analyse", str(log)]) == 0
