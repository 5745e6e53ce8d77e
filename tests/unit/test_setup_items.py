"""The catalogue of items, gauges, and how a user reads them."""

from pathlib import Path

import pytest

from telemetry.core.errors import SetupError
from telemetry.setup import (
    GAUGES,
    GROUPS,
    ITEMS,
    SIGNS,
    BenchDisplay,
    FoundMeasure,
    Gauge,
    Item,
    OwnItem,
    Reading,
    SetupSheet,
    compare_found,
    detection_limit,
)
from telemetry.setup.files import load_sheet, parse_table
from telemetry.setup.parse import own_item_of, own_item_table, reading_of


def test_names_end_in_their_unit_and_the_order_is_that_of_the_groups() -> None:
    endings = {"mm": "_mm", "deg": "_deg", "kg": "_kg", "V": "_v", "rpm/V": "_rpm_per_v", "mAh": "_mah"}
    for name, item in ITEMS.items():
        assert item.name == name
        assert item.title
        assert name.endswith(endings.get(item.unit, ""))
    orders = [(list(GROUPS).index(item.group), item.order) for item in ITEMS.values()]
    assert [order for _, order in orders] == list(range(len(ITEMS)))
    bench = [group for group, _ in orders][: len(orders) - 1]
    assert bench == sorted(bench)


@pytest.mark.parametrize("item", [i for i in ITEMS.values() if i.matters is not None], ids=lambda i: i.name)
def test_the_usual_gauge_is_fine_enough_for_what_matters(item: Item) -> None:
    same = Reading(1.0)
    assert item.matters is not None
    assert detection_limit(item, same, same).value <= item.matters


def test_every_sign_that_can_be_turned_is_in_the_table_of_signs() -> None:
    turned = {name for names in SIGNS.values() for name in names}
    assert turned == {item.name for item in ITEMS.values() if item.other_sign}


def test_the_signs_are_those_of_the_design() -> None:
    # DESIGN.md section 2, "Sign conventions".
    assert "positive below" in ITEMS["strut_depth_mm"].sign
    assert "propeller end is the higher end" in ITEMS["strut_angle_deg"].sign
    assert "trailing edge of the tab is above" in ITEMS["tab_gap_left_inner_mm"].sign
    assert "ahead of the transom" in ITEMS["cog_mm"].sign


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("strut_depth_mm", 300.0, "out of range"),
        ("strut_depth_mm", float("nan"), "not a number"),
        ("strut_depth_mm", True, "not a number"),
        ("cells", 6.5, "not a whole number"),
        ("prop_name", "  ", "not text"),
        ("prop_name", 45.0, "not text"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_name(name: str, value: float, said: str) -> None:
    with pytest.raises(SetupError, match=said) as refused:
        ITEMS[name].check(Reading(value), "sheet.toml")
    assert refused.value.place == name
    assert refused.value.hint
    assert "sheet.toml" in str(refused.value)


def test_a_gauge_of_another_kind_is_refused() -> None:
    with pytest.raises(SetupError, match="kg cannot be converted to mm"):
        ITEMS["strut_depth_mm"].check(Reading(3.0, Gauge("scale", 0.001, "kg")))


@pytest.mark.parametrize("resolution", [-0.1, float("nan"), float("inf")])
def test_a_gauge_has_a_step_that_can_be(resolution: float) -> None:
    with pytest.raises(SetupError, match="impossible"):
        Gauge("caliper", resolution, "mm")


def test_a_gauge_in_inches_serves_an_item_in_millimetres() -> None:
    assert Gauge("dial caliper", 1.0, "thou").half_width("mm") == pytest.approx(0.0127)


@pytest.mark.parametrize(
    ("written", "value", "resolution"),
    [
        (3, 3.0, None),
        ("1/8 in", 3.175, None),
        ("125 thou", 3.175, None),
        ({"value": "3,2 mm", "gauge": "caliper"}, 3.2, 0.1),
        ({"value": 3.2, "gauge": "depth gauge", "resolution": "1 thou"}, 3.2, 0.0254),
        ({"value": 3.2, "resolution": 0.02}, 3.2, 0.02),
        ({"value": 3.2, "gauge": {"name": "probe", "resolution": "0.001 in", "unit": "in"}}, 3.2, 0.0254),
    ],
)
def test_readings_as_people_write_them(written: object, value: float, resolution: float | None) -> None:
    reading = reading_of(written, ITEMS["strut_depth_mm"])
    assert reading.value == pytest.approx(value)
    if resolution is None:
        assert reading.gauge is None
    else:
        assert reading.gauge is not None
        assert 2 * reading.gauge.half_width("mm") == pytest.approx(resolution)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("three", "not a measured value"),
        ("3 kg", "kg cannot be converted to mm"),
        ("1/0 in", "not a measured value"),
        ({"value": 3.0, "gauge": "thumb"}, "resolution of 'thumb' is missing"),
        ({"gauge": "caliper"}, "value is missing"),
        ({"value": 3.0, "colour": "red"}, "unknown key"),
        (None, "not a measured value"),
        ([3.0], "not a measured value"),
    ],
)
def test_readings_that_nobody_can_use(written: object, said: str) -> None:
    with pytest.raises(SetupError, match=said) as refused:
        reading_of(written, ITEMS["strut_depth_mm"], "sheet.toml")
    assert "strut_depth_mm" in str(refused.value)


