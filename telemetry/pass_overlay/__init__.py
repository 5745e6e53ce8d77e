"""Overlay of passes, from one outing or from many."""

from telemetry.pass_overlay.align import ANCHORS, Abscissa, AlignedPass, Anchor, Overlay, align, in_one_frame
from telemetry.pass_overlay.cursor import CursorReading, SheetGroup, read_at, sheet_groups
from telemetry.pass_overlay.curves import PassCurves, Signal, pass_curves
from telemetry.pass_overlay.quantities import QUANTITIES, SPEED, OverlayQuantity

__all__ = [
    "ANCHORS",
    "QUANTITIES",
    "SPEED",
    "Abscissa",
    "AlignedPass",
    "Anchor",
    "CursorReading",
    "Overlay",
    "OverlayQuantity",
    "PassCurves",
    "SheetGroup",
    "Signal",
    "align",
    "in_one_frame",
    "pass_curves",
    "read_at",
    "sheet_groups",
]
