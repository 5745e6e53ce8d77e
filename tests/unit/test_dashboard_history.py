"""The page "History": what it gathers, draws and says, against the library and the command line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import dash
import pytest
from compare_fixture import outing, sheet
from dash_client import DashClient
from seasons import BOAT
from test_dashboard_compare import text_of

from dashboard.app import Config, create_app
from dashboard.features.compare.trial_figure import trial_figure
from dashboard.features.history.figures import SYMBOLS, outings_figure
from dashboard.features.history.service import HistoryClient, Past
from dashboard.features.history.view import events_told
from telemetry.cli import main
from telemetry.compare import Units, boat_history, next_trial
from telemetry.core.units import SPEED_UNITS, speed_text
from telemetry.logbook import OutingSearch, SavedIncident, SavedTwoWay, open_logbook
from telemetry.logbook.importing import press_document
from telemetry.logbook.tables import AnalysisRow
from telemetry.setup import FoundMeasure, Reading, steps_back


@pytest.fixture(scope="module")
def url(season_url: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The season, and after it a sheet that was never run, a measuring as found and a service done."""
    folder = tmp_path_factory.mktemp("history")
    address = str(folder / "lake.sqlite")
    with open_logbook(season_url) as season, open_logbook(address) as book:
        book.restore(season.backup(folder / "season.zip").file)
        (last,) = book.sheets(BOAT)[-1:]
        book.add_sheet(
            last.edit(
                {"strut_depth_mm": Reading(3.5), "strut_angle_deg": Reading(2.5)},
                name="Deep again",
                made_utc=datetime(2025, 7, 1, tzinfo=UTC),
            )
        )
        book.add_found(
            FoundMeasure(
                BOAT,
                {"strut_depth_mm": Reading(5.0), "strut_angle_deg": Reading(2.5)},
                found_utc=datetime(2025, 7, 5, tzinfo=UTC),
                note="after a crash",
            )
        )
        book.service_done(BOAT, "fail-safe")
    return address


@pytest.fixture
def past(url: str) -> Past:
    found = HistoryClient(url).past(BOAT)
    assert found is not None
    return found


@pytest.fixture
def client(url: str) -> Iterator[DashClient]:
    dash.page_registry.clear()
    yield DashClient(create_app(Config(logbook=url)))
    dash.page_registry.clear()


def test_the_past_is_what_the_library_says_of_it(past: Past, url: str) -> None:
    with open_logbook(url) as book:
        sheets = {sheet.sheet_id: sheet for sheet in book.sheets(BOAT)}
        told = boat_history(book.evidence(BOAT), sheets)
        assert past.outings == book.outings(OutingSearch(boat=BOAT, descending=False))
        (top,) = book.outings(OutingSearch(boat=BOAT, sort="two-way", limit=1))
        assert past.due == book.service(BOAT)
        (found,) = book.founds(BOAT)
    assert past.sheets.to_dict() == told.to_dict()
    assert past.best is not None
    assert (past.best.outing_id, past.best.average_mps) == (top.id, top.best_two_way_mps)
    assert past.best_counting == past.best
    assert list(past.letters.values()) == ["A", "B", "C"]
    assert past.tune.latest is not None
    assert past.tune.best is not None
    assert (past.tune.latest.name, past.tune.best.name) == ("Deep again", "Strut 2.0 mm")
    assert [change.item.name for change in past.tune.changes] == ["strut_depth_mm", "strut_angle_deg"]
    as_set = FoundMeasure(BOAT, past.tune.latest.readings)
    every = steps_back(past.tune.best, as_set, past.tune.latest)
    assert [s.text() for s in past.tune.steps] == [s.text() for s in every if s.kind in ("set", "check")]
    (one,) = past.founds
    assert (one.found, one.sheet) == (found, "Deep again")
    assert [row.item.name for row in one.moved] == ["strut_depth_mm"]
    assert HistoryClient(url).past("Nobody") is None
    assert HistoryClient(url).past(None) is None