def test_own_items_stand_beside_those_of_the_trade() -> None:
    own = own_item_of(
        {
            "name": "wing_height_mm",
            "title": "Wing height",
            "unit": "mm",
            "matters": "1/16 in",
            "at_bench": True,
        }
    )
    assert own.matters == pytest.approx(1.5875)
    assert own_item_of(own_item_table(own)) == own
    lid = own_item_of({"name": "lid", "title": "Lid", "kind": "choice", "choices": ["taped", "screwed"]})
    assert lid.check(Reading("taped")).value == "taped"
    with pytest.raises(SetupError, match="not one of the choices"):
        lid.check(Reading("glued"))
    ballast = own_item_of({"name": "ballast", "title": "Ballast", "kind": "flag"})
    assert reading_of("yes", ballast).value is True
    with pytest.raises(SetupError, match="neither yes nor no"):
        reading_of("perhaps", ballast)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"name": "wing_height", "title": "Wing", "unit": "mm"}, "does not end in the unit"),
        ({"name": "Wing mm", "title": "Wing", "unit": "mm"}, "small letters"),
        ({"name": "wing_mm", "unit": "mm"}, "is missing"),
        ({"name": "wing_mm", "title": "Wing", "unit": "furlong"}, "not a unit of an item"),
        ({"name": "wing_mm", "title": "Wing", "unit": "mm", "group": "roof"}, "no group"),
        ({"name": "wing_mm", "title": "Wing", "unit": "mm", "low": 5, "high": 2}, "range is empty"),
        ({"name": "wing_mm", "title": "Wing", "unit": "mm", "matters": 0}, "must be positive"),
        ({"name": "lid", "title": "Lid", "kind": "choice"}, "choices and kind"),
        ({"name": "lid", "title": "Lid", "kind": "colour"}, "no kind"),
        ({"name": "lid", "title": "Lid", "choices": 3}, "list of words"),
        ({"name": "lid", "title": "Lid", "at_bench": "often"}, "true or false"),
        ({"name": "lid", "title": 5}, "not text"),
        ("lid", "not a table"),
    ],
)
def test_own_items_that_do_not_fit_are_refused(table: object, said: str) -> None:
    with pytest.raises(SetupError, match=said):
        own_item_of(table, "sheet.toml")


def test_a_user_in_thou_and_with_turned_signs_reads_and_writes_their_own_way() -> None:
    show = BenchDisplay("thou", "g", frozenset({"strut-angle", "tab-gap"}))
    angle, gap, depth, mass = (
        ITEMS[name]
        for name in ("strut_angle_deg", "tab_gap_right_outer_mm", "strut_depth_mm", "pack_mass_kg")
    )
    assert show.text(angle, Reading(1.8)) == "-1.8 deg"
    assert show.inside(angle, "-1.8") == pytest.approx(1.8)
    assert show.inside(gap, "3 mm") == pytest.approx(-3.0)
    assert show.text(depth, Reading(3.175)) == "125 thou"
    assert show.text(mass, Reading(1.1)) == "1100 g"
    assert show.amount(gap, -0.254) == "10 thou"
    assert "lower end" in show.sign(angle)
    assert "below them" in show.sign(depth)
    assert show.text(ITEMS["cells"], Reading(6.0)) == "6"
    with pytest.raises(SetupError, match="not a measured value"):
        show.inside(angle, "steep")


@pytest.mark.parametrize("wrong", [{"length": "ell"}, {"mass": "stone"}, {"turned": frozenset({"hull"})}])
def test_a_unit_or_sign_that_is_not_there_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(SetupError, match="there is no"):
        BenchDisplay(**wrong)  # type: ignore[arg-type]


def test_gauges_offered_have_a_step_and_names_of_their_own() -> None:
    assert len({g.name for g in GAUGES}) == len(GAUGES)
    assert all(g.resolution > 0 for g in GAUGES)


def test_an_own_item_is_an_item() -> None:
    assert isinstance(OwnItem(name="wing_mm", title="Wing", unit="mm"), Item)


@pytest.mark.parametrize(
    ("unit", "ending"), [("turns", "turns"), ("°C", "c"), ("V", "v"), ("rpm/V", "rpm_per_v"), ("mAh", "mah")]
)
def test_an_own_item_in_any_unit_needs_no_gauge_and_comes_back(unit: str, ending: str) -> None:
    name = f"odd_{ending}"
    table = {"name": name, "title": "Odd", "unit": unit, "at_bench": True, "matters": 0.5}
    sheet = SetupSheet.from_dict({"boat": "B", "name": "n", "own": [table], "readings": {name: 2.0}})
    assert SetupSheet.from_dict(sheet.to_dict()) == sheet
    found = FoundMeasure("B", {name: Reading(3.0)}, sheet.own)
    assert [row.verdict for row in compare_found(sheet, found)] == ["moved"]


@pytest.mark.parametrize("key", ["title", "unit", "kind", "group", "sign", "more", "gauge", "low", "high",
                                 "choices", "at_bench", "compared", "order", "name"])  # fmt: skip
def test_null_in_an_own_item_is_one_clear_error(key: str) -> None:
    table = {"name": "wing_height_mm", "title": "Wing", "unit": "mm", key: None}
    with pytest.raises(SetupError, match=key):
        SetupSheet.from_dict({"boat": "B", "name": "n", "own": [table]}, "own.json")


def test_choices_are_words() -> None:
    table = {"name": "wing", "title": "Wing", "kind": "choice", "choices": ["low", None]}
    with pytest.raises(SetupError, match="None is not a text"):
        SetupSheet.from_dict({"boat": "B", "name": "n", "own": [table]})


@pytest.mark.parametrize("text", ['{"boat": "B", "name": "n"}', 'boat = "B"\nname = "n"\n'])
def test_a_byte_order_mark_before_a_file_is_no_part_of_it(text: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet"
    file.write_text(text, encoding="utf-8-sig")
    assert load_sheet(file).name == "n"
    assert parse_table(f"\ufeff{text}", "sheet") == {"boat": "B", "name": "n"}
