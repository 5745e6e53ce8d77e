"""The model of a boat's figures: sheets, days, outings, drift, places, voltage, and what spoiled an outing.

Every answer of the package comes from this one model: the difference of two sheets, the best of several, the
plan that would tell and the next trial.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from telemetry.compare import priors
from telemetry.compare.conditions import Condition, condition_columns
from telemetry.compare.evidence import Evidence
from telemetry.compare.grouping import day_of_outings, numbered, place_of
from telemetry.compare.measures import Measure
from telemetry.compare.posterior import (
    DAY,
    OUTING,
    Axis,
    Block,
    DesignLayout,
    Factored,
    Mixture,
    ModelPosterior,
    fixed_axis,
)
from telemetry.compare.spoiled import average_over_spoiled
from telemetry.core.frames import FloatArray, IntArray

DRIFT: Final = "drift"
PLACE: Final = "place"
SHEET: Final = "sheet"
_COARSE_WORK: Final = 100_000  # grid points times outings above which the axes are narrowed first
_IMPROBABLE: Final = 1e-4  # marginal probability below which an axis is cut
_MANY_OUTINGS: Final = 60  # from here the ratios are known to their neighbours on the grid
_SWEEPS: Final = 2
_MIN_DRIFT_DAYS: Final = 3


@dataclass(frozen=True, kw_only=True)
class DesignRows:
    """Evidence on one measure as arrays.

    Attributes
    ----------
    evidence : tuple of Evidence
    y, u : ndarray, shape (n,)
        Figures and their standard uncertainties, SI.
    group : ndarray of int, shape (n,)
        What is estimated: side, or sheet.
    outing : ndarray of int, shape (n,)
    day : ndarray of int, shape (outings,)
        Day of each outing, in order of time.
    place : ndarray of int, shape (n,)
        -1 where unknown.
    dated : bool
        Whether every outing has a date, so that there is an order of time.
    """

    evidence: tuple[Evidence, ...]
    y: FloatArray
    u: FloatArray
    group: IntArray
    outing: IntArray
    day: IntArray
    place: IntArray
    dated: bool

    @classmethod
    def of(cls, measure: Measure, evidence: Sequence[Evidence], groups: Sequence[Hashable]) -> DesignRows:
        """Collect the evidence; all of it must have the figure."""
        outing = numbered([e.outing_id for e in evidence])
        days = day_of_outings(evidence)
        names = dict.fromkeys(e.outing_id for e in evidence)
        places = [place_of(e) for e in evidence]
        known = {name: k for k, name in enumerate(sorted({p for p in places if p}))}
        return cls(
            evidence=tuple(evidence),
            y=np.array([e.values[measure.key] for e in evidence], dtype=float),
            u=np.array([e.u95.get(measure.key) or 0.0 for e in evidence]) / 1.959964,
            group=numbered(groups),
            outing=outing,
            day=np.array([days[name] for name in names], dtype=np.int64),
            place=np.array([known.get(p, -1) for p in places], dtype=np.int64),
            dated=all(e.outing_utc is not None for e in evidence),
        )

    @property
    def row_day(self) -> IntArray:
        """Day of each row, shape (n,)."""
        return self.day[self.outing]


@dataclass(frozen=True, kw_only=True)
class SheetPrior:
    """Prior correlation of the groups' effects, so that they are drawn together.

    Attributes
    ----------
    root : ndarray, shape (groups, terms)
        Square root of the covariance at unit spread; more groups than the evidence has may be asked for.
    mean : ndarray, shape (terms,)
        Prior means of the terms at unit spread; empty where all are zero.
    axis : Axis
        Prior of the spread.
    """

    root: FloatArray
    mean: FloatArray = field(default_factory=lambda: np.zeros(0))
    axis: Axis = priors.SHEET_AXIS


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The model given the figures.

    Attributes
    ----------
    rows : DesignRows
    parts : tuple of (float, Posterior)
        Posteriors under no or some spoiled outings, with their probabilities.
    conditions : tuple of Condition
        What was adjusted for.
    sheet_root : ndarray, shape (groups, p)
        Combination of the coefficients that is each group's effect.
    spoiled : dict of int to float
        Probability of having been spoiled, of outings where it is worth a word; keys are numbers in ``rows``.
    offset : float
        What was taken off all figures before fitting, SI.
    sigma : float
        Scatter within an outing that absolute priors are scaled by, SI.
    """

    rows: DesignRows
    parts: tuple[tuple[float, ModelPosterior], ...]
    conditions: tuple[Condition, ...]
    sheet_root: FloatArray
    spoiled: dict[int, float]
    offset: float
    sigma: float

    @property
    def main(self) -> ModelPosterior:
        """The likeliest of the parts."""
        return max(self.parts, key=lambda part: part[0])[1]

    def effect(self, of_groups: FloatArray) -> Mixture:
        """Return a combination of the groups' effects, shape of weights (groups,)."""
        return self.combination(of_groups @ self.sheet_root)

    def combination(self, weights: FloatArray) -> Mixture:
        """Return a combination of all coefficients, averaged over what may have been spoiled."""
        mixed, total = None, 0.0
        for share, posterior in self.parts:
            found = posterior.contrast(weights)
            total += share
            mixed = found if mixed is None else mixed.joined(found, share / total)
        assert mixed is not None
        return mixed

    def moments(self, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Posterior mean and covariance of some combinations of the coefficients.

        Parameters
        ----------
        rows : ndarray, shape (m, p)

        Returns
        -------
        ndarray, shape (m,)
        ndarray, shape (m, m)
        """
        mean = np.zeros(rows.shape[0])
        second = np.zeros((rows.shape[0], rows.shape[0]))
        total = 0.0
        for share, posterior in self.parts:
            weights = posterior.weight[:, 0]
            for point in np.flatnonzero(weights > 1e-3 * weights.max()):
                toward = rows * posterior.factored.scale[point]
                middle = toward @ posterior.mean[point, :, 0]
                weight = share * float(weights[point])
                total += weight
                spread = (
                    toward @ posterior.factored.covariance[point] @ toward.T * posterior.variance[point, 0]
                )
                mean += weight * middle
                second += weight * (spread + np.outer(middle, middle))
        mean, second = mean / total, second / total
        return mean, second - np.outer(mean, mean)

    def outing_variance(self, two_ways: int) -> float:
        """Variance of the mean of one more outing on a day of its own, SI."""
        return self.scatter(DAY) ** 2 + self.scatter(OUTING) ** 2 + self.within**2 / two_ways

    def draw(self, number: int, rng: np.random.Generator) -> FloatArray:
        """Draw all coefficients, scaled, from the likeliest of the parts, shape (number, p)."""
        return self.main.draw(number, rng)

    def ratio(self, axis: str) -> FloatArray:
        """Values of one ratio at the parts of what :meth:`combination` returns."""
        return np.concatenate([p.factored.grid.ratios[axis] for _, p in self.parts])

    def scatter(self, axis: str) -> float:
        """Root mean square of one scatter between days, outings, places or sheets, SI."""
        squares = 0.0
        for share, posterior in self.parts:
            grid = posterior.factored.grid
            size = grid.ratios[axis] ** 2
            if axis not in (DAY, OUTING):
                size = size * grid.total**2
            squares += share * float(posterior.weight[:, 0] @ (size * posterior.variance[:, 0]))
        return math.sqrt(squares)

    @property
    def within(self) -> float:
        """Root mean square of the scatter within outings, SI."""
        return math.sqrt(sum(s * float(p.weight[:, 0] @ p.variance[:, 0]) for s, p in self.parts))

    def measuring(self, weights: FloatArray) -> float:
        """Compute the standard uncertainty that measuring alone leaves in a combination, SI."""
        return float(np.sqrt(np.sum((self.main.row_weights(weights) * self.rows.u) ** 2)))


def fit(
    measure: Measure,
    evidence: Sequence[Evidence],
    groups: Sequence[Hashable],
    *,
    barred: Collection[str] = (),
    sides: tuple[Sequence[Evidence], Sequence[Evidence]] | None = None,
    sheet_prior: SheetPrior | None = None,
) -> Fit:
    """Fit the model.

    Parameters
    ----------
    measure : Measure
    evidence : sequence of Evidence
        All of which has the figure.
    groups : sequence of hashable
        What each of them belongs to; numbered in order of first appearance.
    barred : collection of str
        Conditions that the sheets' differences move themselves.
    sides : (sequence of Evidence, sequence of Evidence), optional
        The two sides of a comparison, which decide what is worth adjusting for.
    sheet_prior : SheetPrior, optional
        Without it every group's effect has a flat prior.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        If the evidence leaves nothing to judge its scatter by.
    """
    rows = DesignRows.of(measure, evidence, groups)
    sigma = _first_sigma(rows)
    conditions = condition_columns(measure, rows.evidence, rows.y, rows.outing, rows.group, barred, sides)
    if any(condition.absolute for condition in conditions) or (sheet_prior and sheet_prior.mean.size):
        sigma = _fit_with(measure, rows, sigma, conditions, sheet_prior, look_for_spoiled=False).within
    return _fit_with(measure, rows, sigma, conditions, sheet_prior, look_for_spoiled=True)


def _fit_with(
    measure: Measure,
    rows: DesignRows,
    sigma: float,
    conditions: tuple[Condition, ...],
    sheet_prior: SheetPrior | None,
    *,
    look_for_spoiled: bool,
) -> Fit:
    layout, sheet_root = build_layout(rows, conditions, sigma, sheet_prior)
    offset = float(rows.y.mean())
    y = rows.y - offset - sum((c.prior_mean * c.column for c in conditions), np.zeros_like(rows.y))
    layout = _narrowed(layout, y)
    parts, spoiled = (
        average_over_spoiled(layout, y, slow_only=measure.up == "faster")
        if look_for_spoiled
        else (
            ((1.0, Factored(layout).posterior(y)),),
            {},
        )
    )
    return Fit(
        rows=rows,
        parts=parts,
        conditions=conditions,
        sheet_root=sheet_root,
        spoiled=spoiled,
        offset=offset,
        sigma=sigma,
    )


def _first_sigma(rows: DesignRows) -> float:
    """Estimate the scatter within outings, or the one within groups where outings hold one figure each."""
    for number in (rows.outing, rows.group):
        count = np.bincount(number)
        df = rows.y.size - count.size
        if df >= 1:
            apart = rows.y - (np.bincount(number, rows.y) / count)[number]
            found = math.sqrt(float(apart @ apart) / df)
            if found > 0.0:
                return found
    return max(float(np.abs(rows.y).max()), 1.0) * 1e-6


def build_layout(
    rows: DesignRows,
    conditions: Sequence[Condition],
    sigma: float,
    sheet_prior: SheetPrior | None = None,
) -> tuple[DesignLayout, FloatArray]:
    """Lay out the regressors and their priors.

    Returns
    -------
    Layout
    ndarray, shape (groups, p)
        Which combination of the coefficients is each group's effect.
    """
    n = rows.outing.size
    member = (rows.group[:, None] == np.arange(int(rows.group.max()) + 1)).astype(float)
    columns: list[FloatArray] = []
    blocks: list[Block] = []
    axes: dict[str, Axis] = {}
    repeated = np.bincount(rows.day).max() > 1
    # With one outing on each day the two cannot be told apart, and the day's prior is the wider one.
    axes[OUTING] = priors.OUTING_AXIS if repeated else fixed_axis()
    axes[DAY] = priors.DAY_AXIS if rows.day.max() > 0 else fixed_axis()

    def add(block: FloatArray, axis: str | None) -> None:
        start = sum(c.shape[1] for c in columns)
        columns.append(block)
        blocks.append(Block(columns=slice(start, start + block.shape[1]), axis=axis))

    if sheet_prior is None:
        columns.append(member)
    else:
        columns.append(np.ones((n, 1)))
        add(member @ sheet_prior.root[: member.shape[1]], SHEET)
        axes[SHEET] = sheet_prior.axis
    condition_start = sum(c.shape[1] for c in columns)
    for condition in conditions:
        size = condition.prior_sd / sigma if condition.absolute else condition.prior_sd
        add((condition.column * size)[:, None], None)
    if rows.dated and rows.day.max() + 1 >= _MIN_DRIFT_DAYS:
        add(drift_columns(rows.row_day), DRIFT)
        axes[DRIFT] = priors.DRIFT_AXIS
    places = int(rows.place.max()) + 1
    if places > 1:
        add((rows.place[:, None] == np.arange(places)).astype(float), PLACE)
        axes[PLACE] = priors.PLACE_AXIS
    x = np.column_stack(columns)
    prior_mean = np.zeros(0)
    root = np.zeros((member.shape[1] if sheet_prior is None else sheet_prior.root.shape[0], x.shape[1]))
    if sheet_prior is None:
        root[:, : member.shape[1]] = np.eye(member.shape[1])
    else:
        root[:, 0] = 1.0
        root[:, 1 : 1 + sheet_prior.root.shape[1]] = sheet_prior.root
        if sheet_prior.mean.size:
            prior_mean = np.zeros(x.shape[1])
            prior_mean[1 : 1 + sheet_prior.mean.size] = sheet_prior.mean * sigma
    return DesignLayout(
        x=x,
        outing=rows.outing,
        day=rows.day,
        blocks=tuple(blocks),
        axes=axes,
        condition_start=condition_start,
        prior_mean=prior_mean,
    ), root


def drift_columns(day: IntArray) -> FloatArray:
    """Return a trend and a random walk about it as regressors, shape (n, 1 + terms).

    The walk is expanded in its sines (Karhunen and Loève), each multiplied by its standard deviation. All
    have mean zero, so that a sheet's level is its level on the average of the season.

    Parameters
    ----------
    day : ndarray of int, shape (n,)
        Number of the day in order of time.
    """
    span = float(day.max()) + 1.0
    where = (day + 0.5) / span
    odd = (np.arange(priors.WALK_TERMS) + 0.5) * math.pi
    walk = math.sqrt(2.0 * span) * np.sin(np.outer(where, odd)) / odd
    told = np.column_stack([day, walk])
    return np.asarray(told - told.mean(axis=0))


def _narrowed(layout: DesignLayout, y: FloatArray) -> DesignLayout:
    """Keep of each axis what has probability, where the whole grid would take long."""
    size = math.prod(len(axis.values) for axis in layout.axes.values())
    if size * layout.day.size < _COARSE_WORK:
        return layout
    if layout.day.size > _MANY_OUTINGS:
        return _around_mode(layout, y)
    picked = {
        name: sorted({*range(0, len(axis.values), 2), len(axis.values) - 1})
        for name, axis in layout.axes.items()
    }
    coarse = {name: layout.axes[name].taking(picked[name]) for name in layout.axes}
    posterior = Factored(layout.with_axes(coarse)).posterior(y)
    narrow = {}
    for name, axis in coarse.items():
        ratio = posterior.factored.grid.ratios[name]
        mass = np.array([float(posterior.weight[ratio == value, 0].sum()) for value in axis.values])
        likely = np.flatnonzero(mass > _IMPROBABLE)
        low = picked[name][max(int(likely.min()) - 1, 0)]
        high = picked[name][min(int(likely.max()) + 1, len(picked[name]) - 1)]
        narrow[name] = layout.axes[name].taking(range(low, high + 1))
    return layout.with_axes(narrow)


def _around_mode(layout: DesignLayout, y: FloatArray) -> DesignLayout:
    """Find the likeliest ratios one axis at a time, and keep their neighbours: many outings leave no more."""
    best = {name: len(axis.values) // 2 for name, axis in layout.axes.items()}
    for _ in range(_SWEEPS):
        for name, axis in layout.axes.items():
            held = {other: layout.axes[other].taking([best[other]]) for other in layout.axes}
            line = Factored(layout.with_axes(held | {name: axis})).posterior(y)
            best[name] = int(np.argmax(line.log_weight[:, 0]))
    around = {
        name: axis.taking(range(max(best[name] - 1, 0), min(best[name] + 2, len(axis.values))))
        for name, axis in layout.axes.items()
    }
    return layout.with_axes(around)
