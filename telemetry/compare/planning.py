"""What further running would tell, simulated from the fitted model: the chance stated is the chance met.

A plan is run on paper many times: true scatters and drift are drawn from what the figures so far leave
possible, a true difference of the size that matters is put in, new days are added, and the verdict is asked
of old and new figures together, by the very model that will judge them [1]_. The share of runs that call the
difference the right way round is the chance.

References
----------
.. [1] A. O'Hagan, J. W. Stevens, M. J. Campbell, Pharmaceutical Statistics 4 (2005) 187, doi:10.1002/pst.175
   (assurance: power averaged over what is not known).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from scipy.special import stdtr

from telemetry.compare.conditions import Condition
from telemetry.compare.model import DRIFT, PLACE, DesignRows, Fit, build_layout
from telemetry.compare.posterior import DAY, OUTING, Factored, ModelPosterior
from telemetry.core.frames import FloatArray, IntArray

POWER: Final = 0.8
MAX_OUTINGS: Final = 6
"""Further outings that a person runs for one question (common practice, no source)."""
_RUNS: Final = 400
_MAX_PER_OUTING: Final = 4
Pattern = Literal["AB", "ABBA"]
_OFFERS: Final[tuple[tuple[Pattern, int], ...]] = (
    ("AB", 1),
    ("AB", 2),
    ("ABBA", 1),
    ("AB", 3),
    ("ABBA", 2),
    ("ABBA", 3),
    ("ABBA", 4),
    ("ABBA", 6),
)
"""Patterns of a day and numbers of days, in order of their outings."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Further days on which both sheets are run in turn.

    Attributes
    ----------
    pattern : {"AB", "ABBA"}
        Outings of one day; of ``AB`` every second day is run the other way round.
    days, outings, per_outing, two_ways : int
        Further days, outings all together, two-ways or passes in each, and all together.
    power : float
        Chance that they show the difference.
    """

    pattern: Pattern
    days: int
    outings: int
    per_outing: int
    two_ways: int
    power: float

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Plans:
    """What further running is worth.

    Attributes
    ----------
    care : float
        Difference that the plans are made for, SI.
    offered : tuple of Plan
        The shortest with four chances in five; before it, where that takes more than six outings, the best of
        up to six.
    enough : bool
        Whether the last of them has four chances in five.
    coarser : Plan or None
        Where more than six outings are needed, the plan of up to six for a difference twice as large.
    """

    care: float
    offered: tuple[Plan, ...]
    enough: bool
    coarser: Plan | None

    @property
    def too_long(self) -> bool:
        """Whether a difference that matters needs more than six outings."""
        return not self.enough or self.offered[-1].outings > MAX_OUTINGS


def plan_further(fit: Fit, care: float, level: float, per_outing: int) -> Plans:
    """Find the shortest plan that would show a difference.

    Parameters
    ----------
    fit : Fit
        Of two sides, numbered 0 and 1.
    care : float
        Difference to be shown, SI.
    level : float
        Of the interval that must leave out zero.
    per_outing : int
        Two-ways that the boat's outings usually have.

    Returns
    -------
    Plans
    """
    size = min(max(per_outing, 1), _MAX_PER_OUTING)
    rng = np.random.default_rng(20)  # the same figures are given the same plan
    short: Plan | None = None
    for pattern, days in _OFFERS:
        plan = simulate_plan(fit, care, level, pattern, days, size, rng)
        if plan.power >= POWER:
            offered = (plan,) if short is None or plan.outings <= MAX_OUTINGS else (short, plan)
            coarser = _coarser(fit, care, level, short, rng) if plan.outings > MAX_OUTINGS else None
            return Plans(care=care, offered=offered, enough=True, coarser=coarser)
        if plan.outings <= MAX_OUTINGS and (short is None or plan.power > short.power):
            short = plan
    assert short is not None
    return Plans(care=care, offered=(short,), enough=False, coarser=_coarser(fit, care, level, short, rng))


def _coarser(
    fit: Fit, care: float, level: float, short: Plan | None, rng: np.random.Generator
) -> Plan | None:
    if short is None:
        return None
    return simulate_plan(fit, 2.0 * care, level, short.pattern, short.days, short.per_outing, rng)


def simulate_plan(
    fit: Fit,
    care: float,
    level: float,
    pattern: Pattern,
    days: int,
    per_outing: int,
    rng: np.random.Generator,
) -> Plan:
    """Run a plan on paper and count how often it calls the difference.

    Parameters
    ----------
    fit, care, level, per_outing
        As :func:`plan_further` takes them.
    pattern : {"AB", "ABBA"}
    days : int
    rng : numpy.random.Generator

    Returns
    -------
    Plan
    """
    old = fit.main
    rows, conditions = _extended(fit, pattern, days, per_outing)
    layout, root = build_layout(rows, conditions, fit.sigma)
    # What the figures so far rule out of the ratios need not be gone over again for every run.
    known = {name: axis for name, axis in old.factored.layout.axes.items() if len(axis.values) > 1}
    layout = layout.with_axes({name: known.get(name, axis) for name, axis in layout.axes.items()})
    inflation = old.factored.layout.inflation
    added = int(layout.day.size) - int(fit.rows.day.size)
    if inflation.size:
        layout = layout.with_inflation(np.concatenate([inflation, np.zeros(added)]))
    factored = Factored(layout)
    sign = np.where(rng.random(_RUNS) < _chance_positive(fit, care), 1.0, -1.0)
    y = _draw(fit, rows, sign * care, rng)
    weights = (np.eye(root.shape[0])[1] - np.eye(root.shape[0])[0]) @ root
    after = factored.posterior(y)
    middle, scale = after.contrasts(weights)
    below = np.sum(after.weight * stdtr(layout.df, -middle / np.maximum(scale, 1e-300)), axis=0)
    tail = 0.5 - level / 2.0
    called = np.where(sign > 0.0, below < tail, below > 1.0 - tail)
    outings = days * len(pattern)
    return Plan(pattern, days, outings, per_outing, outings * per_outing, float(called.mean()))


def _extended(
    fit: Fit, pattern: Pattern, days: int, per_outing: int
) -> tuple[DesignRows, tuple[Condition, ...]]:
    """Append the rows of a plan: new days after all others, at the place used most, conditions as usual."""
    old = fit.rows
    sides: list[int] = []
    of_day: list[int] = []
    for day in range(days):
        turn = pattern if day % 2 == 0 else pattern[::-1]
        sides += [0 if letter == "A" else 1 for letter in turn]
        of_day += [int(old.day.max()) + 1 + day] * len(turn)
    repeated = np.repeat(np.arange(len(sides)), per_outing)
    known = old.place[old.place >= 0]
    usual = int(np.bincount(known).argmax()) if known.size else -1
    n = repeated.size
    rows = replace(
        old,
        y=np.concatenate([old.y, np.zeros(n)]),
        u=np.concatenate([old.u, np.zeros(n)]),
        group=np.concatenate([old.group, np.array(sides, dtype=np.int64)[repeated]]),
        outing=np.concatenate([old.outing, old.day.size + repeated]),
        day=np.concatenate([old.day, np.array(of_day, dtype=np.int64)]),
        place=np.concatenate([old.place, np.full(n, usual, dtype=np.int64)]),
    )
    conditions = tuple(replace(c, column=np.concatenate([c.column, np.zeros(n)])) for c in fit.conditions)
    return rows, conditions


def _chance_positive(fit: Fit, care: float) -> float:
    """Chance that the difference has the positive sign, if it is of the size that matters."""
    found = fit.effect(np.eye(fit.sheet_root.shape[0])[1] - np.eye(fit.sheet_root.shape[0])[0])
    log_density = [
        _log_density_at(found.middle, found.scale, found.weight, found.df, d) for d in (care, -care)
    ]
    return float(1.0 / (1.0 + np.exp(np.clip(log_density[1] - log_density[0], -700.0, 700.0))))


def _log_density_at(
    middle: FloatArray, scale: FloatArray, weight: FloatArray, df: float, value: float
) -> float:
    """Logarithm of a mixture's density up to a constant."""
    size = np.maximum(scale, 1e-300)
    parts = np.log(np.maximum(weight, 1e-300)) - np.log(size)
    parts = parts - 0.5 * (df + 1.0) * np.log1p(((value - middle) / size) ** 2 / df)
    return float(np.logaddexp.reduce(parts))


