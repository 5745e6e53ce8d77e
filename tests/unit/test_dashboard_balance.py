"""The bench page's balance: what is typed, weighed, moved back and drawn."""

import pytest
from bench_fixture import found, sheet

from dashboard.features.bench.balance_figure import balance_drawing
from dashboard.features.bench.balance_service import FIELDS, as_set_of, first_rows, in_old_units, weigh
from dashboard.features.bench.service import blank_sheet
from dashboard.ui.palette import LIGHT
from telemetry.setup import BenchDisplay, Reading, SetupSheet, restoring_move

MM = BenchDisplay()
PARTS = [
    dict(zip(FIELDS, row, strict=True))
    for row in (
        ("hull", "1.2", "330", "", "", "", ""),
        ("pack", "1100 g", "180", "150", "220", "", "200"),
        ("motor", "0.45", "330", "", "", "", ""),
        ("controller", "0.25", "260", "", "", "", ""),
        ("", "", "", "", "", "", ""),
    )
]


def test_typed_parts_are_weighed_moved_and_restored() -> None:
    told = weigh(PARTS, "269.17", "800", MM)
    text = " ".join(told.sentences)
    # CHECKS.md, computed: 269.17 mm, 33.65 %, 276.5 mm.
    assert "269.2 ± 0.3 mm" in text
    assert "33.65" in text
    assert "276.5" in text
    assert "pack back by 20.0 mm" in text
    inches = weigh(
        in_old_units(PARTS, MM, BenchDisplay("in", "lb")), "269.17 mm", "800 mm", BenchDisplay("in", "lb")
    )
    assert inches.now is not None
    assert told.now is not None
    assert inches.now.cog_mm.value == pytest.approx(told.now.cog_mm.value)
    assert told.then is not None


def test_the_balance_is_drawn_to_scale_with_its_move() -> None:
    as_set = as_set_of(loaded())
    assert as_set is not None
    told = weigh(PARTS, "", "800", MM, as_set)
    assert told.now is not None
    assert told.then is not None
    assert told.restoration == restoring_move(
        told.after, as_set.value
    )  # without a wish, back to what was set
    drawn = balance_drawing(
        told.before, told.after, told.now, told.then, as_set, 800.0, told.restoration, LIGHT, MM
    )
    by_name = {trace.name: trace for trace in drawn.data}
    assert list(by_name["masses"].x) == [330.0, 200.0, 330.0, 260.0]
    assert list(by_name["masses"].marker.size) == [1.2, 1.1, 0.45, 0.25]
    assert by_name["masses"].marker.sizemode == "area"
    assert list(by_name["before"].x) == [180.0]
    assert (min(by_name["hull"].x), max(by_name["hull"].x)) == (0.0, 800.0)
    assert by_name["as set"].x[0] == pytest.approx(269.17, abs=0.005)  # CHECKS.md, computed
    assert by_name["as found"].x[0] == told.now.cog_mm.value
    assert by_name["what if"].x[0] == told.then.cog_mm.value
    (arrow_drawn,) = (note for note in drawn.layout.annotations if note.showarrow)
    (move,) = told.restoration.together
    assert (arrow_drawn.ax, arrow_drawn.x) == (move.from_mm, move.to_mm)
    assert "<b>pack back 20.0 mm</b>" in {note.text for note in drawn.layout.annotations}
    low, high = drawn.layout.xaxis.range
    assert list(drawn.layout.xaxis2.range) == pytest.approx([low / 8.0, high / 8.0])
    bare = balance_drawing(
        told.before, told.before, told.now, told.now, None, None, None, LIGHT, BenchDisplay("in")
    )
    assert {trace.name for trace in bare.data} == {"masses", "as found"}
    assert bare.data[0].x[0] == pytest.approx(330.0 / 25.4)


def loaded() -> SetupSheet:
    """The parts above as they stand on a sheet."""
    masses = {"hull": (1.2, 330.0), "pack": (1.1, 180.0), "motor": (0.45, 330.0), "controller": (0.25, 260.0)}
    readings = {f"{name}_mass_kg": Reading(mass) for name, (mass, _) in masses.items()}
    readings |= {f"{name}_place_mm": Reading(place) for name, (_, place) in masses.items()}
    return SetupSheet(boat="Kestrel", name="loaded", readings=readings)


def test_where_the_sheet_has_no_masses_its_measured_centre_counts() -> None:
    told = as_set_of(sheet())
    assert told is not None
    assert told.value == 269.0
    assert as_set_of(blank_sheet("Heron")) is None
    assert as_set_of(None) is None


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ({"name": "pack", "mass": "1"}, "pack: its mass or its place"),
        ({"mass": "1", "place": "2"}, "no name"),
        ({"name": "pack", "mass": "heavy", "place": "2"}, "pack: 'heavy' is not a measured value"),
        ({"name": "pack", "mass": "1", "place": "2", "low": "3"}, "pack: only one end"),
    ],
)
def test_parts_that_cannot_be_are_said(part: dict[str, str], said: str) -> None:
    assert said in weigh([part], "", "", MM).error


def test_the_table_of_parts_begins_with_the_sheet() -> None:
    loaded = SetupSheet(boat="K", name="x", readings=sheet().readings).edit(
        {name: sheet_of_mass(value) for name, value in {"pack_mass_kg": 1.1}.items()}
    )
    (row,) = first_rows(loaded, BenchDisplay(mass="g"))
    assert (row["name"], row["mass"], row["place"]) == ("pack", "1100", "180")
    assert [row["name"] for row in first_rows(None, MM)] == ["hull", "pack", "motor", "controller"]
    assert weigh(first_rows(None, MM), "", "", MM).sentences == ()


def sheet_of_mass(value: float):
    return found(pack_mass_kg=value).readings["pack_mass_kg"]
