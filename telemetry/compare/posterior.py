"""A linear model with nested days and outings whose variance ratios are integrated numerically.

``y = X b + day + outing + e``. Conditional on the ratios of the standard deviations to that of ``e`` (the
scatter within an outing) the model is conjugate: the coefficients have a multivariate Student distribution
[1]_. The ratios of days, outings, drift, places and sheets are unknown; every point of a grid of them
contributes in proportion to its marginal likelihood and its prior [2]_, so that an interval knows that two
days tell little about how far days differ.

The covariance within a day is ``σ² (diag + ratio_outing² J_outing + ratio_day² J_day)``. Its inverse is
applied by the Sherman-Morrison identity from sums over outings and days, so that no matrix of the size of the
data is ever formed.

References
----------
.. [1] A. Gelman et al., Bayesian Data Analysis, 3rd edition 2013, chapters 14 and 15 (regression with normal
   priors on coefficients; hierarchical linear models).
.. [2] A. Gelman, Bayesian Analysis 1 (2006) 515, doi:10.1214/06-BA117A (half-Cauchy priors on standard
   deviations of groups when groups are few).
.. [3] O. Dubrule, Mathematical Geology 15 (1983) 687, doi:10.1007/BF01033232 (prediction of each value from
   all others out of one inverse).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import logsumexp, stdtr, stdtrit

from telemetry.core.frames import FloatArray, IntArray

OUTING: Final = "outing"
DAY: Final = "day"
SPOILED_VARIANCE_RATIO: Final = 16.0
"""Extra variance of a spoiled outing, in total variances of one two-way."""
_CHUNK_FLOATS: Final = 4_000_000
_NEGLIGIBLE: Final = 1e-5


@dataclass(frozen=True, kw_only=True)
class Axis:
    """The values of one unknown ratio of standard deviations with their prior.

    Attributes
    ----------
    values : tuple of float
        Ratios to the scatter within an outing, from zero upward.
    log_prior : tuple of float
        Logarithm of the prior probability of each, up to a constant.
    """

    values: tuple[float, ...]
    log_prior: tuple[float, ...]

    def taking(self, places: Sequence[int]) -> Axis:
        """Keep some of the values, by their places."""
        return Axis(
            values=tuple(self.values[k] for k in places), log_prior=tuple(self.log_prior[k] for k in places)
        )


def half_t_axis(values: Sequence[float], *, scale: float, df: float = 1.0) -> Axis:
    """Discretise a half-Student prior: each value stands for the interval halfway to its neighbours.

    Parameters
    ----------
    values : sequence of float
        Ascending; the last stands for an interval to half as much again.
    scale, df : float
        Of the Student distribution; one degree of freedom is the half-Cauchy prior of [2]_.

    Examples
    --------
    >>> axis = half_t_axis([0.0, 0.5, 1.5], scale=1.0)
    >>> [round(math.exp(p), 2) for p in axis.log_prior]
    [0.21, 0.47, 0.32]
    """
    edges = np.concatenate(
        [[values[0]], 0.5 * (np.array(values[:-1]) + np.array(values[1:])), [1.5 * values[-1]]]
    )
    mass = np.diff(stdtr(df, edges / scale))
    return Axis(values=tuple(values), log_prior=tuple(np.log(mass / mass.sum()).tolist()))


def fixed_axis(value: float = 0.0) -> Axis:
    """Hold a ratio at one value."""
    return Axis(values=(value,), log_prior=(0.0,))


@dataclass(frozen=True, kw_only=True)
class Block:
    """Some coefficients with a normal prior.

    Attributes
    ----------
    columns : slice
        Which columns of the design they belong to, already multiplied by the square root of the prior
        covariance, so that the coefficients are standard normal.
    axis : str or None
        The ratio that scales them, in units of the total scatter of one two-way; None for a prior in units of
        the scatter within an outing, which the columns carry themselves.
    """

    columns: slice
    axis: str | None


@dataclass(frozen=True, kw_only=True)
class DesignLayout:
    """What does not depend on the figures: regressors, groups and priors.

    Attributes
    ----------
    x : ndarray, shape (n, p)
        Regressors. Columns outside all blocks have a flat prior and must be of full rank.
    outing : ndarray of int, shape (n,)
        Outing of each row, numbered from 0.
    day : ndarray of int, shape (outings,)
        Day of each outing, numbered from 0.
    blocks : tuple of Block
    axes : mapping of str to Axis
        Must hold ``outing`` and ``day``.
    inflation : ndarray, shape (outings,)
        Extra variance of an outing in units of the total variance of one two-way; zero for a sound outing.
    condition_start : int
        First column of the conditions that are adjusted for.
    prior_mean : ndarray, shape (p,)
        Of the standardised coefficients in the figures' unit; empty where all are zero.
    """

    x: FloatArray
    outing: IntArray
    day: IntArray
    blocks: tuple[Block, ...]
    axes: Mapping[str, Axis]
    inflation: FloatArray = field(default_factory=lambda: np.zeros(0))
    condition_start: int = 0
    prior_mean: FloatArray = field(default_factory=lambda: np.zeros(0))

    @cached_property
    def flat(self) -> int:
        """Number of columns with a flat prior."""
        return int(self.x.shape[1] - sum(self.x[:, b.columns].shape[1] for b in self.blocks))

    @property
    def df(self) -> int:
        """Degrees of freedom left for the scatter."""
        return int(self.x.shape[0] - self.flat)

    def with_axes(self, axes: Mapping[str, Axis]) -> DesignLayout:
        """Return the same layout on another grid."""
        return replace(self, axes=axes)

    def with_inflation(self, inflation: FloatArray) -> DesignLayout:
        """Return the same layout with some outings trusted less."""
        return replace(self, inflation=inflation)


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Every combination of the axes' values.

    Attributes
    ----------
    ratios : mapping of str to ndarray, shape (grid,)
    log_prior : ndarray, shape (grid,)
    total : ndarray, shape (grid,)
        Standard deviation of one two-way over days and outings, in units of the scatter within an outing.
    """

    ratios: Mapping[str, FloatArray]
    log_prior: FloatArray
    total: FloatArray

    @classmethod
    def of(cls, axes: Mapping[str, Axis]) -> Grid:
        """Combine the axes."""
        names = list(axes)
        points = np.array(list(product(*(axes[name].values for name in names))))
        priors = np.array(list(product(*(axes[name].log_prior for name in names)))).sum(axis=1)
        ratios = {name: points[:, k] for k, name in enumerate(names)}
        total = np.sqrt(1.0 + ratios[OUTING] ** 2 + ratios[DAY] ** 2)
        return cls(ratios=ratios, log_prior=priors, total=total)


