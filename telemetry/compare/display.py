"""Values and differences of measures in the reader's units."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.compare.measures import Measure
from telemetry.core.units import CELSIUS, SPEED_UNITS, TEMPERATURE_UNITS, Unit


@dataclass(frozen=True, slots=True)
class Units:
    """What the reader sees speeds and temperatures in."""

    speed: str = "mph"
    temperature: str = CELSIUS

    def name(self, measure: Measure) -> str:
        """Name the unit of a measure."""
        return {
            "speed": self.speed,
            "temperature": self.temperature,
            "current": "A",
            "share": "%",
        }[measure.quantity]

    def scale(self, measure: Measure) -> float:
        """Give the SI size of one of the reader's units."""
        return {
            "speed": SPEED_UNITS[self.speed].factor_si,
            "temperature": TEMPERATURE_UNITS[self.temperature].factor_si,
            "current": 1.0,
            "share": 0.01,
        }[measure.quantity]

    def shown(self, measure: Measure, value: float) -> float:
        """Convert a value, not a difference, from SI."""
        if measure.quantity == "temperature":
            return TEMPERATURE_UNITS[self.temperature].from_si(value)
        return value / self.scale(measure)

    def of_covariate(self, unit: str) -> Unit | None:
        """Find what the reader sees a covariate in; None where it stays in its own unit."""
        return {"m/s": SPEED_UNITS[self.speed], CELSIUS: TEMPERATURE_UNITS[self.temperature]}.get(unit)

    def covariate_text(self, unit: str, value: float) -> str:
        """Write a covariate's value, not a difference, given in its SI unit."""
        shown = self.of_covariate(unit)
        return f"{value:.2f} {unit}" if shown is None else f"{shown.from_si(value):.2f} {shown.name}"

    def decimals(self, measure: Measure) -> int:
        """Tell how many decimals are written."""
        return SPEED_UNITS[self.speed].decimals if measure.quantity == "speed" else 1


def value_text(measure: Measure, value: float | None, units: Units, u95: float | None = None) -> str:
    """Write a value of a measure, with half its 95 % interval where there is one."""
    if value is None:
        return "–"
    digits = units.decimals(measure)
    half = "" if u95 is None else f" ± {u95 / units.scale(measure):.{digits}f}"
    return f"{units.shown(measure, value):.{digits}f}{half} {units.name(measure)}"


def difference_text(measure: Measure, value: float, units: Units, u95: float | None = None) -> str:
    """Write a difference of a measure, with its sign.

    Examples
    --------
    >>> from telemetry.compare.measures import MEASURES
    >>> difference_text(MEASURES["two_way_mps"], 0.2235, Units("mph"), 0.1)
    '+0.50 ± 0.22 mph'
    """
    digits = units.decimals(measure)
    scale = units.scale(measure)
    half = "" if u95 is None else f" ± {u95 / scale:.{digits}f}"
    return f"{value / scale:+.{digits}f}{half} {units.name(measure)}"
