"""What must hold for any sheet, any gauge and any load."""

import json
import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.core.errors import SetupError
from telemetry.setup import (
    ITEMS,
    BenchDisplay,
    Estimate,
    FoundMeasure,
    Gauge,
    Item,
    Part,
    Reading,
    SetupSheet,
    balance,
    balance_effect,
    bench_card,
    compare_found,
    detection_limit,
    item_changes,
    parse_table,
    parts_of_table,
    restoring_move,
    steps_back,
    strut_from_heights,
    toml_text,
)
from telemetry.setup.balance import moved, part_named
from telemetry.setup.display_units import BENCH_LENGTHS, BENCH_MASSES, SIGNS

words = st.text(min_size=1, max_size=12).filter(lambda text: text.strip())
# Heights can contradict their span; that is a case of its own.
ITEM_NAMES = [name for name in ITEMS if not name.startswith(("strut_height", "strut_span"))]


def gauges(unit: str) -> st.SearchStrategy[Gauge]:
    return st.builds(
        Gauge, words, st.sampled_from([0.0, 0.01, 0.1, 0.5, 1.0]), st.just(unit), st.sampled_from([0.0, 0.2])
    )


def values(item: Item) -> st.SearchStrategy[float | str]:
    if not item.is_measured:
        return words
    if item.kind == "count":
        return st.integers(int(item.low), int(item.high)).map(float)
    return st.floats(max(item.low, -1e6), min(item.high, 1e6))


def readings_of(name: str) -> st.SearchStrategy[tuple[str, Reading]]:
    item = ITEMS[name]
    gauge = st.none() | gauges(item.unit) if item.is_measured else st.none()
    return st.tuples(st.just(name), st.builds(Reading, values(item), gauge))


some_readings = st.lists(st.sampled_from(ITEM_NAMES).flatmap(readings_of), max_size=12).map(dict)
sheets = st.builds(SetupSheet, boat=st.just("Kestrel"), name=words, readings=some_readings)
founds = st.builds(FoundMeasure, boat=st.just("Kestrel"), readings=some_readings)
showings = st.builds(
    BenchDisplay,
    st.sampled_from(BENCH_LENGTHS),
    st.sampled_from(BENCH_MASSES),
    st.frozensets(st.sampled_from(list(SIGNS))),
)


@given(sheets, some_readings, words)
def test_an_edit_makes_a_new_sheet_and_restoring_the_old_yields_an_equal_one(
    old: SetupSheet, edits: dict[str, Reading], name: str
) -> None:
    before = dict(old.readings)
    new = old.edit(edits, name=name)
    assert new is not old
    assert new.parent == old.sheet_id
    assert dict(old.readings) == before
    assert (new == old) == (new.sheet_id == old.sheet_id) == (dict(new.readings) == before)
    restored = new.edit({key: old.readings.get(key) for key in edits}, name=old.name)
    assert restored == old
    assert restored.sheet_id == old.sheet_id
    assert hash(restored) == hash(old)


@settings(max_examples=50)
@given(sheets)
def test_a_sheet_survives_json_and_toml(sheet: SetupSheet) -> None:
    assert SetupSheet.from_dict(json.loads(json.dumps(sheet.to_dict()))) == sheet
    again = SetupSheet.from_dict(parse_table(toml_text(sheet.to_dict()), "x.toml"))
    assert again == sheet
    assert again.name == sheet.name


@given(sheets, some_readings)
def test_changes_are_nothing_for_the_same_tune_and_turn_round_with_the_order(
    old: SetupSheet, edits: dict[str, Reading]
) -> None:
    new = old.edit(edits)
    assert item_changes(old, old) == ()
    forth, back = item_changes(old, new), item_changes(new, old)
    assert [c.item.name for c in forth] == [c.item.name for c in back]
    assert [c.difference for c in forth] == [None if c.difference is None else -c.difference for c in back]
    assert {c.item.name for c in forth} <= set(edits)


