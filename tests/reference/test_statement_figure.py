"""A statement's figures against the output contract, the exact units and the file's own bytes.

Sources: the mile is 1609.344 m exactly (NIST SP 811, appendix B); SHA-256 as in FIPS 180-4 by Python's
hashlib; expanded uncertainty with coverage factor 1.96 for 95 % of a normal distribution (JCGM 100:2008,
table G.1) and independent and shared parts combined by the root of the sum of squares (5.1.2).
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse, rejudge
from telemetry.cli import main
from telemetry.statement import Statement, build_statement

REAL = Path(__file__).resolve().parents[3] / "shared" / "real_logs"
FOUR_PASSES, BLOW_OVER = (data_folder() / name for name in ("four_passes.gpx", "blow_over.nmea"))
FIGURE = re.compile(r"^([\d.]+) ± ([\d.]+) (?:mph|m/s)  \(([\d.]+) ± ([\d.]+) m/s\)$", re.MULTILINE)


@cache
def analysed(log: Path) -> Analysis:
    return read_and_analyse([log])


def stated(log: Path, rule: str, unit: str = "mph") -> list[Statement]:
    analysis = rejudge(analysed(log), Request(rule=rule))
    return [build_statement(analysis, t.id, unit=unit) for t in analysis.two_ways]


def figures(pattern: str | re.Pattern[str], text: str) -> list[float]:
    """The numbers that a pattern finds at its one place."""
    (found,) = re.finditer(pattern, text)
    return [float(number) for number in found.groups()]


@pytest.mark.parametrize(
    ("log", "rule"),
    [
        (FOUR_PASSES, "water"),
        (FOUR_PASSES, "land"),
        (FOUR_PASSES, "sixteenth-mile"),
        (BLOW_OVER, "water"),
    ],
)
def test_every_two_ways_statement_says_what_the_command_lines_contract_says(
    log: Path, rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", str(log), "--json", "--rule", rule]) == 0
    told = json.loads(capsys.readouterr().out)
    made = stated(log, rule)
    assert len(made) == len(told["two_ways"]) > 0
    for s, row in zip(made, told["two_ways"], strict=True):
        in_mph = [value * 3600.0 / 1609.344 for value in (row["average_mps"], row["u95_mps"])]
        expected = [*(f"{v:.2f}" for v in in_mph), f"{row['average_mps']:.3f}", f"{row['u95_mps']:.3f}"]
        text, page = s.to_text(), s.to_html()
        assert list(FIGURE.search(text).groups()) == expected  # type: ignore[union-attr]
        assert row["verdict"].upper() in text
        assert all(value in page for value in (*expected, row["printed"], told["logs"][0]["sha256"]))
        for check in row["checks"]:
            assert check["detail"] in " ".join(text.split())


@pytest.mark.parametrize("log", [FOUR_PASSES, BLOW_OVER], ids=lambda log: log.name)
def test_the_hash_is_that_of_the_files_bytes(log: Path) -> None:
    (facts,) = stated(log, "water")[0].logs
    assert facts.sha256 == hashlib.sha256(log.read_bytes()).hexdigest()


@pytest.mark.parametrize("rule", ["water", "land"])
def test_the_printed_numbers_make_the_printed_figure(rule: str) -> None:
    """Whoever holds the paper can reckon the figure again: from distance and times, by the rule's mean."""
    for s in stated(FOUR_PASSES, rule, unit="m/s"):
        text = " ".join(s.to_text().split())
        times = figures(r"Time ([\d.]+) s ([\d.]+) s ", text)
        (distance,) = figures(r"Distance: [^:]*, ([\d.]+) m ", text)
        average, u95, *_ = figures(FIGURE, s.to_text())
        mean = sum(distance / t for t in times) / 2.0 if rule == "water" else 2.0 * distance / sum(times)
        # Half a millisecond of each time, and half of the figure's last digit.
        assert average == pytest.approx(mean, abs=mean * 0.0005 / min(times) + 0.0005)
        parts = figures(
            r"uncertainty: ([\d.]+) m/s is independent for each pass, ([\d.]+) m/s is shared", text
        )
        assert u95 == pytest.approx(1.96 * math.hypot(*parts), abs=0.002)


def test_the_speed_that_is_drawn_makes_the_time_that_is_stated() -> None:
    """Between the gates the way is the speed summed up over time, whatever the drawing shows."""
    for s in stated(FOUR_PASSES, "water"):
        for way in s.ways:
            along, speed = np.array(way.trace.along_m), np.array(way.trace.speed_mps)
            order = np.argsort(along)
            fine = np.linspace(0.0, s.two_way.distance_m, 2001)  # type: ignore[union-attr]
            time_s = np.trapezoid(1.0 / np.interp(fine, along[order], speed[order]), fine)
            assert time_s == pytest.approx(way.time_s, rel=0.001)


@pytest.mark.skipif(not REAL.is_dir(), reason="the recorded logs are not beside this clone")
@pytest.mark.parametrize("suffix", ["gpx", "fit", "nmea"])
def test_recorded_logs_get_a_statement_whatever_they_hold(suffix: str) -> None:
    files = sorted((REAL / suffix).glob(f"*.{suffix}"), key=lambda f: f.stat().st_size)[:2]
    assert files
    for file in files:
        made = build_statement(read_and_analyse([file]))
        assert made.to_text().count("only officials of a sanctioning body decide a record") == 1
        assert all(log.sha256 == hashlib.sha256(file.read_bytes()).hexdigest() for log in made.logs)
        assert "nan" not in made.to_text()
        assert made.verdict in made.to_html()
