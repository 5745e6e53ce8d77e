"""The bench page: its services, its figures, and its callbacks as the browser calls them."""

import base64
import json
from collections.abc import Iterator
from pathlib import Path

import dash
import pytest
from bench_fixture import found, sheet
from dash_client import DashClient

from dashboard.app import Config, create_app
from dashboard.features.bench.figures import SIGN_DRAWINGS, sign_drawing
from dashboard.features.bench.gauges import KeptGauges, sign_of, steps_of
from dashboard.features.bench.logbook import BenchClient
from dashboard.features.bench.service import (
    FIRST_ITEMS,
    BenchEntry,
    OnBench,
    blank_sheet,
    entries_in,
    next_sheet,
    own_item,
    rows_of,
    sheet_of_file,
    showing_of,
    sign_words,
    tell,
)
from dashboard.ui.palette import LIGHT
from telemetry.core.errors import SetupError
from telemetry.logbook import open_logbook
from telemetry.setup import SIGNS, BenchDisplay, toml_text

MM = BenchDisplay()
KESTREL = OnBench(sheet())


@pytest.fixture
def book(tmp_path: Path) -> BenchClient:
    return BenchClient(str(tmp_path / "lake.sqlite"))


@pytest.fixture
def client(book: BenchClient) -> Iterator[DashClient]:
    dash.page_registry.clear()
    yield DashClient(create_app(Config(logbook=book.url)))
    dash.page_registry.clear()


def test_rows_ask_for_what_can_move_and_for_what_was_added() -> None:
    names = [row.item.name for row in rows_of(KESTREL, ["cells"], [BenchEntry("cells", "8")], MM)]
    assert "strut_depth_mm" in names
    assert "prop_diameter_mm" not in names
    rows = {row.item.name: row for row in rows_of(KESTREL, ["cells"], [BenchEntry("cells", "8")], MM)}
    assert (rows["cells"].as_set, rows["cells"].entry.value, rows["cells"].gauges) == ("6", "8", ())
    assert rows["strut_depth_mm"].gauges[0] == "caliper"
    blank = OnBench(blank_sheet("Heron"))
    assert {row.item.name for row in rows_of(blank, [], [], MM)} == set(FIRST_ITEMS)


def test_typed_values_are_judged_with_their_gauges_and_errors_stay_at_their_field() -> None:
    told = tell(
        KESTREL,
        None,
        [
            BenchEntry("strut_depth_mm", "6"),
            BenchEntry("tab_gap_left_inner_mm", "3", "0.5"),
            BenchEntry("strut_angle_deg", "steep"),
            BenchEntry("rudder_toe_deg", ""),
        ],
        MM,
    )
    verdicts = {name: row.verdict for name, row in told.verdicts.items()}
    assert verdicts["strut_depth_mm"] == "moved"
    assert verdicts["tab_gap_left_inner_mm"] == "cannot tell"
    assert verdicts["strut_angle_deg"] == "cannot tell"
    assert "not a measured value" in told.errors["strut_angle_deg"]
    assert any(step.item and step.item.name == "strut_depth_mm" for step in told.steps)
    assert "Raise the strut, by 3 mm" in " ".join(told.card.split())


def test_heights_that_contradict_their_span_are_said_at_the_span() -> None:
    entries = [
        BenchEntry("strut_height_front_mm", "0"),
        BenchEntry("strut_height_rear_mm", "90"),
        BenchEntry("strut_span_mm", "50"),
    ]
    told = tell(KESTREL, None, entries, MM)
    assert "cannot differ" in told.errors["strut_span_mm"]


def test_two_heights_tell_angle_and_depth_at_the_propeller() -> None:
    heights = {
        "strut_height_front_mm": "20",
        "strut_height_rear_mm": "21",
        "strut_span_mm": "60",
        "base_block_mm": "24",
        "strut_overhang_mm": "30",
    }
    told = tell(KESTREL, None, [BenchEntry(name, value) for name, value in heights.items()], MM)
    assert told.verdicts["strut_angle_deg"].verdict == "moved"  # 0.955 deg (CHECKS.md) where 1.8 was set
    assert told.verdicts["strut_depth_mm"].verdict == "as set"
    assert "Depth at the propeller 2.5" in told.strut  # 3.0 - 30 x 1/60
    assert told.strut in told.card