class Factored:
    """The part of the posterior that all figures of one layout share.

    Parameters
    ----------
    layout : DesignLayout

    Raises
    ------
    ValueError
        If the flat columns depend on one another, or nothing is left to judge the scatter by.
    """

    def __init__(self, layout: DesignLayout) -> None:
        if layout.df < 1:
            raise ValueError("no fewer flat columns than rows")
        self.layout = layout
        self.grid = grid = Grid.of(layout.axes)
        self._count = np.bincount(layout.outing).astype(float)
        inflation = layout.inflation if layout.inflation.size else np.zeros_like(self._count)
        between = grid.ratios[OUTING][:, None] ** 2 + np.outer(grid.total**2, inflation)
        self._weight = 1.0 / (1.0 / self._count + between)  # of each outing's mean, (grid, outings)
        self._order = np.argsort(layout.day, kind="stable")
        _, self._starts = np.unique(layout.day[self._order], return_index=True)
        known = self._by_day(self._weight)
        share = grid.ratios[DAY][:, None] ** 2
        self._pull = share / (1.0 + share * known)
        log_det_v = np.sum(np.log(self._count / self._weight), axis=1) + np.sum(
            np.log1p(share * known), axis=1
        )
        self.scale = self._scales()
        self._x_means = self._means(layout.x)
        self._x_apart = layout.x - self._x_means[layout.outing]
        precision = self._products_xx() * self.scale[:, :, None] * self.scale[:, None, :]
        proper = np.zeros(layout.x.shape[1])
        for block in layout.blocks:
            proper[block.columns] = 1.0
        precision[:, np.arange(proper.size), np.arange(proper.size)] += proper
        try:
            chol = np.linalg.cholesky(precision)
        except np.linalg.LinAlgError as error:
            raise ValueError("columns depend on one another") from error
        self.covariance = np.linalg.inv(precision)
        log_det_a = 2.0 * np.sum(np.log(np.diagonal(chol, axis1=1, axis2=2)), axis=1)
        self._log_base = grid.log_prior - 0.5 * (log_det_v + log_det_a)

    def _scales(self) -> FloatArray:
        """Scale of each coefficient's prior at each point of the grid, shape (grid, p)."""
        scale = np.ones((self.grid.log_prior.size, self.layout.x.shape[1]))
        for block in self.layout.blocks:
            if block.axis is not None:
                scale[:, block.columns] = (self.grid.ratios[block.axis] * self.grid.total)[:, None]
        return scale

    def _means(self, data: FloatArray) -> FloatArray:
        sums = np.zeros((self._count.size, data.shape[1]))
        np.add.at(sums, self.layout.outing, data)
        return np.asarray(sums / self._count[:, None])

    def _by_day(self, of_outings: FloatArray) -> FloatArray:
        """Sum over the outings of each day along axis 1."""
        return np.asarray(np.add.reduceat(of_outings[:, self._order], self._starts, axis=1))

    def _parts(self, columns: int) -> list[slice]:
        """Split the grid so that no temporary array grows beyond a few tens of megabytes."""
        size = max(1, _CHUNK_FLOATS // max(1, self._count.size * columns))
        return [slice(k, k + size) for k in range(0, self._weight.shape[0], size)]

    def _products_xx(self) -> FloatArray:
        x, p = self._x_means, self.layout.x.shape[1]
        told = np.empty((self._weight.shape[0], p, p))
        for part in self._parts(p):
            weighted = self._weight[part, :, None] * x[None]
            days = self._by_day(weighted)
            told[part] = np.matmul(weighted.transpose(0, 2, 1), x) - np.matmul(
                (days * self._pull[part, :, None]).transpose(0, 2, 1), days
            )
        return np.asarray(told + self._x_apart.T @ self._x_apart)

    def row_weights(self, weights: FloatArray, point: int) -> FloatArray:
        """Return what a combination of the coefficients weighs each figure by, shape (n,).

        Parameters
        ----------
        weights : ndarray, shape (p,)
        point : int
            Of the grid.
        """
        scale = self.scale[point]
        toward = scale * (self.covariance[point] @ (scale * weights))
        weight = self._weight[point]
        of_outing = weight * (self._x_means @ toward)
        days = np.bincount(self.layout.day, of_outing)
        pull = self._pull[point][np.unique(self.layout.day, return_inverse=True)[1]]
        of_outing = (of_outing - weight * pull * days[self.layout.day]) / self._count
        return np.asarray(self._x_apart @ toward + of_outing[self.layout.outing])

    def outing_precision(self, point: int) -> FloatArray:
        """Precision of the outings' means with the flat coefficients projected out, shape (outings, outings).

        In units of the scatter within an outing; its diagonal and its product with the means give what each
        outing is predicted from the others [3]_.
        """
        layout = self.layout
        same_day = layout.day[:, None] == layout.day[None, :]
        share = self.grid.ratios[DAY][point] ** 2
        proper = np.zeros(layout.x.shape[1], dtype=bool)
        for block in layout.blocks:
            proper[block.columns] = True
        drawn = self._x_means[:, proper] * self.scale[point, proper]
        covariance = np.diag(1.0 / self._weight[point]) + share * same_day + drawn @ drawn.T
        precision = np.linalg.inv(covariance)
        flat = self._x_means[:, ~proper]
        toward = precision @ flat
        return np.asarray(precision - toward @ np.linalg.pinv(flat.T @ toward) @ toward.T)

    def trust(self, outing: int, point: int) -> float:
        """Weight of an outing had it been spoiled, 1 for one like the others."""
        ratio, total = self.grid.ratios[OUTING][point], self.grid.total[point]
        sound = 1.0 / self._count[outing] + ratio**2 + self.grid.ratios[DAY][point] ** 2
        return float(sound / (sound + SPOILED_VARIANCE_RATIO * total**2))

    def outing_means(self, y: FloatArray) -> FloatArray:
        """Mean of each outing, shape (outings,)."""
        return self._means(y[:, None])[:, 0]

    def posterior(self, y: FloatArray) -> ModelPosterior:
        """Condition on figures.

        Parameters
        ----------
        y : ndarray, shape (n,) or (n, sets)
            One or several sets of figures of the same layout.
        """
        table = y[:, None] if y.ndim == 1 else y
        p, sets = self.layout.x.shape[1], table.shape[1]
        size = self._weight.shape[0]
        y_means = self._means(table)
        apart = table - y_means[self.layout.outing]
        cross = np.empty((size, p, sets))
        squares = np.empty((size, sets))
        for part in self._parts(p + sets):
            weight, pull = self._weight[part, :, None], self._pull[part, :, None]
            weighted = weight * self._x_means[None]
            x_days = self._by_day(weighted)
            y_days = self._by_day(weight * y_means[None])
            cross[part] = np.matmul(weighted.transpose(0, 2, 1), y_means) - np.matmul(
                (x_days * pull).transpose(0, 2, 1), y_days
            )
            squares[part] = self._weight[part] @ y_means**2 - np.sum(pull * y_days**2, axis=1)
        cross = (cross + self._x_apart.T @ apart) * self.scale[:, :, None]
        if self.layout.prior_mean.size:
            cross += self.layout.prior_mean[:, None]
            squares += float(self.layout.prior_mean @ self.layout.prior_mean)
        squares += np.sum(apart**2, axis=0)
        mean = np.matmul(self.covariance, cross)
        left = np.maximum(squares - np.sum(mean * cross, axis=1), 1e-13 * np.maximum(squares, 1e-300))
        log_weight = self._log_base[:, None] - 0.5 * self.layout.df * np.log(left)
        return ModelPosterior(self, mean, left / self.layout.df, log_weight)


@dataclass(frozen=True)
class ModelPosterior:
    """Coefficients given one or several sets of figures.

    Attributes
    ----------
    factored : Factored
    mean : ndarray, shape (grid, p, sets)
        Of the standardised coefficients.
    variance : ndarray, shape (grid, sets)
        Of the scatter within an outing.
    log_weight : ndarray, shape (grid, sets)
        Logarithm of the joint probability of ratios and figures, up to a constant of the layout.
    """

    factored: Factored
    mean: FloatArray
    variance: FloatArray
    log_weight: FloatArray

    @cached_property
    def log_evidence(self) -> FloatArray:
        """Logarithm of the figures' marginal likelihood up to a constant, shape (sets,)."""
        return np.asarray(logsumexp(self.log_weight, axis=0))

    @cached_property
    def weight(self) -> FloatArray:
        """Posterior probability of each point of the grid, shape (grid, sets)."""
        return np.asarray(np.exp(self.log_weight - self.log_evidence))

    def contrast(self, weights: FloatArray) -> Mixture:
        """Return one combination of the coefficients, for the first set of figures."""
        middle, scale = self.contrasts(weights)
        return Mixture(middle[:, 0], scale[:, 0], self.weight[:, 0], float(self.factored.layout.df))

    def contrasts(self, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return centre and scale of one combination at every point, each of shape (grid, sets)."""
        toward = self.factored.scale * weights
        middle = np.einsum("gp,gps->gs", toward, self.mean)
        spread = np.einsum("gp,gpq,gq->g", toward, self.factored.covariance, toward)
        return middle, np.sqrt(np.maximum(spread, 0.0)[:, None] * self.variance)

    @cached_property
    def likeliest(self) -> int:
        """Number of the grid point with the highest probability, for the first set of figures."""
        return int(np.argmax(self.log_weight[:, 0]))

    def row_weights(self, weights: FloatArray) -> FloatArray:
        """Return what a combination weighs each figure by at the likeliest grid point, shape (n,)."""
        return self.factored.row_weights(weights, self.likeliest)

    def draw(self, number: int, rng: np.random.Generator) -> FloatArray:
        """Draw coefficients in their own scale, for the first set of figures, shape (number, p)."""
        df = self.factored.layout.df
        points = rng.choice(self.log_weight.shape[0], number, p=self.weight[:, 0] / self.weight[:, 0].sum())
        told = np.empty((number, self.factored.scale.shape[1]))
        for point in np.unique(points):
            at = np.flatnonzero(points == point)
            covariance = self.factored.covariance[point]
            root = np.linalg.cholesky(covariance + 1e-12 * np.diag(np.diag(covariance)))
            sigma = np.sqrt(self.variance[point, 0] * df / rng.chisquare(df, at.size))
            drawn = self.mean[point, :, 0] + sigma[:, None] * (
                rng.normal(size=(at.size, root.shape[0])) @ root.T
            )
            told[at] = self.factored.scale[point] * drawn
        return told

    def average(self, of_grid: FloatArray) -> float:
        """Posterior mean of a quantity that is known at each point of the grid, for the first set."""
        return float(self.weight[:, 0] @ of_grid)


@dataclass(frozen=True)
class Mixture:
    """A mixture of Student distributions.

    Attributes
    ----------
    middle, scale, weight : ndarray, shape (parts,)
    df : float
        The same for all parts.
    """

    middle: FloatArray
    scale: FloatArray
    weight: FloatArray
    df: float

    def restricted(self, keep: FloatArray) -> Mixture | None:
        """Keep some parts only; None where they have no probability."""
        mass = float(self.weight @ keep)
        if mass <= 0.0:
            return None
        return Mixture(self.middle, self.scale, self.weight * keep / mass, self.df)

    @property
    def mean(self) -> float:
        """Mean, which for one degree of freedom is the centre."""
        return float(self.weight @ self.middle)

    @property
    def sd(self) -> float:
        """Standard deviation with the spread of normal parts, finite for any degrees of freedom."""
        return math.sqrt(float(self.weight @ (self.scale**2 + (self.middle - self.mean) ** 2)))

    def below(self, value: float) -> float:
        """Probability of less than a value."""
        scale = np.maximum(self.scale, 1e-300)
        return float(self.weight @ stdtr(self.df, (value - self.middle) / scale))

    def quantile(self, p: float) -> float:
        """Return the value that a share ``p`` of the probability lies below."""
        keep = self.weight > _NEGLIGIBLE * self.weight.max()
        few = Mixture(
            self.middle[keep], self.scale[keep], self.weight[keep] / self.weight[keep].sum(), self.df
        )
        ends = few.middle + few.scale * stdtrit(self.df, p)
        margin = 1e-9 * float(few.scale.max())  # each part's own value is met to rounding only
        low, high = float(ends.min()) - margin, float(ends.max()) + margin
        if not (few.below(low) < p < few.below(high)):
            return 0.5 * (low + high)
        return float(brentq(lambda v: few.below(v) - p, low, high, xtol=1e-7 * (high - low) + 1e-12))

    def half_width(self, level: float = 0.95) -> float:
        """Half the central interval of a level."""
        p = 0.5 + level / 2.0
        return 0.5 * (self.quantile(p) - self.quantile(1.0 - p))

    def joined(self, other: Mixture, share: float) -> Mixture:
        """Mix with another distribution of the same degrees of freedom, which gets a share."""
        return Mixture(
            np.concatenate([self.middle, other.middle]),
            np.concatenate([self.scale, other.scale]),
            np.concatenate([(1.0 - share) * self.weight, share * other.weight]),
            self.df,
        )
