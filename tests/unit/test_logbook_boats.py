"""Boats, their sheets in their line of descent, bench measures and service, on each database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from logbooks import BOAT, OTHER_BOAT, SHEET, add, everything, small_log

from telemetry.cleaning.corrections import ByHand, Cut
from telemetry.core.errors import LogbookError
from telemetry.logbook import Boat, Conditions, Logbook, OutingSearch
from telemetry.logbook.queries import storable
from telemetry.logbook.services import ServiceDone
from telemetry.motor.power import Limits
from telemetry.readers import ReadOptions
from telemetry.setup import FoundMeasure, Gauge, OwnItem, Reading, ServiceTask, SetupSheet, compare_found

NOW = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)


def test_a_boat_comes_back_as_it_was_added(logbook: Logbook) -> None:
    own = OwnItem(name="sponson_step_mm", title="Sponson step", unit="mm", kind="number")
    boat = Boat("Sea  Swallow ", "outrigger", 0.95, "the red one", Limits(current_a=180.0), (own,))
    logbook.add_boat(boat)
    assert logbook.boats() == (replace(boat, name="Sea Swallow"),)
    assert logbook.boat("sea swallow") == logbook.boats()[0]


def test_two_boats_cannot_bear_one_name_whatever_its_case(logbook: Logbook) -> None:
    logbook.add_boat("Ünruh")
    with pytest.raises(LogbookError, match="'üNRUH' is there already"):
        logbook.add_boat("üNRUH")
    with pytest.raises(LogbookError, match="has no name"):
        logbook.add_boat("  ")
    assert [boat.name for boat in logbook.boats()] == ["Ünruh"]


def test_a_boat_is_edited_and_renamed_until_a_sheet_bears_its_name(logbook: Logbook) -> None:
    logbook.add_boat("Ternn")
    logbook.add_boat("Gull")
    assert logbook.edit_boat("Ternn", Boat("Tern", note="corrected")).note == "corrected"
    with pytest.raises(LogbookError, match="taken or empty"):
        logbook.edit_boat("Tern", Boat("GULL"))
    logbook.add_sheet(SetupSheet("Tern", name="first"))
    with pytest.raises(LogbookError, match="has setup sheets"):
        logbook.edit_boat("Tern", Boat("Arctic Tern"))
    assert logbook.edit_boat("tern", Boat("Tern", length_m=0.7)).length_m == 0.7


def test_what_was_found_on_a_boat_goes_with_it_to_its_new_name(logbook: Logbook) -> None:
    logbook.add_boat("Ternn")
    logbook.add_found(FoundMeasure("Ternn", {"strut_depth_mm": Reading(2.0)}, note="after a crash"))
    logbook.edit_boat("Ternn", Boat("Tern"))
    logbook.add_found(FoundMeasure("TERN", {"strut_depth_mm": Reading(3.0)}))
    sheet = logbook.add_sheet(SetupSheet("Tern", {"strut_depth_mm": Reading(2.0)}, name="first"))
    founds = logbook.founds("tern")
    assert [found.boat for found in founds] == ["Tern", "Tern"]
    assert [compare_found(sheet, found)[0].verdict for found in founds] == ["as set", "moved"]


def test_an_unknown_boat_is_an_error_that_names_the_known(fleet: Logbook) -> None:
    with pytest.raises(LogbookError, match=rf"no boat 'Kitty'.*choose {BOAT}, {OTHER_BOAT}"):
        fleet.boat("Kitty")


def test_sheets_keep_their_line_of_descent_and_the_same_tune_is_one_sheet(fleet: Logbook) -> None:
    deeper = SHEET.edit({"strut_depth_mm": Reading(4.0)}, name="deeper", made_utc=NOW + timedelta(days=200))
    fleet.add_sheet(deeper)
    back = deeper.edit({"strut_depth_mm": None}, name="back again")
    assert back == SHEET
    assert fleet.add_sheet(back).name == SHEET.name  # the tune was there: its first name stays
    kept = fleet.sheets(BOAT)
    assert kept == (SHEET, deeper)
    assert [sheet.parent for sheet in kept] == [None, SHEET.sheet_id]
    assert kept[0].made_utc is not None


def test_a_sheet_needs_its_boat_and_its_parent(fleet: Logbook) -> None:
    with pytest.raises(LogbookError, match="no boat 'Nobody'"):
        fleet.add_sheet(SetupSheet("Nobody", name="x"))
    orphan = SetupSheet(BOAT, {"cells": Reading(6.0)}, name="x").edit({"cells": Reading(8.0)})
    with pytest.raises(LogbookError, match="not in the logbook"):
        fleet.add_sheet(orphan)
    with pytest.raises(LogbookError, match=f"the logbook says '{BOAT}'"):
        fleet.add_sheet(SetupSheet(BOAT.upper(), name="x"))
    assert fleet.sheets(BOAT) == (SHEET,)


def test_a_sheet_is_found_by_id_by_its_beginning_and_by_the_latest_of_a_name(fleet: Logbook) -> None:
    later = SHEET.edit({"cells": Reading(6.0)}, made_utc=NOW + timedelta(days=200))
    fleet.add_sheet(later)
    assert fleet.sheet(SHEET.sheet_id) == SHEET
    assert fleet.sheet(SHEET.sheet_id[:6]) == SHEET
    assert fleet.sheet(SHEET.name, BOAT) == later
    for unknown in ("", "no such sheet", SHEET.sheet_id[:2]):
        with pytest.raises(LogbookError, match="no sheet that is called or begins"):
            fleet.sheet(unknown, BOAT)


def test_what_was_found_at_the_bench_is_kept_in_order_of_time(fleet: Logbook) -> None:
    second = FoundMeasure(BOAT, {"strut_depth_mm": Reading(3.0)}, found_utc=NOW, note="after a crash")
    first = FoundMeasure(BOAT, {"strut_depth_mm": Reading(2.0)}, found_utc=NOW - timedelta(days=1))
    for found in (second, first):
        fleet.add_found(found)
    assert fleet.founds(BOAT) == (first, second)
    assert [found.note for found in fleet.founds(BOAT)] == ["", "after a crash"]
    assert fleet.add_found(FoundMeasure(OTHER_BOAT)).found_utc is not None


def test_service_counts_outings_and_hours_from_when_it_was_done(fleet: Logbook) -> None:
    own = (
        ServiceTask("propeller", "Propeller", every_runs=2, source="the boat's own"),
        ServiceTask("horn", "Horn", "sound it", every_hours=0.008),
    )
    tasks = {task.name: task for task in fleet.set_service_tasks(BOAT, own)}
    assert tasks["propeller"].every_runs == 2
    assert tasks["horn"] == own[1]
    assert "fail-safe" in tasks
    assert fleet.service_tasks(OTHER_BOAT) != fleet.service_tasks(BOAT)

    add(fleet, 0)
    when = datetime(2026, 6, 13, 10, 0, tzinfo=UTC)
    fleet.service_done(BOAT, "propeller", when, "polished")
    fleet.service_done(BOAT, "horn", when)
    add(fleet, 1)
    told = {row.task.name: row for row in fleet.service(BOAT, when + timedelta(days=1))}
    assert (told["propeller"].verdict, told["propeller"].last_utc) == ("not due", when)
    assert "1 of 2 runs" in told["propeller"].why
    assert told["horn"].verdict == "due"  # under way for 32 s of the outing, with 28.8 s allowed
    add(fleet, 2)
    told = {row.task.name: row for row in fleet.service(BOAT, when + timedelta(days=1))}
    assert told["propeller"].verdict == "due"
    assert [done.task for done in fleet.services_done(BOAT)] == ["horn", "propeller"]
    fleet.service_done(BOAT, "propeller", when + timedelta(days=2))
    told = {row.task.name: row for row in fleet.service(BOAT, when + timedelta(days=1))}
    assert (told["propeller"].verdict, told["propeller"].last_utc) == ("due", when)
    with pytest.raises(LogbookError, match="no task 'sails'"):
        fleet.service_done(BOAT, "sails")


@pytest.mark.parametrize("odd", ["w\udcffnd", "w\0nd"])
def test_text_that_no_database_takes_is_kept_cleaned_whichever_way_it_comes_in(
    fleet: Logbook, tmp_path: Path, odd: str
) -> None:
    clean = storable(odd)
    own = OwnItem(name="sponson_step_mm", title=odd, unit="mm", kind="number", sign=odd)
    fleet.add_boat(Boat(f"{odd} 1", odd, note=odd, own_items=(own,)))
    edited = fleet.edit_boat(f"{odd} 1", Boat(f"{odd} 2", odd, note=odd, own_items=(own,)))
    assert edited == fleet.boat(f"{odd} 2")
    assert (edited.name, edited.own_items[0].title) == (f"{clean} 2", clean)
    readings = {"prop_name": Reading(odd), "sponson_step_mm": Reading(2.0, Gauge(odd, 0.1, "mm"))}
    sheet = fleet.add_sheet(SetupSheet(f"{odd} 2", readings, (own,), name=odd, note=odd))
    assert fleet.sheet(sheet.sheet_id) == fleet.sheet(odd, f"{odd} 2") == sheet
    assert (sheet.name, sheet.note, sheet.readings["prop_name"].value) == (clean,) * 3
    assert fleet.add_sheet(SetupSheet(f"{odd} 2", readings, (own,), name=odd)) == sheet
    found = fleet.add_found(FoundMeasure(f"{odd} 2", readings, (own,), note=odd))
    assert fleet.founds(f"{odd} 2") == (found,)
    assert found.note == clean
    fleet.set_service_tasks(f"{odd} 2", [ServiceTask(odd, odd, odd, every_runs=2, source=odd)])
    assert fleet.service_done(f"{odd} 2", odd, NOW, odd) == ServiceDone(clean, NOW, clean)
    assert [row.task.name for row in fleet.service(f"{odd} 2", NOW)].count(clean) == 1
    with pytest.raises(LogbookError, match="no task"):
        fleet.service_done(BOAT, odd)
    with pytest.raises(LogbookError, match="no boat"):
        fleet.boat(odd)
    options = ReadOptions({odd: "ignore"})
    outing = fleet.import_outing([small_log()], f"{odd} 2", odd, Conditions(note=odd), options=options).outing
    assert fleet.outings(OutingSearch(odd, f"{odd} 2", sheet_id=sheet.sheet_id)) == (outing,)
    assert fleet.outings(OutingSearch(sheet_id=odd)) == fleet.evidence(sheet_ids=[odd]) == ()
    cut = Cut(outing.logs[0].sha256, 1.0, 2.0, odd)
    fleet.correct_by_hand(outing.id, [cut], who=odd)
    fleet.hold_to(outing.id, ByHand((cut,)), who=odd)
    (kept,) = fleet.corrections(outing.id)
    assert (kept.who, kept.correction.why) == (clean, clean)
    before = everything(fleet)
    fleet.backup(tmp_path / "all.zip")
    fleet.restore(tmp_path / "all.zip", replace=True)
    assert everything(fleet) == before
    fleet.export(tmp_path / "tables")
