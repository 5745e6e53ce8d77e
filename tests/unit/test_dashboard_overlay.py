"""Passes together, from the logbook and the tab to the figures and the cursor's numbers."""

from __future__ import annotations

import json
from collections.abc import Iterator

import dash
import numpy as np
import pytest
from dash_client import DashClient
from logbooks import BOAT, OTHER_BOAT, OTHER_SHEET, SHEET, add, small_log, with_fleet

from dashboard.app import Config, create_app
from dashboard.features.overlay.cursor import cursor_data
from dashboard.features.overlay.figures import (
    OVERLAY_LINE_POINTS,
    abscissa_title,
    overlay_figure,
    overlay_plan,
    plan_aspect,
)
from dashboard.features.overlay.line_styles import looks
from dashboard.features.overlay.service import MOST, ChosenPasses, OverlayClient
from dashboard.features.overlay.view import origins, overlay_remarks, passes_beside, sheets
from dashboard.session.sessions import Session, Sessions, new_token
from dashboard.session.uploads import read_upload
from dashboard.ui.downsample import RESAMPLED
from dashboard.ui.palette import DARK, LIGHT
from telemetry.core.units import SPEED_UNITS
from telemetry.logbook import open_logbook
from telemetry.pass_overlay import SPEED, align, read_at, sheet_groups

MPH = SPEED_UNITS["mph"]


