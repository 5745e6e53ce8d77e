"""What practitioners try for a symptom, one change at a time: common practice, no source.

Signs are those of the setup sheet: strut angle positive when the propeller end is the higher one, tab gap
positive when the tab's trailing edge is above the plate, strut depth positive below the plate.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

SOURCE: Final = "common practice, no source"
Symptom = Literal["ripple", "heat", "speed"]
SYMPTOMS: Final[Mapping[Symptom, str]] = MappingProxyType(
    {
        "ripple": "the boat ripples (porpoises) at speed",
        "heat": "motor or controller comes near its limit",
        "speed": "more speed is wanted, and nothing else stands out",
    }
)


@dataclass(frozen=True, slots=True)
class Try:
    """One thing to try.

    Attributes
    ----------
    item : str or None
        Item of the setup sheet that it changes, where it is one.
    text : str
        What to do, a small step.
    caution : str
        What to look out for; empty where nothing is special.
    """

    item: str | None
    text: str
    caution: str = ""


TRIES: Final[Mapping[Symptom, tuple[Try, ...]]] = MappingProxyType(
    {
        "ripple": (
            Try(None, "look for what is loose first: strut, hinges, tabs, a shifting pack, a bent propeller"),
            Try("pack_place_mm", "move the pack 5 mm forward"),
            Try("strut_angle_deg", "lower the propeller end of the strut by half a degree (towards zero)"),
            Try(
                "tab_gap_left_outer_mm", "turn both tabs' trailing edges down by 0.2 mm, alike on both sides"
            ),
            Try(
                "strut_depth_mm",
                "move the strut by 0.5 mm, first the way that was not tried last",
                "raising it makes the ride lighter: watch the bow",
            ),
        ),
        "heat": (
            Try(None, "check that cooling water comes out, and the line and nipples for weed"),
            Try("prop_diameter_mm", "fit a smaller propeller: 1 to 2 mm less diameter"),
            Try("prop_pitch_mm", "fit the same diameter with less pitch"),
            Try(None, "run shorter: one pass, then feel motor, controller and pack"),
        ),
        "speed": (
            Try(
                None, "run the present sheet on two more outings first: without that no change can be judged"
            ),
            Try(
                "strut_depth_mm",
                "raise the strut by 0.5 mm",
                "less of the hull and strut is wet and the ride gets lighter: watch the bow",
            ),
            Try(
                "pack_place_mm",
                "move the pack 5 mm back",
                "a centre of gravity further back brings a blow-over nearer: do it in calm air only",
            ),
            Try(
                "strut_angle_deg",
                "raise the propeller end of the strut by a quarter of a degree",
                "more bow lift: watch for porpoising and the bow",
            ),
            Try(
                "prop_pitch_mm",
                "fit 2 to 3 mm more pitch",
                "current and heat rise: one pass, then feel motor and controller",
            ),
        ),
    }
)

LOADING_UP: Final = ("prop_diameter_mm", "prop_pitch_mm", "prop_pitch_ratio")
"""Items that load the motor more the larger they are: a step up needs its heat and current to be known."""

ADVISED: Final = (
    "strut_depth_mm",
    "strut_angle_deg",
    "tab_gap_left_inner_mm",
    "tab_gap_left_outer_mm",
    "tab_gap_right_inner_mm",
    "tab_gap_right_outer_mm",
    "tab_preload_left_turns",
    "tab_preload_right_turns",
    "rudder_depth_mm",
    "pack_place_mm",
    "cog_mm",
    *LOADING_UP,
)
"""Items of the trade that a next trial may be about, besides the boat's own: what is tuned, never what is
bought or charged."""

CAUTIONS: Final[Mapping[tuple[str, int], str]] = MappingProxyType(
    {
        ("strut_depth_mm", -1): "a higher strut rides lighter: watch the bow, and run in calm air",
        ("strut_angle_deg", 1): "a higher propeller end lifts the bow: watch for porpoising and a blow-over",
        ("tab_gap_left_inner_mm", 1): "less tab lets the bow rise; do the same on the other side",
        ("tab_gap_left_outer_mm", 1): "less tab lets the bow rise; do the same on the other side",
        ("tab_gap_right_inner_mm", 1): "less tab lets the bow rise; do the same on the other side",
        ("tab_gap_right_outer_mm", 1): "less tab lets the bow rise; do the same on the other side",
        ("tab_preload_left_turns", -1): "less tab lets the bow rise; do the same on the other side",
        ("tab_preload_right_turns", -1): "less tab lets the bow rise; do the same on the other side",
        ("pack_place_mm", -1): "weight further back brings a blow-over nearer: calm air only",
        ("cog_mm", -1): "weight further back brings a blow-over nearer: calm air only",
        (
            "rudder_depth_mm",
            -1,
        ): "less rudder in the water: make sure the boat still steers before full throttle",
        **{
            (name, 1): "current and heat rise: one pass, then feel motor and controller"
            for name in LOADING_UP
        },
    }
)
ALWAYS: Final = (
    "change this one thing only, and write the sheet before the outing",
    "begin below full throttle, and go on only while the boat rides as you know it",
)
