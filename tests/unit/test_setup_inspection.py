"""What moved, the steps back and the card."""

import pytest
from bench_fixture import found, sheet

from telemetry.core.errors import SetupError
from telemetry.setup import (
    BENCH_CAUTIONS,
    COMMON_PRACTICE,
    CRASH_LIST,
    GROUPS,
    BenchDisplay,
    FoundItem,
    FoundMeasure,
    Gauge,
    OwnItem,
    Reading,
    SetupSheet,
    bench_card,
    compare_found,
    steps_back,
)

COARSE = Gauge("steel rule", 0.5, "mm")


def verdicts(rows: tuple[FoundItem, ...]) -> dict[str, str]:
    return {row.item.name: row.verdict for row in rows}


def test_a_strut_three_millimetres_deep_after_a_crash_is_seen() -> None:
    # CHECKS.md: "a strut found 3 mm deep after a crash", common practice, no source.
    (row,) = (r for r in compare_found(sheet(), found(strut_depth_mm=6.0)) if r.item.name == "strut_depth_mm")
    assert row.verdict == "moved"
    assert "3 mm" in row.why()
    assert row.change.difference == 3.0


@pytest.mark.parametrize(
    ("was", "now", "verdict"),
    [
        (Reading(3.0), Reading(3.0), "as set"),
        (Reading(3.0), Reading(3.1), "as set"),  # one step of both calipers
        (Reading(3.0), Reading(3.2), "moved"),
        (Reading(3.0), Reading(2.8), "moved"),
        (
            Reading(3.0, COARSE),
            Reading(3.0, COARSE),
            "cannot tell",
        ),  # half a millimetre may hide, 0.25 matters
        (Reading(3.0, COARSE), Reading(3.5, COARSE), "cannot tell"),
        (Reading(3.0, COARSE), Reading(4.0, COARSE), "moved"),
        (Reading(3.0), Reading(3.0, Gauge("depth gauge", 0.01, "mm", sd=0.2)), "cannot tell"),
        (Reading(3.0), Reading(3.5, Gauge("depth gauge", 0.01, "mm", sd=0.2)), "moved"),
        (Reading(3.0), Reading(3.0, Gauge("caliper", 0.3, "mm")), "as set"),  # 0.2 may hide, 0.25 matters
        (Reading(3.0), Reading(3.1, Gauge("caliper", 0.3, "mm")), "cannot tell"),  # 0.3 may hide
    ],
)
def test_the_gauges_decide(was: Reading, now: Reading, verdict: str) -> None:
    rows = compare_found(sheet(strut_depth_mm=was), found(strut_depth_mm=now))
    assert verdicts(rows)["strut_depth_mm"] == verdict


def test_without_a_measure_on_either_side_nobody_can_tell() -> None:
    rows = {row.item.name: row for row in compare_found(sheet(), found(turn_fin_left_depth_mm=8.0))}
    assert rows["strut_depth_mm"].verdict == "cannot tell"
    assert rows["strut_depth_mm"].why() == "it was not measured as found"
    assert rows["turn_fin_left_depth_mm"].verdict == "cannot tell"
    assert rows["turn_fin_left_depth_mm"].why() == "the sheet has no value"


def test_what_a_crash_cannot_move_is_asked_about_only_when_measured() -> None:
    assert "cells" not in verdicts(compare_found(sheet(), found()))
    assert verdicts(compare_found(sheet(), found(cells=5.0)))["cells"] == "moved"
    assert verdicts(compare_found(sheet(), found(cells=6.0)))["cells"] == "as set"


def test_texts_are_the_same_or_another() -> None:
    assert verdicts(compare_found(sheet(), found(prop_name=" x45 ")))["prop_name"] == "as set"
    assert verdicts(compare_found(sheet(), found(prop_name="X47")))["prop_name"] == "moved"


def test_a_small_movement_is_called_moved_and_small() -> None:
    fine = Gauge("micrometer", 0.01, "mm")
    rows = compare_found(sheet(strut_depth_mm=Reading(3.0, fine)), found(strut_depth_mm=Reading(3.05, fine)))
    (row,) = (r for r in rows if r.item.name == "strut_depth_mm")
    assert row.verdict == "moved"
    assert "less than the 0.25 mm that matter" in row.why()


def test_own_items_are_judged_too_and_without_a_tolerance_the_gauge_alone_decides() -> None:
    wing = OwnItem(name="wing_height_mm", title="Wing height", unit="mm", gauge=COARSE, at_bench=True)
    was = SetupSheet(boat="K", name="x", readings={"wing_height_mm": Reading(40.0)}, own=(wing,))

    def verdict(value: float) -> str:
        now = FoundMeasure(boat="K", readings={"wing_height_mm": Reading(value)}, own=(wing,))
        (row,) = compare_found(was, now)
        return row.verdict

    assert [verdict(v) for v in (40.0, 40.5, 41.0)] == ["as set", "as set", "moved"]
    crooked = FoundMeasure(boat="K", readings={"wing_height_mm": Reading(44.0)}, own=(wing,))
    (step,) = steps_back(was, crooked)[-1:]
    assert "from 44 mm to 40 mm" in step.text()


