"""The reader's units and limits: what stands in a field means the same whatever it is shown in."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import dash
import pytest
from dash_client import DashClient
from test_dashboard_app import text_of

from dashboard.app import Config, create_app
from dashboard.features.run.request_form import RequestForm, asked_of, begun_with, request_of
from dashboard.session.intake import put_in
from dashboard.session.job_list import jobs_list, shape_of
from dashboard.session.jobs import JobView
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import NO_ROOM, Sessions, new_token
from dashboard.session.tab_session import Session
from dashboard.ui.fields import FACTS, LIMITS, Chosen, limits_of, reworded
from telemetry.analysis import Request
from telemetry.motor.power import Limits, PowerOptions
from telemetry.twoway.rules import parse_rule, shipped_text

US = Chosen("mph", "in", "°F", "oz")
JUDGED = {"rule": "water", "distance": "rule", "own-distance": None, "gates": None}


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


def asked(units: Chosen, **typed: Any) -> RequestForm:
    facts = {name: typed.get(name, "") for name in FACTS}
    limits = {name: typed.get(name, "") for name in LIMITS}
    return asked_of(JUDGED, None, facts, limits, units)


def test_what_is_typed_means_what_the_units_say() -> None:
    told = asked(US, pitch_mm=2.5, cells="6", motor_temp_c=185, current_a="120", esc_temp_c="")
    power = request_of(Session(), told).power
    assert (power.pitch_mm, power.cells) == (63.5, 6)
    assert power.limits == Limits(motor_temp_c=85.0, current_a=120.0, own=("current_a", "motor_temp_c"))
    assert power.limits.esc_temp_c == Limits().esc_temp_c  # the usual one


def test_nothing_typed_leaves_what_is_usual() -> None:
    assert request_of(Session(), asked(Chosen())).power == PowerOptions()
    assert limits_of({}) == Limits()


@pytest.mark.parametrize("name", [*FACTS, *LIMITS])
def test_a_changed_unit_changes_the_words_and_not_the_value(name: str) -> None:
    field = {**FACTS, **LIMITS}[name]
    there = reworded(field, 61.7, Chosen(), US)
    assert (there != 61.7) == bool(field.kind)
    assert reworded(field, there, US, Chosen()) == pytest.approx(61.7, abs=1e-6)
    assert reworded(field, "", Chosen(), US) == ""
    assert ("[in]" in field.label(US)) == (field.kind == "length")


def test_the_usual_limit_is_said_in_the_unit_chosen() -> None:
    assert LIMITS["motor_temp_c"].hint(US) == "194 is usual"
    assert LIMITS["current_a"].hint(US) == ""


@pytest.mark.parametrize(
    "request_",
    [
        Request(),
        Request(rule="land", distance_m=100.584, window_s=1800.0),
        Request(distance_m=76.2),
        Request(gates=((47.4, 8.2), (47.4, 8.2013))),
        Request(
            power=PowerOptions(
                pitch_mm=63.5,
                diameter_mm=48.0,
                kv_rpm_per_v=1900.0,
                cells=6,
                motor_resistance_ohm=0.0125,
                no_load_current_a=2.5,
                limits=Limits(current_a=9.0, own=("current_a",)),
            )
        ),
    ],
)
def test_a_request_stands_in_the_controls_and_comes_back(request_: Request) -> None:
    session = Session()
    begun = RequestForm(**begun_with(session, request_))  # type: ignore[arg-type]
    assert request_of(session, begun) == request_


def test_a_rule_of_the_users_own_comes_along() -> None:
    rule = parse_rule(shipped_text("water").replace('"water"', '"ours"'), "ours.toml")
    session = Session()
    begun = RequestForm(**begun_with(session, Request(rule=rule)))  # type: ignore[arg-type]
    assert (begun.rule, session.rules) == ("ours", {"ours": rule})
    assert request_of(session, begun).rule == rule


def view(state: Any, kind: Any = "reading", name: str = "lake.gpx", said: str = "") -> JobView:
    return JobView("k", kind, name, state, 0.42, said)


def test_each_job_says_how_it_stands() -> None:
    def told(job: JobView, *, keeping: bool = False) -> str:
        return text_of([part.to_plotly_json() for part in plain(jobs_list((job,), "water", keeping=keeping))])

    assert "Waiting" in told(view("waiting"))
    assert "Reading" in told(view("under way"))
    assert "nothing was saved" in told(view("cancelled"))
    assert "no such thing" in told(view("failed", said="no such thing"))
    assert told(view("waiting", "analysing", "")) == ""  # it follows what is read
    assert "Analysing the logs" in told(view("under way", "analysing", ""))
    assert "Analyse them" in told(view("cancelled", "analysing", ""))
    assert told(view("under way", "keeping", "Quorrel")) == ""
    assert "Saving in the logbook" in told(view("under way", "keeping", "Quorrel"), keeping=True)
    assert shape_of((view("waiting"),)) != shape_of((view("under way"),))
    assert shape_of((), 1) != shape_of(())  # kept before the page asked how far it was


def plain(parts: list[Any]) -> list[Any]:
    """Serialise components all the way down."""

    def down(part: Any) -> Any:
        if hasattr(part, "to_plotly_json"):
            told = part.to_plotly_json()
            told["props"] = {name: down(value) for name, value in told["props"].items()}
            part.to_plotly_json = lambda: told
            return told
        return [down(one) for one in part] if isinstance(part, list) else part

    for part in parts:
        down(part)
    return parts


def test_the_page_tells_a_reader_that_his_logs_are_gone() -> None:
    sessions = Sessions(limit=1, workers=0)
    client, token = DashClient(create_app(Config(sessions))), new_token()
    put_in(sessions.open(token), sample_uploads())
    put_in(sessions.open(new_token()), sample_uploads())  # another reader's, who takes the room
    values = {"session.data": token, "revision.data": 1}
    told = client.call("list_files", values, "revision.data")
    assert told["files"]["children"] == []
    assert client.beside["notice"]["children"] == NO_ROOM
    # Whatever he presses on a page that still shows them, he is told.
    started = {name: getattr(RequestForm(), name) for name in RequestForm.__slots__}
    client.call(
        "show_answer", {"asked.data": started, "unit.value": "kn", "session.data": token}, "unit.value"
    )
    assert client.beside["notice"]["children"] == NO_ROOM
