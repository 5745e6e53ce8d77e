"""Balance, strut and their input."""

import pytest

from telemetry.core.errors import SetupError
from telemetry.setup import (
    Estimate,
    Part,
    Reading,
    balance,
    balance_effect,
    parse_table,
    parts_of_table,
    restoring_move,
    strut_from_heights,
    strut_of,
)
from telemetry.setup.balance import moved, swapped

PARTS = parts_of_table(
    parse_table(
        """
        [[parts]]
        name = "hull"
        mass = 1.2
        place = 330
        [[parts]]
        name = "pack"
        mass = "1100 g"
        place = 180
        low = 150
        high = "8 in"
        mass_resolution = "5 g"
        [[parts]]
        name = "motor"
        mass = 0.45
        place = "330 mm"
        low = 320
        high = 340
        """,
        "parts.toml",
    )
)


def test_parts_are_read_in_any_unit_with_their_gauges() -> None:
    pack = PARTS[1]
    assert (pack.mass_kg.value, pack.place_mm.value) == (pytest.approx(1.1), 180.0)
    assert pack.range_mm == (150.0, pytest.approx(203.2))
    assert pack.mass_kg.u == pytest.approx(0.005 / 12**0.5)
    assert pack.place_mm.u == pytest.approx(1.0 / 12**0.5)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ('name = "x"\nmass = 1', "part 1: place"),
        ("mass = 1\nplace = 2", "part 1: name"),
        ('name = "x"\nmass = 0\nplace = 2', "not possible"),
        ('name = "x"\nmass = "one"\nplace = 2', "x: mass"),
        ('name = "x"\nmass = 1\nplace = 2\nlow = 1', "only one end"),
        ('name = "x"\nmass = 1\nplace = 2\nlow = 3\nhigh = 1', "cannot be moved"),
        ('name = "x"\nmass = 1\nplace = 2\nplaces = 3', "unknown key"),
    ],
)
def test_a_part_that_cannot_be_is_named_with_its_file(part: str, said: str) -> None:
    with pytest.raises(SetupError, match=said) as refused:
        parts_of_table(parse_table(f"[[parts]]\n{part}", "p.toml"), "p.toml")
    assert "p.toml" in str(refused.value)


def test_no_part_and_a_name_twice_are_refused() -> None:
    with pytest.raises(SetupError, match="no part"):
        parts_of_table({}, "p.toml")
    with pytest.raises(SetupError, match="no part"):
        balance(())
    with pytest.raises(SetupError, match="two parts"):
        balance((PARTS[0], PARTS[0]))
    with pytest.raises(SetupError, match="no such part"):
        moved(PARTS, "sail", 10.0)


def test_what_two_loadings_share_does_not_blur_the_shift() -> None:
    shift = balance_effect(PARTS, moved(PARTS, "pack", 190.0)).shift_mm
    assert shift.value == pytest.approx(11.0 / 2.75)
    assert shift.u < balance_effect(PARTS, moved(PARTS, "pack", 190.0)).before.cog_mm.u * 1.5
    same = balance_effect(PARTS, PARTS).shift_mm
    assert same == Estimate(0.0, 0.0)


def test_a_swap_changes_mass_and_balance() -> None:
    told = balance_effect(PARTS, swapped(PARTS, Part("motor", Estimate(0.385), Estimate(330.0))))
    assert told.after.mass_kg.value - told.before.mass_kg.value == pytest.approx(-0.065)
    assert told.shift_mm.value < 0.0


def test_one_part_alone_is_taken_with_the_shortest_way() -> None:
    start = balance(PARTS).cog_mm.value
    told = restoring_move(PARTS, start + 0.5)
    assert [move.name for move in told.alone] == ["pack", "motor"]
    assert told.together == (told.alone[0],)
    assert told.possible
    assert not told.within_doubt
    assert restoring_move(PARTS, start + 0.3).within_doubt  # 1.96 x 0.18 mm


def test_parts_go_together_where_none_suffices_alone() -> None:
    start = balance(PARTS).cog_mm.value
    told = restoring_move(PARTS, start + 10.0)
    assert not told.alone
    assert [move.name for move in told.together] == ["pack", "motor"]
    assert told.together[0].to_mm == pytest.approx(203.2)
    assert told.possible


def test_out_of_reach_is_said_with_how_near_one_gets() -> None:
    start = balance(PARTS).cog_mm.value
    told = restoring_move(PARTS, start + 50.0)
    assert not told.possible
    assert not told.within_doubt
    assert told.reached_mm == pytest.approx(start + (1.1 * 23.2 + 0.45 * 10.0) / 2.75)
    assert told.miss_mm == pytest.approx(start + 50.0 - told.reached_mm)
    fixed = restoring_move(PARTS[:1], 300.0)
    assert (fixed.together, fixed.miss_mm) == ((), -30.0)


def test_a_wanted_balance_that_is_there_needs_no_move() -> None:
    told = restoring_move(PARTS, balance(PARTS).cog_mm.value)
    assert (told.alone, told.together, told.miss_mm) == ((), (), 0.0)
    assert told.possible


def test_the_attitude_of_a_strut_is_said_only_where_the_gauges_tell_it() -> None:
    u = 0.03
    higher, lower, level = (
        strut_from_heights(Estimate(20.0, u), Estimate(20.0 + rise, u), Estimate(60.0, 0.1)).attitude
        for rise in (1.0, -1.0, 0.05)
    )
    assert "higher end" in higher
    assert "lower end" in lower
    assert "level" in level


def test_heights_without_blocks_give_the_angle_alone() -> None:
    told = strut_of(
        {
            "strut_height_front_mm": Reading(20.0),
            "strut_height_rear_mm": Reading(21.0),
            "strut_span_mm": Reading(60.0),
        }
    )
    assert told is not None
    assert told.depth_rear_mm is None
    assert told.depth_propeller_mm is None
    assert strut_of({"strut_height_front_mm": Reading(20.0)}) is None