def test_measures_of_another_boat_are_refused() -> None:
    with pytest.raises(SetupError, match="another boat"):
        compare_found(sheet(), FoundMeasure(boat="Heron"))
    with pytest.raises(SetupError, match="another boat"):
        steps_back(sheet(), FoundMeasure(boat="Heron"))


ALL_OFF = {
    "rudder_toe_deg": 2.0,
    "tab_gap_left_inner_mm": 2.0,
    "tab_gap_left_outer_mm": 4.0,
    "strut_depth_mm": 6.0,
    "strut_angle_deg": 0.5,
    "cog_mm": 260.0,
    "pack_place_mm": 170.0,
    "prop_name": "X45",
}


def test_the_way_back_goes_in_the_order_of_the_bench() -> None:
    steps = steps_back(sheet(), found(**ALL_OFF))
    assert steps[0].kind == "straighten"
    groups = [step.group for step in steps[1:]]
    assert (
        [g for g in GROUPS if g in groups]
        == list(dict.fromkeys(groups))
        == ["balance", "strut", "tabs", "rudder"]
    )
    assert [step.item.name for step in steps if step.item] == [
        "pack_place_mm",
        "cog_mm",
        "strut_depth_mm",
        "strut_angle_deg",
        "tab_gap_left_inner_mm",
        "rudder_toe_deg",
    ]
    assert [step.group for step in steps if step.kind == "check"] == ["balance", "strut", "tabs"]


def test_each_step_says_item_from_to_direction_and_gauge() -> None:
    by_item = {step.item.name: step.text() for step in steps_back(sheet(), found(**ALL_OFF)) if step.item}
    assert by_item["strut_depth_mm"] == "Strut depth: from 6 mm to 3 mm (caliper). Raise the strut, by 3 mm."
    assert (
        by_item["strut_angle_deg"]
        == "Strut angle: from 0.5 deg to 1.8 deg (angle gauge). Raise the propeller end, by 1.3 deg."
    )
    assert "Turn the trailing edge up, by 1 mm" in by_item["tab_gap_left_inner_mm"]
    assert "Turn the trailing edge to port, by 2 deg" in by_item["rudder_toe_deg"]
    assert "Move it forward, by 10 mm" in by_item["pack_place_mm"]


def test_the_direction_does_not_depend_on_how_a_user_counts() -> None:
    turned = BenchDisplay("in", turned=frozenset({"strut-angle", "strut-depth"}))
    for step in steps_back(sheet(), found(**ALL_OFF)):
        if step.item is not None and step.item.name == "strut_angle_deg":
            assert step.text(turned).endswith(
                "from -0.5 deg to -1.8 deg (angle gauge). Raise the propeller end, by 1.3 deg."
            )
        if step.item is not None and step.item.name == "strut_depth_mm":
            assert "from -0.236 in to -0.118 in" in step.text(turned)
            assert "Raise the strut, by 0.118 in" in step.text(turned)


def test_nothing_moved_needs_no_step_but_what_was_not_measured_needs_a_measure() -> None:
    whole = {n: r for n, r in sheet().readings.items()}
    assert steps_back(sheet(), FoundMeasure(boat="Kestrel", readings=whole)) == ()
    kinds = {step.kind for step in steps_back(sheet(), found())}
    assert kinds == {"measure"}


def test_a_way_to_another_sheet_takes_what_no_crash_moves_from_the_last_one() -> None:
    rough = sheet(strut_depth_mm=3.5, prop_diameter_mm=47.0, cells=8.0)
    as_set = FoundMeasure(
        boat="Kestrel", readings={n: r for n, r in sheet().readings.items() if n != "cells"}
    )
    steps = steps_back(rough, as_set, sheet())
    assert [step.item.name for step in steps if step.kind == "set" and step.item] == [
        "strut_depth_mm",
        "prop_diameter_mm",
        "cells",
    ]
    assert not [step for step in steps if step.kind == "straighten"]  # nothing is bent: it is as it was set


def test_the_card_says_all_of_it_in_plain_text() -> None:
    card = bench_card(sheet(), found(**ALL_OFF), showing=BenchDisplay(length="thou"), crash=True)
    assert all(line.rstrip() == line and len(line) <= 92 for line in card.splitlines())
    flat = " ".join(card.split())
    for caution in BENCH_CAUTIONS:
        assert caution in flat
    for check in CRASH_LIST:
        assert check.look in flat
    assert COMMON_PRACTICE in flat
    assert "As found: 6 moved, 2 as set, 0 cannot tell" in flat
    assert "Signs" in flat
    assert "236.2 thou" in flat
    assert flat.index("Straighten") < flat.index("Centre of gravity: from") < flat.index("Strut depth: from")


def test_a_card_without_measures_has_room_for_them() -> None:
    card = bench_card(sheet())
    row = next(line for line in card.splitlines() if "Strut depth" in line)
    assert row.count("________") == 2
    assert "Cells" not in card


def test_the_same_boat_as_found_as_set_is_said() -> None:
    whole = FoundMeasure(boat="Kestrel", readings=dict(sheet().readings))
    assert "nothing to do" in bench_card(sheet(), whole)
