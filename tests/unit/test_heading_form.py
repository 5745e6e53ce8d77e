"""The heading map that is written ready to edit, and the errors that name it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from telemetry.cli import main
from telemetry.core.errors import ColumnMapNeededError
from telemetry.readers import ReadOptions, heading_form, read_bytes

TABLE = (
    b'wann,V GPS,U batt,Speed,note "x",wann\n'
    b"2025-06-01T10:00:00Z,10,22.2,36,calm,1\n2025-06-01T10:00:01Z,11,22.1,38,,2\n"
)


def test_every_heading_is_there_with_its_first_values_and_a_guess() -> None:
    text = heading_form(TABLE, "lake.csv", ReadOptions())
    said = tomllib.loads(text)
    assert said == {"V GPS": "ignore", "U batt": "ignore", "Speed": "speed_mps", 'note "x"': "ignore"}
    assert "# first values: 10, 11; not recognised" in text
    assert "no unit stated: write speed_mps:km/h" in text
    assert '# "wann" = "clock"  # read by its cells' in text
    assert "reciprocal analyse lake.csv --headings lake.headings.toml" in text


def test_the_file_as_written_and_edited_reads_the_log() -> None:
    said = tomllib.loads(heading_form(TABLE, "lake.csv", ReadOptions()))
    said |= {"V GPS": "speed_mps:km/h", "Speed": "ignore", "U batt": "voltage_v"}
    track, motor = read_bytes(TABLE, "lake.csv", ReadOptions(headings=said))
    assert track.frame.speed_mps.tolist() == pytest.approx([10 / 3.6, 11 / 3.6])
    assert motor.frame.voltage_v.tolist() == [22.2, 22.1]


def test_what_was_said_before_stands_in_the_form() -> None:
    text = heading_form(TABLE, "lake.csv", ReadOptions(headings={"U batt": "voltage_v"}))
    assert tomllib.loads(text)["U batt"] == "voltage_v"


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("wann,V Boot\n1,2\n2,3\n", '"V Boot" = "speed_mps:km/h"'),
        ("wert,stamp of it,lat,lon\n1,2,46,8\n2,3,46,8\n", '"stamp of it" = "clock"'),
        ("time_s,Tempo GPS,Speed\n1,2,5\n2,3,6\n", '"Speed" = "speed_mps:km/h"'),
    ],
)
def test_errors_name_the_command_and_a_line_to_copy(table: str, line: str) -> None:
    with pytest.raises(ColumnMapNeededError) as caught:
        read_bytes(table.encode(), "some folder/my lake.csv")
    assert "`reciprocal headings 'my lake.csv'`" in str(caught.value)
    assert "--headings 'my lake.headings.toml'" in str(caught.value)
    assert line in str(caught.value)


def test_the_command_writes_and_never_overwrites(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("lake.csv").write_bytes(TABLE)
    assert main(["headings", "lake.csv"]) == 0
    assert "reciprocal analyse lake.csv --headings lake.headings.toml" in capsys.readouterr().out
    assert tomllib.loads(Path("lake.headings.toml").read_text(encoding="utf-8"))["Speed"] == "speed_mps"
    assert main(["headings", "lake.csv"]) == 2
    assert "it exists already. Fix: name another with --output." in capsys.readouterr().err
    assert main(["headings", "lake.csv", "--output", "-"]) == 0
    assert '"V GPS" = "ignore"' in capsys.readouterr().out


@pytest.mark.parametrize("name", ["nowhere.csv", "folder"])
def test_a_path_that_leads_to_no_file_is_named(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "folder").mkdir()
    assert main(["headings", str(tmp_path / name)]) == 1
    assert name in capsys.readouterr().err
