import base64
import json
from collections.abc import Iterator

import dash
import pytest
from dash import dcc
from dash_client import DashClient

from dashboard.app import Config, create_app
from dashboard.features.guide import layout as guide
from dashboard.features.run.request_form import RequestForm
from dashboard.security import LARGEST_REQUEST_BYTES
from dashboard.session.sessions import Sessions, new_token
from sample_logs import data_folder
from telemetry.analysis import Request, read_and_analyse
from telemetry.core.units import speed_text
from telemetry.text.guide import TOPICS, topic_text

ASKED = {name: getattr(RequestForm(), name) for name in RequestForm.__slots__}


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    """Dash keeps its pages in one global registry."""
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


@pytest.fixture
def sessions() -> Sessions:
    return Sessions(workers=0)


@pytest.fixture
def client(sessions: Sessions) -> DashClient:
    return DashClient(create_app(Config(sessions)))


@pytest.fixture
def token() -> str:
    return new_token()


def dropped(name: str) -> dict[str, str]:
    data = (data_folder() / name).read_bytes()
    return {"name": name, "contents": "data:;base64," + base64.b64encode(data).decode()}


def drop(client: DashClient, token: str, *names: str) -> None:
    files = [dropped(name) for name in names]
    client.call("receive", {"dropped.data": files, "session.data": token}, "dropped.data")


def text_of(component: object) -> str:
    """All the text in a serialised component, in order."""
    if isinstance(component, str | int | float) and not isinstance(component, bool):
        return str(component)
    if isinstance(component, list):
        return "".join(text_of(part) for part in component)
    if isinstance(component, dict):
        return text_of(component.get("props", {}).get("children"))
    return ""


def test_dropped_logs_are_listed_and_answered_as_the_library_answers(client: DashClient, token: str) -> None:
    drop(client, token, "four_passes.gpx", "four_passes_motor.csv")
    files = client.call("list_files", {"session.data": token, "revision.data": 2}, "revision.data")
    assert files["after-the-water"]["className"] == "page"
    assert "four_passes.gpx" in text_of(files["files"]["children"])
    shown = client.call(
        "show_answer", {"asked.data": ASKED, "unit.value": "mph", "session.data": token}, "asked.data"
    )
    best = read_and_analyse([data_folder() / "four_passes.gpx"], Request()).two_ways[0]
    assert speed_text(best.average_mps, "mph", best.u95_mps) in text_of(shown["answer"]["children"])
    opened = client.call("open_best", {"asked.data": ASKED, "session.data": token}, "asked.data")
    assert opened["two-ways"]["value"] == "T1"
    assert opened["two-ways-page"] == {"value": 1, "total": 1}
    drawn = client.call(
        "draw", {"asked.data": ASKED, "unit.value": "mph", "session.data": token}, "asked.data"
    )
    assert drawn["speed-time"]["figure"]["data"]
    assert drawn["plan"]["figure"]["data"]


def test_another_tab_sees_nothing_of_it(client: DashClient, token: str) -> None:
    drop(client, token, "four_passes.gpx")
    other = client.call("list_files", {"session.data": new_token(), "revision.data": 1}, "revision.data")
    assert other["after-the-water"]["className"] == "page empty"
    assert other["files"]["children"] == []


def test_only_the_open_two_way_is_written_out(client: DashClient, token: str) -> None:
    drop(client, token, "four_passes.gpx")
    values = {
        "asked.data": ASKED,
        "unit.value": "km/h",
        "session.data": token,
        "two-ways.value": "T3",
        "two-ways-page.value": 1,
    }
    items = client.call("list_two_ways", values, "two-ways.value")["two-ways"]["children"]
    assert [item["props"]["value"] for item in items] == ["T1", "T2", "T3", "T4"]
    assert ["Gates A and B" in text_of(item) for item in items] == [False, False, True, False]
    assert "An estimate. Only officials of a sanctioning body decide a record." in text_of(items[2])
    assert "km/h" in text_of(items[0])
    assert (
        client.call("list_two_ways", {**values, "two-ways-page.value": 2}, "two-ways-page.value")["two-ways"][
            "children"
        ]
        == []
    )


def test_the_unit_changes_the_words(client: DashClient, token: str) -> None:
    drop(client, token, "four_passes.gpx")
    values = {"asked.data": ASKED, "unit.value": "km/h", "session.data": token}
    shown = client.call("show_answer", values, "unit.value")
    assert "km/h" in text_of(shown["answer"]["children"])
    passes = client.call("list_passes", values, "unit.value")
    assert "km/h" in text_of(passes["passes"]["children"])
    assert "mph" not in text_of(passes["passes"]["children"])


def test_a_wrong_distance_or_gate_is_said_at_its_field_and_changes_nothing(
    client: DashClient, token: str
) -> None:
    drop(client, token, "four_passes.gpx")
    base = {"session.data": token, "rule.value": "water", "distance.value": "own"}
    wrong = client.call("ask", {**base, "own-distance.value": "far"}, "own-distance.value")
    assert "not a distance" in wrong["own-distance"]["error"]
    assert "asked" not in wrong
    wrong = client.call("ask", {**base, "distance.value": "rule", "gates.value": "1,2"}, "gates.value")
    assert "four numbers" in wrong["gates"]["error"]
    right = client.call("ask", {**base, "own-distance.value": "330 ft"}, "own-distance.value")
    assert right["asked"]["data"]["own_distance"] == "330 ft"