def test_two_ways_come_out_of_the_tables_as_the_analyses_have_them(url: str) -> None:
    with open_logbook(url) as book:
        two_ways = book.two_ways(BOAT)
        of_third = book.analysis(3)
        start = {p["id"]: p["start_utc"] for p in of_third["passes"]}
        expected = [
            SavedTwoWay(
                3,
                w["id"],
                w["rule"],
                datetime.fromisoformat(start[w["passes"][0]]),
                w["distance_m"],
                w["average_mps"],
                w["u95_mps"],
                w["verdict"],
            )
            for w in of_third["two_ways"]
        ]
        assert [w for w in two_ways if w.outing_id == 3] == expected
        assert book.upsets(BOAT) == ()


def test_the_plot_has_every_two_way_every_peak_and_the_best_ringed(past: Past) -> None:
    figure = outings_figure(past.outings, past.two_ways, past.letters, past.best, "km/h")
    unit = SPEED_UNITS["km/h"]
    traces = {trace.name: trace for trace in figure.data}
    counting = [w for w in past.two_ways if w.verdict == "counts"]
    assert list(traces["counts"].y) == pytest.approx([unit.from_si(w.average_mps) for w in counting])
    assert list(traces["counts"].error_y.array) == pytest.approx(
        [w.u95_mps / unit.factor_si for w in counting]
    )
    assert list(traces["peak"].y) == pytest.approx([unit.from_si(o.best_peak_mps or 0) for o in past.outings])
    assert past.best is not None
    assert list(traces["best"].y) == pytest.approx([unit.from_si(past.best.average_mps)])
    assert [note.text for note in figure.layout.annotations] == ["<b>A</b>", "<b>B</b>", "<b>C</b>"]
    assert speed_text(past.best.average_mps, "km/h", past.best.u95_mps) in " ".join(
        traces["counts"].hovertext
    )


def test_each_verdict_has_a_shape_of_its_own(past: Past) -> None:
    others = [
        SavedTwoWay(w.outing_id, w.two_way_id, w.rule, None, w.distance_m, w.average_mps, w.u95_mps, verdict)
        for w, verdict in zip(past.two_ways, SYMBOLS, strict=False)
    ]
    figure = outings_figure(past.outings, others, past.letters, None, "mph")
    shapes = {trace.name: trace.marker.symbol for trace in figure.data if trace.name != "peak"}
    assert shapes == dict(SYMBOLS)
    assert len(set(shapes.values())) == 3
    assert "No outing" in outings_figure((), (), {}, None, "mph").layout.annotations[0].text


def test_letters_stand_where_there_is_room_for_so_many(past: Past) -> None:
    runs = [outing for _ in range(12) for outing in past.outings[::2]]  # 36 runs of a sheet
    letters = {
        coarse: outings_figure(runs, (), past.letters, None, "mph", coarse=coarse).layout.annotations
        for coarse in (False, True)
    }
    assert [note.text for note in letters[False][:4]] == ["<b>A</b>", "<b>B</b>", "<b>C</b>", "<b>A</b>"]
    assert letters[True] == ()


def test_the_trial_is_drawn_as_it_is_advised() -> None:
    evidence, sheets = [], {}
    for k, depth in enumerate((3.0, 2.5, 2.0)):
        one = sheet(f"{depth:g}", strut_depth_mm=depth)
        sheets[one.sheet_id] = one
        for n in range(2):
            level = 24.0 + 0.4 * k + 0.03 * n
            evidence += outing(one, 2 * k + n, [level, level + 0.04, level - 0.05])
    trial = next_trial(evidence, sheets).trial
    assert trial is not None
    assert trial.curve[0][0] == trial.value
    assert trial.curve[0][1] == pytest.approx(trial.expected, rel=1e-3)
    assert trial.curve[0][2] == pytest.approx(trial.u95, rel=0.25)  # a normal interval
    figure = trial_figure(trial, Units("m/s"))
    traces = {trace.name: trace for trace in figure.data if trace.name}
    assert list(traces["tried"].x) == [2.0, 2.5, 3.0]
    assert list(traces["tried"].y) == pytest.approx([mean for _, mean, _, _ in trial.tried])
    assert (traces["to try"].x[0], traces["to try"].y[0]) == (1.5, pytest.approx(trial.expected))
    assert traces["to try"].error_y.array[0] == pytest.approx(trial.u95)
    assert "No step" in trial_figure(None, Units()).layout.annotations[0].text


