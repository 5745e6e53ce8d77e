"""Number fields in the units that a reader chose: labels, display and parsing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from telemetry.core.units import CELSIUS, SPEED_UNITS, TEMPERATURE_UNITS, convert
from telemetry.motor.power import Limits

FieldKind = Literal["", "speed", "length", "temperature"]
Value = float | str | None
"""What a number field holds: a number, nothing, or an empty text."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The units that a reader chose: keys of the tables in :mod:`telemetry.core.units`."""

    speed: str = "mph"
    length: str = "mm"
    temperature: str = CELSIUS
    mass: str = "kg"

    def name(self, kind: FieldKind) -> str:
        """Return the unit of a kind of field; lengths of hulls and propellers are never in thousandths.

        Examples
        --------
        >>> Chosen(length="thou").name("length")
        'in'
        """
        by_kind = {"speed": self.speed, "length": "in" if self.length == "thou" else self.length}
        return by_kind.get(kind, self.temperature if kind == "temperature" else "")

    def shown(self, kind: FieldKind, value: float) -> float:
        """Convert a value in m/s, mm or °C to the reader's unit.

        Examples
        --------
        >>> Chosen(length="in").shown("length", 63.5), Chosen(temperature="°F").shown("temperature", 20.0)
        (2.5, 68.0)
        """
        name = self.name(kind)
        if kind == "speed":
            value = SPEED_UNITS[name].from_si(value)
        elif kind == "length":
            value = convert(value, "mm", name)
        elif kind == "temperature":
            value = TEMPERATURE_UNITS[name].from_si(value)
        return float(f"{value:.9g}")

    def inside(self, kind: FieldKind, value: float) -> float:
        """Convert a value in the reader's unit to m/s, mm or °C."""
        name = self.name(kind)
        if kind == "speed":
            return SPEED_UNITS[name].to_si(value)
        if kind == "length":
            return convert(value, name, "mm")
        return TEMPERATURE_UNITS[name].to_si(value) if kind == "temperature" else value


USUAL: Final = Chosen()


@dataclass(frozen=True, slots=True)
class Field:
    """One number field.

    Attributes
    ----------
    part : str
        Its id on the page.
    title : str
        Its label.
    kind : {"", "speed", "length", "temperature"}
        Which of the reader's units it is in.
    usual : float or None
        Value that holds while it is empty, in m/s, mm, °C or the title's unit.
    """

    part: str
    title: str
    kind: FieldKind = ""
    usual: float | None = None

    def label(self, units: Chosen) -> str:
        """Return its label: the title, with the unit if it has one."""
        return f"{self.title} [{units.name(self.kind)}]" if self.kind else self.title

    def read(self, value: Value, units: Chosen) -> float | None:
        """Parse the field's number into m/s, mm or °C; None if it is empty."""
        return None if value is None or value == "" else units.inside(self.kind, float(value))

    def written(self, value: float | None, units: Chosen) -> float | str:
        """Format a value for the field; empty for None."""
        return "" if value is None else units.shown(self.kind, value)

    def hint(self, units: Chosen) -> str:
        """Describe the value that holds while the field is empty."""
        return "" if self.usual is None else f"{units.shown(self.kind, self.usual):g} is usual"


def reworded(field: Field, value: Value, was: Chosen, now: Chosen) -> float | str:
    """Convert a field's value to another unit.

    Examples
    --------
    >>> pitch = Field("pitch-mm", "Pitch", "length")
    >>> reworded(pitch, 63.5, Chosen(), Chosen(length="in")), reworded(pitch, "", Chosen(), Chosen())
    (2.5, '')
    """
    return field.written(field.read(value, was), now)


def read_all(
    fields: Mapping[str, Field], values: Mapping[str, Value], units: Chosen
) -> dict[str, float | None]:
    """Parse the fields of a form by their names."""
    return {name: field.read(values[name], units) for name, field in fields.items()}


FACTS: Final = {
    "pitch_mm": Field("pitch-mm", "Pitch", "length"),
    "diameter_mm": Field("diameter-mm", "Diameter", "length"),
    "kv_rpm_per_v": Field("kv", "Motor constant [rpm/V]"),
    "cells": Field("cells", "Cells in series"),
    "motor_resistance_mohm": Field("motor-resistance", "Motor resistance [mΩ]"),
    "no_load_current_a": Field("no-load-current", "No-load current [A]"),
}
"""Facts of the power train that the logs do not hold, by the names of ``RequestForm``."""

_COMMON: Final = Limits()
LIMITS: Final = {
    "cell_v": Field("limit-cell-v", "Lowest cell under load [V]", usual=_COMMON.cell_v),
    "motor_temp_c": Field("limit-motor-temp", "Hottest motor", "temperature", _COMMON.motor_temp_c),
    "esc_temp_c": Field("limit-esc-temp", "Hottest controller", "temperature", _COMMON.esc_temp_c),
    "current_a": Field("limit-current", "Highest current [A]"),
    "rpm": Field("limit-rpm", "Most rpm"),
    "charge_mah": Field("limit-charge", "Highest charge [mAh]"),
}
"""Limits of motor, controller and pack, by the names of :class:`telemetry.motor.power.Limits`."""

WHAT_IF: Final = {
    "diameter_mm": Field("new-diameter-mm", "New diameter", "length"),
    "pitch_mm": Field("new-pitch-mm", "New pitch", "length"),
    "cells": Field("new-cells", "New cells in series"),
    "kv_rpm_per_v": Field("new-kv", "New constant [rpm/V]"),
}
"""Changes of the what-if, by the names of :class:`telemetry.motor.what_if.PowerTrainChange`."""


def limits_of(given: Mapping[str, Any]) -> Limits:
    """Build the limits; those not given keep their default, those given are the reader's own."""
    own = {name: given[name] for name in LIMITS if given.get(name)}
    return Limits(**own, own=tuple(own))