def test_a_rule_of_the_users_own_is_added_and_a_wrong_one_explained(client: DashClient, token: str) -> None:
    text = 'name = "ours"\ntitle = "Ours"\nmean = "of times"\nsource = "our book"\n'

    def add(toml: str):
        contents = "data:;base64," + base64.b64encode(toml.encode()).decode()
        values = {"own-rule.contents": contents, "own-rule.filename": "ours.toml", "session.data": token}
        return client.call("add_rule", values, "own-rule.contents")

    added = add(text)
    assert added["rule"]["value"] == "ours"
    refused = add(text.replace("of times", "of dreams"))
    assert "ours.toml" in refused["rule-error"]["children"]
    assert "rule" not in refused


def test_taking_the_gates_fixes_them(client: DashClient, token: str) -> None:
    drop(client, token, "four_passes.gpx")
    button = {"type": "take-gates", "two_way": "T1"}
    pressed = json.dumps(button, separators=(",", ":"), sort_keys=True)
    pattern = '{"two_way":["ALL"],"type":"take-gates"}.n_clicks'
    values = {
        pattern: [{"id": button, "property": "n_clicks", "value": 1}],
        "asked.data": ASKED,
        "session.data": token,
    }
    taken = client.call("take_gates", values, f"{pressed}.n_clicks")
    gates = taken["gates"]["value"]
    fixed = client.call(
        "ask", {"session.data": token, "rule.value": "water", "gates.value": gates}, "gates.value"
    )
    assert fixed["asked"]["data"]["gates"] == gates


def test_a_file_that_is_no_log_stands_in_the_list_with_its_error(client: DashClient, token: str) -> None:
    bad = [{"name": "holiday.jpg", "contents": "data:;base64,/9j/4AAQ"}, {"name": "x", "contents": "rubbish"}]
    client.call("receive", {"dropped.data": bad, "session.data": token}, "dropped.data")
    files = client.call("list_files", {"session.data": token, "revision.data": 2}, "revision.data")
    said = text_of(files["files"]["children"])
    assert "holiday.jpg" in said
    assert files["after-the-water"]["className"] == "page empty"


def test_a_file_can_be_removed(client: DashClient, token: str, sessions: Sessions) -> None:
    drop(client, token, "four_passes.gpx")
    key = next(iter(sessions.peek(token).uploads))
    button = {"type": "remove", "key": key}
    pattern = '{"key":["ALL"],"type":"remove"}.n_clicks'
    changed = json.dumps(button, separators=(",", ":"), sort_keys=True) + ".n_clicks"
    values = {pattern: [{"id": button, "property": "n_clicks", "value": 1}], "session.data": token}
    client.call("remove", values, changed)
    assert not sessions.peek(token).uploads


def test_samples_open_with_the_page_when_asked_for() -> None:
    sessions = Sessions()
    client = DashClient(create_app(Config(sessions, samples=True)))
    client.http.get("/_dash-layout", base_url="http://127.0.0.1:8050")
    assert len(sessions) >= 1


def test_every_answer_carries_the_security_headers(client: DashClient) -> None:
    answer = client.http.get("/", base_url="http://127.0.0.1:8050")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "'unsafe-inline'" not in policy.partition("style-src")[0]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    page = answer.get_data(as_text=True)
    assert '<html lang="en">' in page
    assert "http://" not in page.replace("http://127.0.0.1", "")
    assert "https://" not in page


def test_foreign_names_and_foreign_sites_are_refused(client: DashClient) -> None:
    assert client.http.get("/", base_url="http://elsewhere.example:8050").status_code == 403
    for name in ("127.0.0.1", "localhost:9", "[::1]:9"):
        assert client.http.get("/", base_url=f"http://{name}").status_code == 200
    forged = client.http.post(
        "/_dash-update-component",
        json={},
        base_url="http://127.0.0.1:8050",
        headers={"Sec-Fetch-Site": "cross-site"},
    )
    assert forged.status_code == 403


def test_a_request_larger_than_any_drop_is_turned_away() -> None:
    app = create_app()
    assert app.server.config["MAX_CONTENT_LENGTH"] == LARGEST_REQUEST_BYTES
    app.server.config["MAX_CONTENT_LENGTH"] = 100
    answer = app.server.test_client().post(
        "/_dash-update-component", json={"inputs": "x" * 200}, base_url="http://127.0.0.1:8050"
    )
    assert answer.status_code == 413
    assert "MB at once" in answer.get_data(as_text=True)


def test_a_failing_callback_tells_one_sentence_and_no_traceback(
    client: DashClient, token: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(Sessions, "open", lambda *_: 1 / 0)
    body = client.call(
        "receive", {"dropped.data": [dropped("four_passes.gpx")], "session.data": token}, "dropped.data"
    )
    assert "ZeroDivisionError" in caplog.text
    assert "ZeroDivision" not in json.dumps(body)


def markdown_in(component: object) -> list[str]:
    """The texts of all Markdown parts below a component."""
    children = getattr(component, "children", None)
    if isinstance(component, dcc.Markdown):
        return [str(children)]
    return [
        text
        for child in (children if isinstance(children, list) else [children])
        if child is not None
        for text in markdown_in(child)
    ]


def test_the_guide_shows_what_the_command_prints() -> None:
    assert markdown_in(guide.layout()) == []
    for name in TOPICS:
        (shown,) = markdown_in(guide.layout(name))
        assert shown.replace("#", "").split() == topic_text(name).replace("#", "").split()
    assert markdown_in(guide.layout("nonsense")) == []
    assert "the guide has no topic" in str(guide.layout("nonsense"))
