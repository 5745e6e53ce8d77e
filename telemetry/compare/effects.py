"""The effect of a change on one measure: the difference, its interval, and what it was adjusted for."""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.stats import norm

from telemetry.compare.covariates import CovariateRule
from telemetry.compare.evidence import Evidence
from telemetry.compare.grouping import components
from telemetry.compare.measures import Measure
from telemetry.compare.model import DRIFT, PLACE, DesignRows, Fit, fit
from telemetry.compare.posterior import DAY, Mixture
from telemetry.core.frames import FloatArray

BEFORE: Final = 0
AFTER: Final = 1
MAX_OUTINGS_FITTED: Final = 120
"""Outings of other sheets beyond which the ones furthest in time from the two sides are left out."""

Unlinked = Literal["one-day", "one-outing", "place"]


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A condition that was adjusted for.

    Attributes
    ----------
    covariate : CovariateRule
    slope : float or None
        Change of the measure for one unit of the covariate, SI; None for names.
    shift : float
        What it took off the plain difference of the two sides, SI: slope times the covariate's difference.
    slope_u95 : float or None
        Half the 95 % interval of the slope, SI.
    """

    covariate: CovariateRule
    slope: float | None
    shift: float
    slope_u95: float | None = None


@dataclass(frozen=True, kw_only=True)
class Trend:
    """Change of a measure over the days of running, sheets held equal.

    Attributes
    ----------
    per_day, per_day_u95 : float
        SI for each further day of running, with half the 95 % interval.
    per_outing, per_outing_u95 : float
        For each further outing.
    per_hour, per_hour_u95 : float or None
        For each further hour under way, where hours are known.
    """

    per_day: float
    per_day_u95: float
    per_outing: float
    per_outing_u95: float
    per_hour: float | None = None
    per_hour_u95: float | None = None


@dataclass(frozen=True, kw_only=True)
class Spoiled:
    """An outing that the model trusts less.

    Attributes
    ----------
    outing_id : str or int
    probability : float
        Of having been spoiled.
    weight : float
        Of its figures, 1 for a sound outing.
    """

    outing_id: str | int
    probability: float
    weight: float


@dataclass(frozen=True, kw_only=True)
class Difference:
    """After less before, with what it rests on; SI.

    Attributes
    ----------
    found : Mixture
        Posterior distribution of the difference.
    measuring_u : float
        Standard uncertainty that the measuring of the figures alone leaves in it.
    adjusted : tuple of Adjustment
    sd_between_days, sd_between_outings, sd_within_outings : float
    day_difference : float or None
        Size of the difference of two days that is exceeded one time in three, from the boat's own days; None
        where they cannot tell.
    history_outings : int
        How many outings on other sheets took part.
    unlinked : {"one-day", "one-outing", "place"} or None
        Why the evidence cannot tell the sheets from what they were run in.
    share : dict of str to float
        Part of the variance that would go if days, drift or places made no difference; keys ``day``,
        ``drift``, ``place``.
    without : dict of str to float
        Probability that after exceeds before, if days, drift or places made no difference.
    apart_in_time : bool
        Whether all days of one side came before all of the other.
    last_side : int
        Which side was run last: 0 before, 1 after.
    trend : Trend or None
    spoiled : tuple of Spoiled
    fit : Fit
    """

    found: Mixture
    measuring_u: float
    adjusted: tuple[Adjustment, ...]
    sd_between_days: float
    sd_between_outings: float
    sd_within_outings: float
    day_difference: float | None
    history_outings: int
    unlinked: Unlinked | None
    share: dict[str, float]
    without: dict[str, float]
    apart_in_time: bool
    last_side: int
    trend: Trend | None
    spoiled: tuple[Spoiled, ...]
    fit: Fit

    @property
    def estimate(self) -> float:
        """Posterior mean."""
        return self.found.mean

    @property
    def chance(self) -> float:
        """Probability that after exceeds before."""
        return 1.0 - self.found.below(0.0)

    def half_width(self, level: float = 0.95) -> float:
        """Half the interval at a level: never narrower than the measuring of the figures allows."""
        return max(self.found.half_width(level), float(norm.ppf(0.5 + level / 2.0)) * self.measuring_u)

    @property
    def measurement_bound(self) -> bool:
        """Whether the measuring, and not the scatter, sets the 95 % interval."""
        return 1.959964 * self.measuring_u > self.found.half_width()


@dataclass(frozen=True, slots=True)
class NoDifference:
    """Why the evidence gives no interval.

    Attributes
    ----------
    code : {"one-outing-each", "nothing-seen", "no-scatter", "too-few"}
    counts : (int, int)
        Outings of each side.
    """

    code: Literal["one-outing-each", "nothing-seen", "no-scatter", "too-few"]
    counts: tuple[int, int]


def difference(
    measure: Measure,
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    *,
    barred: Collection[str] = (),
    history: Sequence[Evidence] = (),
) -> Difference | NoDifference:
    """Estimate after less before.

    Parameters
    ----------
    measure : Measure
    before, after : sequence of Evidence
        Such as have the figure, at least one each.
    barred : collection of str
        Conditions that the change moves itself.
    history : sequence of Evidence
        Of the boat on any sheet, with the figure: its days, drift, places and slopes are the same ones.

    Returns
    -------
    Difference or NoDifference
    """
    used = {e.key for e in (*before, *after)}
    others = _nearest([e for e in history if e.key not in used], (*before, *after))
    evidence = (*before, *after, *others)
    values = np.array([e.values[measure.key] for e in (*before, *after)], dtype=float)
    counts = (len({e.outing_id for e in before}), len({e.outing_id for e in after}))
    if not values.any():
        return NoDifference("nothing-seen", counts)
    if float(np.ptp(values)) == 0.0:
        return NoDifference("no-scatter", counts)
    groups: list[Hashable] = [*([BEFORE] * len(before)), *([AFTER] * len(after))]
    groups += [("sheet", e.sheet_id) for e in others]
    try:
        found = fit(measure, evidence, groups, barred=barred, sides=(before, after))
    except ValueError:
        return NoDifference("one-outing-each" if counts == (1, 1) else "too-few", counts)
    return _difference(found, len({e.outing_id for e in others}))


def _nearest(others: Sequence[Evidence], sides: Sequence[Evidence]) -> list[Evidence]:
    """Keep the outings of other sheets that lie nearest in time, where there are very many."""
    outings = dict.fromkeys(e.outing_id for e in others)
    if len(outings) <= MAX_OUTINGS_FITTED:
        return list(others)
    times = [e.outing_utc.timestamp() for e in sides if e.outing_utc is not None]
    middle = sum(times) / len(times) if times else 0.0
    when = {e.outing_id: abs(e.outing_utc.timestamp() - middle) if e.outing_utc else math.inf for e in others}
    kept = set(sorted(outings, key=lambda outing: when[outing])[:MAX_OUTINGS_FITTED])
    return [e for e in others if e.outing_id in kept]


def contrast_weights(groups: int) -> FloatArray:
    """Weights of after less before over the groups."""
    weights = np.zeros(groups)
    weights[BEFORE], weights[AFTER] = -1.0, 1.0
    return weights


def _difference(found: Fit, history_outings: int) -> Difference:
    rows = found.rows
    weights = contrast_weights(found.sheet_root.shape[0]) @ found.sheet_root
    mixture = found.combination(weights)
    share, without = {}, {}
    for axis in (DAY, DRIFT, PLACE):
        if axis not in found.main.factored.layout.axes:
            continue
        kept = mixture.restricted((found.ratio(axis) == 0.0).astype(float))
        if kept is not None:
            share[axis] = max(0.0, 1.0 - (kept.sd / mixture.sd) ** 2) if mixture.sd > 0.0 else 0.0
            without[axis] = 1.0 - kept.below(0.0)
    first, second = (rows.row_day[rows.group == side] for side in (BEFORE, AFTER))
    unlinked = _unlinked(rows)
    return Difference(
        found=mixture,
        measuring_u=found.measuring(weights),
        adjusted=_adjustments(found),
        sd_between_days=found.scatter(DAY),
        sd_between_outings=found.scatter("outing"),
        sd_within_outings=found.within,
        day_difference=_day_difference(found),
        history_outings=history_outings,
        unlinked=unlinked,
        share=share,
        without=without,
        apart_in_time=rows.dated and bool(first.max() < second.min() or second.max() < first.min()),
        last_side=AFTER if second.max() >= first.max() else BEFORE,
        trend=_trend(found),
        spoiled=_spoiled(found),
        fit=found,
    )


def _unlinked(rows: DesignRows) -> Unlinked | None:
    """Find out whether what the two sides were run in can be told from the change.

    Sides that are linked through days (a day with both, or with one of them and a third sheet that ran with
    the other) are compared within days. Else the difference rests on how far days differ, which two days, one
    on each side, cannot show.
    """
    groups = int(rows.group.max()) + 1
    known = rows.place >= 0
    if known.all() and rows.place.max() > 0:
        count, label = components(rows.group, rows.place)
        if label[BEFORE] != label[AFTER] and int(rows.place.max()) + 1 - count < 1:
            return "place"
    count, label = components(rows.group, rows.row_day)
    days = int(rows.day.max()) + 1
    if label[BEFORE] != label[AFTER]:
        return "one-day" if days - count < 1 else None
    _, within = components(rows.group, rows.outing)
    if within[BEFORE] == within[AFTER]:
        return None
    return "one-outing" if rows.day.size - (groups + days - count) < 1 else None


def _day_difference(found: Fit) -> float | None:
    """Size of the difference of two days, where the boat's days tell it."""
    rows = found.rows
    count, _ = components(rows.group, rows.row_day)
    if int(rows.day.max()) + 1 - count < 1:
        return None
    return math.sqrt(2.0) * found.scatter(DAY)