def test_a_change_of_units_or_signs_changes_the_words_and_not_the_verdict() -> None:
    entries = [
        BenchEntry("strut_depth_mm", "3.1", "0.1"),
        BenchEntry("strut_angle_deg", "1.9"),
        BenchEntry("prop_name", "X45"),
    ]
    inches = showing_of("in", "g", ["strut-angle"])
    again = entries_in([*entries, BenchEntry("rudder_toe_deg", "x")], KESTREL, MM, inches)
    assert again[1].value == "-1.9"
    assert again[3].value == "x"
    before, after = tell(KESTREL, None, entries, MM), tell(KESTREL, None, again, inches)
    assert {n: r.verdict for n, r in before.verdicts.items()} == {
        n: r.verdict for n, r in after.verdicts.items()
    }
    back = entries_in(again, KESTREL, inches, MM)
    assert float(back[0].value) == pytest.approx(3.1, abs=1e-7)
    assert back[0].gauge == "0.1 mm"


def test_what_was_typed_becomes_the_next_sheet_or_the_first() -> None:
    new = next_sheet(sheet(), found(strut_depth_mm=3.5), " rough ")
    assert (new.name, new.parent, new.value("strut_depth_mm")) == ("rough", sheet().sheet_id, 3.5)
    first = next_sheet(
        blank_sheet("Heron"),
        tell(OnBench(blank_sheet("Heron")), None, [BenchEntry("cells", "6")], MM).found,
        "a",
    )
    assert (first.boat, first.parent) == ("Heron", None)
    for measured, name, said in ((found(), "x", "no value was entered"), (found(cells=6.0), " ", "no name")):
        with pytest.raises(SetupError, match=said):
            next_sheet(sheet(), measured, name)


def test_an_item_of_the_boat_alone_is_asked_for_and_goes_with_the_next_sheet() -> None:
    wing = own_item("Wing height", "mm", "1/32 in")
    bench = OnBench(sheet(), (wing,))
    assert OnBench.from_dict(json.loads(json.dumps(bench.to_dict()))) == bench
    assert bench.sheet == sheet()
    assert wing.name in {row.item.name for row in rows_of(bench, [], [], MM)}
    told = tell(bench, None, [BenchEntry(wing.name, "40")], MM)
    assert next_sheet(sheet(), told.found, "winged").value(wing.name) == 40.0
    assert own_item("Lid", "text", "").kind == "text"
    with pytest.raises(SetupError):
        own_item("", "mm", "")


def test_a_dropped_file_is_a_sheet_or_a_sentence() -> None:
    assert sheet_of_file("calm.toml", toml_text(sheet().to_dict()).encode()) == sheet()
    with pytest.raises(SetupError, match=r"holiday\.jpg"):
        sheet_of_file("holiday.jpg", b"\xff\xd8\xff\xe0")


def test_signs_are_told_as_the_user_counts() -> None:
    assert len(sign_words(MM)) == len(SIGNS)
    words, turned = dict(sign_words(MM)), dict(sign_words(showing_of(None, None, ["tab-gap", "unknown"])))
    assert words["Tab gap"] != turned["Tab gap"]
    assert words["Strut depth"] == turned["Strut depth"]


def arrow(figure, text: str) -> tuple[float, float]:
    """From where to where the arrow beside a word goes, upwards."""
    notes = [note for note in figure.layout.annotations if note.showarrow]
    word = next(note for note in figure.layout.annotations if note.text == text)
    nearest = min(notes, key=lambda note: abs(note.x - word.x) + abs(note.y - word.y))
    return nearest.ay, nearest.y


