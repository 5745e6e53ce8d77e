"""The standard items. Usual gauges and what matters are common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from telemetry.setup.gauges import CALIPER, COUNT, FEELER, PROTRACTOR, RULE, SCALE, TAPE, Gauge
from telemetry.setup.items import Item

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_FROM_TRANSOM: Final = "measured ahead of the transom"
_AS_IT_RUNS: Final = {
    "hull": "with all that is fixed to it and not listed apart",
    "pack": "with leads and plugs",
    "motor": "with mount and coupling",
    "controller": "with leads, plugs and capacitors",
}
_CHARGER: Final = Gauge("voltmeter", 0.01, "V")


def _sided(name: str, title: str, **rest: Any) -> Iterator[Item]:
    """Make one item for each side."""
    for side in ("left", "right"):
        yield Item(name=name.format(side), title=title.format(side), **rest)


def _plate() -> Iterator[Item]:
    yield Item(
        name="hull_length_mm", title="Hull length", unit="mm", group="plate", gauge=TAPE, low=50.0,
        high=5000.0, compared=False, sign="transom to bow, without tabs and strut",
    )  # fmt: skip
    yield from _sided(
        "ride_flatness_{}_mm", "Ride surface off the plate, {}", unit="mm", group="plate", gauge=FEELER,
        matters=0.2, low=0.0, high=50.0, at_bench=True,
        sign="widest gap under the surface while the hull stands on the plate",
        less="fill and true the surface", more="a truer surface than before: check the old measure",
    )  # fmt: skip


def _balance() -> Iterator[Item]:
    for name, title, high in (
        ("hull", "Bare hull", 50.0),
        ("pack", "Pack", 20.0),
        ("motor", "Motor", 10.0),
        ("controller", "Controller", 5.0),
    ):
        yield Item(
            name=f"{name}_mass_kg", title=f"{title} mass", unit="kg", group="balance", gauge=SCALE,
            matters=0.005, low=0.001, high=high, sign=_AS_IT_RUNS[name],
            more="add what is missing", less="take off what was added, and look for water",
        )  # fmt: skip
        yield Item(
            name=f"{name}_place_mm", title=f"{title} place", unit="mm", group="balance",
            gauge=TAPE, matters=3.0, low=-500.0, high=5000.0, at_bench=name != "hull",
            sign=f"its own centre, {_FROM_TRANSOM}", more="move it forward", less="move it back",
        )  # fmt: skip
    yield Item(
        name="all_up_mass_kg", title="All-up mass", unit="kg", group="balance", gauge=SCALE, matters=0.01,
        low=0.05, high=100.0, at_bench=True, sign="ready to run, pack in",
        more="find what is missing", less="find what came in: drain water, look for a soaked part",
    )  # fmt: skip
    yield Item(
        name="cog_mm", title="Centre of gravity", unit="mm", group="balance", gauge=RULE, matters=2.0,
        low=0.0, high=5000.0, at_bench=True, sign=f"{_FROM_TRANSOM}, ready to run",
        more="move the pack or another part forward until it has come forward",
        less="move the pack or another part back until it has gone back",
    )  # fmt: skip


def _strut() -> Iterator[Item]:
    yield Item(
        name="strut_depth_mm", title="Strut depth", unit="mm", group="strut", gauge=CALIPER, matters=0.25,
        low=-100.0, high=100.0, at_bench=True,
        sign="at the strut's rear, from the plate under the ride surfaces; positive below them",
        other_sign="at the strut's rear, from the plate under the ride surfaces; positive above them",
        more="lower the strut", less="raise the strut",
    )  # fmt: skip
    yield Item(
        name="strut_angle_deg", title="Strut angle", unit="deg", group="strut", gauge=PROTRACTOR,
        matters=0.25, low=-30.0, high=30.0, at_bench=True,
        sign="positive when the propeller end is the higher end (it then pushes the stern down)",
        other_sign="positive when the propeller end is the lower end (it then lifts the stern)",
        more="raise the propeller end", less="lower the propeller end",
    )  # fmt: skip
    for where, what in (("front", "front"), ("rear", "rear")):
        yield Item(
            name=f"strut_height_{where}_mm", title=f"Strut height over the base, {what}", unit="mm",
            group="strut", gauge=CALIPER, low=-50.0, high=500.0, compared=False,
            sign="one edge of the strut over the base on which the blocks under the hull stand",
        )  # fmt: skip
    yield Item(
        name="strut_span_mm", title="Distance between the two heights", unit="mm", group="strut", gauge=RULE,
        low=5.0, high=500.0, compared=False, sign="along the strut",
    )  # fmt: skip
    yield Item(
        name="strut_overhang_mm", title="Rear height to propeller", unit="mm", group="strut", gauge=RULE,
        low=-200.0, high=300.0, compared=False, sign="along the strut, positive towards the propeller",
    )  # fmt: skip
    yield Item(
        name="base_block_mm", title="Blocks under the ride surfaces", unit="mm", group="strut", gauge=CALIPER,
        low=0.0, high=500.0, compared=False,
        sign="from the base up to the ride surfaces; 0 where these stand on it",
    )  # fmt: skip


def _tabs() -> Iterator[Item]:
    for edge in ("inner", "outer"):
        yield from _sided(
            f"tab_gap_{{}}_{edge}_mm", f"Tab gap, {{}} {edge}", unit="mm", group="tabs", gauge=FEELER,
            matters=0.15, low=-50.0, high=50.0, at_bench=True,
            sign="positive when the trailing edge of the tab is above the plate",
            other_sign="positive when the trailing edge of the tab is below the plate",
            more="turn the trailing edge up", less="turn the trailing edge down",
        )  # fmt: skip
    yield from _sided(
        "tab_preload_{}_turns", "Tab preload, {}", unit="turns", group="tabs",
        gauge=Gauge("count of turns", 0.25, "turns"), matters=0.5, low=-50.0, high=50.0, at_bench=True,
        sign="turns of the screw from where it just touches the tab, positive pressing the tab down",
        more="turn the screw in", less="turn the screw out",
    )  # fmt: skip


def _rudder_and_fins() -> Iterator[Item]:
    yield Item(
        name="rudder_depth_mm", title="Rudder depth", unit="mm", group="rudder", gauge=RULE, matters=1.0,
        low=-50.0, high=300.0, at_bench=True, sign="lower tip, from the plate, positive below it",
        more="lower the rudder", less="raise the rudder",
    )  # fmt: skip
    yield Item(
        name="rudder_toe_deg", title="Rudder toe", unit="deg", group="rudder", gauge=PROTRACTOR, matters=0.25,
        low=-45.0, high=45.0, at_bench=True,
        sign="trim centred; positive when the trailing edge points to starboard (turns the boat right)",
        other_sign="trim centred; positive when the trailing edge points to port (turns the boat left)",
        more="turn the trailing edge to starboard", less="turn the trailing edge to port",
    )  # fmt: skip
    yield Item(
        name="rudder_plumb_deg", title="Rudder out of plumb", unit="deg", group="rudder", gauge=PROTRACTOR,
        matters=0.25, low=-45.0, high=45.0, at_bench=True,
        sign="seen from astern, positive when the lower tip stands to starboard",
        other_sign="seen from astern, positive when the lower tip stands to port",
        more="lean the lower tip to starboard", less="lean the lower tip to port",
    )  # fmt: skip
    yield from _sided(
        "turn_fin_{}_depth_mm", "Turn fin depth, {}", unit="mm", group="fins", gauge=RULE, matters=1.0,
        low=-50.0, high=200.0, at_bench=True, sign="lower tip, from the plate, positive below it",
        more="lower the fin", less="raise the fin",
    )  # fmt: skip
    yield from _sided(
        "turn_fin_{}_toe_deg", "Turn fin toe, {}", unit="deg", group="fins", gauge=PROTRACTOR, matters=0.25,
        low=-45.0, high=45.0, at_bench=True, sign="positive when the leading edge points to the keel line",
        other_sign="positive when the leading edge points away from the keel line",
        more="turn the leading edge towards the keel line",
        less="turn the leading edge away from the keel line",
    )  # fmt: skip


def _drive() -> Iterator[Item]:
    yield Item(name="prop_name", title="Propeller", kind="text", group="propeller", at_bench=True)
    for what, low in (("diameter", 5.0), ("pitch", 1.0)):
        yield Item(
            name=f"prop_{what}_mm", title=f"Propeller {what}", unit="mm", group="propeller", gauge=CALIPER,
            matters=0.5, low=low, high=500.0, more="fit a larger one", less="fit a smaller one",
        )  # fmt: skip
    yield Item(
        name="prop_pitch_ratio", title="Propeller pitch over diameter", group="propeller",
        gauge=Gauge("maker's figure", 0.05, "1"), matters=0.1, low=0.3, high=4.0,
    )  # fmt: skip
    yield Item(name="prop_blades", title="Blades", kind="count", group="propeller", low=1, high=12)
    yield Item(
        name="prop_work", title="Work done on the propeller", kind="text", group="propeller",
        sign="sharpened, balanced, backcut, cupped, and by whom",
    )  # fmt: skip
    yield Item(
        name="gear_ratio", title="Gear ratio", group="gear", gauge=COUNT, low=0.05, high=50.0,
        sign="motor turns for one turn of the shaft; 1 for direct drive",
    )  # fmt: skip


def _power() -> Iterator[Item]:
    yield Item(name="motor_name", title="Motor", kind="text", group="motor")
    yield Item(
        name="kv_rpm_per_v", title="Motor constant", unit="rpm/V", group="motor",
        gauge=Gauge("maker's figure", 1.0, "rpm/V"), low=10.0, high=20000.0,
    )  # fmt: skip
    yield Item(name="pole_pairs", title="Pole pairs", kind="count", group="motor", low=1, high=100)
    yield Item(name="controller_name", title="Controller", kind="text", group="controller")
    yield Item(
        name="timing_deg", title="Timing", unit="deg", group="controller",
        gauge=Gauge("as programmed", 0.0, "deg"), low=-10.0, high=60.0,
    )  # fmt: skip
    yield Item(name="pack_name", title="Pack", kind="text", group="pack")
    yield Item(name="cells", title="Cells in series", kind="count", group="pack", low=1, high=100)
    yield Item(
        name="charge_cell_v", title="Charge, each cell at rest", unit="V", group="pack", gauge=_CHARGER,
        matters=0.02, low=1.0, high=5.0,
    )  # fmt: skip
    yield Item(
        name="pack_capacity_mah", title="Pack capacity", unit="mAh", group="pack",
        gauge=Gauge("maker's figure", 1.0, "mAh"), low=10.0, high=200000.0,
    )  # fmt: skip


def _rest() -> Iterator[Item]:
    yield Item(
        name="cooling_inlets", title="Cooling inlets", kind="count", group="cooling", low=0, high=20,
        at_bench=True, more="open or fit an inlet", less="close an inlet",
    )  # fmt: skip
    yield Item(
        name="cooling_bore_mm", title="Bore of the cooling line", unit="mm", group="cooling", gauge=CALIPER,
        matters=0.5, low=0.2, high=50.0,
    )  # fmt: skip
    yield Item(name="notes", title="Notes", kind="text", group="notes", compared=False)


def _numbered() -> Iterator[tuple[str, Item]]:
    parts = (_plate, _balance, _strut, _tabs, _rudder_and_fins, _drive, _power, _rest)
    for order, item in enumerate(item for part in parts for item in part()):
        yield item.name, replace(item, order=order)


ITEMS: Final[Mapping[str, Item]] = MappingProxyType(dict(_numbered()))
"""Every standard item by its name, in the order of a sheet."""
