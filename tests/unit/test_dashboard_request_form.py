from dataclasses import replace

import analysis_fixture as made
import pytest

from dashboard.features.run.request_form import (
    DISTANCES,
    RequestForm,
    gates_text,
    headline_of,
    request_of,
    rules_of,
)
from dashboard.session.sessions import Session
from telemetry.core.errors import CallError
from telemetry.core.geo import parse_gates
from telemetry.twoway.mean import Check
from telemetry.twoway.rules import parse_rule, shipped_text


def test_the_controls_as_they_open_ask_for_nothing_special() -> None:
    request = request_of(Session(), RequestForm())
    assert (request.rule, request.distance_m, request.gates, request.window_s) == ("water", None, None, None)


def test_distance_window_and_gates_are_passed_on_in_si() -> None:
    session = Session()
    assert request_of(session, RequestForm(distance="own", own_distance="1/8 mi")).distance_m == 201.168
    assert request_of(session, RequestForm(distance="100.584")).distance_m == 100.584
    assert request_of(session, RequestForm(distance="own", own_distance="")).distance_m is None
    assert request_of(session, RequestForm(window_min=30)).window_s == 1800
    given = request_of(session, RequestForm(distance="250.0", gates="47.4,8.2,47.4,8.2013"))
    assert (given.gates, given.distance_m) == (((47.4, 8.2), (47.4, 8.2013)), None)


@pytest.mark.parametrize(
    ("asked", "place"),
    [
        (RequestForm(distance="own", own_distance="far"), "distance"),
        (RequestForm(distance="own", own_distance="-5 m"), "distance"),
        (RequestForm(gates="47,8"), "gates"),
        (RequestForm(gates="91,8,47,8"), "gates"),
        (RequestForm(gates="47,8,47,8"), "gates"),
    ],
)
def test_what_cannot_be_used_names_its_control(asked: RequestForm, place: str) -> None:
    with pytest.raises(CallError) as refused:
        request_of(Session(), asked)
    assert refused.value.place == place


def test_every_distance_on_offer_can_be_asked_for() -> None:
    for value, _ in DISTANCES:
        request_of(Session(), RequestForm(distance=value))


def test_gates_are_written_as_they_are_read_to_a_centimetre() -> None:
    gates = ((38.49985971234, -36.25053631234), (-38.5, 179.9999999))
    read = parse_gates(gates_text(gates))
    for place, back in zip(gates, read, strict=True):
        assert back == pytest.approx(place, abs=1e-7)


def test_a_rule_of_the_users_own_is_asked_by_name() -> None:
    session = Session()
    rule = parse_rule(shipped_text("land").replace('"land"', '"ours"'), "ours.toml")
    session.add_rule(rule)
    assert request_of(session, RequestForm(rule="ours")).rule == rule
    assert [r.name for r in rules_of(session)] == ["water", "land", "sixteenth-mile", "ours"]


def test_the_headline_is_the_best_two_way_and_what_stands_against_it() -> None:
    headline = headline_of(made.analysis())
    assert headline.verdict == "counts"
    assert headline.two_way is not None
    assert headline.two_way.id == "T1"
    assert [p.id for p in headline.ways] == ["P1", "P2"]
    assert headline.sentence == "Mean of the two speeds over 330 ft (1/16 mile), both ways."
    assert headline.reasons == ()
    late = replace(
        made.two_way(),
        verdict="does not count",
        checks=(Check("time window", "not met", "4000 s of 3600 s"),),
    )
    assert headline_of(replace(made.analysis(), two_ways=(late,))).reasons == (
        "time window: not met. 4000 s of 3600 s",
    )


def test_without_a_two_way_the_headline_says_why_and_names_the_fastest_pass() -> None:
    headline = headline_of(made.analysis(pairs=False))
    assert (headline.verdict, headline.two_way) == ("cannot tell", None)
    assert headline.best_pass is not None
    assert headline.best_pass.id == "P1"
    assert headline.reasons == ("there is one pass only: a two-way needs two",)
