"""The statement's addresses: what they answer, under which policy, and how long."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import analysis_fixture
import dash
import pytest
from dash_client import DashClient

from dashboard.app import Config, create_app
from dashboard.features.logbook.view import outing_facts
from dashboard.features.run.request_form import RequestForm
from dashboard.features.statement.service import Statements
from dashboard.session.intake import put_in
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import Sessions, new_token
from dashboard.ui.fields import Chosen
from sample_logs import data_folder
from telemetry.logbook import Boat, Conditions, open_logbook
from telemetry.setup import SetupSheet
from telemetry.statement import content_policy

ASKED = {name: getattr(RequestForm(), name) for name in RequestForm.__slots__}
HERE = "http://127.0.0.1:8050"


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


def links(component: Any) -> list[str]:
    """Every address in a serialised component, in order."""
    if isinstance(component, list):
        return [address for part in component for address in links(part)]
    if not isinstance(component, dict):
        return []
    props = component.get("props", {})
    return ([props["href"]] if "href" in props else []) + links(props.get("children"))


def opened(client: DashClient, token: str, two_way: str) -> list[str]:
    values = {
        "asked.data": ASKED,
        "unit.value": "km/h",
        "session.data": token,
        "two-ways.value": two_way,
        "two-ways-page.value": 1,
    }
    return links(client.call("list_two_ways", values, "two-ways.value")["two-ways"]["children"])


def test_an_opened_two_way_leads_to_its_statement_and_that_to_a_file() -> None:
    sessions, token = Sessions(workers=0), new_token()
    client = DashClient(create_app(Config(sessions)))
    session = sessions.open(token)
    put_in(session, sample_uploads())
    page_at, file_at = opened(client, token, "T2")
    page = client.http.get(page_at, base_url=HERE)
    assert page.status_code == 200
    assert page.headers["Content-Security-Policy"] == f"{content_policy()}; frame-ancestors 'none'"
    assert page.headers["Cache-Control"] == "no-store"
    assert page.headers["X-Content-Type-Options"] == "nosniff"
    text = page.get_data(as_text=True)
    assert "T2, one of 4 in these logs" in text
    assert "km/h" in text

    # Whatever its tab does afterwards, a statement stays as it was made.
    for key in list(session.uploads):
        session.remove(key)
    again = client.http.get(file_at, base_url=HERE)
    assert again.get_data(as_text=True) == text
    assert again.headers["Content-Disposition"] == 'attachment; filename="two-way-2025-06-14-T2.html"'
    assert opened(client, token, "T2") == []


@pytest.mark.parametrize("address", ["/statement/none", "/statement/none/file", "/statement/outing/7"])
def test_what_is_not_there_is_refused_in_a_sentence(address: str, tmp_path: Path) -> None:
    client = DashClient(create_app(Config(logbook=str(tmp_path / "book.sqlite"))))
    answer = client.http.get(address, base_url=HERE)
    assert answer.status_code == 404
    assert answer.mimetype == "text/plain"
    assert "Content-Security-Policy" in answer.headers
    assert "statement is no longer available" in answer.text or "no outing" in answer.text


def test_only_so_many_are_kept_and_an_unknown_two_way_makes_none() -> None:
    statements, whole = Statements(limit=2), analysis_fixture.analysis()
    first, second = (statements.keep(whole, "T1", "mph") for _ in range(2))
    assert first is not None
    assert second is not None
    assert statements.keep(whole, "T9", "mph") is None
    assert statements.keep(whole, None, "mph") is None
    assert statements.find(first) is not None  # asked for last, so it stays
    third = statements.keep(whole, "T1", "mph")
    assert len({first, second, third}) == 3
    assert statements.find(second) is None
    assert statements.find(first) is not None


def test_an_outing_of_the_logbook_is_stated_with_its_sheet_and_conditions(tmp_path: Path) -> None:
    book = str(tmp_path / "book.sqlite")
    with open_logbook(book) as logbook:
        imported = logbook.import_outing(
            [data_folder() / "four_passes.gpx"],
            Boat("Quorrel"),
            SetupSheet("Quorrel", name="calm water"),
            Conditions(place="<b>Long Lake</b>"),
        )
    assert "/statement/outing/1?speed=km%2Fh&length=in" in str(
        outing_facts(imported.outing, Chosen("km/h", "in"))
    )
    client = DashClient(create_app(Config(logbook=book)))
    answer = client.http.get("/statement/outing/1?speed=kn", base_url=HERE)
    assert answer.status_code == 200
    assert "calm water" in answer.text
    assert "&lt;b&gt;Long Lake&lt;/b&gt;" in answer.text
    assert " kn " in answer.text
    saved = client.http.get("/statement/outing/1/file?speed=kn", base_url=HERE)
    assert saved.headers["Content-Disposition"] == 'attachment; filename="two-way-2025-06-14-T1.html"'
    for asked, said in (
        ("speed=<i>", "no speed unit"),
        ("temperature=x", "no temperature unit"),
        ("length=x", "there is no unit 'x' for length"),
    ):
        assert said in client.http.get(f"/statement/outing/1?{asked}", base_url=HERE).text