measured = [name for name in ITEM_NAMES if ITEMS[name].kind == "number"]


@given(st.sampled_from(measured), st.data())
def test_moved_is_said_only_beyond_what_both_gauges_resolve(name: str, data: st.DataObject) -> None:
    item = ITEMS[name]
    was, now = (data.draw(readings_of(name))[1] for _ in range(2))
    (row,) = (
        (
            r
            for r in compare_found(
                SetupSheet(boat="K", name="x", readings={name: was}),
                FoundMeasure(boat="K", readings={name: now}),
            )
            if r.item.name == name
        )
        if item.compared
        else (None,)
    )
    if row is None:
        return
    difference = abs(float(now.value) - float(was.value))
    a, b = item.gauge_of(was), item.gauge_of(now)
    bound = max(
        1.96 * math.sqrt((a.resolution**2 + b.resolution**2) / 12.0 + a.sd**2 + b.sd**2),
        (a.resolution + b.resolution) / 2.0,
    )
    if row.verdict == "moved":
        assert difference > bound
    else:
        assert difference <= bound * (1 + 1e-5) + 1e-8
    if row.verdict == "as set" and item.matters is not None:
        assert difference + bound <= item.matters * (1 + 1e-5)


@given(st.sampled_from(measured), st.data())
def test_the_bound_does_not_ask_who_measured_first(name: str, data: st.DataObject) -> None:
    item = ITEMS[name]
    was, now = (data.draw(readings_of(name))[1] for _ in range(2))
    assert detection_limit(item, was, now) == detection_limit(item, now, was)


@settings(max_examples=40)
@given(sheets, founds, sheets, showings)
def test_any_card_can_be_written_and_the_steps_never_leave_what_moved(
    sheet: SetupSheet, found: FoundMeasure, target: SetupSheet, showing: BenchDisplay
) -> None:
    assert bench_card(sheet, found, target, showing, crash=True)
    steps = steps_back(target, found, sheet)
    told = {step.item.name for step in steps if step.kind == "set" and step.item}
    for row in compare_found(target, found):
        assert (row.verdict == "moved") == (row.item.name in told) or row.change.after is None


@given(showings, st.sampled_from(measured), st.data())
def test_a_value_comes_back_from_how_it_is_shown(
    showing: BenchDisplay, name: str, data: st.DataObject
) -> None:
    item = ITEMS[name]
    value = float(data.draw(values(item)))
    unit = showing.unit(item)
    shown = f"{showing.shown(item, value):.12f} {unit}"
    assert showing.inside(item, shown) == pytest.approx(value, rel=1e-9, abs=1e-9)


heights = st.floats(0.0, 100.0)


@given(heights, heights, st.floats(5.0, 200.0), heights, st.floats(-50.0, 100.0))
def test_strut_geometry_turns_with_its_heights(
    front: float, rear: float, span: float, block: float, overhang: float
) -> None:
    rest = (Estimate(span), Estimate(block), Estimate(overhang))
    if abs(rear - front) >= span:
        with pytest.raises(SetupError):
            strut_from_heights(Estimate(front), Estimate(rear), *rest)
        return
    one = strut_from_heights(Estimate(front), Estimate(rear), *rest)
    other = strut_from_heights(Estimate(rear), Estimate(front), *rest)
    assert one.angle_deg.value == pytest.approx(-other.angle_deg.value)
    assert math.sin(math.radians(one.angle_deg.value)) * span == pytest.approx(rear - front, abs=1e-9)
    assert one.depth_rear_mm is not None
    assert one.depth_propeller_mm is not None
    # A higher propeller end (positive angle) lies less deep behind the strut.
    fall = one.depth_rear_mm.value - one.depth_propeller_mm.value
    assert fall == pytest.approx(overhang * math.sin(math.radians(one.angle_deg.value)), abs=1e-9)


