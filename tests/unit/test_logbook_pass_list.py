"""Lists of passes to choose from, on both databases."""

from __future__ import annotations

from logbooks import BOAT, SHEET, add, undated_log

from telemetry.logbook import Logbook


def test_passes_come_outing_by_outing_the_latest_first(fleet: Logbook) -> None:
    first, second = add(fleet, hour=1), add(fleet, hour=3)
    told = fleet.passes()
    assert [(p.outing_id, p.pass_id) for p in told] == [
        (one.outing.id, p.id) for one in (second, first) for p in one.analysis.passes
    ]
    assert fleet.count_passes() == len(told) == 4
    assert {(p.boat, p.sheet_name) for p in told} == {(BOAT, SHEET.name)}
    for kept, made in zip(told, (*second.analysis.passes, *first.analysis.passes), strict=True):
        assert kept.peak_mps == made.peak_mps
        assert kept.heading_deg == made.heading_deg
        assert made.start_utc is not None
        assert kept.start_utc is not None
        assert abs((kept.start_utc - made.start_utc).total_seconds()) < 1e-3


def test_a_part_of_them_and_one_outing_s(fleet: Logbook) -> None:
    first, second = add(fleet, hour=1), add(fleet, hour=3)
    assert [p.outing_id for p in fleet.passes(limit=3)] == [second.outing.id] * 2 + [first.outing.id]
    assert {p.outing_id for p in fleet.passes(outing_id=first.outing.id)} == {first.outing.id}
    assert fleet.passes(outing_id=99) == ()


def test_a_pass_of_a_log_without_a_day_has_none(fleet: Logbook) -> None:
    fleet.import_outing([undated_log()], BOAT, SHEET.name)
    assert {p.start_utc for p in fleet.passes()} == {None}
