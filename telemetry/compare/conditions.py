"""Conditions that a comparison is adjusted for, as regressors with priors.

Whether a condition is adjusted for is decided from the conditions alone, never from the figures compared: the
choice must not favour a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from telemetry.compare import priors
from telemetry.compare.covariates import (
    RUN_ORDER,
    VOLTAGE,
    WATER,
    CovariateRule,
    columns_of,
    relevant,
    sides_of,
)
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import Measure
from telemetry.compare.voltage import calibrate
from telemetry.core.frames import FloatArray, IntArray

_MIN_OUTINGS_LEFT: Final = 3  # outings beyond groups and conditions, for what changes between outings only


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One regressor.

    Attributes
    ----------
    covariate : CovariateRule
    column : ndarray, shape (n,)
        With mean zero.
    prior_mean, prior_sd : float
        Of its coefficient: SI where ``absolute``, else in scatters within an outing.
    absolute : bool
    told : bool
        False for what only takes noise away and is not reported.
    """

    covariate: CovariateRule
    column: FloatArray
    prior_mean: float = 0.0
    prior_sd: float = priors.CONDITION_SCALE
    absolute: bool = False
    told: bool = True


def condition_columns(
    measure: Measure,
    evidence: Sequence[Evidence],
    y: FloatArray,
    outing: IntArray,
    group: IntArray,
    barred: Collection[str] = (),
    sides: tuple[Sequence[Evidence], Sequence[Evidence]] | None = None,
) -> tuple[Condition, ...]:
    """List the regressors for what is known of all evidence.

    Parameters
    ----------
    measure : Measure
    evidence : sequence of Evidence
    y : ndarray, shape (n,)
        The figures, of which only the general level is used.
    outing, group : ndarray of int, shape (n,)
    barred : collection of str
        Conditions that the sheets' differences move themselves.
    sides : (sequence of Evidence, sequence of Evidence), optional
        The two sides of a comparison: wind, water and pack are adjusted for where the sides differ by them
        and overlap. Without sides they are not.
    """
    chosen: list[Condition] = []
    for covariate in relevant(measure):
        if covariate.key in barred or any(covariate.of(e) is None for e in evidence):
            continue
        if covariate == VOLTAGE:
            chosen += _voltage(measure, evidence, y, outing, group)
        elif covariate == RUN_ORDER and not any(c.covariate == VOLTAGE for c in chosen):
            (column,) = columns_of(RUN_ORDER, evidence).T
            if column.any():
                chosen.append(Condition(covariate=RUN_ORDER, column=column, prior_sd=priors.ORDER_SCALE))
        elif covariate != RUN_ORDER and _is_worth(covariate, sides, outing, group, len(chosen)):
            chosen += [Condition(covariate=covariate, column=c) for c in columns_of(covariate, evidence).T]
    return tuple(chosen)


def _is_worth(
    covariate: CovariateRule,
    sides: tuple[Sequence[Evidence], Sequence[Evidence]] | None,
    outing: IntArray,
    group: IntArray,
    already: int,
) -> bool:
    """Whether to adjust for a condition other than voltage and order."""
    if sides is None:
        return covariate.within
    told = sides_of(covariate, *sides)
    if told.standing != "comparable":
        return False
    if covariate.within:
        return True
    left = int(outing.max()) - int(group.max()) - already - (1 if covariate == WATER else 0)
    return told.differs and left >= _MIN_OUTINGS_LEFT


def _voltage(
    measure: Measure, evidence: Sequence[Evidence], y: FloatArray, outing: IntArray, group: IntArray
) -> list[Condition]:
    """Make the calibrated voltage with its prior slope, and what is left of it."""
    volts = np.array([VOLTAGE.of(e) for e in evidence], dtype=float)
    if float(np.ptp(volts)) == 0.0 or not volts.mean() > 0.0:
        return []
    order = np.array([e.order for e in evidence], dtype=float)
    found = calibrate(volts, order, outing, group)
    # Level over voltage is the slope of a measure that goes with the first power of the voltage.
    unit_slope = float(np.abs(y).mean()) / float(volts.mean())
    kind = "ripple" if measure.key == "ripple_mps" else measure.quantity
    power, spread = priors.VOLTS_POWER[kind]
    slope, slope_sd = power * unit_slope, spread * unit_slope
    if not slope_sd > 0.0:
        return []
    told = [
        Condition(
            covariate=VOLTAGE,
            column=found.expected - found.expected.mean(),
            prior_mean=slope,
            prior_sd=slope_sd,
            absolute=True,
        )
    ]
    if found.rest.any():
        told.append(
            Condition(
                covariate=VOLTAGE,
                column=found.rest,
                prior_sd=math.hypot(slope, slope_sd),
                absolute=True,
                told=False,
            )
        )
    return told
