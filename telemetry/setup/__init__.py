"""Setup sheets and the bench: a boat's setup, what moved, and how to set it again.

This package does not know logs, the logbook or a screen.
"""

from telemetry.setup.balance import (
    Balance,
    BalanceEffect,
    Move,
    Part,
    Parts,
    Restoration,
    balance,
    balance_effect,
    moved,
    part_named,
    restoring_move,
    swapped,
)
from telemetry.setup.card import (
    bench_card,
    changes_text,
    crash_text,
    found_text,
    sheet_text,
    signs_text,
    steps_text,
)
from telemetry.setup.catalogue import ITEMS
from telemetry.setup.changes import ItemChange, item_changes
from telemetry.setup.crash import BENCH_CAUTIONS, CRASH_LIST, CrashCheck
from telemetry.setup.display_units import (
    BENCH_LENGTHS,
    BENCH_MASSES,
    SIGNS,
    BenchDisplay,
    gauge_of_text,
    parse_reading,
)
from telemetry.setup.estimate import Estimate
from telemetry.setup.files import load_found, load_sheet, load_table, parse_table, parts_of_table, toml_text
from telemetry.setup.gauges import GAUGES, Gauge, Reading
from telemetry.setup.inspection import FoundItem, FoundMeasure, FoundVerdict, compare_found
from telemetry.setup.items import COMMON_PRACTICE, GROUPS, Item, OwnItem
from telemetry.setup.parse import own_item_of, own_item_table, parse_measure_value
from telemetry.setup.parts import parts_of_sheet
from telemetry.setup.resolution import DetectionLimit, detection_limit
from telemetry.setup.service import (
    OWN_INTERVAL,
    USUAL_TASKS,
    Due,
    ServiceTask,
    Use,
    due,
    tasks_for,
    tasks_from_table,
    uses_from_table,
)
from telemetry.setup.sheet import SetupSheet
from telemetry.setup.steps import Step, steps_back
from telemetry.setup.strut import StrutGeometry, strut_from_heights, strut_of
from telemetry.setup.text import (
    balance_text,
    effect_text,
    length_text,
    mass_text,
    parts_text,
    restoration_text,
    service_text,
    strut_text,
)

__all__ = [
    "BENCH_CAUTIONS",
    "BENCH_LENGTHS",
    "BENCH_MASSES",
    "COMMON_PRACTICE",
    "CRASH_LIST",
    "GAUGES",
    "GROUPS",
    "ITEMS",
    "OWN_INTERVAL",
    "SIGNS",
    "USUAL_TASKS",
    "Balance",
    "BalanceEffect",
    "BenchDisplay",
    "CrashCheck",
    "DetectionLimit",
    "Due",
    "Estimate",
    "FoundItem",
    "FoundMeasure",
    "FoundVerdict",
    "Gauge",
    "Item",
    "ItemChange",
    "Move",
    "OwnItem",
    "Part",
    "Parts",
    "Reading",
    "Restoration",
    "ServiceTask",
    "SetupSheet",
    "Step",
    "StrutGeometry",
    "Use",
    "balance",
    "balance_effect",
    "balance_text",
    "bench_card",
    "changes_text",
    "compare_found",
    "crash_text",
    "detection_limit",
    "due",
    "effect_text",
    "found_text",
    "gauge_of_text",
    "item_changes",
    "length_text",
    "load_found",
    "load_sheet",
    "load_table",
    "mass_text",
    "moved",
    "own_item_of",
    "own_item_table",
    "parse_measure_value",
    "parse_reading",
    "parse_table",
    "part_named",
    "parts_of_sheet",
    "parts_of_table",
    "parts_text",
    "restoration_text",
    "restoring_move",
    "service_text",
    "sheet_text",
    "signs_text",
    "steps_back",
    "steps_text",
    "strut_from_heights",
    "strut_of",
    "strut_text",
    "swapped",
    "tasks_for",
    "tasks_from_table",
    "toml_text",
    "uses_from_table",
]