@st.composite
def loads(draw: st.DrawFn) -> tuple[Part, ...]:
    parts = []
    for number in range(draw(st.integers(1, 6))):
        place = draw(st.floats(0.0, 1000.0))
        ends = sorted(draw(st.tuples(st.floats(0.0, 1000.0), st.floats(0.0, 1000.0))))
        ranged = draw(st.booleans())
        mass = Estimate(draw(st.floats(0.01, 5.0)), draw(st.floats(0.0, 0.01)))
        where = Estimate(place, draw(st.floats(0.0, 3.0)))
        parts.append(Part(f"part {number}", mass, where, *(ends if ranged else (None, None))))
    return tuple(parts)


@given(loads())
def test_the_centre_lies_among_the_parts_and_is_no_surer_than_none(parts: tuple[Part, ...]) -> None:
    told = balance(parts)
    places = [part.place_mm.value for part in parts]
    assert min(places) - 1e-9 <= told.cog_mm.value <= max(places) + 1e-9
    assert told.cog_mm.u >= 0.0


@given(loads(), st.floats(-100.0, 1100.0))
def test_a_restoration_does_what_it_says(parts: tuple[Part, ...], wanted: float) -> None:
    told = restoring_move(parts, wanted)
    after = parts
    for move in told.together:
        part = part_named(parts, move.name)
        assert part.range_mm is not None
        low, high = part.range_mm
        assert min(low, move.from_mm) - 1e-6 <= move.to_mm <= max(high, move.from_mm) + 1e-6
        after = moved(after, move.name, move.to_mm)
    assert balance(after).cog_mm.value == pytest.approx(told.reached_mm, abs=1e-6)
    assert told.reached_mm + told.miss_mm == pytest.approx(wanted, abs=1e-6)
    for move in told.alone:
        assert balance(moved(parts, move.name, move.to_mm)).cog_mm.value == pytest.approx(wanted, abs=1e-6)
    if not told.possible:
        # As near as all parts together can get: each stands at its end, or at home if that is beyond it.
        forward = wanted > told.start.cog_mm.value
        ends = [
            part.place_mm.value
            if part.range_mm is None
            else max(part.place_mm.value, part.range_mm[1])
            if forward
            else min(part.place_mm.value, part.range_mm[0])
            for part in parts
        ]
        best = sum(p.mass_kg.value * e for p, e in zip(parts, ends, strict=True)) / told.start.mass_kg.value
        assert told.reached_mm == pytest.approx(best, abs=1e-6)


@given(loads(), st.floats(0.0, 1000.0))
def test_moving_a_part_there_and_back_moves_nothing(parts: tuple[Part, ...], there: float) -> None:
    away = moved(parts, "part 0", there)
    home = moved(away, "part 0", parts[0].place_mm.value)
    assert balance_effect(parts, home).shift_mm == Estimate(0.0, 0.0)
    assert balance_effect(parts, away).shift_mm.value == pytest.approx(
        -balance_effect(away, parts).shift_mm.value
    )


keys = st.text(max_size=8) | st.sampled_from(list(ITEMS))
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=10,
)


@given(
    st.dictionaries(
        st.sampled_from(
            ["boat", "name", "readings", "own", "parent", "made_utc", "note", "schema", "parts", "x"]
        ),
        anything,
    )
)
def test_any_table_is_a_sheet_or_a_sentence(table: dict[str, object]) -> None:
    for read in (SetupSheet.from_dict, FoundMeasure.from_dict, parts_of_table):
        with_sentence(lambda read=read: read(table, "any.toml"))


@given(st.text(max_size=200))
def test_any_text_is_a_table_or_a_sentence(text: str) -> None:
    with_sentence(lambda: parse_table(text, "any.toml"))


def with_sentence(do: Callable[[], object]) -> None:
    """Either outcome is right; what is refused says where and what to do."""
    refused: SetupError | None = None
    try:
        do()
    except SetupError as error:
        refused = error
    assert refused is None or ("any.toml" in str(refused) and refused.hint)
