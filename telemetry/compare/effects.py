"""The effect of a change on one measure: the difference, its interval, and what it was adjusted for."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from telemetry.compare.covariates import (
    ORDER,
    VOLTAGE,
    Covariate,
    Sides,
    columns_of,
    relevant,
    sides_of,
)
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import Measure
from telemetry.compare.mixed import Contrast, OutingModel
from telemetry.compare.planning import Scatter
from telemetry.core.frames import FloatArray, IntArray

COVERAGE_95: Final = 1.959964  # of a normal distribution
_FEW_DF = 3.0  # between outings; with fewer the boat's whole history is asked
_DF_LEFT = 3.0  # an adjustment must leave this many at its level


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A covariate that was allowed for.

    Attributes
    ----------
    covariate : Covariate
    slope : float or None
        Change of the measure for one unit of the covariate, SI; None for names.
    shift : float
        What it took off the plain difference of the two sides, SI: slope times the covariate's difference.
    """

    covariate: Covariate
    slope: float | None
    shift: float


@dataclass(frozen=True, slots=True)
class Difference:
    """After less before, with what it rests on; SI.

    Attributes
    ----------
    contrast : Contrast
        The estimate with its scatter.
    adjusted : tuple of Adjustment
    scatter : Scatter
        Variances between and within outings.
    history_outings : int
        How many outings on other sheets helped to judge the scatter; 0 where the two sheets did alone.
    within_only : bool
        Whether only differences within outings, in which both were run, could be used.
    """

    contrast: Contrast
    adjusted: tuple[Adjustment, ...]
    scatter: Scatter
    history_outings: int
    within_only: bool

    def half_width(self, level: float = 0.95) -> float:
        """Half the interval at a level."""
        return self.contrast.half_width(level)

    @property
    def measurement_bound(self) -> bool:
        """Whether the interval is what the measuring makes it, the figures scattering less."""
        return self.contrast.measurement_bound


class Table:
    """The evidence on one measure as arrays."""

    def __init__(
        self,
        measure: Measure,
        before: Sequence[Evidence],
        after: Sequence[Evidence],
        others: Sequence[Evidence] = (),
    ) -> None:
        self.measure = measure
        self.before, self.after, self.others = before, after, others
        self.rows = (*before, *after, *others)
        self.y: FloatArray = np.array([e.values[measure.key] for e in self.rows], dtype=float)
        self.u: FloatArray = np.array([e.u95.get(measure.key) or 0.0 for e in self.rows]) / COVERAGE_95
        number = {outing: k for k, outing in enumerate(dict.fromkeys(e.outing_id for e in self.rows))}
        self.outing: IntArray = np.array([number[e.outing_id] for e in self.rows])
        self.alternating = not {e.outing_id for e in before}.isdisjoint(e.outing_id for e in after)

    def base(self) -> FloatArray:
        """Make the columns of the tune: a constant, after, and one for each other sheet of the history."""
        sheets = list(dict.fromkeys(e.sheet_id for e in self.others))
        middle, end = len(self.before), len(self.before) + len(self.after)
        table = np.zeros((len(self.rows), 2 + len(sheets)))
        table[:, 0] = 1.0
        table[middle:end, 1] = 1.0
        for k, e in enumerate(self.others):
            table[end + k, 2 + sheets.index(e.sheet_id)] = 1.0
        return table


def difference(
    measure: Measure,
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    *,
    barred: Collection[str] = (),
    history: Sequence[Evidence] = (),
) -> Difference | str:
    """Estimate after less before.

    Parameters
    ----------
    measure : Measure
    before, after : sequence of Evidence
        Such as can speak about the measure, at least one each.
    barred : collection of str
        Covariates that the change moves itself.
    history : sequence of Evidence
        Of the boat on any sheet, asked for its scatter where the two sides hold too few outings.

    Returns
    -------
    Difference or str
        The reason in a sentence where the evidence cannot give the difference an interval.
    """
    own = Table(measure, before, after, ())
    found = _fit(own, barred)
    if found is not None and (found.contrast.df >= _FEW_DF or found.contrast.between_share < 0.5):
        return found
    used = {e.key for e in own.rows}
    others = [e for e in history if e.key not in used]
    if others:
        wider = _fit(Table(measure, before, after, others), barred)
        if wider is not None and (found is None or wider.contrast.df > found.contrast.df):
            return wider
    return found if found is not None else _why_none(own)


