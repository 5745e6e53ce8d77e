"""Passes laid over one another, of one outing or of many."""

from telemetry.abreast.curves import PassCurves, Signal, pass_curves
from telemetry.abreast.laying import ANCHORS, Abscissa, Anchor, Laid, Overlay, in_one_frame, lay
from telemetry.abreast.quantities import QUANTITIES, SPEED, Quantity
from telemetry.abreast.reading import Reading, SheetGroup, read_at, sheet_groups

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
