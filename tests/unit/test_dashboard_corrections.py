"""Correcting by hand from the page "After the water": what the fields mean, what follows, what is kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import dash
import numpy as np
import pytest
from dash_client import DashClient
from made_tracks import altered, made_track

from dashboard.app import Config, create_app
from dashboard.features.corrections import service as byhand
from dashboard.features.corrections.clock_figure import clock_view
from dashboard.features.corrections.figures import cut_shades
from dashboard.features.logbook.service import LogbookClient
from dashboard.features.run.request_form import RequestForm, request_of
from dashboard.features.run.speed_figure import speed_time
from dashboard.features.save.form import OutingEntry
from dashboard.features.save.service import save_outing
from dashboard.session.intake import put_in
from dashboard.session.sessions import Sessions, new_token
from dashboard.session.tab_session import Session
from dashboard.session.uploads import read_upload
from dashboard.ui.palette import LIGHT
from dashboard.ui.time_axis import time_axis
from sample_logs import data_folder
from sample_logs.writers import to_csv
from telemetry.analysis import Analysis
from telemetry.cleaning.corrections import ByHand, Cut, log_key, parse_moment_s
from telemetry.core.errors import CallError
from telemetry.core.units import SPEED_UNITS
from telemetry.logbook import Boat, open_logbook
from telemetry.readers import ReadOptions
from telemetry.setup import BenchDisplay, SetupSheet

MPS = SPEED_UNITS["m/s"]
ASKED = {name: getattr(RequestForm(), name) for name in RequestForm.__slots__}


def loaded(*names: str, session: Session | None = None) -> tuple[Session, Analysis]:
    session = session or Session()
    options = ReadOptions(pole_pairs=3)
    put_in(session, [read_upload(n, (data_folder() / n).read_bytes(), options) for n in names])
    return session, now(session)


def now(session: Session) -> Analysis:
    analysis = session.analysis(request_of(session, RequestForm()))
    assert analysis is not None
    return analysis


def spiked() -> tuple[Session, Analysis]:
    track = made_track()
    speed = track.frame["speed_mps"].to_numpy().copy()
    speed[120] = 33.0
    session = Session()
    put_in(session, [read_upload("spike.csv", to_csv(altered(track, speed_mps=speed)))])
    return session, now(session)


def test_what_is_marked_on_the_plot_is_read_back_as_the_same_moments() -> None:
    _, analysis = loaded("four_passes.gpx")
    track = analysis.speed_logs[0].read
    axis = time_axis(analysis)
    marked = byhand.marked(analysis, tuple(axis.at(0, [36.25, 38.5]).tolist()))
    assert marked is not None
    key, start, end = marked
    assert key == log_key(track.meta)
    assert (parse_moment_s(start, track), parse_moment_s(end, track)) == pytest.approx(
        (36.25, 38.5), abs=0.006
    )
    assert byhand.marked(analysis, (0.0, 1.0)) is None  # 1970


def test_a_log_without_a_day_is_marked_in_seconds() -> None:
    frame = made_track().frame.reset_index()
    names = {"t_s": "time (s)", "lat_deg": "latitude", "lon_deg": "longitude", "speed_mps": "speed (m/s)"}
    data = frame[list(names)].rename(columns=names).to_csv(index=False).encode()
    session = Session()
    put_in(session, [read_upload("undated.csv", data)])
    assert byhand.marked(now(session), (12.0, 14.0)) is not None
    key, start, end = byhand.marked(now(session), (12.0, 14.0)) or ("", "", "")
    assert (start, end) == ("12.00", "14.00")
    byhand.cut_out(session, now(session), key, start, end, " spray ")
    (done,) = byhand.done(session, now(session))
    assert (done.what, done.why) == ("Cut: 12.00 to 14.00 s, 21 samples", "spray")


def test_a_cut_changes_the_answer_and_restored_it_is_the_same_again() -> None:
    session, before = loaded("four_passes.gpx", "four_passes_motor.csv")
    key, _ = byhand.speed_logs(before)[0]
    one = before.passes[1]
    track = before.speed_logs[0].read
    start, end = (byhand.moment_text(track, t) for t in (one.start_s - 5.0, one.end_s + 5.0))
    revision = session.revision
    byhand.cut_out(session, before, key, start, end, "")
    assert session.revision > revision
    after = now(session)
    assert len(after.passes) == len(before.passes) - 1
    (done,) = byhand.done(session, after)
    byhand.take_back(session, done.key)
    assert now(session).to_dict() == before.to_dict()
    assert byhand.done(session, now(session)) == ()


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        ("", "12", "no stretch is marked"),
        ("12", "noon", "is not a time"),
        ("14", "12", "no sample lies between"),
        ("900", "901", "no sample lies between"),
    ],
)
def test_what_cannot_be_cut_is_said_and_changes_nothing(start: str, end: str, said: str) -> None:
    session, analysis = spiked()
    key, _ = byhand.speed_logs(analysis)[0]
    with pytest.raises(CallError, match=said):
        byhand.cut_out(session, analysis, key, start, end, "")
    assert session.by_hand == ByHand()


def test_a_spike_is_offered_restored_and_offered_again() -> None:
    session, analysis = spiked()
    (aside,), count = byhand.set_aside(analysis)
    assert count == 1
    assert aside.what == "09:30:12.00 UTC, 1 sample: a speed that the positions contradict"
    byhand.was_real(session, aside.log, aside.start_s, aside.end_s, "a gust")
    restored = now(session)
    assert restored.speed_logs[0].cleaned.speed_ok.all()
    assert byhand.set_aside(restored) == ((), 0)
    (done,) = byhand.done(session, restored)
    assert (done.kind, done.why) == ("restored", "a gust")
    byhand.take_back(session, done.key)
    assert byhand.set_aside(now(session))[0] == (aside,)
    with pytest.raises(CallError, match="nothing was excluded"):
        byhand.restore(session, analysis, aside.log, "20", "22", "")
    byhand.restore(session, analysis, aside.log, "11.5", "12.5", "")
    assert now(session).speed_logs[0].cleaned.speed_ok.all()


def test_the_clock_goes_in_steps_from_the_programs_own_and_back() -> None:
    session, before = loaded("four_passes.gpx", "four_passes_motor.csv")
    found = byhand.clock_now(session, before, None)
    assert found is not None
    _, own = found
    assert (own.by_hand, own.apart) == (False, "")
    byhand.set_clock(session, before, own.motor, None, 1.0)
    byhand.set_clock(session, before, own.motor, None, -0.05)  # pressed before the first was answered
    after = now(session)
    joined, clock = byhand.clock_now(session, after, own.motor) or (None, None)
    assert joined is not None
    assert clock is not None
    assert clock.offset_s == pytest.approx(own.offset_s + 0.95)
    assert joined.clock.drift_ppm == joined.own.drift_ppm
    assert clock.apart == "Your setting differs by 0.95 s."
    assert len(joined.findings) == 1
    byhand.set_clock(session, after, own.motor, -20.0)
    assert now(session).motors[0].clock.offset_s == -20.0
    byhand.own_clock(session, own.motor)
    assert now(session).to_dict() == before.to_dict()
    with pytest.raises(CallError, match="no offset"):
        byhand.seconds("")


def test_corrections_go_with_the_file_they_are_of() -> None:
    session, analysis = loaded("four_passes.gpx", "four_passes_motor.csv")
    found = byhand.clock_now(session, analysis, None)
    assert found is not None
    byhand.set_clock(session, analysis, found[1].motor, None, 1.0)
    key, _ = byhand.speed_logs(analysis)[0]
    byhand.cut_out(session, analysis, key, "2", "4", "")
    session.remove(found[1].motor)
    assert (len(session.by_hand.cuts), session.by_hand.clocks) == (1, ())
    session.remove(key)
    assert session.by_hand == ByHand()


def test_the_plot_shades_what_is_cut_and_draws_it_in_grey() -> None:
    session, analysis = spiked()
    key, _ = byhand.speed_logs(analysis)[0]
    byhand.cut_out(session, analysis, key, "30", "36", "")
    after = now(session)
    figure = speed_time(after, None, MPS)
    (grey,) = [trace for trace in figure.data if trace.name == "cut by hand"]
    assert len(grey.x) == 61
    (crosses,) = [trace for trace in figure.data if trace.name == "cut out"]
    assert len(crosses.x) == 1  # the spike; what a person cut is no cross
    (shade,) = cut_shades(after, time_axis(after), LIGHT)
    assert (shade["x1"] - shade["x0"]) / 1000.0 == pytest.approx(6.0)
    assert shade["label"]["text"] == "cut by hand"
    assert sum(s.line.dash == "dash" for s in figure.layout.shapes) == 1


def test_the_motor_log_is_drawn_where_its_clock_puts_it() -> None:
    _, analysis = loaded("four_passes.gpx", "four_passes_motor.csv")
    (joined,) = analysis.motors
    one = analysis.passes[0]
    figures = [clock_view(analysis, joined, joined.clock.offset_s + d, one, MPS) for d in (0.0, 2.0)]
    lines = [next(t for t in figure.data if t.name == "rpm, scaled") for figure in figures]
    # Power goes off with a sharp edge: it moves by as much as the clock does, on an axis of milliseconds.
    edges = [line.x[np.argmin(np.diff(line.y))] for line in lines]
    assert edges[1] - edges[0] == pytest.approx(2000.0, abs=250.0)
    assert max(lines[0].y) == pytest.approx(max(next(t for t in figures[0].data if t.name == "speed").y))
    assert clock_view(analysis, joined, 0.0, None, MPS).layout.annotations[0].text == "No pass to look at"


@pytest.fixture
def client() -> Iterator[tuple[DashClient, Sessions, str]]:
    dash.page_registry.clear()
    sessions = Sessions(workers=0)
    yield DashClient(create_app(Config(sessions))), sessions, new_token()
    dash.page_registry.clear()


def test_the_callbacks_cut_tell_and_take_back(client: tuple[DashClient, Sessions, str]) -> None:
    http, sessions, token = client
    session, analysis = loaded("four_passes.gpx", session=sessions.open(token))
    key, _ = byhand.speed_logs(analysis)[0]
    fields = {
        "hand-log.value": key,
        "hand-start.value": "2",
        "hand-end.value": "6",
        "hand-why.value": "launching",
        "hand-who.value": "Ada",
        "asked.data": ASKED,
        "session.data": token,
        "hand-cut.n_clicks": 1,
    }
    told = http.call("correct", fields, "hand-cut.n_clicks")
    assert told["hand-said"]["children"] == ""
    assert [cut.why for cut in session.by_hand.cuts] == ["launching"]
    assert session.who == "Ada"
    told = http.call("correct", fields | {"hand-start.value": "soon"}, "hand-cut.n_clicks")
    assert told["hand-said"]["children"].startswith("'soon' is not a time; write seconds")
    listed = http.call("list_corrections", {"asked.data": ASKED, "session.data": token}, "asked.data")
    assert "launching" in str(listed["hand-done"]["children"])


def test_the_page_tells_whether_the_logbook_is_in_step_and_brings_it_there(tmp_path: Path) -> None:
    book = str(tmp_path / "lake.sqlite")
    session, analysis = loaded("four_passes.gpx", "four_passes_motor.csv")
    assert byhand.in_logbook(book, session) is None
    with pytest.raises(CallError, match="not in the logbook"):
        byhand.keep_in_logbook(book, session)
    with open_logbook(book) as logbook:
        sheet = SetupSheet("Kittiwake", name="first")
        files = [data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv")]
        outing = logbook.import_outing(files, Boat("Kittiwake"), sheet, options=ReadOptions(pole_pairs=3))
    number = outing.outing.id
    assert byhand.in_logbook(book, session) is None  # nothing was corrected: nobody has to ask
    key, _ = byhand.speed_logs(analysis)[0]
    byhand.cut_out(session, analysis, key, "2", "6", "launching")
    session.who = "Ada"
    assert byhand.in_logbook(book, session) == byhand.InLogbook(number, in_step=False)
    assert byhand.keep_in_logbook(book, session) == number
    assert byhand.in_logbook(book, session) == byhand.InLogbook(number, in_step=True)
    with open_logbook(book) as logbook:
        (kept,) = logbook.corrections(number)
        assert (kept.correction, kept.who) == (Cut(key, 2.0, 6.0, "launching"), "Ada")


def test_an_outing_is_kept_with_its_corrections_and_laid_open_with_them(tmp_path: Path) -> None:
    book = str(tmp_path / "lake.sqlite")
    session, analysis = loaded("four_passes.gpx", "four_passes_motor.csv")
    key, _ = byhand.speed_logs(analysis)[0]
    byhand.cut_out(session, analysis, key, "2", "6", "launching")
    session.who = "Ada"
    entry = OutingEntry(new_boat="Kittiwake", new_sheet="first")
    save_outing(book, session, "keep", entry, BenchDisplay(), request_of(session, RequestForm()))
    assert session.kept is not None
    number = session.kept.outing.id
    with open_logbook(book) as logbook:
        (kept,) = logbook.corrections(number)
        assert (kept.correction.why, kept.who) == ("launching", "Ada")
        assert logbook.analysis(number)["by_hand"]["cuts"][0]["why"] == "launching"
    assert byhand.in_logbook(book, session) == byhand.InLogbook(number, in_step=True)

    other = Session()
    LogbookClient(book).lay_open(other, number)
    assert other.by_hand == session.by_hand
    assert [one.why for one in byhand.done(other, now(other))] == ["launching"]