def _fit(table: Table, barred: Collection[str]) -> Difference | None:
    """Fit the largest model that the evidence carries, first with outings at random, then as they come."""
    for fixed in (False, True) if table.alternating else (False,):
        columns = table.base()[:, 1:] if fixed else table.base()
        model = _model(table, columns, fixed)
        if model is None:
            continue
        chosen: list[tuple[Sides, slice]] = []
        for sides in _candidates(table, barred, fixed):
            wider = np.column_stack([columns, columns_of(sides.covariate, table.rows)])
            tried = _model(table, wider, fixed)
            if tried is None:
                continue
            if (tried.within_df if sides.covariate.within else tried.between_df) >= _DF_LEFT:
                chosen.append((sides, slice(columns.shape[1], wider.shape[1])))
                columns, model = wider, tried
        after = np.eye(columns.shape[1])[0 if fixed else 1]
        contrast = model.contrast(after)
        if contrast is None:
            continue
        return Difference(
            contrast,
            tuple(_adjustment(table, sides, columns[:, at], model.coefficients[at]) for sides, at in chosen),
            _scatter(table, model),
            len({e.outing_id for e in table.others}),
            fixed,
        )
    return None


def _scatter(table: Table, model: OutingModel) -> Scatter:
    """Variances for planning; by chance the one within outings can come out below the measuring itself."""
    least = float(np.mean(table.u**2))
    return Scatter(0.0 if model.fixed else model.outing_variance, max(model.within_variance, least))


def _model(table: Table, columns: FloatArray, fixed: bool) -> OutingModel | None:
    """Build the model; None where the evidence cannot tell its columns apart."""
    try:
        return OutingModel(columns, table.y, table.outing, table.u, fixed=fixed)
    except ValueError:
        return None


def _candidates(table: Table, barred: Collection[str], fixed: bool) -> list[Sides]:
    """List the covariates to allow for: known of everything, overlapping, and worth it.

    What changes within outings is allowed for wherever it can be, since it takes scatter away too; what
    changes only between them costs an outing, and is allowed for where the sides differ by it.
    """
    chosen: list[Sides] = []
    for covariate in relevant(table.measure):
        drifted = any(sides.covariate == VOLTAGE for sides in chosen)
        if covariate.key in barred or (covariate == ORDER and drifted) or (fixed and not covariate.within):
            continue
        sides = sides_of(covariate, table.before, table.after)
        known = all(covariate.of(e) is not None for e in table.others)
        if sides.standing == "comparable" and known and (covariate.within or sides.differs):
            chosen.append(sides)
    return chosen


def _adjustment(table: Table, sides: Sides, columns: FloatArray, slopes: FloatArray) -> Adjustment:
    """Say what a covariate took off the plain difference."""
    middle, end = len(table.before), len(table.before) + len(table.after)
    apart = columns[middle:end].mean(axis=0) - columns[:middle].mean(axis=0)
    slope = None if sides.covariate.is_name else float(slopes[0])
    return Adjustment(sides.covariate, slope, float(apart @ slopes))


def _why_none(table: Table) -> str:
    """Say why the evidence gives no interval."""
    counts = [len({e.outing_id for e in side}) for side in (table.before, table.after)]
    unit = "two-way" if table.measure.kind == "two-way" else "passe"
    if counts == [1, 1]:
        return (
            "each side was run in one outing: what an outing shares (water, wind, pack) cannot be told "
            "from the change"
        )
    if not table.y.any():
        return f"no {table.measure.title.lower()} was seen on either side"
    if float(np.ptp(table.y)) == 0.0:
        return "the figures do not scatter at all, as no measured ones do"
    return f"there are too few {unit}s and outings to judge their scatter"
