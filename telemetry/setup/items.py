"""The items of a setup sheet: unit, sign, gauge and the smallest change that matters."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from telemetry.core.errors import SetupError
from telemetry.setup.gauges import CALIPER, COUNT, PROTRACTOR, SCALE, Gauge, Reading

ItemKind = Literal["number", "count", "text", "choice", "flag"]
COMMON_PRACTICE: Final = "common practice, no source"

GROUPS: Final[dict[str, str]] = {
    "plate": "On the plate",
    "balance": "Masses and balance",
    "strut": "Strut",
    "tabs": "Tabs",
    "rudder": "Rudder",
    "fins": "Turn fins",
    "propeller": "Propeller",
    "gear": "Driveline",
    "motor": "Motor",
    "controller": "Controller",
    "pack": "Pack",
    "cooling": "Cooling",
    "own": "Only this boat",
    "notes": "Notes",
}
"""The groups of items with their titles, in the order of a sheet and of the work at the bench."""

_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_ENDINGS: Final[dict[str, str]] = {
    "mm": "_mm",
    "deg": "_deg",
    "kg": "_kg",
    "V": "_v",
    "rpm/V": "_rpm_per_v",
    "turns": "_turns",
    "mAh": "_mah",
    "°C": "_c",
}
"""The suffix of an item's name for each unit."""
_USUAL: Final = {"mm": CALIPER, "deg": PROTRACTOR, "kg": SCALE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One item of a setup sheet.

    Attributes
    ----------
    name, title : str
        Its key, which ends in its unit, and its usual title.
    unit : str
        Unit of its values: mm, deg, kg, V, rpm/V, turns, mAh, °C, or 1 for none.
    kind : {"number", "count", "text", "choice", "flag"}
        What its values are.
    group : str
        A key of :data:`GROUPS`.
    sign, other_sign : str
        How it is measured and what a positive value means; the same for users who count the other way round,
        empty if there is only one way.
    more, less : str
        What to do at the bench to make the value larger, or smaller.
    gauge : Gauge
        What usually measures it (common practice, no source).
    matters : float or None
        Smallest change worth setting, in ``unit`` (common practice, no source); None if unknown.
    low, high : float
        Possible values, in ``unit``.
    choices : tuple of str
        The words of a choice.
    at_bench : bool
        Whether a crash or handling can have moved it, so that it is measured again.
    compared : bool
        Whether it is part of the setup; notes, and items that describe how something was measured, are not.
    order : int
        Its position on a sheet.
    """

    name: str
    title: str
    unit: str = "1"
    kind: ItemKind = "number"
    group: str = "own"
    sign: str = ""
    other_sign: str = ""
    more: str = "increase it"
    less: str = "decrease it"
    gauge: Gauge = COUNT
    matters: float | None = None
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    at_bench: bool = False
    compared: bool = True
    order: int = 1000

    @property
    def is_measured(self) -> bool:
        """Whether its values are numbers."""
        return self.kind in ("number", "count")

    def gauge_of(self, reading: Reading) -> Gauge:
        """Return the gauge of a reading: its own, else the item's usual one."""
        return reading.gauge or self.gauge

    def check(self, reading: Reading, file: str = "") -> Reading:
        """Check a reading against the item, and return it with its plain value.

        Raises
        ------
        SetupError
            With the item and the fix.
        """
        value = reading.value
        if self.is_measured:
            value = self._number(value, file)
            if reading.gauge is not None:
                reading.gauge.u(self.unit)  # raises for a gauge of another kind
        elif self.kind == "flag":
            if not isinstance(value, bool):
                raise self._error(f"{value!r} is neither yes nor no", "write true or false", file)
        elif not isinstance(value, str) or not value.strip():
            raise self._error(f"{value!r} is not text", "write a text, or leave the item out", file)
        else:
            value = value.strip()
            if self.kind == "choice" and value not in self.choices:
                raise self._error(
                    f"{value!r} is not one of the choices", f"one of {', '.join(self.choices)}", file
                )
        return Reading(value, reading.gauge if self.is_measured else None)

    def _number(self, value: float | str | bool, file: str) -> float:
        if isinstance(value, (bool, str)) or not math.isfinite(value):
            raise self._error(f"{value!r} is not a number", f"write a number of {self.unit}", file)
        if not self.low <= value <= self.high:
            raise self._error(
                f"{value:g} {self.unit} is out of range",
                f"write {self.low:g} to {self.high:g} {self.unit}; check the unit",
                file,
            )
        if self.kind == "count" and value != int(value):
            raise self._error(f"{value:g} is not a whole number", "write a whole number", file)
        return float(value) + 0.0  # -0 is 0

    def _error(self, reason: str, hint: str, file: str) -> SetupError:
        return SetupError(reason, file=file, place=self.name, hint=hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnItem(Item):
    """An item that only one boat has; it travels with the boat's sheets.

    Raises
    ------
    SetupError
        If its name does not end in its unit, or its texts do not fit its kind.
    """

    def __post_init__(self) -> None:
        """Raise for a definition that is not consistent."""
        if self.kind not in get_args(ItemKind):
            raise self._error(
                f"there is no kind {self.kind!r}", f"one of {', '.join(get_args(ItemKind))}", ""
            )
        if not _NAME.fullmatch(self.name):
            raise self._error(
                "an item's name is small letters, digits and _", "write a name such as wing_height_mm", ""
            )
        if not self.title.strip():
            raise self._error("the item has no title", "say what it is called", "")
        ending = _ENDINGS.get(self.unit)
        if self.kind == "number" and self.unit != "1" and ending is None:
            raise self._error(
                f"{self.unit!r} is not a unit of an item", f"one of {', '.join(_ENDINGS)} or 1", ""
            )
        if self.kind == "number" and ending and not self.name.endswith(ending):
            raise self._error(
                f"the name does not end in the unit {self.unit}", f"call it {self.name}{ending}", ""
            )
        if (self.kind == "choice") != bool(self.choices):
            raise self._error(
                "choices and kind do not fit", "give a choice its words, and nothing else any", ""
            )
        if self.group not in GROUPS:
            raise self._error(f"there is no group {self.group!r}", f"one of {', '.join(GROUPS)}", "")
        if not self.low <= self.high:
            raise self._error("its range is empty", "write low below high", "")
        if self.matters is not None and not self.matters > 0.0:
            raise self._error(
                "the smallest change that matters must be positive",
                "write a positive number or leave it out",
                "",
            )
        if self.gauge == COUNT and self.unit in _ENDINGS:
            usual = _USUAL.get(self.unit) or replace(COUNT, unit=self.unit)
            object.__setattr__(self, "gauge", usual)
        self.gauge.u(self.unit)  # raises for a gauge of another kind
