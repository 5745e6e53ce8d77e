"""Styles that tell overlaid passes apart: a letter, a dash pattern, the direction's colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from dashboard.ui.direction import Direction, directions
from telemetry.pass_overlay import PassCurves

MARKS: Final = "ABCDEFGHIJ"
# Whole, then dashes that differ in length and rhythm, so that neighbours in the list are least alike.
_DASHES: Final = (
    "solid",
    "9px,4px",
    "2px,3px",
    "14px,4px,2px,4px",
    "18px,5px",
    "6px,2px,2px,2px,2px,2px",
    "5px,5px",
    "12px,3px,4px,3px",
    "2px,7px",
    "20px,3px,2px,3px,2px,3px",
)


@dataclass(frozen=True, slots=True)
class Look:
    """The style of one pass; the same in every plot, table and list."""

    mark: str
    direction: Direction
    dash: str
    heading_deg: float


def looks(curves: Sequence[PassCurves]) -> tuple[Look, ...]:
    """Assign each pass its style; out is the direction of the first one."""
    named = [replace(one.one, id=mark) for one, mark in zip(curves, MARKS, strict=False)]
    ways = directions(named)
    return tuple(
        Look(one.id, ways[one.id], dash, one.heading_deg) for one, dash in zip(named, _DASHES, strict=False)
    )