@pytest.fixture(autouse=True)
def _fresh_registry() -> Iterator[None]:
    dash.page_registry.clear()
    yield
    dash.page_registry.clear()


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A logbook of two boats with an outing each, to be read only."""
    url = str(tmp_path_factory.mktemp("lake") / "lake.sqlite")
    with open_logbook(url) as book:
        with_fleet(book)
        add(book, hour=1)
        add(book, hour=30, boat=OTHER_BOAT, sheet=OTHER_SHEET.name)
    return url


@pytest.fixture(scope="module")
def book(url: str) -> OverlayClient:
    return OverlayClient(url)


@pytest.fixture
def session() -> Session:
    loaded = Session()
    log = small_log(5)
    loaded.put(read_upload(log.file, log.data, None))
    return loaded


def all_of(book: OverlayClient, session: Session) -> tuple[ChosenPasses, ...]:
    chosen, refused = book.choose(session, ["1.P1", "1.P2", "2.P1", "tab.P2"])
    assert refused == ()
    return chosen


def test_passes_of_the_tab_and_of_every_outing_can_be_chosen(book: OverlayClient, session: Session) -> None:
    offers, left_out = book.offers(session)
    assert left_out == 0
    assert [one.key for one in offers] == ["tab.P1", "tab.P2", "2.P1", "2.P2", "1.P1", "1.P2"]
    assert offers[0].group == "Loaded in this tab"
    assert offers[-1].group == f"{BOAT}, outing 1, 2026-06-13, {SHEET.name}"
    assert [one.key for one in book.offers(Session())[0]] == ["2.P1", "2.P2", "1.P1", "1.P2"]


def test_chosen_passes_bring_their_outing_and_their_sheet(book: OverlayClient, session: Session) -> None:
    chosen = all_of(book, session)
    assert [one.key for one in chosen] == ["1.P1", "1.P2", "2.P1", "tab.P2"]
    assert [one.boat for one in chosen] == [BOAT, BOAT, OTHER_BOAT, ""]
    assert chosen[0].sheet is not None
    assert chosen[0].sheet.sheet_id == SHEET.sheet_id
    assert chosen[3].sheet is None
    assert chosen[3].origin == "this tab, outing_5.csv"
    with open_logbook(book._url) as logbook:
        assert chosen[0].curves.one == logbook.analysed(1).passes[0]


def test_an_outing_is_analysed_once(
    url: str, session: Session, monkeypatch: pytest.MonkeyPatch, book: OverlayClient
) -> None:
    fresh = OverlayClient(url)
    first = all_of(fresh, session)
    monkeypatch.setattr("telemetry.logbook.Logbook.analysed", None)
    again = all_of(fresh, session)
    assert all(a.curves is b.curves for a, b in zip(first, again, strict=True))


def test_what_the_tab_lets_go_of_is_gone(url: str, session: Session) -> None:
    fresh = OverlayClient(url)
    (before,), _ = fresh.choose(session, ["tab.P1"])
    for key in list(session.uploads):
        session.remove(key)
    log = small_log(7)
    session.put(read_upload(log.file, log.data, None))
    (after,), _ = fresh.choose(session, ["tab.P1"])
    assert before.curves.start_utc != after.curves.start_utc
    assert fresh.choose(Session(), ["tab.P1"])[0] == ()


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("1.P9", "outing 1 has no pass P9"),
        ("9.P1", "there is no outing 9"),
        ("tab.P1", "no log is loaded in this tab"),
        ("../etc", "this names no pass"),
        ("1.P1'; DROP TABLE", "this names no pass"),
        ("99999999999.P1", "this names no pass"),
    ],
)
def test_what_cannot_be_had_is_said_and_the_rest_shown(book: OverlayClient, key: str, said: str) -> None:
    chosen, (refused,) = book.choose(Session(), ["1.P1", key])
    assert [one.key for one in chosen] == ["1.P1"]
    assert said in refused


def test_more_than_ten_are_held_to_ten(book: OverlayClient) -> None:
    _, refused = book.choose(Session(), [f"1.P{k}" for k in range(1, 15)])
    assert refused[-1] == f"At most {MOST} passes at once: the first {MOST} are shown."


def test_lines_are_told_apart_by_letter_and_dash_and_directions_by_colour(
    book: OverlayClient, session: Session
) -> None:
    curves = [one.curves for one in all_of(book, session)]
    looked = looks(curves)
    assert [one.mark for one in looked] == list("ABCD")
    assert [one.direction for one in looked] == ["out", "back", "out", "back"]
    assert len({one.dash for one in looks(curves * 3)}) == MOST
    figure = overlay_figure(align(curves, "time", "peak"), looked, MPH)
    lines = [trace for trace in figure.data if trace.name in "ABCD"]
    assert [line.line.color for line in lines[:4]] == [LIGHT.out, LIGHT.back] * 2
    assert [line.line.dash for line in lines[:4]] == [one.dash for one in looked]
    assert [note.text for note in figure.layout.annotations] == [f"<b>{mark}</b>" for mark in "ABCD"]
    assert (
        overlay_figure(align(curves, "time", "peak"), looked, MPH, DARK).data[0].fillcolor.startswith("rgba")
    )


def test_what_is_drawn_are_the_samples_in_the_user_s_unit(book: OverlayClient, session: Session) -> None:
    chosen = all_of(book, session)
    overlay = align([one.curves for one in chosen], "distance", "start")
    figure = overlay_figure(overlay, looks([one.curves for one in chosen]), MPH)
    for laid, mark in zip(overlay.laid, "ABCD", strict=True):
        line = next(trace for trace in figure.data if trace.name == mark)
        assert np.array_equal(line.x, laid.x)
        assert np.array_equal(line.y, laid.curves.signals[SPEED].value / 0.44704)
        band = next(trace for trace in figure.data if trace.name == f"{mark} 95 %")
        u95 = laid.curves.signals[SPEED].u95
        assert u95 is not None
        assert len(band.x) == 2 * np.count_nonzero(np.isfinite(u95))
        assert max(band.y) - max(line.y) == pytest.approx(u95[np.argmax(line.y)] / 0.44704, abs=0.05)
    assert {trace.meta for trace in figure.data} == {RESAMPLED}


def test_a_zoom_shows_more_of_a_long_pass(book: OverlayClient, session: Session) -> None:
    (one, *_) = all_of(book, session)
    signal = one.curves.signals[SPEED]
    n = 20 * OVERLAY_LINE_POINTS
    t_s = np.linspace(signal.t_s[0], signal.t_s[-1], n)
    value = np.interp(t_s, signal.t_s, signal.value) + np.random.default_rng(0).normal(0.0, 0.3, n)
    long = type(one.curves)(
        **{
            **vars(one.curves),
            "t_s": t_s,
            "way_m": np.interp(t_s, one.curves.t_s, one.curves.way_m),
            "signals": {SPEED: type(signal)(t_s, value)},
        }
    )
    overlay = align([long], "time", "start")
    whole = overlay_figure(overlay, looks([long]), MPH)
    closer = overlay_figure(overlay, looks([long]), MPH, window=(2.0, 2.1))
    assert len(whole.data[0].x) <= OVERLAY_LINE_POINTS + 2
    x = np.asarray(closer.data[0].x)
    inside = (overlay.laid[0].x >= 2.0) & (overlay.laid[0].x <= 2.1)
    assert np.array_equal(x[(x >= 2.0) & (x <= 2.1)], overlay.laid[0].x[inside])


def test_the_cursor_reads_in_the_browser_what_the_library_reads(
    book: OverlayClient, session: Session
) -> None:
    chosen = all_of(book, session)
    overlay = align([one.curves for one in chosen], "time", "peak")
    data = json.loads(json.dumps(cursor_data(overlay, looks([one.curves for one in chosen]), MPH, LIGHT)))
    assert data["rows"][0] == {"name": SPEED, "axis": "y", "unit": "mph", "decimals": 2}
    assert (data["abscissa"]["low"], data["abscissa"]["high"]) == overlay.span
    for laid, told in zip(overlay.laid, data["passes"], strict=True):
        assert told["colour"] in (LIGHT.out, LIGHT.back)
        read = read_at(laid, SPEED, -1.0)
        assert read is not None
        y = [np.nan if v is None else v for v in told["rows"][SPEED]["y"]]
        assert np.interp(-1.0, told["rows"][SPEED]["x"], y) == pytest.approx(read.value / 0.44704, abs=6e-4)
        assert len(told["east"]) == len(told["x"]) == laid.x.size


def test_abscissae_are_titled_by_what_they_count(book: OverlayClient, session: Session) -> None:
    curves = [one.curves for one in all_of(book, session)]
    titles = {
        ("distance", "course"): "Along the common course line [m]",
        ("distance", "on plane"): "Along the course from the end of take-off [m]",
        ("time", "take-off"): "Time from the beginning of take-off [s]",
        ("day", "start"): "Time of day (UTC)",
    }
    for how, title in titles.items():
        overlay = align(curves, *how)  # type: ignore[arg-type]
        assert abscissa_title(overlay) == title
        figure = overlay_figure(overlay, looks(curves), MPH)
        assert figure.layout.xaxis.title.text == title
    assert figure.layout.xaxis.type == "date"
    first = overlay.laid[0]
    line = next(trace for trace in figure.data if trace.name == "A")
    assert line.x[0] == pytest.approx(first.x[0] * 1000.0)
    assert "These are 3 days" not in overlay.notes[0]
    assert "These are 2 days" in overlay.notes[0]


def test_the_plan_view_names_each_pass_where_it_starts(book: OverlayClient, session: Session) -> None:
    curves = [one.curves for one in all_of(book, session)]
    overlay = align(curves, "distance", "start")
    plan = overlay_plan(overlay, looks(curves))
    assert [trace.name for trace in plan.data] == list("ABCD")
    assert plan.data[0].customdata[0] == overlay.laid[0].x[0]
    assert sorted(note.text for note in plan.layout.annotations) == ["<b>← B D</b>", "<b>→ A C</b>"]
    assert 0.6 <= plan_aspect(overlay) <= 2.6
    nowhere = [type(c)(**{**vars(c), "east_m": None, "north_m": None}) for c in curves]
    empty = overlay_plan(align(nowhere, "time", "start"), looks(nowhere))
    assert empty.layout.annotations[0].text == "No positions: no plan view"


def text_of(component: object) -> str:
    if isinstance(component, list | tuple):
        return "".join(map(text_of, component))
    children = getattr(component, "children", component)
    return "" if children is None else children if isinstance(children, str) else text_of(children)


def test_sheets_are_told_against_the_first_or_said_to_be_one_or_none(
    book: OverlayClient, session: Session
) -> None:
    chosen = all_of(book, session)
    looked = looks([one.curves for one in chosen])

    def told(*which: int) -> str:
        some = [chosen[k] for k in which]
        groups = sheet_groups([one.sheet for one in some])
        return text_of(sheets(groups, some, [looked[k] for k in which]))

    assert told(0, 1) == f"Same sheet: {SHEET.name} of {BOAT}."
    assert told(3, 3) == "No sheet recorded for any of them."
    whole = told(0, 1, 2, 3)
    assert f"{SHEET.name}, {BOAT}The other sheets are compared with this one." in whole
    assert "Another boat.Propeller pitch: 63 mm → not stated" in whole
    assert whole.endswith("D ← no sheet recorded")
    assert sheets((), (), ()) == []


def test_what_is_left_out_or_lacking_is_said(book: OverlayClient, session: Session) -> None:
    chosen = all_of(book, session)
    curves = [one.curves for one in chosen]
    curves[1] = type(curves[1])(**{**vars(curves[1]), "start_utc": None})
    said = text_of(overlay_remarks(align(curves, "day", "start"), chosen, looks(curves), ("9.P1: gone",)))
    assert said.startswith("9.P1: goneB ← P2, Kittiwake, outing 1, ")
    assert "is left out: its log does not state the day" in said
    assert "A, B, C, D: no motor log." in said


def test_a_common_line_is_no_place_to_count_time_from() -> None:
    data, chosen = origins("time", "course")
    assert chosen == "start"
    assert "course" not in {one["value"] for one in data}
    assert origins("distance", "course")[1] == "course"


def test_an_outing_leads_to_its_passes() -> None:
    links = [part for part in passes_beside(4, 12).children if hasattr(part, "href")]
    assert links[0].href == "/overlay?pass=4.P1"
    assert links[-1].href == "/overlay?pass=" + ",".join(f"4.P{k}" for k in range(1, 11))
    assert text_of(links[-1]) == "the first 10 together"
    assert text_of(passes_beside(4, 0)) == ""


def test_the_page_answers_over_http(url: str) -> None:
    client = DashClient(create_app(Config(Sessions(), logbook=url)))
    told = {
        "overlay-passes.value": ["1.P1", "2.P1"],
        "overlay-over.value": "time",
        "overlay-from.value": "take-off",
        "unit.value": "mph",
        "session.data": new_token(),
    }
    answer = client.call("lay_passes", told | {"surroundings.data": None}, "overlay-over.value")
    assert len(answer["overlay-plots"]["figure"]["data"]) >= 4
    assert answer["overlay-cursor-data"]["data"]["abscissa"]["kind"] == "time"
    assert not answer["overlay-drawn"]["hidden"]
    patch = client.call(
        "look_closer_at_passes", told | {"overlay-zoom.data": [1.0, 2.0]}, "overlay-zoom.data"
    )
    assert patch["overlay-plots"]["figure"]["operations"]
    old = told | {"overlay-passes.value": ["1.P1", "0.P7"]}
    groups = client.call("offer_passes", old, "unit.value")["overlay-passes"]["data"]
    assert groups[0]["group"].startswith(OTHER_BOAT)
    assert groups[-1] == {"group": "From the address", "items": [{"value": "0.P7", "label": "0.P7"}]}
