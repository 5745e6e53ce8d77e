"""The dashboard on the local network, over HTTP: who is let in, and what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import dash
import pytest
from dash_client import DashClient
from flask.testing import FlaskClient
from itsdangerous import TimestampSigner
from test_dashboard_app import drop
from werkzeug.test import TestResponse

from dashboard.app import Config, create_app
from dashboard.auth import Passphrase, TokenStore, middleware, reader_of_request
from dashboard.auth.passphrase import Cost
from dashboard.session.sessions import Sessions, new_token

SAID = "four quiet words float"
HOME = "http://192.168.4.1:8050"
UPDATE = "/_dash-update-component"


@pytest.fixture(autouse=True)
def _fresh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("RECIPROCAL_HOME", str(tmp_path / "home"))
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


@pytest.fixture
def passphrase() -> Passphrase:
    return Passphrase.of(SAID, Cost(2**4, 1, 1))


@pytest.fixture
def app(passphrase: Passphrase) -> dash.Dash:
    return create_app(Config(Sessions(workers=0, reader=reader_of_request), passphrase=passphrase))


@pytest.fixture
def client(app: dash.Dash) -> FlaskClient:
    return app.server.test_client()


def get(client: FlaskClient, path: str, **more: object) -> TestResponse:
    return client.get(path, base_url=HOME, **more)


def post(client: FlaskClient, path: str, **more: object) -> TestResponse:
    return client.post(path, base_url=HOME, **more)


def log_in(client: FlaskClient, said: str = SAID, after: str = "/") -> TestResponse:
    return post(client, "/login", data={"passphrase": said, "next": after}, headers={"Origin": HOME})


def token_of(client: FlaskClient) -> str:
    cookie = client.get_cookie(middleware.TOKEN_COOKIE, domain="192.168.4.1")
    assert cookie is not None
    return cookie.value


def test_nobody_sees_anything_before_the_passphrase(client: FlaskClient) -> None:
    for path in ("/", "/bench", "/_dash-layout", "/_dash-dependencies", "/nothing/here", "/favicon.ico"):
        answer = get(client, path)
        assert answer.status_code in (303, 401), path
        assert b"dash" not in answer.data.lower()
    assert get(client, "/bench?a=1").headers["Location"] == "/login?next=%2Fbench%3Fa%3D1"
    assert get(client, "/_dash-layout").get_data(as_text=True) == "Log in first."
    for path in (UPDATE, "/", "/logout"):
        assert post(client, path, json={}).status_code == 401
    suites = [
        rule.rule for rule in client.application.url_map.iter_rules() if "component-suites" in rule.rule
    ]
    assert suites
    assert get(client, "/_dash-component-suites/dash/deps/react@18.js").status_code == 401


def test_the_login_page_is_whole_without_a_ticket(client: FlaskClient) -> None:
    answer = get(client, "/login")
    page = answer.get_data(as_text=True)
    assert answer.status_code == 200
    assert "<script" not in page
    assert "trust" in page
    for asset in re.findall(r'(?:href|src)="([^"]+)"', page):
        with get(client, asset) as found:
            assert found.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_right_passphrase_opens_and_the_cookie_is_guarded(client: FlaskClient) -> None:
    answer = log_in(client, after="/bench")
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/bench"
    ticket, token = answer.headers.getlist("Set-Cookie")
    assert ticket.startswith("reciprocal-reader=")
    assert "HttpOnly" in ticket
    assert "SameSite=Strict" in ticket
    assert "Max-Age=43200" in ticket
    assert "SameSite=Strict" in token
    assert get(client, "/").status_code == 200
    assert get(client, "/login?next=/bench").headers["Location"] == "/bench"


@pytest.mark.parametrize(
    "after", ["//evil.example", "https://evil.example", "/\\evil.example", "\n/x", "", "x"]
)
def test_the_way_on_stays_on_this_server(client: FlaskClient, after: str) -> None:
    assert log_in(client, after=after).headers["Location"] == "/"


def test_what_is_typed_is_never_shown_and_never_run(client: FlaskClient) -> None:
    bad = '"><script>alert(1)</script>'
    page = log_in(client, said=bad, after="/" + bad).get_data(as_text=True)
    assert "<script" not in page
    assert page.count("alert(1)") == 1  # the way on, escaped; the passphrase is nowhere


def test_wrong_passphrases_are_told_so_and_then_have_to_wait(client: FlaskClient) -> None:
    for _ in range(3):
        answer = log_in(client, said="not this one at all")
        assert answer.status_code == 403
        assert "That is not the passphrase." in answer.get_data(as_text=True)
    answer = log_in(client)  # even the right one waits: it is not looked at
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) == 2
    assert "Too many wrong tries. Wait 2 s, then try again." in answer.get_data(as_text=True)
    other = client.post(
        "/login", base_url=HOME, data={"passphrase": SAID}, environ_overrides={"REMOTE_ADDR": "192.168.4.77"}
    )
    assert other.status_code == 303


def test_a_login_larger_than_any_passphrase_is_turned_away(client: FlaskClient) -> None:
    assert log_in(client, said="x" * 100_000).status_code == 413
    assert log_in(client).status_code == 303


def test_forged_foreign_and_changed_cookies_are_refused_with_a_reason(
    client: FlaskClient, passphrase: Passphrase
) -> None:
    foreign = TokenStore(b"another machine's key, of 32 bytes").give()
    own = TokenStore(passphrase.key).give()
    for bad in ("x", foreign, own[:-1] + ("A" if own[-1] != "A" else "B"), own.replace(".", "..", 1)):
        client.set_cookie(middleware.COOKIE, bad, domain="192.168.4.1")
        answer = get(client, "/")
        assert answer.headers["Location"] == "/login?next=%2F&because=foreign"
        assert "reciprocal-reader=;" in answer.headers.getlist("Set-Cookie")[0]
        client.set_cookie(middleware.COOKIE, bad, domain="192.168.4.1")
        said = post(client, UPDATE, json={})
        assert said.status_code == 401
        assert "not given out here" in said.get_data(as_text=True)
    page = get(client, "/login?because=foreign").get_data(as_text=True)
    assert "a cookie that was not given out here" in page
    assert "nonsense" not in get(client, "/login?because=nonsense").get_data(as_text=True)
    client.set_cookie(middleware.COOKIE, own, domain="192.168.4.1")
    assert get(client, "/").status_code == 200


def test_a_ticket_ends_after_half_a_day(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    log_in(client)
    now = TimestampSigner.get_timestamp
    monkeypatch.setattr(TimestampSigner, "get_timestamp", lambda self: now(self) + 12 * 3600 - 60)
    assert get(client, "/").status_code == 200
    monkeypatch.setattr(TimestampSigner, "get_timestamp", lambda self: now(self) + 12 * 3600 + 60)
    assert "because=expired" in get(client, "/").headers["Location"]


def test_logging_out_ends_the_ticket_for_good(
    client: FlaskClient, passphrase: Passphrase, app: dash.Dash
) -> None:
    log_in(client)
    cookie = client.get_cookie(middleware.COOKIE, domain="192.168.4.1")
    assert cookie is not None
    assert post(client, "/logout").status_code == 403  # a form of no page of ours
    assert get(client, "/").status_code == 200
    answer = post(client, "/logout", data={"token": token_of(client)}, headers={"Origin": HOME})
    assert answer.headers["Location"] == "/login?because=left"
    assert client.get_cookie(middleware.COOKIE, domain="192.168.4.1") is None
    client.set_cookie(middleware.COOKIE, cookie.value, domain="192.168.4.1")  # kept by somebody
    assert get(client, "/").status_code == 303
    with pytest.raises(PermissionError, match="expired"):
        TokenStore(passphrase.key).reader(cookie.value)  # nor after a restart


def test_a_new_passphrase_ends_every_ticket() -> None:
    ticket = TokenStore(Passphrase.of(SAID, Cost(2**4, 1, 1)).key).give()
    with pytest.raises(PermissionError, match="foreign"):
        TokenStore(Passphrase.of(SAID, Cost(2**4, 1, 1)).key).reader(ticket)


def test_a_change_needs_the_readers_own_token(app: dash.Dash) -> None:
    first, second = app.server.test_client(), app.server.test_client()
    log_in(first)
    log_in(second)
    body = {"output": "x.y", "outputs": {"id": "x", "property": "y"}, "inputs": [], "changedPropIds": []}

    def status(**headers: str) -> int:
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        return post(first, UPDATE, json=body, headers=names).status_code

    own = token_of(first)
    assert status() == 403
    assert status(X_CSRFToken="ünd so") == 403
    assert status(X_CSRFToken=token_of(second)) == 403
    assert status(X_CSRFToken=own, Origin="http://evil.example") == 403
    assert status(X_CSRFToken=own, Origin="null") == 403
    assert status(X_CSRFToken=own, Sec_Fetch_Site="cross-site") == 403
    assert status(X_CSRFToken=own, Origin="http://192.168.4.1:80") == 403
    assert status(X_CSRFToken=own, Origin=HOME) not in (401, 403)
    assert post(first, UPDATE, data={"token": "x"}).status_code == 403


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("192.168.4.1:8050", 200),
        ("[fd00::2]:8050", 200),
        ("127.0.0.1:8050", 200),
        ("evil.example:8050", 403),
        ("evil.example", 403),
        ("192.168.4.1.evil.example", 403),
    ],
)
def test_only_addresses_and_own_names_are_answered(client: FlaskClient, host: str, status: int) -> None:
    assert client.get("/login", headers={"Host": host}).status_code == status


def test_a_second_reader_never_sees_the_first_ones_work_even_with_its_name(app: dash.Dash) -> None:
    first, second = (_Reader(app) for _ in range(2))
    tab = new_token()
    drop(first, tab, "four_passes.gpx")
    asked = {"session.data": tab, "revision.data": 1}
    assert first.call("list_files", asked, "revision.data")["after-the-water"]["className"] == "page"
    seen = second.call("list_files", asked, "revision.data")
    assert seen["after-the-water"]["className"] == "page empty"
    assert seen["files"]["children"] == []
    drop(second, tab, "blow_over.nmea")
    mine = first.call("list_files", asked, "revision.data")["files"]["children"]
    assert len(mine) == 1
    assert "blow_over" not in str(mine)


class _Reader(DashClient):
    """A reader of its own: logged in at this machine's own address, with the headers of its own pages."""

    def __init__(self, app: dash.Dash) -> None:
        super().__init__(app)
        base = "http://127.0.0.1:8050"
        answer = self.http.post("/login", base_url=base, data={"passphrase": SAID})
        assert answer.status_code == 303
        token = self.http.get_cookie(middleware.TOKEN_COOKIE, domain="127.0.0.1")
        assert token is not None
        self.http.get("/", base_url=base)
        self.http.environ_base["HTTP_X_CSRFTOKEN"] = token.value


def test_the_open_folder_leads_nowhere_else(client: FlaskClient) -> None:
    for path in ("/assets/../app.py", "/assets/%2e%2e/app.py", "/assets//etc/passwd", "/assets/..%2fapp.py"):
        assert get(client, path).status_code in (303, 308, 404), path