def test_the_drawings_point_where_the_words_say() -> None:
    depth, angle, gap, toe, fin = (
        arrow(sign_drawing(sign, LIGHT, MM), text)
        for sign, text in (
            ("strut-depth", "+ depth"),
            ("strut-angle", "+ angle"),
            ("tab-gap", "+ gap"),
            ("rudder-toe", "+ toe"),
            ("fin-toe", "+ toe"),
        )
    )
    assert depth[1] < depth[0]
    assert angle[1] > angle[0]
    assert gap[1] > gap[0]
    assert toe[1] < 0.0  # to starboard, which lies below the keel line where the bow is to the right
    assert fin[1] < fin[0]  # of the port fin, to the keel line
    assert leaning(MM) > 0.0  # to starboard, which is to the right from astern
    other = BenchDisplay(turned=frozenset(SIGNS))
    assert arrow(sign_drawing("strut-depth", LIGHT, other), "+ depth")[1] == 0.0
    assert arrow(sign_drawing("strut-angle", LIGHT, other), "+ angle")[1] < -1.5
    assert arrow(sign_drawing("tab-gap", LIGHT, other), "+ gap")[1] < 0.0
    assert arrow(sign_drawing("rudder-toe", LIGHT, other), "+ toe")[1] > 0.0
    assert arrow(sign_drawing("fin-toe", LIGHT, other), "+ toe")[1] > fin[0]
    assert leaning(other) < 0.0


def leaning(showing: BenchDisplay) -> float:
    """To where the arrow of the rudder's lean points, to the right."""
    (note,) = (n for n in sign_drawing("rudder-plumb", LIGHT, showing).layout.annotations if n.showarrow)
    return note.x


def test_every_sign_has_its_drawing() -> None:
    drawn = {sign_drawing(sign, LIGHT, MM).to_json() for sign in SIGNS}
    assert drawn == {draw(LIGHT, MM).to_json() for draw in SIGN_DRAWINGS.values()}
    assert sign_of("tab_gap_left_inner_mm") == "tab-gap"
    assert sign_of("turn_fin_right_toe_deg") == "fin-toe"
    assert sign_of("turn_fin_right_depth_mm") is None


def test_gauges_are_kept_by_what_they_measure() -> None:
    kept = KeptGauges.of(["0.02", "", "5"])
    entries = [
        BenchEntry("strut_depth_mm", "125"),
        BenchEntry("strut_angle_deg", "1.8", "0.5"),
        BenchEntry("cells", "6"),
    ]
    thou = BenchDisplay("thou")
    depth, angle, cells = kept.put_in(entries, KESTREL)
    assert depth.gauge == "0.02 mm"  # as it was kept, whatever lengths are shown in today
    assert (angle.gauge, cells.gauge) == ("0.5", "")
    told = tell(KESTREL, None, [depth], thou)
    gauge = told.found.readings["strut_depth_mm"].gauge
    assert gauge is not None
    assert gauge.resolution == pytest.approx(0.02)
    rows = {row.item.name: row for row in rows_of(KESTREL, [], [], MM, kept.usable)}
    assert (rows["strut_depth_mm"].usual, rows["strut_angle_deg"].usual) == ("0.02 mm", "angle gauge")
    wrong = KeptGauges.of(["scale", "steep", "1/10 oz"])
    assert [bool(error) for error in wrong.errors()] == [True, True, False]
    assert wrong.put_in([BenchEntry("strut_depth_mm", "3")], KESTREL)[0].gauge == ""


def test_a_button_goes_by_the_gauges_step_in_the_users_unit() -> None:
    entries = [
        BenchEntry("strut_depth_mm", "1/8 in", "0.05 mm"),
        BenchEntry("tab_gap_left_inner_mm"),
        BenchEntry("cells", "6"),
        BenchEntry("rudder_depth_mm", "deep", "coarse"),
        BenchEntry("prop_name", "X45"),
    ]
    steps = steps_of(KESTREL, entries, MM)
    assert steps["strut_depth_mm"] == {"step": 0.05, "now": 3.175, "set": 3.0}
    assert steps["tab_gap_left_inner_mm"] == {"step": 0.05, "now": None, "set": 3.0}
    assert steps["cells"] == {"step": 1.0, "now": 6.0, "set": 6.0}
    assert steps["rudder_depth_mm"] == {"step": 0.5, "now": None, "set": None}
    assert "prop_name" not in steps
    inches = steps_of(KESTREL, entries[:1], showing_of("thou", None, ["strut-depth"]))
    assert inches["strut_depth_mm"] == {"step": 1.9685, "now": 125.0, "set": -118.11}


