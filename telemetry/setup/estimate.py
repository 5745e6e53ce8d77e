"""A value with its standard uncertainty, and how uncertainties travel through a formula."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

from telemetry.core.stats import Z95
from telemetry.setup.gauges import Gauge, Reading


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its standard uncertainty, both in the unit that the variable's name states."""

    value: float
    u: float = 0.0

    @property
    def u95(self) -> float:
        """Half-width of the 95 % interval, 1.96 standard uncertainties."""
        return Z95 * self.u

    @classmethod
    def from_sensitivities(cls, value: float, *terms: tuple[float, float]) -> Self:
        """Combine independent inputs, each given as (sensitivity, standard uncertainty).

        References
        ----------
        JCGM 100:2008, 5.1.2, equation (10).

        Examples
        --------
        >>> Estimate.from_sensitivities(7.0, (1.0, 3.0), (-2.0, 2.0)).u
        5.0
        """
        return cls(value, math.hypot(*(sensitivity * u for sensitivity, u in terms)))

    @classmethod
    def of(cls, reading: Reading, usual: Gauge, unit: str) -> Self:
        """Convert a numeric reading with the uncertainty of its gauge, or of the usual one."""
        return cls(float(reading.value), (reading.gauge or usual).u(unit))

    def text(self, unit: str, decimals: int = 2) -> str:
        """Format the value with its 95 % interval.

        Examples
        --------
        >>> Estimate(0.9549, 0.1).text("deg")
        '0.95 ± 0.20 deg'
        """
        return f"{self.value:.{decimals}f} ± {self.u95:.{decimals}f} {unit}"
