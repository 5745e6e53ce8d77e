"""Sheets: identity, descent, plain types, and what differs."""

import json
from dataclasses import FrozenInstanceError
from datetime import UTC, datetime, timedelta, timezone

import pytest
from bench_fixture import NUMBERS, found, sheet

from telemetry.core.errors import SetupError
from telemetry.setup import (
    FoundMeasure,
    Gauge,
    OwnItem,
    Reading,
    SetupSheet,
    item_changes,
    load_found,
    load_sheet,
    parse_table,
    toml_text,
)

WING = OwnItem(name="wing_height_mm", title="Wing height", unit="mm", at_bench=True)


def test_an_edit_makes_a_new_sheet_in_the_line_of_descent() -> None:
    calm = sheet()
    rough = calm.edit({"strut_depth_mm": Reading(3.5)}, name="rough", note="for chop")
    assert rough != calm
    assert (rough.parent, rough.name, rough.note) == (calm.sheet_id, "rough", "for chop")
    assert calm.value("strut_depth_mm") == 3.0
    back = rough.edit({"strut_depth_mm": Reading(3.0)}, name="calm again")
    assert back == calm
    assert back.sheet_id == calm.sheet_id
    assert {calm, rough, back} == {calm, rough}


def test_a_sheet_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        sheet().name = "other"  # type: ignore[misc]
    with pytest.raises(TypeError):
        sheet().readings["cells"] = Reading(8)  # type: ignore[index]


def test_name_note_time_and_order_of_entry_are_not_the_tune() -> None:
    a = SetupSheet(boat="K", name="a", readings={"cells": Reading(6), "cog_mm": Reading(270)})
    b = SetupSheet(
        boat="K",
        name="b",
        readings={"cog_mm": Reading(270.0), "cells": Reading(6.0)},
        made_utc=datetime(2025, 6, 14, tzinfo=UTC),
        note="x",
    )
    assert a == b
    assert a.sheet_id == b.sheet_id
    assert list(a.readings) == list(b.readings)


@pytest.mark.parametrize(
    "other",
    [
        {"cells": Reading(8)},
        {"cells": None},
        {"strut_depth_mm": Reading(3.0, Gauge("caliper", 0.02, "mm"))},
        {"prop_work": Reading("sharpened")},
    ],
)
def test_value_gauge_and_presence_are_the_tune(other: dict[str, Reading | None]) -> None:
    assert sheet().edit(other).sheet_id != sheet().sheet_id


def test_another_boat_has_another_sheet() -> None:
    assert SetupSheet(boat="A", name="x") != SetupSheet(boat="B", name="x")


def test_own_items_travel_with_the_sheet() -> None:
    first = SetupSheet(boat="K", name="x", readings={"wing_height_mm": Reading(40.0)}, own=(WING,))
    again = SetupSheet.from_dict(json.loads(json.dumps(first.to_dict())))
    assert again == first
    assert again.item("wing_height_mm") == WING
    lower = first.edit({"wing_height_mm": Reading(38.0)})
    (change,) = item_changes(first, lower)
    assert (change.item, change.difference) == (WING, -2.0)
    with pytest.raises(SetupError, match="no such item"):
        first.edit(own=())
    with pytest.raises(SetupError, match="exists already"):
        SetupSheet(boat="K", name="x", own=(WING, WING))


def test_times_are_kept_in_utc_and_need_a_zone() -> None:
    east = datetime(2025, 6, 14, 10, 0, tzinfo=timezone(timedelta(hours=2)))
    made = SetupSheet(boat="K", name="x", made_utc=east)
    assert made.to_dict()["made_utc"] == "2025-06-14T08:00:00.000000Z"
    assert SetupSheet.from_dict(made.to_dict()).made_utc == east
    with pytest.raises(SetupError, match="no zone"):
        SetupSheet(boat="K", name="x", made_utc=datetime(2025, 6, 14))  # noqa: DTZ001  # the point of it


