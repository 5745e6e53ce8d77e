"""What else differed while two sheets were run, and which of it can be allowed for.

Whether a covariate is adjusted for is decided from the covariate alone, never from the figures compared: the
choice must not favour a verdict.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import Measure
from telemetry.core.frames import FloatArray

_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class CovariateRule:
    """Something that differs between two-ways and may move their figures.

    Attributes
    ----------
    key : str
        In ``Evidence.covariates``; ``order`` is the evidence's own.
    title : str
        What it is called in a sentence.
    unit : str
        Empty where it is a name.
    matters : float
        Difference between the means of two sides that is said aloud; for names, of their shares.
    within : bool
        Whether it changes from one two-way to the next, and not from outing to outing only.
    """

    key: str
    title: str
    unit: str
    matters: float
    within: bool = False

    @property
    def is_name(self) -> bool:
        """Whether its values are names, not numbers."""
        return not self.unit

    def of(self, evidence: Evidence) -> float | str | None:
        """Read it off one piece of evidence."""
        if self.key == "order":
            return float(evidence.order)
        value = evidence.covariates.get(self.key)
        if value is None or value == "":
            return None
        return str(value) if self.is_name else float(value)


VOLTAGE: Final = CovariateRule("rest_voltage_v", "pack voltage at rest", "V", 0.1, within=True)
RUN_ORDER: Final = CovariateRule("order", "order within the outing", "places", 0.75, within=True)
WIND: Final = CovariateRule("wind_mps", "wind", "m/s", 0.5)
AIR: Final = CovariateRule("air_c", "air temperature", "°C", 3.0)
WATER_C: Final = CovariateRule("water_c", "water temperature", "°C", 3.0)
WATER: Final = CovariateRule("water", "water", "", _SHARE)
PACK: Final = CovariateRule("pack", "pack", "", _SHARE)
WAY: Final = CovariateRule("way", "way along the course", "", _SHARE, within=True)
COVARIATES: Final = (WATER, PACK, WIND, AIR, WATER_C, VOLTAGE, RUN_ORDER, WAY)
"""In the order in which a comparison tells of them."""


def relevant(measure: Measure) -> tuple[CovariateRule, ...]:
    """List what may move a measure, what is adjusted for first in front.

    Voltage at rest and order both tell of the pack running down; the second is taken where the first is not
    known, never both.
    """
    way = (WAY,) if measure.kind == "pass" else ()
    if measure.quantity == "temperature":
        return (VOLTAGE, RUN_ORDER, WATER_C, AIR)
    return (*way, VOLTAGE, RUN_ORDER, WIND, WATER, PACK)


Standing = Literal["alike", "unknown", "apart", "comparable"]


@dataclass(frozen=True, slots=True)
class Sides:
    """A covariate on both sides of a comparison.

    Attributes
    ----------
    covariate : CovariateRule
    standing : {"alike", "unknown", "apart", "comparable"}
        The same everywhere; not known of everything; no overlap between the sides; known and overlapping.
    differs : bool
        Whether the sides differ by more than is worth a word.
    before, after : float, tuple of str or None
        Means, or the names that occur; None where nothing is known.
    known : int
        Of how many of the evidence.
    """

    covariate: CovariateRule
    standing: Standing
    differs: bool
    before: float | tuple[str, ...] | None
    after: float | tuple[str, ...] | None
    known: int


def sides_of(covariate: CovariateRule, before: Sequence[Evidence], after: Sequence[Evidence]) -> Sides:
    """Set a covariate of the one side against that of the other."""
    values = [[v for e in side if (v := covariate.of(e)) is not None] for side in (before, after)]
    known = len(values[0]) + len(values[1])
    first, second = (_summary(covariate, v) for v in values)
    if first is None or second is None:
        # A name that only one side gives may well be another one there; a number may not be.
        differs = covariate.is_name and first is not second
        return Sides(covariate, "unknown", differs, first, second, known)
    if covariate.is_name:
        differs, alike, overlap = _compare_names(values[0], values[1])
    else:
        numbers = [np.array(v, dtype=float) for v in values]
        differs, alike, overlap = _compare_numbers(numbers[0], numbers[1], covariate.matters)
    complete = known == len(before) + len(after)
    standing: Standing = (
        "unknown" if not complete else "alike" if alike else "comparable" if overlap else "apart"
    )
    return Sides(covariate, standing, differs, first, second, known)


def _summary(covariate: CovariateRule, values: Sequence[float | str]) -> float | tuple[str, ...] | None:
    if not values:
        return None
    if covariate.is_name:
        return tuple(sorted({str(v) for v in values}))
    return float(np.mean(np.array(values, dtype=float)))


def _compare_names(before: Sequence[float | str], after: Sequence[float | str]) -> tuple[bool, bool, bool]:
    """Tell whether shares differ, whether all is one, and whether the same names stand on both sides."""
    names = {*before, *after}
    apart = max(abs(before.count(n) / len(before) - after.count(n) / len(after)) for n in names)
    return apart > _SHARE, len(names) == 1, set(before) == set(after)


def _compare_numbers(before: FloatArray, after: FloatArray, matters: float) -> tuple[bool, bool, bool]:
    """Tell whether means differ, whether all is one, and whether the ranges overlap."""
    overlap = bool(max(before.min(), after.min()) <= min(before.max(), after.max()))
    alike = float(np.ptp(np.concatenate([before, after]))) == 0.0
    return abs(float(after.mean() - before.mean())) > matters, alike, overlap


def columns_of(covariate: CovariateRule, evidence: Sequence[Evidence]) -> FloatArray:
    """Make the regressors of a covariate, each with mean zero, shape (n, columns)."""
    values = [covariate.of(e) for e in evidence]
    if covariate.is_name:
        names = sorted({str(v) for v in values})
        table = np.array([[float(v == name) for name in names[1:]] for v in values])
    else:
        table = np.array(values, dtype=float)[:, None]
    return np.asarray(table - table.mean(axis=0))


def barred_by(changed: Collection[str]) -> frozenset[str]:
    """Name the covariates that a change of the tune moves itself, so that adjusting would undo its effect.

    Examples
    --------
    >>> sorted(barred_by(["cells", "strut_depth_mm"]))
    ['pack', 'rest_voltage_v']
    """
    pack = any(name in ("cells", "charge_cell_v") or name.startswith("pack_") for name in changed)
    return frozenset((VOLTAGE.key, PACK.key)) if pack else frozenset()
