"""The page "Before and after": figures, pieces and callbacks against the library."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import dash
import pytest
from compare_fixture import BASE, outing, passes, sheet
from dash_client import DashClient
from seasons import BOAT

from dashboard.app import Config, create_app
from dashboard.features.compare.figures import effects_figure, history_figure
from dashboard.features.compare.service import CompareClient, Wanted
from dashboard.features.compare.view import remarks
from dashboard.session.sessions import Sessions
from telemetry.compare import Comparison, History, Units, boat_history, compare
from telemetry.compare.wording import difference_text

LOWER = sheet("lower", strut_depth_mm=2.5)
UNITS = Units("km/h", "°F")


@pytest.fixture
def client(season_url: str) -> Iterator[DashClient]:
    dash.page_registry.clear()
    yield DashClient(create_app(Config(Sessions(), logbook=season_url)))
    dash.page_registry.clear()


@pytest.fixture
def told() -> Comparison:
    """A clear gain of two-ways, and slip that says little."""
    before, after = [], []
    for k in range(3):
        before += outing(BASE, k, [24.0, 24.1 + 0.05 * k]) + passes(
            BASE, k, slip=[0.15, 0.11, 0.16, 0.12 + 0.01 * k]
        )
        after += outing(LOWER, 9 + k, [25.0, 25.1 - 0.04 * k])
        after += passes(LOWER, 9 + k, slip=[0.13, 0.15, 0.10, 0.16 - 0.02 * k])
    return compare(before, after, before_sheet=BASE, after_sheet=LOWER, care=0.25)


def test_every_measure_has_its_bar_and_its_words(told: Comparison) -> None:
    figure = effects_figure(told, UNITS)
    assert [trace.x[0] for trace in figure.data] == pytest.approx(
        [(e.difference or 0.0) / e.care for e in told.effects]
    )
    assert [trace.error_x.array[0] for trace in figure.data] == pytest.approx(
        [(e.u95 or 0.0) / e.care for e in told.effects]
    )
    words = [a.text for a in figure.layout.annotations]
    head = told.headline
    assert difference_text(head.measure, head.difference or 0.0, UNITS, head.u95) in words[0]
    assert "faster" in words[0]
    assert [trace.marker.symbol for trace in figure.data] == ["triangle-right", "circle-open"]


def test_without_any_interval_the_figure_says_so() -> None:
    one = compare(outing(BASE, 0, [24.0]), outing(LOWER, 1, [25.0]))
    assert "No measure" in effects_figure(one, UNITS).layout.annotations[0].text


@pytest.fixture
def past() -> History:
    other = sheet("other", strut_depth_mm=2.0, prop_pitch_mm=63.0)
    sheets = {s.sheet_id: s for s in (BASE, LOWER, other)}
    evidence = [
        e
        for k, (one, level) in enumerate(((BASE, 24.0), (LOWER, 25.0), (other, 24.5)))
        for n in range(2)
        for e in outing(one, 10 * k + n, [level, level + 0.05 * (n + 1)])
    ]
    return boat_history(evidence, sheets, "strut_depth_mm")


def test_a_history_lies_by_value_with_the_best_ringed_and_mixed_changes_open(past: History) -> None:
    figure = history_figure(past, BASE.item("strut_depth_mm"), UNITS)
    points, ring = figure.data
    assert list(points.x) == [2.0, 2.5, 3.0]
    assert list(points.marker.symbol) == ["circle-open", "circle", "circle"]
    assert ring.x[0] == 2.5
    assert list(points.y) == pytest.approx([p.level.mean * 3.6 for p in past.points])
    assert "also differs: propeller pitch" in points.hovertext[0]
    assert figure.layout.xaxis.title.text == "Strut depth, mm"
    assert figure.layout.yaxis.title.text == "Two-way average, km/h"


def text_of(component: Any) -> str:
    """All words in an answer, as the browser gets it."""
    if isinstance(component, str):
        return component
    if isinstance(component, list):
        return " ".join(map(text_of, component))
    return text_of(component.get("props", {}).get("children") or "") if isinstance(component, dict) else ""


def chosen(book: CompareClient) -> dict[str, Any]:
    first, *_, last = book.lists(BOAT).sheets
    return {
        "compare-boat.value": BOAT,
        "compare-asked.data": {"boat": None, "before": None, "after": None},
        "compare-before.value": first.value,
        "compare-after.value": last.value,
        "compare-care.value": 0.5,
        "unit.value": "mph",
        "temperature-unit.value": "°C",
        "compare-measure.value": "two_way_mps",
        "compare-item.value": "strut_depth_mm",
        "surroundings.data": {"dark": False, "coarse": False},
    }


def test_boats_and_sheets_that_were_run_are_offered(client: DashClient) -> None:
    asked = {"compare-asked.data": {"boat": None, "before": None, "after": None}}
    listed = client.call("offer_boats", asked, "compare-asked.data")
    assert listed["compare-boat"]["value"] == BOAT
    offered = client.call("offer_choices", asked | {"compare-boat.value": BOAT}, "compare-boat.value")
    labels = [one["label"] for one in offered["compare-before"]["data"]]
    assert labels == [f"Strut {depth} mm (2 outings)" for depth in ("3.0", "2.5", "2.0")]
    assert offered["compare-item"]["value"] == "strut_depth_mm"
    assert offered["compare-said"]["children"] == ""
    nothing = client.call("offer_choices", asked | {"compare-boat.value": None}, "compare-boat.value")
    assert "Two sheets with outings" in nothing["compare-said"]["children"]


def test_the_address_says_which_boat_and_sheets(client: DashClient, season_url: str) -> None:
    first, second, _ = (sheet.value for sheet in CompareClient(season_url).lists(BOAT).sheets)
    asked = {"compare-asked.data": {"boat": BOAT, "before": second, "after": first}}
    offered = client.call("offer_choices", asked | {"compare-boat.value": BOAT}, "compare-boat.value")
    assert [offered[f"compare-{side}"]["value"] for side in ("before", "after")] == [second, first]
    unknown = {"compare-asked.data": {"boat": "Nobody", "before": "none", "after": first}}
    assert client.call("offer_boats", unknown, "compare-asked.data")["compare-boat"]["value"] == BOAT
    book = {"book-revision.data": 0, "book-asked.data": BOAT}
    assert client.call("offer", book, "book-revision.data")["book-boat"]["value"] == BOAT
    other = book | {"book-asked.data": "Nobody"}
    assert client.call("offer", other, "book-revision.data")["book-boat"]["value"] is None


def test_the_answer_is_the_librarys(client: DashClient, season_url: str) -> None:
    book = CompareClient(season_url)
    values = chosen(book)
    shown = client.call("show_comparison", values, "compare-after.value")
    first, second = (Wanted(values[f"compare-{side}.value"]) for side in ("before", "after"))
    told = book.compare(BOAT, first, second, 0.22352)
    head, words = told.headline, text_of(shown["compare-answer"]["children"])
    value, _, half = difference_text(head.measure, head.difference or 0.0, Units(), head.u95).partition(" ± ")
    assert value in words
    assert half.removesuffix(" mph") in words
    assert head.verdict in words
    assert "Strut depth: 3 mm → 2 mm" in text_of(shown["compare-changed"]["children"])
    remarked, units = text_of(shown["compare-remarks"]["children"]), Units()
    assert all(r.told_in(units.covariate_text) in remarked for r in told.remarks)


def test_what_differed_is_told_in_the_readers_units() -> None:
    first = [e for k in range(2) for e in outing(BASE, k, [24.0, 24.1], wind_mps=1.0, air_c=10.0)]
    second = [e for k in range(2) for e in outing(LOWER, 9 + k, [24.5, 24.6], wind_mps=3.0, air_c=25.0)]
    shown = remarks(compare(first, second, before_sheet=BASE, after_sheet=LOWER), UNITS)
    said = " ".join(line.children for line in shown.children)
    assert "Wind: 3.60 km/h before, 10.80 km/h after" in said
    assert "Air temperature: 50.00 °F before, 77.00 °F after" in said


def test_one_sheet_twice_shows_nothing(client: DashClient, season_url: str) -> None:
    values = chosen(CompareClient(season_url))
    values["compare-after.value"] = values["compare-before.value"]
    assert client.call("show_comparison", values, "compare-after.value")["compare-answer"]["children"] == []


def test_groups_of_outings_are_compared(client: DashClient, season_url: str) -> None:
    groups = {"compare-before.value": None, "compare-before-outings.value": ["1", "3"]}
    groups |= {"compare-after-outings.value": ["5", "6"]}
    shown = client.call("show_comparison", chosen(CompareClient(season_url)) | groups, "compare-before.value")
    assert "more than one sheet" in text_of(shown["compare-remarks"]["children"])
    same = chosen(CompareClient(season_url)) | {"compare-before.value": None, "compare-after.value": None}
    assert client.call("show_comparison", same, "compare-before.value")["compare-answer"]["children"] == []


def test_history_and_advice_are_told(client: DashClient, season_url: str) -> None:
    values = chosen(CompareClient(season_url))
    shown = client.call("show_history", values, "compare-item.value")
    assert "Best sheet: Strut 2.0 mm" in text_of(shown["compare-story"]["children"])
    advice = client.call("show_advice", values | {"compare-ripple.value": 0.3}, "compare-ripple.value")
    words = text_of(advice["compare-advice"]["children"])
    assert "Leave it at Strut 2.0 mm" in words
