"""The numbers of an analysis that the logbook searches and compares by, out of the output contract."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Document = Mapping[str, Any]


@dataclass(frozen=True)
class SummaryRows:
    """Rows of ``passes`` and ``two_ways``, and the columns of ``outings`` that repeat the best."""

    passes: tuple[dict[str, Any], ...]
    two_ways: tuple[dict[str, Any], ...]
    summary: dict[str, Any]


def parse_utc(text: str | None) -> datetime | None:
    """Read the contract's UTC."""
    return None if text is None else datetime.fromisoformat(text)


def summary_rows(document: Document) -> SummaryRows:
    """Take the numbers out of an analysis as the output contract writes it."""
    passes, two_ways = document["passes"], document["two_ways"]
    position = {p["id"]: k for k, p in enumerate(passes)}
    ripples, ways = _ripples(document["ride"]), _ways([p["heading_deg"] for p in passes])
    pass_rows = tuple(
        {"position": k, "way": ways[k], "ripple_mps": ripples.get(p["id"])} | _pass(p)
        for k, p in enumerate(passes)
    )
    apart = disjoint_pairs([(position[w["passes"][0]], position[w["passes"][1]]) for w in two_ways])
    two_way_rows = tuple(
        {"position": k, "apart": k in apart} | _two_way(w, position) for k, w in enumerate(two_ways)
    )
    return SummaryRows(pass_rows, two_way_rows, _summary(passes, two_ways))


def disjoint_pairs(pairs: Sequence[tuple[int, int]]) -> frozenset[int]:
    """Choose pairs of passes that share none, so that no pass counts twice when two-ways are compared.

    A pass out pairs with every pass back, and such two-ways are not separate evidence. The choice looks at
    the order in time alone, never at the speeds: passes close to one another first, then the earlier.

    Examples
    --------
    >>> sorted(disjoint_pairs([(0, 1), (0, 3), (1, 2), (2, 3)]))
    [0, 3]
    """
    used: set[int] = set()
    chosen = []
    for k in sorted(range(len(pairs)), key=lambda k: (pairs[k][1] - pairs[k][0], pairs[k])):
        if not used.intersection(pairs[k]):
            used.update(pairs[k])
            chosen.append(k)
    return frozenset(chosen)


def _ripples(ride: Sequence[Document]) -> dict[str, float]:
    """Find the swing of speed at speed by pass [m/s].

    A pass that was examined and found clean has none: left out, it would leave the rippling passes to speak
    for a sheet alone. Where the log cannot tell, the pass is not named.
    """
    swings: dict[str, float] = {}
    for event in ride:
        if event["kind"] == "porpoising" and event["phase"] == "at speed":
            amplitude = 0.0 if event["verdict"] == "not seen" else event["speed_amplitude_mps"]
            if amplitude is not None:
                swings[event["pass_id"]] = max(amplitude, swings.get(event["pass_id"], 0.0))
    return swings


def _ways(headings_deg: Sequence[float | None]) -> list[str]:
    """Call a pass out that went the first one's way, or whose heading is unknown; the others went back."""
    first = next((h for h in headings_deg if h is not None), 0.0)
    turned = [0.0 if h is None else abs((h - first + 180.0) % 360.0 - 180.0) for h in headings_deg]
    return ["back" if deg > 90.0 else "out" for deg in turned]


def _pass(p: Document) -> dict[str, Any]:
    motor = p["motor"] or {}
    return {
        "pass_id": p["id"],
        "start_utc": parse_utc(p["start_utc"]),
        "heading_deg": p["heading_deg"],
        "length_m": p["length_m"],
        "peak_mps": p["peak_mps"],
        "peak_u95_mps": p["peak_u95_mps"],
        "held_1s_mps": p["held_1s_mps"],
        "held_1s_u95_mps": p["held_1s_u95_mps"],
        "distances": [[d["distance_m"], d["speed_mps"], d["u95_mps"]] for d in p["distances"]],
        "slip": motor.get("slip"),
        "slip_u95": motor.get("slip_u95"),
        "peak_current_a": motor.get("peak_current_a"),
        "motor_temp_c": (motor.get("motor_heat") or {}).get("highest_after_c"),
        "esc_temp_c": (motor.get("esc_heat") or {}).get("highest_after_c"),
        "rest_voltage_v": motor.get("rest_voltage_v"),
    }


def _two_way(w: Document, position: Mapping[str, int]) -> dict[str, Any]:
    first, second = w["passes"]
    kept = (
        "rule",
        "mean",
        "distance_m",
        "average_mps",
        "u95_mps",
        "u_independent_mps",
        "u_shared_mps",
        "verdict",
    )
    return {
        "two_way_id": w["id"],
        "first_position": position[first],
        "second_position": position[second],
        **{name: w[name] for name in kept},
    }


def _summary(passes: Sequence[Document], two_ways: Sequence[Document]) -> dict[str, Any]:
    best = next((w for w in two_ways if w["best"]), None)
    top = max(passes, key=lambda p: p["peak_mps"], default=None)
    return {
        "pass_count": len(passes),
        "two_way_count": len(two_ways),
        "best_two_way_mps": best and best["average_mps"],
        "best_two_way_u95_mps": best and best["u95_mps"],
        "best_verdict": best and best["verdict"],
        "best_peak_mps": top and top["peak_mps"],
        "best_peak_u95_mps": top and top["peak_u95_mps"],
    }
