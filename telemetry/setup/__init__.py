"""Setup sheets and the bench: what a boat's tune is, what moved, and the way back.

Pure: nothing here knows of logs, of the logbook or of a screen.
"""

from telemetry.setup.catalogue import ITEMS
from telemetry.setup.changes import Change, changes
from telemetry.setup.found import FoundItem, FoundMeasure, FoundVerdict, compare_found
from telemetry.setup.gauges import GAUGES, Gauge, Reading
from telemetry.setup.items import COMMON_PRACTICE, GROUPS, Item, OwnItem
from telemetry.setup.resolve import Limit, limit_of
from telemetry.setup.sheet import SetupSheet

__all__ = [
    "COMMON_PRACTICE",
    "GAUGES",
    "GROUPS",
    "ITEMS",
    "Change",
    "FoundItem",
    "FoundMeasure",
    "FoundVerdict",
    "Gauge",
    "Item",
    "Limit",
    "OwnItem",
    "Reading",
    "SetupSheet",
    "changes",
    "compare_found",
    "limit_of",
]
