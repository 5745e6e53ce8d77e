"""What the plain-text report says, on a made-up analysis whose numbers are chosen, not measured."""

from __future__ import annotations

from dataclasses import replace

import analysis_fixture
import pytest

from telemetry.analysis import Analysis, Request
from telemetry.core.errors import NothingUsableError
from telemetry.core.frames import Finding
from telemetry.text.run import ESTIMATE, analysis_text, rules_text
from telemetry.twoway.rules import shipped


def line_with(text: str, *words: str) -> str:
    """The one line that holds all the words."""
    lines = [line for line in text.splitlines() if all(word in line for word in words)]
    assert len(lines) == 1, f"{words} stand in {len(lines)} lines of:\n{text}"
    return lines[0]


def test_the_answer_comes_first_with_its_uncertainty_and_verdict() -> None:
    first, *_, again, _, _ = analysis_text(analysis_fixture.analysis(), "mph").splitlines()
    # 29.5 m/s and 0.05 m/s over 0.44704 m/s.
    assert first == 'Best two-way: 65.99 ± 0.11 mph over 330 ft (1/16 mile), P1 + P2, rule "water": counts'
    assert again == first  # where a terminal shows it


@pytest.mark.parametrize(
    ("unit", "average"),
    [
        ("mph", "65.99 ± 0.11 mph"),
        ("km/h", "106.20 ± 0.18 km/h"),
        ("kn", "57.34 ± 0.10 kn"),
        ("m/s", "29.500 ± 0.050 m/s"),
    ],
)
def test_speeds_are_in_the_readers_unit(unit: str, average: str) -> None:
    text = analysis_text(analysis_fixture.analysis(), unit)
    assert average in text.splitlines()[0]
    assert f"speeds in {unit}" in text


def test_a_pass_shows_time_heading_takeoff_peak_and_held_speed() -> None:
    text = analysis_text(analysis_fixture.analysis(), "m/s")
    row = line_with(text, "P1", "09:30:20.0")
    for cell in ("09:30:32.0", "090°", "4.0 s", "30.100 ± 0.120", "29.900 ± 0.100"):
        assert cell in row


def test_a_pass_without_a_takeoff_says_so() -> None:
    whole = analysis_fixture.analysis()
    passes = tuple(replace(p, takeoff=None) for p in whole.passes)
    assert "not seen" in line_with(analysis_text(replace(whole, passes=passes), "mph"), "P1", "09:30:20.0")


def test_a_pass_without_a_direction_says_so() -> None:
    whole = analysis_fixture.analysis()
    passes = tuple(replace(p, heading_deg=float("nan")) for p in whole.passes)
    text = analysis_text(replace(whole, passes=passes), "mph")
    assert "unknown" in line_with(text, "P1", "09:30:20.0")
    assert "nan" not in text


def test_what_was_not_measured_is_no_number() -> None:
    whole = analysis_fixture.analysis()
    passes = tuple(replace(p, held_1s_mps=float("nan"), held_1s_u95_mps=float("nan")) for p in whole.passes)
    text = analysis_text(replace(whole, passes=passes), "mph")
    assert "cannot tell" in line_with(text, "P1", "09:30:20.0")
    assert "nan" not in text


def test_a_distance_that_does_not_fit_a_pass_is_not_left_blank() -> None:
    whole = analysis_fixture.analysis()
    first, second = whole.passes
    text = analysis_text(replace(whole, passes=(first, replace(second, distances=()))), "mph")
    assert "too short" in text.split("Best average over a measured distance")[1]


def test_findings_stand_with_the_log_and_with_the_pass_that_they_touch() -> None:
    text = analysis_text(analysis_fixture.analysis(), "mph")
    finding = "false-spike ×2 at 25.0 to 25.1 s: a speed no hull could have, set aside"
    assert text.index("Found in speed.gpx:") < text.index(finding)
    assert f"P1 is affected by {finding}" in text
    assert "P2 is touched" not in text


def test_many_findings_of_a_kind_are_told_in_one_line() -> None:
    whole = analysis_fixture.analysis()
    (log,) = whole.speed_logs
    gaps = tuple(
        Finding("dropout", f"{n} samples are missing", n, 10.0 * n, 10.0 * n + 1) for n in range(1, 6)
    )
    text = analysis_text(
        replace(whole, speed_logs=(replace(log, cleaned=replace(log.cleaned, findings=gaps)),)), "mph"
    )
    assert "dropout ×15 in 5 places between 10.0 and 51.0 s, the first: 1 samples are missing" in text