def test_the_page_says_what_the_command_line_says(
    client: DashClient, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    seen = {"dark": False, "coarse": True}
    values = {
        "history-boat.value": BOAT,
        "unit.value": "mph",
        "temperature-unit.value": "°C",
        "surroundings.data": seen,
    }
    shown = client.call("show_past", values, "history-boat.value")

    def words(part: str) -> str:
        return text_of(shown[part]["children"])

    def asked(*call: str) -> Any:
        assert main([*call, "--logbook", url]) == 0
        return capsys.readouterr().out

    for point in json.loads(asked("history", BOAT, "--json"))["points"]:
        assert f"{point['mean'] / 0.44704:.2f} ± {point['u95'] / 0.44704:.2f} mph" in words(
            "history-sheets-told"
        )
    first = asked("outings", "--sort", "two-way", "--limit", "1").splitlines()[1]
    assert " ".join(words("history-best").split()[:4]) in first
    rows = [line.split() for line in asked("service", "--boat", BOAT).splitlines()]
    due = [row[1] for row in rows if row and row[0] in "!~"]
    assert len(due) > 3
    assert all(first_word in words("history-due-told") for first_word in due)
    assert "After a crash." in words("history-events-told")
    trial = client.call("show_next", values, "history-boat.value")
    reason = json.loads(asked("next", BOAT, "--json"))["reason"]
    assert reason in text_of(trial["history-advice-told"]["children"]).lower()


def test_the_best_tune_is_put_back_at_the_bench(client: DashClient, past: Past) -> None:
    values = {"history-boat.value": BOAT, "unit.value": "mph", "surroundings.data": None}
    told = client.call("show_past", values, "history-boat.value")["history-tune-told"]["children"]
    assert past.tune.latest is not None
    assert past.tune.best is not None
    latest, best = past.tune.latest.sheet_id, past.tune.best.sheet_id
    assert f"/bench?boat={BOAT}&sheet={latest}&back={best}" in json.dumps(told)
    asked = {"boat": BOAT, "sheet": latest, "back": best}
    bench = client.call(
        "list_sheets",
        {"bench-boat.value": BOAT, "bench-kept.data": 0, "bench-asked.data": asked},
        "bench-boat.value",
    )
    assert (bench["bench-sheets"]["value"], bench["bench-targets"]["value"]) == (latest, best)


def test_an_upset_is_told_with_its_evidence(url: str, tmp_path: Path) -> None:
    event = {"kind": "blow-over", "pass_id": "P2", "verdict": "shown", "why": "it stopped", "start_utc": None}
    clean = event | {"kind": "veer", "verdict": "not seen"}
    copy = str(tmp_path / "upset.sqlite")
    with open_logbook(copy) as other, open_logbook(url) as book:
        other.restore(book.backup(tmp_path / "backup.zip").file)
        told = other.analysis(1) | {"ride": [event, clean]}
        with other._writing() as session:
            session.get_one(AnalysisRow, 1).document = press_document(told)
        assert other.upsets(BOAT) == (SavedIncident(1, "blow-over", "P2", "shown", "it stopped", None),)
    past = HistoryClient(copy).past(BOAT)
    assert past is not None
    (line,) = events_told(past)[0].children
    assert "blow-over" in str(line)
    assert "It stopped." in str(line)
