"""What an analysis was asked, as plain types: kept beside it, so that a later version can answer again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from telemetry.analysis import Request
from telemetry.motor.power import Limits, PowerOptions
from telemetry.readers import ReadOptions, SavedColumnMap
from telemetry.twoway.rules import SHIPPED, Rule, load_rule


def to_dict(request: Request, options: ReadOptions) -> dict[str, Any]:
    """Write a request and the readers' options; a rule of the user's own goes in whole, not as a path."""
    rule = request.rule
    if isinstance(rule, str) and rule not in SHIPPED:
        rule = load_rule(rule)
    return {
        "rule": asdict(rule) if isinstance(rule, Rule) else rule,
        "distance_m": request.distance_m,
        "gates": request.gates and [list(gate) for gate in request.gates],
        "distances_m": list(request.distances_m),
        "window_s": request.window_s,
        "mark_mps": request.mark_mps,
        "power": asdict(request.power),
        "reading": {
            "headings": dict(options.headings),
            "pole_pairs": options.pole_pairs,
            "gear_ratio": options.gear_ratio,
            "kept": [kept.to_dict() for kept in options.kept.values()],
        },
    }


def from_dict(document: Mapping[str, Any]) -> tuple[Request, ReadOptions]:
    """Read them back."""
    rule, gates = document["rule"], document["gates"]
    power = dict(document["power"])
    limits = Limits(**power.pop("limits"))
    request = Request(
        rule=Rule(**rule) if isinstance(rule, Mapping) else rule,
        distance_m=document["distance_m"],
        gates=gates and ((gates[0][0], gates[0][1]), (gates[1][0], gates[1][1])),
        distances_m=tuple(document["distances_m"]),
        window_s=document["window_s"],
        mark_mps=document["mark_mps"],
        power=PowerOptions(**power, limits=limits),
    )
    reading = dict(document["reading"])
    kept = [SavedColumnMap.from_dict(told) for told in reading.pop("kept")]
    return request, ReadOptions(**reading, kept={one.id: one for one in kept})


def completed(
    request: Request, options: ReadOptions, items: Mapping[str, Any], limits: Limits
) -> tuple[Request, ReadOptions]:
    """Fill in what the caller left open from the setup sheet's items and the boat's limits.

    Parameters
    ----------
    request, options
        What the caller said goes first.
    items : mapping of str to value
        The sheet's items by their names in the catalogue.
    limits : Limits
        The boat's.
    """
    power, usual = request.power, Limits()

    def number(name: str, said: float | None) -> float | None:
        value = items.get(name)
        return said if said is not None or not isinstance(value, (int, float)) else float(value)

    cells = number("cells", power.cells)
    poles = number("pole_pairs", options.pole_pairs)
    diameter_mm = number("prop_diameter_mm", power.diameter_mm)
    pitch_mm = number("prop_pitch_mm", power.pitch_mm)
    ratio = number("prop_pitch_ratio", None)
    if pitch_mm is None and ratio is not None and diameter_mm is not None:
        pitch_mm = ratio * diameter_mm
    filled = PowerOptions(
        pitch_mm=pitch_mm,
        diameter_mm=diameter_mm,
        kv_rpm_per_v=number("kv_rpm_per_v", power.kv_rpm_per_v),
        cells=None if cells is None else round(cells),
        motor_resistance_ohm=number("motor_resistance_ohm", power.motor_resistance_ohm),
        no_load_current_a=number("no_load_current_a", power.no_load_current_a),
        limits=limits if power.limits == usual else power.limits,
    )
    read = replace(
        options,
        pole_pairs=None if poles is None else round(poles),
        gear_ratio=number("gear_ratio", options.gear_ratio),
    )
    return replace(request, power=filled), read
