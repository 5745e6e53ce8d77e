"""Corrections by hand in the logbook: recorded, analysed with, taken back with their history, backed up."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest
from logbooks import BOAT, SHEET, add, everything, small_log

from telemetry.analysis import Request
from telemetry.cleaning.corrections import ByHand, ClockByHand, Cut, Restored
from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook, open_logbook
from telemetry.logbook.importing import PROGRAM_VERSION, digest
from telemetry.logbook.tables import OutingRow


def cut_of(
    logbook: Logbook, outing_id: int, start_s: float = 12.0, end_s: float = 13.0, why: str = ""
) -> Cut:
    return Cut(logbook.outing(outing_id).logs[0].sha256, start_s, end_s, why)


def test_a_correction_is_kept_with_who_when_and_why_and_the_outing_analysed_with_it(fleet: Logbook) -> None:
    outing = add(fleet).outing
    before = fleet.analysis(outing.id)
    cut = cut_of(fleet, outing.id, why="spray")
    analysis = fleet.correct_by_hand(outing.id, [cut], who="Ada")
    (kept,) = fleet.corrections(outing.id)
    assert (kept.correction, kept.who, kept.file, kept.back_utc) == (cut, "Ada", outing.logs[0].file, None)
    assert kept.made_utc.tzinfo is not None
    assert analysis.request.by_hand.cuts == (cut,)
    after = fleet.analysis(outing.id)
    assert after == analysis.to_dict()
    assert after["by_hand"]["cuts"][0]["why"] == "spray"
    assert fleet.analysed(outing.id).to_dict() == after
    assert fleet.asked(outing.id)[0].by_hand == ByHand((cut,))
    assert before["by_hand"]["cuts"] == []


def test_taken_back_the_outing_is_as_before_and_the_record_stays(fleet: Logbook) -> None:
    outing = add(fleet).outing
    before, listed = fleet.analysis(outing.id), fleet.outing(outing.id)
    fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id, 0.0, 30.0)], who="Ada")
    assert fleet.outing(outing.id) != listed  # half of it is gone from its figures too
    (kept,) = fleet.corrections(outing.id)
    fleet.take_back(outing.id, [kept.id], who="Bo", why="it was no spray")
    assert fleet.analysis(outing.id) == before
    assert fleet.outing(outing.id) == listed
    (kept,) = fleet.corrections(outing.id)
    assert (kept.who, kept.back_who, kept.back_why) == ("Ada", "Bo", "it was no spray")
    assert kept.back_utc is not None
    with pytest.raises(LogbookError, match=f"no correction {kept.id} of outing"):
        fleet.take_back(outing.id, [kept.id])


def test_a_number_is_never_another_corrections(fleet: Logbook) -> None:
    outing = add(fleet).outing
    for start_s in (1.0, 2.0):
        fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id, start_s, start_s + 0.5)])
        last = fleet.corrections(outing.id)[-1]
        fleet.take_back(outing.id, [last.id])
    assert len({one.id for one in fleet.corrections(outing.id)}) == 2


def test_the_same_correction_is_not_kept_twice_and_a_new_clock_ends_the_former(fleet: Logbook) -> None:
    outing = add(fleet).outing
    sha = outing.logs[0].sha256
    for _ in range(2):
        fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id)])
    first, second = (ClockByHand(sha, sha, offset_s, 3.0, 0.2) for offset_s in (1.0, 2.0))
    fleet.correct_by_hand(outing.id, [first])
    fleet.correct_by_hand(outing.id, [second], who="Bo")
    kept = fleet.corrections(outing.id)
    assert [one.correction for one in kept] == [cut_of(fleet, outing.id), first, second]
    assert [one.back_why for one in kept] == ["", "set anew", ""]
    assert fleet.asked(outing.id)[0].by_hand.clocks == (second,)


def test_what_another_version_analysed_is_analysed_again_with_the_corrections(fleet: Logbook) -> None:
    outing = add(fleet).outing
    cut = cut_of(fleet, outing.id)
    after = fleet.correct_by_hand(outing.id, [cut, Restored(cut.log, 20.0, 21.0)]).to_dict()
    with fleet._writing() as session:
        session.get_one(OutingRow, outing.id).program_version = "0.0.0"
    assert fleet.refresh() == 1
    assert fleet.analysis(outing.id) == after
    fleet.edit_outing(outing.id, sheet=SHEET.sheet_id)
    assert fleet.analysis(outing.id)["by_hand"] == after["by_hand"]
    assert fleet.outing(outing.id).program_version == PROGRAM_VERSION


def test_corrections_come_in_with_an_outing_and_only_those_of_its_logs(fleet: Logbook) -> None:
    log = small_log()
    cut, foreign = Cut(digest(log.data), 12.0, 13.0, "spray"), Cut("0" * 64, 1.0, 2.0)
    request = Request(by_hand=ByHand((cut, foreign)))
    imported = fleet.import_outing([log], BOAT, SHEET.sheet_id, request=request, who="Ada")
    (kept,) = fleet.corrections(imported.outing.id)
    assert (kept.correction, kept.who) == (cut, "Ada")
    assert fleet.analysed(imported.outing.id).to_dict() == imported.analysis.to_dict()


def test_an_outing_is_held_to_what_a_page_says(fleet: Logbook) -> None:
    outing = add(fleet).outing
    stays, goes, comes = (cut_of(fleet, outing.id, start_s, start_s + 0.5) for start_s in (1.0, 2.0, 3.0))
    fleet.correct_by_hand(outing.id, [stays, goes], who="Ada")
    said = ByHand((stays, comes, Cut("0" * 64, 1.0, 2.0)))
    analysis = fleet.hold_to(outing.id, said, who="Bo")
    assert analysis.request.by_hand == fleet.asked(outing.id)[0].by_hand == ByHand((stays, comes))
    kept = fleet.corrections(outing.id)
    assert [(one.correction, one.who, one.back_who) for one in kept] == [
        (stays, "Ada", ""),
        (goes, "Ada", "Bo"),
        (comes, "Bo", ""),
    ]


def test_an_outing_is_found_by_its_logs(fleet: Logbook) -> None:
    first, second = add(fleet).outing, add(fleet, 1).outing
    assert fleet.outing_with(["0" * 64, second.logs[0].sha256]) == second.id
    assert fleet.outing_with([log.sha256 for one in (second, first) for log in one.logs]) == first.id
    assert fleet.outing_with(["0" * 64]) is None


def test_a_log_of_another_outing_is_refused_and_nothing_written(fleet: Logbook) -> None:
    first, second = add(fleet).outing, add(fleet, 1).outing
    before = everything(fleet)
    with pytest.raises(LogbookError, match="has no such log"):
        fleet.correct_by_hand(first.id, [cut_of(fleet, second.id)])
    assert everything(fleet) == before


def test_corrections_go_with_their_outing(fleet: Logbook) -> None:
    outing = add(fleet).outing
    fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id)])
    fleet.remove_outing(outing.id)
    assert everything(fleet)["corrections"] == []


def test_backup_restore_and_export_hold_corrections_and_their_history(fleet: Logbook, tmp_path: Path) -> None:
    outing = add(fleet).outing
    fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id, why="spray, ünder Brücke")], who="Ada")
    fleet.correct_by_hand(outing.id, [replace(cut_of(fleet, outing.id), start_s=20.0, end_s=21.0)])
    fleet.take_back(outing.id, [fleet.corrections(outing.id)[1].id], who="Bo", why="no")
    kept, analysis = fleet.corrections(outing.id), fleet.analysis(outing.id)
    fleet.backup(tmp_path / "whole.zip")
    with open_logbook(tmp_path / "new.sqlite") as other:
        other.restore(tmp_path / "whole.zip")
        assert other.corrections(outing.id) == kept
        assert other.analysis(outing.id) == analysis
    fleet.restore(tmp_path / "whole.zip", replace=True)
    assert fleet.corrections(outing.id) == kept
    fleet.correct_by_hand(outing.id, [cut_of(fleet, outing.id, 30.0, 31.0)])  # numbers go on after a restore
    assert len({one.id for one in fleet.corrections(outing.id)}) == 3

    fleet.export(tmp_path / "export")
    with (tmp_path / "export" / "corrections.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["who"] for row in rows] == ["Ada", "", ""]
    document = json.loads((tmp_path / "export" / "logbook.json").read_text(encoding="utf-8"))
    assert document["corrections"][1]["back_why"] == "no"