def _draw(fit: Fit, rows: DesignRows, difference: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Draw figures: the old ones as they are, the new ones from the model with a given true difference.

    Returns
    -------
    ndarray, shape (n, runs)
    """
    old = fit.main
    layout = old.factored.layout
    n_old = fit.rows.y.size
    weights = (np.eye(fit.sheet_root.shape[0])[1] - np.eye(fit.sheet_root.shape[0])[0]) @ fit.sheet_root
    points = _points(old, weights, difference, rng)
    y_old = fit.rows.y - fit.offset
    y_old = y_old - sum((c.prior_mean * c.column for c in fit.conditions), np.zeros_like(y_old))
    told = np.empty((rows.y.size, difference.size))
    told[:n_old] = y_old[:, None]
    new = slice(n_old, None)
    new_outing, new_day = (
        rows.outing[new] - fit.rows.day.size,
        rows.row_day[new] - int(fit.rows.day.max()) - 1,
    )
    columns = _columns_of_new(fit, rows)
    variance = old.variance[points, 0] * layout.df / rng.chisquare(layout.df, difference.size)
    for point in np.unique(points):
        runs = np.flatnonzero(points == point)
        sigma = np.sqrt(variance[runs])
        beta = _coefficients(old, int(point), weights, difference[runs], sigma, rng)
        mean = columns @ (old.factored.scale[point][:, None] * beta)
        told[new, runs] = mean + _noise(old, int(point), new_outing, new_day, sigma, rng)
    return told


def _points(
    old: ModelPosterior, weights: FloatArray, difference: FloatArray, rng: np.random.Generator
) -> IntArray:
    """Draw points of the grid as probable as the figures and the true difference make them."""
    middle, scale = old.contrasts(weights)
    df = float(old.factored.layout.df)
    told = np.empty(difference.size, dtype=np.int64)
    for value in np.unique(difference):
        runs = np.flatnonzero(difference == value)
        size = np.maximum(scale[:, 0], 1e-300)
        log_weight = old.log_weight[:, 0] - np.log(size)
        log_weight = log_weight - 0.5 * (df + 1.0) * np.log1p(((value - middle[:, 0]) / size) ** 2 / df)
        weight = np.exp(log_weight - log_weight.max())
        told[runs] = rng.choice(weight.size, runs.size, p=weight / weight.sum())
    return told


def _coefficients(
    old: ModelPosterior,
    point: int,
    weights: FloatArray,
    difference: FloatArray,
    sigma: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Draw standardised coefficients given the true difference, shape (p, runs)."""
    covariance = old.factored.covariance[point]
    toward = old.factored.scale[point] * weights
    gain = covariance @ toward
    spread = float(toward @ gain)
    root = np.linalg.cholesky(covariance + 1e-12 * np.diag(np.diag(covariance)))
    drawn = old.mean[point, :, :1] + root @ rng.normal(size=(toward.size, difference.size)) * sigma
    return np.asarray(drawn + np.outer(gain, (difference - toward @ drawn) / spread))


def _columns_of_new(fit: Fit, rows: DesignRows) -> FloatArray:
    """Regressors of the new rows in the columns of the old layout, the drift standing still at the last day.

    The straight part of the drift goes on; conditions are as they usually were.
    """
    layout = fit.main.factored.layout
    n_old = fit.rows.y.size
    new_day = rows.row_day[n_old:]
    told = np.zeros((new_day.size, layout.x.shape[1]))
    told[np.arange(new_day.size), rows.group[n_old:]] = 1.0
    for block in layout.blocks:
        if block.axis == DRIFT:
            last = layout.x[int(np.argmax(fit.rows.row_day)), block.columns]
            told[:, block.columns] = last
            told[:, block.columns.start] = last[0] + new_day - fit.rows.day.max()
        elif block.axis == PLACE:
            known = rows.place[n_old:]
            told[:, block.columns] = known[:, None] == np.arange(block.columns.stop - block.columns.start)
    return told


def _noise(
    old: ModelPosterior,
    point: int,
    outing: IntArray,
    day: IntArray,
    sigma: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Draw days, steps of the drift, outings and scatter of the new figures, shape (n, runs)."""
    grid = old.factored.grid
    day_ratio: FloatArray = np.full(sigma.size, grid.ratios[DAY][point])
    outing_ratio: FloatArray = np.full(sigma.size, grid.ratios[OUTING][point])
    if len(old.factored.layout.axes[OUTING].values) == 1:
        # One outing on each day so far: how much of its scatter the day shares is anybody's guess.
        shared = rng.random(sigma.size)
        outing_ratio = day_ratio * np.sqrt(1.0 - shared)
        day_ratio = day_ratio * np.sqrt(shared)
    days = rng.normal(size=(int(day.max()) + 1, sigma.size)) * day_ratio
    outings = rng.normal(size=(int(outing.max()) + 1, sigma.size)) * outing_ratio
    steps = np.zeros((int(day.max()) + 1, sigma.size))
    if DRIFT in grid.ratios:
        step = grid.ratios[DRIFT][point] * grid.total[point]
        steps = np.cumsum(rng.normal(size=steps.shape) * step, axis=0)
    return np.asarray(
        (days[day] + steps[day] + outings[outing] + rng.normal(size=(day.size, sigma.size))) * sigma
    )
