"""What must hold of the logbook for any input."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logbooks import BOAT, SHEET, small_log, with_fleet

from telemetry.analysis import Request
from telemetry.core.errors import LogbookError
from telemetry.logbook import Boat, Conditions, NamedLog, OutingSearch, open_logbook
from telemetry.logbook import request as asked
from telemetry.logbook.importing import digest, packed, unpacked
from telemetry.logbook.queries import storable
from telemetry.logbook.summary import disjoint_pairs
from telemetry.motor.power import LIMIT_NAMES, Limits, PowerOptions
from telemetry.readers import ReadOptions
from telemetry.setup import FoundMeasure, ServiceTask, SetupSheet

POSITIVE = st.none() | st.floats(1e-6, 1e6)
PAIRS = st.lists(
    st.tuples(st.integers(0, 9), st.integers(0, 9)).filter(lambda p: p[0] < p[1]), unique=True, max_size=20
)


@given(PAIRS)
def test_two_ways_chosen_as_evidence_share_no_pass_and_leave_out_none_that_could_stay(
    pairs: list[tuple[int, int]],
) -> None:
    chosen = [pairs[k] for k in disjoint_pairs(pairs)]
    used = [p for pair in chosen for p in pair]
    assert len(used) == len(set(used))
    assert all(set(pair) & set(used) for pair in pairs)


@given(st.binary(max_size=3000), st.integers(0, 10_000))
def test_a_log_comes_back_byte_for_byte_or_not_at_all(data: bytes, where: int) -> None:
    packing, content = packed(data)
    assert unpacked(packing, content, digest(data)) == data
    if content:
        at = where % len(content)
        broken = content[:at] + bytes([content[at] ^ 0xFF]) + content[at + 1 :]
        with pytest.raises(LogbookError, match="is damaged"):
            unpacked(packing, broken, digest(data))


@given(
    st.sampled_from(["water", "land", "sixteenth-mile"]),
    POSITIVE,
    st.none() | st.tuples(*(st.tuples(st.floats(-90, 90), st.floats(-180, 180)),) * 2),
    POSITIVE,
    st.dictionaries(st.sampled_from(LIMIT_NAMES), POSITIVE),
    st.dictionaries(st.text(max_size=8), st.text(max_size=8), max_size=3),
)
def test_what_was_asked_is_asked_again_the_same(
    rule: str,
    distance_m: float | None,
    gates: tuple[tuple[float, float], tuple[float, float]] | None,
    pitch_mm: float | None,
    limits: dict[str, float | None],
    headings: dict[str, str],
) -> None:
    power = PowerOptions(pitch_mm=pitch_mm, limits=Limits(**limits, own=tuple(limits)))
    request = Request(rule=rule, distance_m=distance_m, gates=gates, power=power)
    options = ReadOptions(headings, 3, 1.5)
    kept = json.loads(json.dumps(asked.to_dict(request, options)))
    assert asked.from_dict(kept) == (request, options)


TEXT = st.text(max_size=20)


@settings(max_examples=15)
@given(conditions=st.builds(Conditions, place=TEXT, water=TEXT, pack=TEXT, note=TEXT), file=TEXT)
def test_whatever_is_said_of_an_outing_is_kept_and_found(
    conditions: Conditions, file: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with open_logbook(tmp_path_factory.mktemp("any") / "lake.sqlite") as logbook:
        with_fleet(logbook)
        log = NamedLog(file, small_log().data)
        outing = logbook.import_outing([log], BOAT, SHEET.name, conditions).outing
        kept = logbook.outing(outing.id).conditions
        said = [getattr(conditions, name) for name in ("place", "water", "pack", "note")]
        assert [kept.place, kept.water, kept.pack, kept.note] == [storable(text) for text in said]
        assert logbook.count_outings(OutingSearch(text=storable(conditions.place))) == 1
        assert logbook.count_outings(OutingSearch(place=storable(conditions.place))) == 1


ANY_NAME = st.text(st.characters(exclude_categories=()), max_size=12).filter(lambda t: storable(t).strip())


@settings(max_examples=25)
@given(names=st.tuples(*(ANY_NAME,) * 5))
def test_whatever_a_boat_and_what_belongs_to_it_are_called_it_is_kept_and_found(
    names: tuple[str, ...], tmp_path_factory: pytest.TempPathFactory
) -> None:
    first, boat, sheet, task, note = names
    folder = tmp_path_factory.mktemp("any")
    with open_logbook(folder / "lake.sqlite") as logbook:
        logbook.add_boat(first)
        name = logbook.edit_boat(first, Boat(boat, note=note)).name
        kept = logbook.add_sheet(SetupSheet(name, name=sheet, note=note))
        assert logbook.sheet(sheet, boat) == kept
        logbook.add_found(FoundMeasure(boat, note=note))
        logbook.set_service_tasks(boat, [ServiceTask(task, task, every_runs=1.0)])
        done = logbook.service_done(boat, task, note=note)
        assert logbook.services_done(boat) == (done,)
        texts = [logbook.boat(boat).note, kept.note, logbook.founds(boat)[0].note, done.note]
        assert texts == [storable(note)] * 4
        logbook.backup(folder / "all.zip")


def test_names_that_are_no_utf8_are_kept_with_question_marks(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    with open_logbook(tmp_path_factory.mktemp("any") / "lake.sqlite") as logbook:
        with_fleet(logbook)
        log = NamedLog("w\udcffnd.csv", small_log().data)
        imported = logbook.import_outing([log], BOAT, SHEET.name, Conditions(note="b\udcffd"))
        assert imported.outing.logs[0].file == "w_nd.csv"
        assert logbook.outing(imported.outing.id).conditions.note == "b?d"
        assert logbook.analysis(imported.outing.id)["logs"][0]["file"] == "w_nd.csv"
