"""The direction of a pass: out (as the first one) or back, and an arrow for its heading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

from telemetry.core.geo import wrap_deg
from telemetry.passes.find import Pass

Direction = Literal["out", "back"]

_ARROWS: Final = "↑↗→↘↓↙←↖"


def directions(passes: Sequence[Pass]) -> dict[str, Direction]:
    """Return each pass's direction by id: that of the first pass, or the opposite one."""
    if not passes:
        return {}
    headings = [p.heading_deg for p in passes if not math.isnan(p.heading_deg)]
    reference_deg = headings[0] if headings else 0.0
    # A pass whose heading is unknown (no position, no course in its log) counts as out.
    return {
        p.id: "back" if abs(float(wrap_deg(p.heading_deg - reference_deg))) > 90.0 else "out" for p in passes
    }


def by_direction(passes: Sequence[Pass]) -> dict[Direction, list[Pass]]:
    """Split passes into those out and those back, each in order of time."""
    way = directions(passes)
    return {name: [p for p in passes if way[p.id] == name] for name in ("out", "back")}


def arrow(heading_deg: float) -> str:
    """Return the arrow nearest to a heading, north up; empty if the heading is unknown.

    Examples
    --------
    >>> arrow(0.0), arrow(92.0), arrow(359.0)
    ('↑', '→', '↑')
    """
    if math.isnan(heading_deg):
        return ""
    return _ARROWS[round(heading_deg / 45.0) % 8]