def test_the_logbook_takes_sheets_founds_items_and_service(book: BenchClient) -> None:
    assert book.boats() == ()
    assert book.last_set() is None
    assert {row.verdict for row in book.service(None)} == {"cannot tell"}
    rough = sheet().edit(
        {"strut_depth_mm": found(strut_depth_mm=3.5).readings["strut_depth_mm"]}, name="rough"
    )
    assert book.keep_sheet(rough, sheet()) == rough
    assert [choice.label.split()[0] for choice in book.sheets("Kestrel")] == ["rough", "calm"]
    assert book.last_set() == "Kestrel"
    assert book.sheet(rough.sheet_id) == rough
    book.keep_found(found(strut_depth_mm=6.0))
    book.add_own_item("Kestrel", own_item("Wing height", "mm", ""))
    assert [item.title for item in book.own_items("Kestrel")] == ["Wing height"]
    assert book.own_items("Heron") == ()
    book.done("Kestrel", "hinge-slop")
    book.set_task("Kestrel", "hinge-slop", 4.0, None, None)
    book.set_task("Kestrel", "fail-safe", None, None, None)
    rows = {row.task.name: row for row in book.service("Kestrel")}
    assert rows["hinge-slop"].verdict == "not due"
    assert rows["hinge-slop"].task.interval_text() == "every 4 runs"
    assert "fail-safe" not in rows
    with open_logbook(book.url) as logbook:
        assert len(logbook.founds("Kestrel")) == 1


def test_a_file_lies_on_the_bench_and_a_wrong_one_is_explained(client: DashClient) -> None:
    def lay(name: str, content: bytes):
        contents = "data:;base64," + base64.b64encode(content).decode()
        return client.call(
            "lay_file", {"bench-file.contents": contents, "bench-file.filename": name}, "bench-file.contents"
        )

    laid = lay("calm.toml", toml_text(sheet().to_dict()).encode())
    assert OnBench.from_dict(laid["bench-sheet"]["data"]) == KESTREL
    refused = lay("calm.toml", b"boat = 3")
    assert "calm.toml" in refused["bench-file-error"]["children"]
    assert "bench-sheet" not in refused


def test_keeping_the_next_sheet_needs_a_name_and_then_is_in_the_logbook(
    client: DashClient, book: BenchClient
) -> None:
    typed = {
        "bench-sheet.data": KESTREL.to_dict(),
        "bench-entries.data": {
            "boat": "Kestrel",
            "rows": [["strut_depth_mm", "3.5", ""]],
            "gauges": ["0.02"],
        },
        "length-unit.value": "mm",
        "mass-unit.value": "kg",
        "bench-turned.value": [],
        "bench-kept.data": 0,
    }
    refused = client.call("keep_sheet", typed, "bench-keep-sheet.n_clicks")
    assert "no name" in refused["bench-done"]["children"]
    client.call("keep_sheet", typed | {"bench-next-name.value": "rough"}, "bench-keep-sheet.n_clicks")
    assert [choice.label.split()[0] for choice in book.sheets("Kestrel")] == ["rough", "calm"]
    client.call("keep_found", typed | {"bench-found-note.value": " a crash "}, "bench-keep-found.n_clicks")
    with open_logbook(book.url) as logbook:
        (kept,) = logbook.founds("Kestrel")
    assert (kept.value("strut_depth_mm"), kept.note) == (3.5, "a crash")
    gauge = kept.readings["strut_depth_mm"].gauge
    assert gauge is not None
    assert (gauge.resolution, gauge.unit) == (0.02, "mm")  # as it is kept beside the fields
    saved = client.call("save_sheet", typed | {"bench-next-name.value": "rough"}, "bench-save-sheet.n_clicks")
    assert 'name = "rough"' in saved["bench-download"]["data"]["content"]
