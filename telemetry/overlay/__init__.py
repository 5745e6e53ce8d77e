"""Passes laid over one another, of one outing or of many."""

from telemetry.overlay.align import ANCHORS, Abscissa, Anchor, Laid, Overlay, in_one_frame, lay
from telemetry.overlay.cursor import Reading, SheetGroup, read_at, sheet_groups
from telemetry.overlay.curves import PassCurves, Signal, pass_curves
from telemetry.overlay.quantities import QUANTITIES, SPEED, Quantity

__all__ = [
    "ANCHORS",
    "QUANTITIES",
    "SPEED",
    "Abscissa",
    "Anchor",
    "Laid",
    "Overlay",
    "PassCurves",
    "Quantity",
    "Reading",
    "SheetGroup",
    "Signal",
    "in_one_frame",
    "lay",
    "pass_curves",
    "read_at",
    "sheet_groups",
]