@pytest.mark.parametrize(
    ("table", "place", "said"),
    [
        ({"name": "x"}, "boat", "no name"),
        ({"boat": "K"}, "name", "no name"),
        ({"boat": "K", "name": "x", "colour": "red"}, "colour", "unknown key"),
        (
            {"boat": "K", "name": "x", "readings": {"strut_dept_mm": 3}},
            "strut_dept_mm",
            "did you mean strut_depth_mm",
        ),
        ({"boat": "K", "name": "x", "readings": 3}, "readings", "not a table"),
        ({"boat": "K", "name": "x", "own": 3}, "own", "not a list"),
        ({"boat": 3, "name": "x"}, "boat", "not text"),
        ({"boat": "K", "name": "x", "schema": "other/1"}, "schema", "other/1"),
        ({"boat": "K", "name": "x", "made_utc": "yesterday"}, "made_utc", "not a time"),
        ([], "", "not a table"),
    ],
)
def test_a_table_that_is_no_sheet_is_explained(table: dict[str, object], place: str, said: str) -> None:
    with pytest.raises(SetupError) as refused:
        SetupSheet.from_dict(table, "mine.toml")
    assert "mine.toml" in str(refused.value)
    assert place in refused.value.place
    assert said in str(refused.value)


def test_a_sheet_is_a_file_in_toml_or_json(tmp_path) -> None:
    toml, as_json = tmp_path / "calm.toml", tmp_path / "calm.json"
    toml.write_text(toml_text(sheet().to_dict()), encoding="utf-8")
    as_json.write_text(json.dumps(sheet().to_dict()), encoding="utf-8")
    assert load_sheet(toml) == load_sheet(as_json) == sheet()
    measured = found(strut_depth_mm=6.0)
    toml.write_text(toml_text(measured.to_dict()), encoding="utf-8")
    assert load_found(toml) == measured
    assert isinstance(load_found(toml), FoundMeasure)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"boat = ", "not valid TOML"),
        (b'{"boat": ', "not valid JSON"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"{" + b'"a":{' * 5000, "valid JSON|too deeply nested"),
        (b"# " + b"x" * 1_100_000, "too large"),
    ],
)
def test_a_file_that_is_no_sheet_is_explained(tmp_path, content: bytes, said: str) -> None:
    file = tmp_path / "mine.toml"
    file.write_bytes(content)
    with pytest.raises(SetupError, match=said) as refused:
        load_sheet(file)
    assert "mine.toml" in str(refused.value)


def test_a_missing_file_is_said(tmp_path) -> None:
    with pytest.raises(SetupError, match="cannot be read"):
        load_sheet(tmp_path / "none.toml")


def test_deep_brackets_are_refused_and_not_followed() -> None:
    with pytest.raises(SetupError):
        parse_table("[" * 100_000, "deep.toml")


def test_changes_go_item_by_item_in_the_order_of_a_sheet() -> None:
    rows = item_changes(
        sheet(), sheet(strut_depth_mm=3.05, prop_name="X47", pack_place_mm=190.0).edit({"cells": None})
    )
    assert [row.item.name for row in rows] == ["pack_place_mm", "strut_depth_mm", "prop_name", "cells"]
    assert [row.beyond_gauges for row in rows] == [True, False, True, None]
    assert rows[0].difference == 10.0
    assert item_changes(sheet(), sheet(strut_depth_mm=Reading(3.0, Gauge("caliper", 0.02, "mm")))) == ()
    assert item_changes(sheet(prop_name="X45 "), sheet(prop_name="x45")) == ()


def test_notes_and_how_it_was_measured_are_no_change() -> None:
    assert item_changes(sheet(), sheet(notes="a windy day", hull_length_mm=800.0)) == ()


def test_heights_give_angle_and_depth_where_only_they_are_measured() -> None:
    heights = {
        "strut_height_front_mm": Reading(20.0),
        "strut_height_rear_mm": Reading(21.0),
        "strut_span_mm": Reading(60.0),
        "base_block_mm": Reading(24.0),
    }
    by_heights = SetupSheet(boat="K", name="x", readings=heights)
    assert by_heights.value("strut_angle_deg") == pytest.approx(0.955, abs=5e-4)  # CHECKS.md, computed
    assert by_heights.value("strut_depth_mm") == pytest.approx(3.0)
    assert "strut_height_front_mm" not in by_heights.tune
    measured = by_heights.edit({"strut_angle_deg": Reading(1.0)})
    assert measured.value("strut_angle_deg") == 1.0
    with pytest.raises(SetupError, match="cannot differ"):
        by_heights.edit({"strut_height_rear_mm": Reading(200.0)})


def test_what_is_not_known_is_none() -> None:
    assert sheet().value("timing_deg") is None
    assert sheet().value("prop_name") is None
    assert sheet().value("cells") == NUMBERS["cells"]