def test_a_two_way_shows_both_ways_every_check_and_where_the_gates_are() -> None:
    text = analysis_text(analysis_fixture.analysis(), "m/s")
    assert "30.000 ± 0.060 m/s in 3.353 s" in line_with(text, "P1 heading 090°")
    assert "29.000 ± 0.070 m/s in 3.468 s" in line_with(text, "P2 heading 270°")
    assert "0.020 m/s is independent for each pass, 0.010 m/s is shared by both" in text
    assert "met" in line_with(text, "opposite directions: headings 90.0° and 270.0°")
    assert "met" in line_with(text, "within the time window: 43 s of 3600 s")
    assert "placed automatically" in line_with(text, "47.4000000,8.2000000")


def test_given_gates_are_called_given() -> None:
    whole = analysis_fixture.analysis()
    given = replace(whole, two_ways=(replace(whole.two_ways[0], gates_given=True),))
    assert "gates given:" in analysis_text(given, "mph")


def test_only_the_best_two_way_has_the_star() -> None:
    whole = analysis_fixture.analysis()
    two = replace(whole, two_ways=(whole.two_ways[0], analysis_fixture.two_way("T2", best=False)))
    table = analysis_text(two, "mph").split("Two-ways by the rule")[1].split("* the best by the rule")[0]
    assert "* " in line_with(table, "T1")
    assert "*" not in line_with(table, "T2")


def test_the_short_report_keeps_the_evidence_of_the_best_only() -> None:
    whole = analysis_fixture.analysis()
    two = replace(whole, two_ways=(whole.two_ways[0], analysis_fixture.two_way("T2", best=False)))
    short = analysis_text(two, "mph", every_check=False)
    assert "  T1: " in short
    assert "  T2: " not in short
    assert "  T2: " in analysis_text(two, "mph", every_check=True)


def test_logs_go_by_name_where_that_tells_them_apart() -> None:
    whole = analysis_fixture.analysis()
    apart = tuple(analysis_fixture.speed_log(file=f) for f in ("boat/first.gpx", "boat/second.gpx"))
    same = tuple(analysis_fixture.speed_log(file=f) for f in ("boat/log.gpx", "spare/log.gpx"))
    assert "boat/" not in analysis_text(replace(whole, speed_logs=apart), "mph")
    text = analysis_text(replace(whole, speed_logs=same), "mph")
    assert "boat/log.gpx" in text
    assert "spare/log.gpx" in text


def test_one_pass_alone_gives_its_peak_and_the_reason_for_no_two_way() -> None:
    text = analysis_text(analysis_fixture.analysis(pairs=False), "mph")
    assert text.startswith("No two-way. Highest peak: 67.33 ± 0.27 mph, P1")
    assert "Note: there is one pass only: a two-way needs two" in text


def test_a_log_without_a_day_is_told_in_its_own_seconds() -> None:
    text = analysis_text(analysis_fixture.undated(analysis_fixture.analysis()), "mph")
    row = line_with(text, "speed.gpx", "measured")
    assert "0.0 s" in row
    assert "119.9 s" in row


def test_nothing_read_is_said_in_one_line() -> None:
    error = NothingUsableError("it holds no sample", file="a.gpx")
    text = analysis_text(Analysis(Request(), (), (), (), (), (), (error,)), "mph")
    assert text.startswith("No log could be used.")


@pytest.mark.parametrize("pairs", [True, False])
def test_every_report_says_who_decides(pairs: bool) -> None:
    assert ESTIMATE in analysis_text(analysis_fixture.analysis(pairs=pairs), "mph")


def test_every_shipped_rule_is_listed_with_its_conditions_and_source() -> None:
    text = " ".join(rules_text(shipped()).split())
    for rule in shipped():
        assert f"{rule.name}: {rule.title}" in text
        assert f"mean {rule.mean}" in text
        assert rule.source in text
        assert rule.notes in text
    assert (
        "open: give your rule book's window with --window-min" in text
    )  # sixteenth-mile leaves its window open