def _adjustments(found: Fit) -> tuple[Adjustment, ...]:
    """Say what each condition took off the plain difference."""
    told: dict[str, Adjustment] = {}
    rows = found.rows
    p = found.sheet_root.shape[1]
    start = found.main.factored.layout.condition_start
    for k, condition in enumerate(found.conditions):
        if not condition.told:
            continue
        size = condition.prior_sd / found.sigma if condition.absolute else condition.prior_sd
        slope = found.combination(size * np.eye(p)[start + k])
        apart = float(
            condition.column[rows.group == AFTER].mean() - condition.column[rows.group == BEFORE].mean()
        )
        value = condition.prior_mean + slope.mean
        covariate = condition.covariate
        previous = told.get(covariate.key)
        shift = value * apart + (previous.shift if previous else 0.0)
        if covariate.is_name:
            told[covariate.key] = Adjustment(covariate, None, shift)
        else:
            told[covariate.key] = Adjustment(covariate, value, shift, slope.half_width())
    return tuple(told.values())


def _trend(found: Fit) -> Trend | None:
    """Estimate the straight part of the drift."""
    layout = found.main.factored.layout
    block = next((b for b in layout.blocks if b.axis == DRIFT), None)
    if block is None:
        return None
    weights = np.zeros(layout.x.shape[1])
    weights[block.columns.start] = 1.0
    slope = found.combination(weights)
    rows = found.rows
    value, half = slope.mean, slope.half_width()
    each = _per(rows.day.astype(float), np.arange(rows.day.size, dtype=float))
    hours = [e.covariates.get("run_h") for e in rows.evidence]
    per_hour = None
    if all(isinstance(h, float) for h in hours):
        per_hour = _per(rows.row_day.astype(float), np.array(hours, dtype=float))
    return Trend(
        per_day=value,
        per_day_u95=half,
        per_outing=value * each,
        per_outing_u95=half * each,
        per_hour=None if per_hour is None else value * per_hour,
        per_hour_u95=None if per_hour is None else half * per_hour,
    )


def _per(day: FloatArray, other: FloatArray) -> float:
    """Days of running for each unit of another measure of time."""
    span = float(np.ptp(other))
    return float(np.ptp(day)) / span if span > 0.0 else 0.0


def _spoiled(found: Fit) -> tuple[Spoiled, ...]:
    names = list(dict.fromkeys(e.outing_id for e in found.rows.evidence))
    told = []
    for outing, probability in sorted(found.spoiled.items(), key=lambda one: -one[1]):
        trusted = found.main.factored.trust(outing, found.main.likeliest)
        weight = 1.0 - probability * (1.0 - trusted)
        told.append(Spoiled(outing_id=names[outing], probability=probability, weight=weight))
    return tuple(told)
