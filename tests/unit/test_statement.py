"""What a two-way statement says, on a made-up analysis whose numbers are chosen, not measured."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import analysis_fixture
import pytest
from lxml import html as lxml_html

from telemetry import __version__
from telemetry.analysis import Analysis, Request
from telemetry.core.errors import CallError, LogError
from telemetry.core.frames import Finding
from telemetry.setup import BenchDisplay, Reading, SetupSheet
from telemetry.statement import Statement, build_statement, content_policy
from telemetry.statement.wording import closing
from telemetry.text.run import ESTIMATE
from telemetry.twoway.mean import Check
from telemetry.twoway.rules import load_rule, shipped

MADE = datetime(2026, 6, 14, 8, 0, tzinfo=UTC)
SHEET = SetupSheet("Quorrel", {"strut_depth_mm": Reading(3.175)}, name="calm water")


def stated(whole: Analysis | None = None, **more: object) -> Statement:
    return build_statement(whole or analysis_fixture.analysis(), made_utc=MADE, **more)  # type: ignore[arg-type]


def judged(verdict: str, *checks: Check, whole: Analysis | None = None) -> Analysis:
    whole = whole or analysis_fixture.analysis()
    two_way = replace(whole.two_ways[0], verdict=verdict, checks=checks, best=False)
    return replace(whole, two_ways=(two_way,))


def with_findings(*findings: Finding) -> Analysis:
    whole = analysis_fixture.analysis()
    (log,) = whole.speed_logs
    return replace(whole, speed_logs=(replace(log, cleaned=replace(log.cleaned, findings=findings)),))


def words(s: Statement) -> tuple[str, str]:
    """The text and what a reader sees of the page, each as one run of words."""
    page = lxml_html.document_fromstring(s.to_html())
    for hidden in page.xpath("//style|//head"):
        hidden.getparent().remove(hidden)
    seen = " ".join(" ".join(page.xpath("//text()")).split())
    return " ".join(s.to_text().split()), seen


FACTS = [
    "65.99 ± 0.11 mph",  # 29.5 and 0.05 m/s over 0.44704
    "29.500 ± 0.050 m/s",
    "65.989 mph",  # as the rule prints it
    "T1",
    "330 ft (1/16 mile)",
    "100.584 m",
    "0.020 m/s is independent for each pass, 0.010 m/s is shared by both",
    "Mean of the two speeds",
    "90°",
    "270°",
    "09:30:24.000",
    "09:30:27.353",
    "09:31:04.000",
    "09:31:07.468",
    "3.353 s",
    "3.468 s",
    "67.11 ± 0.13",  # 30.0 and 0.06 m/s
    "64.87 ± 0.16",
    "30.000 ± 0.060",
    "29.000 ± 0.070",
    "67.33 ± 0.27",  # the peak of P1
    "placed automatically",
    "47.4000000 8.2000000",
    "headings 90.0° and 270.0°: 0.0° from opposite",
    "43 s of 3600 s",
    "speed.gpx",
    "gpx, 1200 samples at 10 Hz",
    "a" * 64,
    "2026-06-13",
    f"Reciprocal {__version__}, made 2026-06-14 08:00 UTC",
    ESTIMATE,
    "not who recorded them",
]


@pytest.mark.parametrize("fact", FACTS)
def test_text_and_page_both_state_every_fact(fact: str) -> None:
    text, page = words(stated())
    assert fact in text
    assert fact in page


@pytest.mark.parametrize("rule", shipped(), ids=lambda rule: rule.name)
def test_a_rule_stands_with_its_source_its_note_and_that_it_ships(rule: object) -> None:
    whole = replace(analysis_fixture.analysis(), request=Request(rule=rule))  # type: ignore[arg-type]
    for told in words(stated(whole)):
        for part in (rule.title, rule.source, rule.notes, "built in"):  # type: ignore[attr-defined]
            assert " ".join(part.split()) in told


def test_a_users_own_rule_window_and_mark_are_called_theirs() -> None:
    own = replace(load_rule("water"), source="our club's book, 2026")
    request = Request(rule=own, window_s=1800.0, mark_mps=30.0)
    for told in words(stated(replace(analysis_fixture.analysis(), request=request))):
        assert "the user's own rule file" in told
        assert "our club's book, 2026" in told
        assert "30 min, stated by the user" in told
        assert "67.11 mph, stated by the user" in told


def test_what_counts_is_said_plainly() -> None:
    for told in words(stated()):
        assert "the logs show that every check is met" in told


def test_what_does_not_count_is_stated_as_plainly_with_the_reason() -> None:
    whole = judged("does not count", Check("time window", "not met", "4000 s; the rule allows 3600 s"))
    for told in words(stated(whole)):
        assert "It does not count by the rule “water”: 1 of 1 checks is not met." in told
        assert "time window: not met. 4000 s; the rule allows 3600 s" in told
        assert "65.99 ± 0.11 mph" in told


def test_what_cannot_be_told_is_stated_as_plainly_with_the_reason() -> None:
    whole = judged(
        "cannot tell", Check("opposite directions", "met", "fine"), Check("time window", "cannot tell", "why")
    )
    for told in words(stated(whole)):
        assert "The logs cannot tell whether it counts by the rule “water”" in told
        assert "1 of 2 cannot be answered" in told
        assert "time window: cannot tell. why" in told


def test_logs_without_a_two_way_get_a_statement_too() -> None:
    whole = analysis_fixture.analysis(pairs=False)
    made = stated(whole)
    assert made.verdict == "cannot tell"
    for told in words(made):
        assert "There is no two-way: the logs do not hold one" in told
        assert "there is one pass only: a two-way needs two" in told
        assert "a" * 64 in told
        assert ESTIMATE in told
        assert "nan" not in told


def test_another_two_way_is_chosen_by_its_id_and_an_unknown_one_is_named() -> None:
    whole = analysis_fixture.analysis()
    slower = replace(analysis_fixture.two_way("T2", best=False), average_mps=20.0)
    both = replace(whole, two_ways=(*whole.two_ways, slower))
    assert stated(both).two_way == both.two_ways[0]
    assert stated(both, two_way_id="T2").two_way == slower
    assert "T2, one of 2 in these logs" in stated(both, two_way_id="T2").to_text()
    with pytest.raises(CallError, match=r"no two-way 'T3'.*T1 to T2"):
        stated(both, two_way_id="T3")


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(CallError, match="not a speed unit"):
        stated(unit="furlongs")


def test_findings_inside_the_distance_are_told_and_those_outside_are_not() -> None:
    inside = Finding("false-spike", "a speed no hull could have", 2, 25.0, 25.1)
    outside = Finding("dropout", "samples are missing", 3, 5.0, 6.0)
    undated = Finding("no-checksum", "no sentence carries a checksum", 1)
    made = stated(with_findings(inside, outside, undated))
    for told in words(made):
        assert "P1: false-spike ×2 at 25.0 to 25.1 s: a speed no hull could have" in told
        assert "P2: nothing odd" in told
        assert "Whole log: no-checksum: no sentence carries a checksum" in told
        assert "dropout" not in told


def test_sheet_and_conditions_stand_as_the_users_word() -> None:
    made = stated(
        sheet=SHEET, conditions={"wind": "2 m/s from the west"}, showing=BenchDisplay(length="thou")
    )
    for told in words(made):
        assert "Boat: Quorrel" in told
        assert f"calm water (content {SHEET.sheet_id})" in told
        assert "Strut depth: 125 thou" in told
        assert "Wind: 2 m/s from the west" in told
        assert "the user's statement" in told
        assert "No setup sheet" not in told
    assert all("No setup sheet was given" in told for told in words(stated()))


def test_a_log_without_a_day_is_told_in_its_own_seconds() -> None:
    made = stated(analysis_fixture.undated(analysis_fixture.analysis()))
    assert made.file_stem == "two-way-T1"
    for told in words(made):
        assert "Enters, log's clock" in told
        assert "24.000 s" in told
        assert "The log does not state the day." in told


def test_given_gates_are_no_best_case() -> None:
    whole = analysis_fixture.analysis()
    given = replace(whole, two_ways=(replace(whole.two_ways[0], gates_given=True),))
    assert all("best case" in told for told in words(stated(whole)))
    for told in words(stated(given)):
        assert "given by the user" in told
        assert "best case" not in told


def test_only_the_logs_of_the_two_passes_are_listed() -> None:
    whole = analysis_fixture.analysis()
    other = analysis_fixture.speed_log(file="another.gpx")
    both = replace(whole, speed_logs=(*whole.speed_logs, other), errors=(LogError("empty", file="x.gpx"),))
    made = stated(both)
    assert [log.file for log in made.logs] == ["speed.gpx"]
    assert all("Not used: x.gpx: empty." in told for told in words(made))


def test_passes_of_two_logs_bring_both_logs_and_say_so() -> None:
    whole = analysis_fixture.analysis()
    first, second = whole.passes
    both = replace(
        whole,
        speed_logs=(*whole.speed_logs, analysis_fixture.speed_log(file="second.gpx")),
        passes=(first, replace(second, log=1)),
    )
    made = stated(both)
    assert [way.file for way in made.ways] == ["speed.gpx", "second.gpx"]
    assert [log.file for log in made.logs] == ["speed.gpx", "second.gpx"]
    assert made.ways[1].trace == stated(whole).ways[1].trace
    assert all("The two passes are in two logs" in told for told in words(made))


HOSTILE = "<script>alert(1)</script><img src=x onerror='alert(2)'>\"&\u202egpx.\x1b[2J\x00"


def test_hostile_names_and_notes_are_words_and_nothing_else() -> None:
    whole = with_findings(Finding("false-spike", HOSTILE, 1, 25.0, 25.1))
    (log,) = whole.speed_logs
    meta = replace(log.cleaned.track.meta, file=HOSTILE.replace("/", ""))
    track = replace(log.cleaned.track, meta=meta)
    hostile_rule = replace(load_rule("water"), name=HOSTILE, title=HOSTILE, source=HOSTILE, notes=HOSTILE)
    whole = replace(
        whole,
        speed_logs=(replace(log, cleaned=replace(log.cleaned, track=track)),),
        request=Request(rule=hostile_rule),
        errors=(LogError(HOSTILE, file=HOSTILE),),
        two_ways=judged("does not count", Check(HOSTILE, "not met", HOSTILE), whole=whole).two_ways,
    )
    made = stated(whole, sheet=SetupSheet(HOSTILE, name=HOSTILE, note=HOSTILE), conditions={HOSTILE: HOSTILE})
    page = lxml_html.document_fromstring(made.to_html())
    assert page.xpath("//script|//img|//iframe|//object|//form|//base") == []
    assert page.xpath("//@*[starts-with(name(), 'on')]") == []
    assert "<script>alert(1)" in page.text_content()
    for told in (made.to_html(), made.to_text()):
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", told)


def test_the_page_is_whole_in_itself() -> None:
    source = stated(sheet=SHEET).to_html()
    page = lxml_html.document_fromstring(source)
    assert set(page.xpath("//@href|//@src")) == {"data:,"}
    assert "http" not in source.replace("http-equiv", "")
    assert page.xpath("//@style") == []
    (style,) = page.xpath("//style/text()")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    (policy,) = page.xpath("//meta[@http-equiv]/@content")
    assert f"style-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")
    assert "script-src" not in policy
    assert policy == content_policy()


@pytest.mark.parametrize("pairs", [True, False])
def test_the_page_is_built_for_those_who_do_not_see_it(pairs: bool) -> None:
    page = lxml_html.document_fromstring(stated(analysis_fixture.analysis(pairs=pairs)).to_html())
    assert page.get("lang") == "en"
    assert page.xpath("string(//title)").startswith("Two-way statement")
    assert len(page.xpath("//h1")) == 1
    assert all(th.get("scope") in ("row", "col") for th in page.xpath("//th"))
    assert all(table.get("aria-label") for table in page.xpath("//table"))
    ids = page.xpath("//@id")
    assert len(ids) == len(set(ids))
    for svg in page.xpath("//svg"):
        named = svg.get("aria-labelledby").split()
        assert all(page.xpath(f"string(//*[@id='{name}'])") for name in named)
    assert len(page.xpath("//svg")) == (2 if pairs else 0)


def places(points: str) -> list[tuple[float, float]]:
    return [tuple(map(float, pair.split(","))) for pair in points.split()]  # type: ignore[misc]


def test_the_plan_lies_along_the_course_to_scale() -> None:
    plan = lxml_html.document_fromstring(stated().to_html()).xpath("//svg")[0]
    out, back = (places(line.get("points")) for line in plan.xpath(".//polyline"))
    # The fixture runs east 4 m to the north, then west 4 m to the south: level, north up, both within 100 m
    # and the run in and out.
    assert out[0][0] < out[-1][0]
    assert back[0][0] > back[-1][0]
    a, b = (float(gate.get("x1")) for gate in plan.xpath(".//line[@class='gate']"))
    metre = (b - a) / 100.584
    assert back[0][1] - out[0][1] == pytest.approx(8.0 * metre, abs=0.2)
    north = plan.xpath(".//line[@class='north']")[0]
    assert float(north.get("y2")) < float(north.get("y1"))
    assert north.get("x1") == north.get("x2")


def test_gates_laid_against_the_course_line_still_start_at_the_left() -> None:
    whole = analysis_fixture.analysis()
    line = replace(whole.two_ways[0].course, heading_deg=270.0)
    turned = replace(whole, two_ways=(replace(whole.two_ways[0], course=line),))
    assert stated(turned).course_deg == stated(whole).course_deg == 90.0
    for one, other in zip(stated(turned).ways, stated(whole).ways, strict=True):
        assert one.trace.along_m == pytest.approx(other.trace.along_m, abs=0.002)
        assert one.trace.across_m == pytest.approx(other.trace.across_m, abs=0.002)
        assert one.trace.speed_mps == pytest.approx(other.trace.speed_mps, abs=0.002)


def test_the_speed_plot_runs_over_the_same_axis_in_the_users_unit() -> None:
    page = lxml_html.document_fromstring(stated(unit="km/h").to_html())
    plan, speed = page.xpath("//svg")
    assert [g.get("x1") for g in plan.xpath(".//line[@class='gate']")] == [
        g.get("x1") for g in speed.xpath(".//line[@class='gate']")
    ]
    assert "[km/h]" in speed.text_content()
    assert "P1 averages 108.00 km/h between the gates" in speed.text_content()


def test_when_it_was_made_is_told_in_utc_whatever_its_zone() -> None:
    made = datetime(2026, 7, 1, 0, 30, tzinfo=timezone(timedelta(hours=2)))
    assert closing(build_statement(analysis_fixture.analysis(), made_utc=made)).endswith(
        "made 2026-06-30 22:30 UTC"
    )
