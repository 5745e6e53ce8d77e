"""Outings: their logs byte for byte, their analyses, and what happens to a log that comes twice."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from logbooks import BOAT, OTHER_BOAT, OTHER_SHEET, SHEET, add, everything, small_log, undated_log
from sqlalchemy import update

from sample_logs import data_folder
from telemetry import __version__
from telemetry.analysis import Request, read_and_analyse
from telemetry.cleaning.corrections import Cut
from telemetry.core.errors import LogbookError, LogError
from telemetry.core.units import SIXTEENTH_MILE_M
from telemetry.logbook import Boat, Conditions, Logbook, NamedLog, OutingSearch
from telemetry.logbook import outings as outings_module
from telemetry.logbook.importing import press_document
from telemetry.logbook.summary import parse_utc
from telemetry.logbook.tables import AnalysisRow, OutingRow
from telemetry.motor.power import Limits, PowerOptions
from telemetry.readers import ReadOptions, SavedColumnMap, explain_table
from telemetry.setup import Reading, SetupSheet

SAMPLES = (data_folder() / "four_passes.gpx", data_folder() / "four_passes_motor.csv")


def as_json(document: object) -> object:
    return json.loads(json.dumps(document))


def test_an_outing_comes_back_with_its_logs_byte_for_byte_and_its_analysis(fleet: Logbook) -> None:
    conditions = Conditions(
        "Long Lake", 2.5, 270.0, "ripples", 21.0, 17.5, "blue 6s", "first try of the 45 mm"
    )
    imported = fleet.import_outing(SAMPLES, BOAT, SHEET.name, conditions)
    outing = fleet.outing(imported.outing.id)
    assert outing == imported.outing
    assert (outing.boat, outing.sheet_id, outing.conditions) == (BOAT, SHEET.sheet_id, conditions)
    assert outing.start_utc == datetime(2025, 6, 14, 17, 40, tzinfo=UTC)
    assert fleet.logs(outing.id) == tuple(NamedLog(f.name, f.read_bytes()) for f in SAMPLES)
    assert [log.sha256 for log in outing.logs] == [
        hashlib.sha256(f.read_bytes()).hexdigest() for f in SAMPLES
    ]
    assert fleet.analysis(outing.id) == as_json(imported.analysis.to_dict())
    best = next(w for w in imported.analysis.two_ways if w.best)
    assert outing.best_two_way_mps == best.average_mps
    assert (outing.best_verdict, outing.passes) == (best.verdict, len(imported.analysis.passes))


def test_the_sheet_says_pole_pairs_and_pitch_and_the_boat_its_limits(logbook: Logbook) -> None:
    logbook.add_boat(Boat(BOAT, limits=Limits(current_a=50.0, own=("current_a",))))
    readings = {
        "pole_pairs": Reading(2.0),
        "prop_diameter_mm": Reading(50.0),
        "prop_pitch_ratio": Reading(1.5),
        "kv_rpm_per_v": Reading(1600.0),
        "cells": Reading(6.0),
    }
    sheet = SetupSheet(BOAT, readings, name="prop on")
    imported = logbook.import_outing(SAMPLES, BOAT, sheet)
    power = PowerOptions(
        pitch_mm=75.0,
        diameter_mm=50.0,
        kv_rpm_per_v=1600.0,
        cells=6,
        limits=Limits(current_a=50.0, own=("current_a",)),
    )
    told, reading = logbook.asked(imported.outing.id)
    assert (told.power, reading.pole_pairs) == (power, 2)
    alone = read_and_analyse(SAMPLES, Request(power=power), ReadOptions(pole_pairs=2))
    slips = [alone.motors[0].power.of(p.id).slip for p in alone.passes]  # type: ignore[union-attr]
    kept = [p["motor"]["slip"] for p in logbook.analysis(imported.outing.id)["passes"]]
    assert kept == slips
    assert None not in kept
    assert any(p["motor"]["exceeded"] for p in logbook.analysis(imported.outing.id)["passes"])


def test_what_the_caller_asks_goes_before_the_sheet(fleet: Logbook) -> None:
    request = Request(rule="land", distance_m=50.0, power=PowerOptions(pitch_mm=70.0))
    imported = add(fleet, request=request, options=ReadOptions(gear_ratio=2.0))
    told, reading = fleet.asked(imported.outing.id)
    assert (told.rule, told.distance_m, told.power.pitch_mm) == ("land", 50.0, 70.0)
    assert (reading.pole_pairs, reading.gear_ratio) == (2, 2.0)


def test_a_rule_of_ones_own_is_kept_whole(fleet: Logbook, tmp_path: Path) -> None:
    rule = tmp_path / "mine.toml"
    rule.write_text('name = "mine"\ntitle = "Mine"\nmean = "of times"\nsource = "me"\nwindow_s = 900.0\n')
    imported = add(fleet, request=Request(rule=str(rule)))
    rule.unlink()
    kept = fleet.asked(imported.outing.id)[0].rule
    assert not isinstance(kept, str)
    assert (kept.name, kept.window_s) == ("mine", 900.0)
    assert {w["rule"] for w in fleet.analysis(imported.outing.id)["two_ways"]} == {"mine"}


def test_the_same_log_twice_is_refused_and_names_its_outing(fleet: Logbook) -> None:
    outing = add(fleet).outing
    before = everything(fleet)
    same_under_another_name = replace(small_log(), file="copy of it.csv")
    for logs in ([same_under_another_name], [small_log(1), same_under_another_name]):
        with pytest.raises(LogbookError, match=rf"copy of it.csv: .*in outing {outing.id} of 2026-06-13"):
            fleet.import_outing(logs, OTHER_BOAT, OTHER_SHEET.name)
    assert everything(fleet) == before


def test_a_log_given_twice_at_once_is_kept_once(fleet: Logbook) -> None:
    imported = fleet.import_outing([small_log(), replace(small_log(), file="copy.csv")], BOAT, SHEET.name)
    assert [log.file for log in imported.outing.logs] == ["outing_0.csv"]
    assert imported.outing.passes == 2


def test_a_log_found_later_is_linked_to_its_outing_and_analysed_with_it(fleet: Logbook) -> None:
    outing = fleet.import_outing(SAMPLES[:1], BOAT, SHEET.name).outing
    assert fleet.analysis(outing.id)["power"] is None
    grown = fleet.add_logs(outing.id, SAMPLES[1:])
    assert [log.file for log in grown.outing.logs] == [file.name for file in SAMPLES]
    assert fleet.analysis(outing.id)["power"] is not None
    assert fleet.count_outings() == 1
    with pytest.raises(LogbookError, match="already"):
        fleet.add_logs(outing.id, SAMPLES[1:])
    with pytest.raises(LogbookError, match="no outing 99"):
        fleet.add_logs(99, [small_log()])


def test_what_cannot_be_read_is_named_and_left_out_and_nothing_at_all_is_an_error(
    fleet: Logbook, tmp_path: Path
) -> None:
    poem = NamedLog("poem.txt", b"the wind, the wind\n")
    imported = fleet.import_outing([poem, small_log(), tmp_path / "missing.gpx"], BOAT, SHEET.name)
    assert sorted(error.file for error in imported.unused) == [str(tmp_path / "missing.gpx"), "poem.txt"]
    assert [log.file for log in imported.outing.logs] == ["outing_0.csv"]
    before = everything(fleet)
    with pytest.raises(LogError, match=r"poem\.txt"):
        fleet.import_outing([poem], BOAT, SHEET.name)
    with pytest.raises(LogbookError, match="no log was given"):
        fleet.import_outing([], BOAT, SHEET.name)
    assert everything(fleet) == before


@pytest.mark.parametrize(("boat", "sheet"), [("Nobody", SHEET.name), (BOAT, "no such"), (BOAT, OTHER_SHEET)])
def test_a_wrong_boat_or_sheet_leaves_nothing_behind(
    fleet: Logbook, boat: str, sheet: str | SetupSheet
) -> None:
    before = everything(fleet)
    with pytest.raises(LogbookError):
        fleet.import_outing([small_log()], boat, sheet)
    assert everything(fleet) == before


def test_boat_and_sheet_can_come_with_the_outing_in_one_transaction(logbook: Logbook) -> None:
    sheet = SetupSheet("Petrel", {"cells": Reading(4.0)}, name="new")
    with pytest.raises(LogError):
        logbook.import_outing([NamedLog("poem.txt", b"o\n")], Boat("Petrel"), sheet)
    assert logbook.boats() == ()
    outing = logbook.import_outing([small_log()], Boat("Petrel"), sheet).outing
    assert (outing.boat, outing.sheet_name) == ("Petrel", "new")
    assert logbook.sheets("Petrel") == (sheet,)


def test_an_undated_log_takes_the_time_that_is_given(fleet: Logbook) -> None:
    when = datetime(2026, 6, 20, 9, tzinfo=UTC)
    undated = fleet.import_outing([undated_log()], BOAT, SHEET.name).outing
    assert undated.start_utc is None
    fleet.remove_outing(undated.id)
    dated = fleet.import_outing([undated_log()], BOAT, SHEET.name, start_utc=when).outing
    assert dated.start_utc == when
    assert dated.id != undated.id  # a number that was given once means that outing for ever


def test_conditions_and_sheet_can_be_corrected_and_another_sheet_is_analysed_again(fleet: Logbook) -> None:
    outing = fleet.import_outing(SAMPLES, BOAT, SHEET.name, Conditions("Lnog Lake")).outing
    steeper = SHEET.edit({"prop_pitch_mm": Reading(70.0)}, name="steeper")
    fleet.add_sheet(steeper)
    slip = fleet.analysis(outing.id)["passes"][0]["motor"]["slip"]
    edited = fleet.edit_outing(outing.id, conditions=Conditions("Long Lake"), sheet="steeper")
    assert (edited.conditions.place, edited.sheet_id) == ("Long Lake", steeper.sheet_id)
    # 1 - slip is speed / (pitch x rpm): the same pass through a pitch of 70 mm in the place of 63 mm
    assert 1.0 - fleet.analysis(outing.id)["passes"][0]["motor"]["slip"] == pytest.approx(
        (1.0 - slip) * 63 / 70
    )
    assert [o.id for o in fleet.outings(OutingSearch("steeper long"))] == [outing.id]
    assert fleet.outings(OutingSearch("lnog")) == ()
    with pytest.raises(LogbookError, match="another boat"):
        fleet.edit_outing(outing.id, sheet=OTHER_SHEET.sheet_id)


def test_a_sheet_is_never_kept_without_its_analysis(fleet: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    outing = fleet.import_outing(SAMPLES, BOAT, SHEET.name).outing
    fleet.add_sheet(SHEET.edit({"prop_pitch_mm": Reading(70.0)}, name="steeper"))
    before = fleet.analysis(outing.id)

    def fails(*_: object) -> None:
        raise OSError("no room left")

    with monkeypatch.context() as patched:
        patched.setattr(outings_module, "prepare", fails)
        with pytest.raises(OSError, match="no room"):
            fleet.edit_outing(outing.id, conditions=Conditions("Long Lake"), sheet="steeper")
    assert fleet.outing(outing.id) == outing
    assert fleet.analysis(outing.id) == before
    again = fleet.edit_outing(outing.id, sheet="steeper")
    assert again.sheet_id != outing.sheet_id
    assert fleet.analysis(outing.id) != before


def test_what_is_corrected_while_an_outing_is_analysed_again_is_in_the_analysis(
    fleet: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    outing = add(fleet).outing
    whole = len(fleet.analysis(outing.id)["passes"])
    of_another_version(fleet, outing.id)
    cut = Cut(outing.logs[0].sha256, 0.0, 25.0, "spray")
    honest, asked = outings_module.prepare, []

    def meanwhile(*arguments: Any) -> Any:
        asked.append(arguments)
        if len(asked) == 1:
            fleet.correct_by_hand(outing.id, [cut])
        return honest(*arguments)

    monkeypatch.setattr(outings_module, "prepare", meanwhile)
    fleet.refresh()
    assert fleet.asked(outing.id)[0].by_hand.cuts == (cut,)
    assert len(fleet.analysis(outing.id)["passes"]) < whole


def test_a_removed_outing_takes_all_that_is_its_own_with_it(fleet: Logbook) -> None:
    before = everything(fleet)
    outing = add(fleet).outing
    fleet.remove_outing(outing.id)
    assert everything(fleet) == before
    with pytest.raises(LogbookError, match=f"no outing {outing.id}"):
        fleet.outing(outing.id)


def of_another_version(logbook: Logbook, outing_id: int, version: str = "0.0.9") -> None:
    """Make an outing look as if another version had analysed it, and wrongly."""
    wrong = press_document({"schema": "reciprocal-analysis/1", "notes": ["by an old version"]})
    with logbook._writing() as session:
        session.execute(
            update(AnalysisRow)
            .where(AnalysisRow.outing_id == outing_id, AnalysisRow.program_version == __version__)
            .values(program_version=version, document=wrong)
        )
        session.execute(
            update(OutingRow)
            .where(OutingRow.id == outing_id)
            .values(program_version=version, best_two_way_mps=99.0)
        )


def test_an_analysis_of_another_version_is_made_again_and_the_former_is_kept(fleet: Logbook) -> None:
    outings = [add(fleet, hour).outing for hour in range(3)]
    right = {outing.id: fleet.analysis(outing.id) for outing in outings}
    for outing in outings:
        of_another_version(fleet, outing.id)
    assert fleet.stale() == tuple(right)
    assert fleet.analysis(outings[0].id) == right[outings[0].id]
    assert fleet.outing(outings[0].id) == outings[0]
    assert fleet.stale() == tuple(right)[1:]
    assert {e.values["two_way_mps"] for e in fleet.evidence(BOAT) if e.kind == "two-way"} == {
        outing.best_two_way_mps for outing in outings
    }
    assert fleet.stale() == ()
    assert fleet.refresh() == 0
    of_another_version(fleet, outings[2].id, "0.0.8")
    assert fleet.refresh() == 1
    versions = [dict(row)["program_version"] for row in everything(fleet)["analyses"]]
    assert versions.count(__version__) == 3
    assert (versions.count("0.0.9"), versions.count("0.0.8")) == (3, 1)


def test_two_ways_of_the_evidence_share_no_pass_and_carry_their_covariates(fleet: Logbook) -> None:
    outing = fleet.import_outing(SAMPLES, BOAT, SHEET.name, Conditions("Long Lake", 2.5, water="flat")).outing
    analysis = fleet.analysis(outing.id)
    evidence = fleet.evidence(BOAT)
    two_ways = [e for e in evidence if e.kind == "two-way"]
    chosen = [
        next(w for w in analysis["two_ways"] if w["average_mps"] == e.values["two_way_mps"]) for e in two_ways
    ]
    assert [w["passes"] for w in chosen] == [["P1", "P2"], ["P3", "P4"]]
    assert [e.order for e in two_ways] == [0, 1]
    assert two_ways[0].covariates["wind_mps"] == 2.5
    assert two_ways[0].covariates["pack"] is None
    passes = [e for e in evidence if e.kind == "pass"]
    assert [e.covariates["way"] for e in passes] == ["out", "back", "out", "back"]
    for told, kept in zip(passes, analysis["passes"], strict=True):
        over = {d["distance_m"]: d["speed_mps"] for d in kept["distances"]}
        assert told.values["peak_mps"] == kept["peak_mps"]
        assert told.values["distance_mps"] == over[two_ways[0].covariates["distance_m"]]
        assert told.values["peak_current_a"] == kept["motor"]["peak_current_a"]
        assert told.covariates["rest_voltage_v"] == kept["motor"]["rest_voltage_v"]


def test_two_ways_and_upsets_are_told_as_the_analyses_have_them(fleet: Logbook) -> None:
    fleet.import_outing(SAMPLES, BOAT, SHEET.name, Conditions("Long Lake"))
    add(fleet)
    told = fleet.two_ways(BOAT)
    expected = [(k, w["id"], w["average_mps"]) for k in (1, 2) for w in fleet.analysis(k)["two_ways"]]
    assert sorted((w.outing_id, w.two_way_id, w.average_mps) for w in told) == sorted(expected)
    starts = {p["id"]: p["start_utc"] for p in fleet.analysis(1)["passes"]}
    assert next(w for w in told if w.two_way_id == "T1").start_utc is not None
    assert {w.start_utc for w in told if w.outing_id == 1} <= {parse_utc(s) for s in starts.values()}
    assert fleet.upsets(BOAT) == ()
    assert fleet.two_ways(OTHER_BOAT) == ()


def test_evidence_does_not_mix_measured_distances(fleet: Logbook) -> None:
    add(fleet, 0)
    add(fleet, 1, request=Request(distance_m=50.0))
    add(fleet, 2)
    at = {e.covariates["distance_m"] for e in fleet.evidence(BOAT) if e.kind == "two-way"}
    assert at == {SIXTEENTH_MILE_M}
    short = [e for e in fleet.evidence(BOAT, distance_m=50.0) if e.kind == "two-way"]
    assert [e.outing_id for e in short] == [2]
    assert {e.outing_id for e in fleet.evidence(outing_ids=[1, 3])} == {1, 3}
    assert fleet.evidence(OTHER_BOAT) == ()
    assert fleet.evidence(sheet_ids=[OTHER_SHEET.sheet_id]) == ()


def test_gates_marked_anew_each_day_are_the_same_distance(fleet: Logbook) -> None:
    whole = add(fleet).outing
    gates = fleet.analysis(whole.id)["two_ways"][0]["gates"]
    first, second = ((g["lat_deg"], g["lon_deg"]) for g in gates)
    for hour in (1, 2):
        # A centimetre or two of another latitude.
        moved = first, (second[0] + 2e-7 * hour, second[1])
        add(fleet, hour, request=Request(gates=moved))
    told = [e for e in fleet.evidence(BOAT) if e.kind == "two-way"]
    assert {e.outing_id for e in told} == {1, 2, 3}


def test_only_the_heading_map_that_a_table_needs_is_kept_with_its_analysis(fleet: Logbook) -> None:
    table = NamedLog("odd.csv", undated_log().data.replace(b"speed (m/s)", b"vgps", 1))
    said = explain_table(table.data, table.file, ReadOptions({"vgps": "speed_mps:m/s"}))
    needed = said.worth_keeping("2026-01-01T00:00:00")
    other = SavedColumnMap(("a", "b"), (), {"a": "elapsed:s"})
    assert needed is not None
    options = ReadOptions(kept={needed.id: needed, other.id: other})
    outing = fleet.import_outing([table], BOAT, SHEET.name, options=options).outing
    assert list(fleet.asked(outing.id)[1].kept.values()) == [needed]
    assert as_json(fleet.analysed(outing.id).to_dict()) == fleet.analysis(outing.id)
    fleet.add_logs(outing.id, [small_log(1)], options=ReadOptions(gear_ratio=2.0))
    told = fleet.asked(outing.id)[1]
    assert (list(told.kept.values()), told.gear_ratio, told.pole_pairs) == ([needed], 2.0, 2)


@pytest.mark.parametrize("asked_m", [100.0, SIXTEENTH_MILE_M])
def test_of_two_measured_distances_within_a_hundredth_the_nearer_is_taken(
    fleet: Logbook, asked_m: float
) -> None:
    add(fleet, 0)
    over = [{d["distance_m"]: d["speed_mps"] for d in p["distances"]} for p in fleet.analysis(1)["passes"]]
    passes = [e for e in fleet.evidence(BOAT, distance_m=asked_m) if e.kind == "pass"]
    assert [e.values["distance_mps"] for e in passes] == [speeds[asked_m] for speeds in over]
    assert all(speeds[100.0] != speeds[SIXTEENTH_MILE_M] for speeds in over)


def test_hours_under_way_are_those_of_all_logs_together_each_moment_once(fleet: Logbook) -> None:
    def under_way_s(*logs: NamedLog) -> float:
        outing = fleet.import_outing(list(logs), BOAT, SHEET.name).outing
        with fleet._reading() as session:
            told = session.get_one(OutingRow, outing.id).under_way_s
        fleet.remove_outing(outing.id)
        assert told is not None
        return told

    alone = under_way_s(small_log(0))
    assert under_way_s(small_log(0), small_log(5)) == pytest.approx(2 * alone, abs=0.01)
    again = NamedLog("again.csv", small_log(0).data + b"\n")
    assert under_way_s(small_log(0), again) == pytest.approx(alone, abs=0.01)
    assert under_way_s(small_log(0), undated_log()) == pytest.approx(alone, abs=1.0)


def test_outings_are_counted_by_boat(fleet: Logbook) -> None:
    add(fleet, 0)
    add(fleet, 1)
    assert fleet.outings_by_boat() == {BOAT: 2, OTHER_BOAT: 0}
