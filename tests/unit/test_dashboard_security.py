"""What every answer carries, over Flask's client and over the real server."""

from __future__ import annotations

import gzip
import http.client
import re
import threading
from collections.abc import Iterator

import dash
import pytest
from waitress import wasyncore

from dashboard.app import Config, create_app, make_server
from dashboard.auth import Passphrase
from dashboard.auth.passphrase import Cost
from dashboard.security import LARGEST_REQUEST_BYTES

TAB = re.compile(rb'(?<=")[A-Za-z0-9_~-]{43,}(?=")')
REQUIRED = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


@pytest.fixture(params=["this machine", "local network"])
def app(request: pytest.FixtureRequest) -> dash.Dash:
    asked = request.param == "local network"
    return create_app(Config(passphrase=Passphrase.of("four quiet words", Cost(16, 1, 1)) if asked else None))


def addresses(app: dash.Dash) -> list[str]:
    """Every address without a gap to fill in, the pages, and one that is not there."""
    rules = [rule.rule for rule in app.server.url_map.iter_rules() if "<" not in rule.rule]
    pages = [page["path"] for page in dash.page_registry.values()]
    more = [
        "/login",
        "/assets/page.css",
        "/assets/none.css",
        "/nothing/here",
        "/_dash-component-suites/x/y.js",
    ]
    return [*rules, *pages, *more]


def test_every_answer_of_every_address_carries_the_headers(app: dash.Dash) -> None:
    client = app.server.test_client()
    for path in addresses(app):
        for method in ("GET", "POST"):
            with client.open(path, method=method, base_url="http://127.0.0.1:8050") as answer:
                found = {name: answer.headers.get(name) for name in REQUIRED}
                assert found == REQUIRED, f"{method} {path}"
                policy = dict(
                    part.strip().split(" ", 1)
                    for part in answer.headers["Content-Security-Policy"].split(";")
                )
                assert policy["default-src"] == "'self'"
                assert policy["object-src"] == policy["frame-ancestors"] == "'none'"
                assert "unsafe-inline" not in policy["script-src"]
                assert "unsafe-eval" not in policy["script-src"]
                assert not any("http" in value for value in policy.values())


def test_beyond_loopback_no_header_is_sent_that_plain_http_is_not_trusted_with(app: dash.Dash) -> None:
    answer = app.server.test_client().get("/login", base_url="http://192.168.4.1:8050")
    assert "Cross-Origin-Opener-Policy" not in answer.headers
    assert answer.headers["X-Frame-Options"] == "DENY"


def test_no_page_names_another_host(app: dash.Dash) -> None:
    client = app.server.test_client()
    for path in ("/", "/login", "/_dash-layout"):
        page = client.get(path, base_url="http://127.0.0.1:8050", follow_redirects=True).get_data(
            as_text=True
        )
        assert "//" not in page.replace("http://127.0.0.1:8050", ""), path


@pytest.fixture
def port() -> Iterator[int]:
    """A running server on a free port, with the parts of it that a test needs."""
    serving = make_server(create_app(), "127.0.0.1", 0)
    thread = threading.Thread(target=serving.run, daemon=True)
    thread.start()
    yield serving.effective_port
    serving.task_dispatcher.shutdown()
    serving.trigger.pull_trigger(lambda: wasyncore.close_all(serving._map, ignore_all=True))
    thread.join(timeout=10)


def ask(port: int, path: str, accepted: str) -> tuple[http.client.HTTPMessage, bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", path, headers={"Accept-Encoding": accepted})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    assert answer.status == 200
    return answer.headers, body


@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/_dash-dependencies", "/assets/page.css"])
def test_answers_are_compressed_for_who_can_read_them_and_the_same_for_who_cannot(
    port: int, path: str
) -> None:
    plain_headers, plain = ask(port, path, "identity")
    headers, packed = ask(port, path, "gzip")
    assert plain_headers["Content-Encoding"] is None
    assert headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in headers["Vary"]
    assert len(packed) < 0.5 * len(plain)
    # Each asking makes a tab with a name of its own.
    assert [TAB.sub(b"tab", text) for text in (gzip.decompress(packed), plain)] == [
        TAB.sub(b"tab", plain)
    ] * 2


def test_a_request_beyond_the_bounds_is_turned_away_and_the_server_lives(port: int) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.putrequest("POST", "/_dash-update-component")
    connection.putheader("Content-Length", str(LARGEST_REQUEST_BYTES + 1))
    connection.putheader("Content-Type", "application/json")
    connection.endheaders(b"{")
    answer = connection.getresponse()
    assert answer.status == 413
    assert answer.read()
    connection.close()
    assert ask(port, "/assets/page.css", "identity")[1]
