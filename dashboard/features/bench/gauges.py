"""The user's saved gauges, and the steps of the buttons that change a value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from dashboard.features.bench.service import BenchEntry, OnBench
from telemetry.core.errors import SetupError
from telemetry.setup import GAUGES, ITEMS, SIGNS, BenchDisplay, Item, gauge_of_text, parse_reading

KINDS: Final = {"mm": "Lengths", "deg": "Angles", "kg": "Masses"}
"""The kinds of gauges, by the unit of the items."""
STEP_UNITS: Final = {"mm": "mm", "deg": "deg", "kg": "g"}
"""The unit of a step that is saved as a bare number, whatever the display unit."""
_LIKE: Final = {
    unit: ITEMS[name]
    for unit, name in (("mm", "strut_depth_mm"), ("deg", "strut_angle_deg"), ("kg", "pack_mass_kg"))
}


@dataclass(frozen=True, slots=True)
class KeptGauges:
    """The user's own gauges, by the unit of the items; empty for each item's usual gauge."""

    mm: str = ""
    deg: str = ""
    kg: str = ""

    @classmethod
    def of(cls, fields: Sequence[str | None]) -> KeptGauges:
        """Collect the fields, in the order of ``KINDS``."""
        return cls(*(text or "" for text in fields))

    def text(self, item: Item) -> str:
        """Return the saved gauge for an item, with its unit."""
        gauge = {"mm": self.mm, "deg": self.deg, "kg": self.kg}.get(item.unit, "").strip()
        return f"{gauge} {STEP_UNITS[item.unit]}" if gauge and _is_bare(gauge) else gauge

    def errors(self) -> list[str]:
        """Explain for each field why it cannot be used; empty if it can."""
        return [_error(_LIKE[unit], self.text(_LIKE[unit])) for unit in KINDS]

    def put_in(self, entries: Sequence[BenchEntry], bench: OnBench) -> list[BenchEntry]:
        """Add the saved gauge to entries without their own, if it can be used."""
        return [
            BenchEntry(entry.item, entry.value, entry.gauge.strip() or self.usable(bench.item(entry.item)))
            for entry in entries
        ]

    def usable(self, item: Item) -> str:
        """Return the saved gauge of an item; empty if there is none."""
        return "" if _error(item, self.text(item)) else self.text(item)


def _is_bare(text: str) -> bool:
    return text[-1].isdigit()


def _error(item: Item, text: str) -> str:
    try:
        gauge = gauge_of_text(item, text, BenchDisplay())
        if gauge is not None:
            gauge.u(item.unit)
    except SetupError as error:
        return error.reason
    return ""


def gauge_choices(unit: str) -> list[str]:
    """List the gauges of a unit to choose from."""
    return [gauge.name for gauge in GAUGES if gauge.unit == unit]


def steps_of(
    bench: OnBench, entries: Sequence[BenchEntry], showing: BenchDisplay
) -> dict[str, dict[str, float | None]]:
    """Compute how far one press of a button changes each value.

    Parameters
    ----------
    bench : OnBench
    entries : sequence of BenchEntry
        With the saved gauges filled in.
    showing : BenchDisplay

    Returns
    -------
    dict
        By item, in this user's unit and sign: ``step``, the gauge's smallest; ``now``, the typed value as
        parsed; ``set``, the sheet's value. None where there is none. Only measured items.
    """
    steps: dict[str, dict[str, float | None]] = {}
    for entry in entries:
        item = bench.item(entry.item)
        if item.is_measured:
            reading = bench.sheet.tune.get(item.name, bench.sheet.readings.get(item.name))
            as_set = None if reading is None else showing.shown(item, float(reading.value))
            row = {"step": _step(item, entry, showing), "now": _now(item, entry, showing), "set": as_set}
            steps[item.name] = {key: _short(value) for key, value in row.items()}
    return steps


def _short(value: float | None) -> float | None:
    """Round for a field: a step in thou shows no digits that the gauge does not have."""
    return None if value is None else float(f"{value:.6g}")


def _step(item: Item, entry: BenchEntry, showing: BenchDisplay) -> float:
    try:
        gauge = gauge_of_text(item, entry.gauge, showing) or item.gauge
        resolution = 2.0 * gauge.half_width(item.unit)
    except SetupError:
        resolution = item.gauge.resolution
    return showing.size(item, resolution) or 1.0  # counts change by one


def _now(item: Item, entry: BenchEntry, showing: BenchDisplay) -> float | None:
    try:
        return showing.shown(item, float(parse_reading(item, entry.value, showing, entry.gauge).value))
    except SetupError:
        return None


def sign_of(name: str | None) -> str | None:
    """Return the sign of an item, a key of ``SIGNS``; None for one that counts in one way only."""
    return next((key for key, names in SIGNS.items() if name in names), None)
