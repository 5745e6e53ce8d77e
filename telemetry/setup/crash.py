"""Checks after a crash, and cautions at the bench (all common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

BENCH_CAUTIONS: Final = (
    "The propeller is live while a pack is connected: take the pack out before hands go near it.",
    "A pack that was hit, got wet, swells, smells or is warm: outdoors, on a fireproof surface, watched; "
    "never charge it.",
    "Let hot motors and controllers cool before you touch them.",
    "A propeller is sharp: gloves, and the shaft held, when you turn it.",
    "Never enter the water alone to fetch a boat.",
    "Try the fail-safe before the boat goes back on the water.",
)
"""Cautions of a bench card."""


@dataclass(frozen=True, slots=True)
class CrashCheck:
    """One check.

    Attributes
    ----------
    name, title : str
        Its key and what it is about.
    look : str
        What to do.
    why : str
        What the fault would mean.
    """

    name: str
    title: str
    look: str
    why: str


CRASH_LIST: Final = (
    CrashCheck(
        "pack-out", "Pack", "disconnect and take it out; look for dents, heat, swelling, water",
        "a damaged cell can burn hours later",
    ),
    CrashCheck(
        "water", "Water inside", "drain, open all hatches, dry; look under foam and tape",
        "water moves the balance and kills electronics",
    ),
    CrashCheck(
        "hull", "Hull and ride surfaces", "look for cracks, loose seams, dents; stand it on the plate",
        "a hooked or rockered ride surface changes the trim whatever the sheet says",
    ),
    CrashCheck(
        "propeller", "Propeller", "look for bent tips, nicks, hairline cracks at the hub; check its balance",
        "a cracked blade leaves at speed; an unbalanced one eats bushings",
    ),
    CrashCheck(
        "driveline", "Shaft, coupling, dog and nut", "turn by hand: true, without rubbing or tight spots",
        "a bent stub or a twisted flexible shaft costs speed and breaks next",
    ),
    CrashCheck(
        "strut", "Strut and bracket", "look for bends; pull and push for play; then measure depth and angle",
        "the strut is what a landing moves first",
    ),
    CrashCheck(
        "rudder", "Rudder, bracket, breakaway pin", "plumb and toe, the pin whole, the blade straight",
        "a leaning rudder lifts or digs one sponson",
    ),
    CrashCheck(
        "tabs", "Tabs and turn fins", "bends, loose screws, play in the hinge; then measure the gaps",
        "a tab bent by half a millimetre is a new setup",
    ),
    CrashCheck(
        "mounts", "Motor and controller mounts", "nothing moves when pushed; the motor is where it was",
        "a motor that slid moves the balance and the coupling",
    ),
    CrashCheck(
        "cooling", "Cooling line", "blow through: free, and no drop inside; nipples and clips on",
        "a kinked or open line is a burnt controller or a full hull",
    ),
    CrashCheck(
        "wiring", "Leads and plugs", "chafed insulation, discoloured plugs, a solder joint that moves",
        "a joint that was hot or pulled fails at full current",
    ),
    CrashCheck(
        "radio", "Receiver, servo, linkage, aerial", "dry; full travel both ways, no slop; aerial in place",
        "steering is what is left when the power goes",
    ),
    CrashCheck(
        "fail-safe", "Fail-safe", "propeller off or held clear: transmitter off, the motor must stop",
        "a boat without it runs until it hits something",
    ),
    CrashCheck(
        "flotation", "Flotation and hatch seals", "foam in place and dry; hatch tape renewed",
        "the next swim must end on the surface",
    ),
)  # fmt: skip
"""In working order: what can burn first, what decides the next launch last."""
