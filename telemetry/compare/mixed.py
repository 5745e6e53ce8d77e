"""A linear model with one random effect an outing, and intervals that hold when outings are few.

``y = X b + u[outing] + e``, with ``u ~ N(0, τ²)`` shared by whatever was run in one outing and ``e``,
``N(0, σ²)``, of each two-way or pass alone. The two variances are estimated by restricted maximum likelihood
[1]_. Everything is reckoned from sums an outing, so that a boat's whole life costs no more than its number of
outings.

Standard errors out of the likelihood fail with two or three outings a side: they are too small, and where τ²
comes out as zero the usual corrections swing to the other extreme. Here the covariance is built from the
scatter that the data show at each of their two levels, as is done where few studies are pooled [2]_ [3]_: the
weighted residual mean square of the outings' means scales what a contrast draws from differences between
outings, the one within outings what it draws from differences within them, and Satterthwaite's degrees of
freedom [4]_ combine the two. In a balanced design this is exactly the t-interval over outing means, or over
differences within outings.

References
----------
.. [1] H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545, doi:10.1093/biomet/58.3.545.
.. [2] G. Knapp, J. Hartung, Statistics in Medicine 22 (2003) 2693, doi:10.1002/sim.1482, equation 8.
.. [3] J. IntHout, J. P. A. Ioannidis, G. F. Borm, BMC Med. Res. Methodol. 14 (2014) 25,
   doi:10.1186/1471-2288-14-25.
.. [4] F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110, doi:10.2307/3002019.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.stats import norm
from scipy.stats import t as student

from telemetry.core.frames import FloatArray, IntArray

MIN_RATIO = 0.25
"""Least τ²/σ² that weights go by: an outing always shares something, and a weight that says otherwise would
let one long outing speak for a whole sheet. The interval comes from the scatter, not from the weights."""

_ROUNDING = 1e-13
_MIN_DF = 0.5  # of either level, below which its scatter cannot be judged
_RATIOS = np.concatenate([[0.0], np.geomspace(1e-4, 1e4, 41)])


@dataclass(frozen=True, slots=True)
class Contrast:
    """One combination of coefficients with its uncertainty.

    Attributes
    ----------
    estimate, standard_error, df : float
        The error's degrees of freedom are Satterthwaite's.
    between_share : float
        Share of the variance that comes from differences between outings, 0 to 1.
    measurement_u : float
        Standard uncertainty that the measuring of the values alone leaves in the estimate.
    """

    estimate: float
    standard_error: float
    df: float
    between_share: float
    measurement_u: float = 0.0

    def half_width(self, level: float = 0.95) -> float:
        """Half the two-sided interval at a level: never narrower than the measuring of the values allows."""
        return max(self._halves(level))

    @property
    def measurement_bound(self) -> bool:
        """Whether the measuring, and not the scatter, sets the 95 % interval."""
        from_scatter, from_measuring = self._halves(0.95)
        return from_measuring > from_scatter

    def _halves(self, level: float) -> tuple[float, float]:
        p = 0.5 + level / 2.0
        return (
            float(student.ppf(p, self.df)) * self.standard_error,
            float(norm.ppf(p)) * self.measurement_u,
        )


class OutingModel:
    """The model over one set of data.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Regressors of full column rank.
    y : ndarray, shape (n,)
    outing : ndarray of int, shape (n,)
        Which outing each row belongs to.
    u : ndarray, shape (n,), optional
        Standard uncertainty of measuring each value, which the estimates cannot be surer than.
    fixed : bool
        Take outings as they come instead of drawing them at random: nothing is then learned from differences
        between them. Columns that do not change within any outing have to be left out of ``x``.

    Raises
    ------
    ValueError
        If the columns depend on one another, or are no fewer than the rows.

    Notes
    -----
    The n rows of an outing have the covariance ``σ² I + τ² J``, whose eigenvalues are σ² for deviations from
    the outing's mean and ``σ² + n τ²`` for the mean. Sums of squares and products are therefore kept apart
    for the two, and every matrix of the model is a weighted sum of them.
    """

    def __init__(
        self,
        x: FloatArray,
        y: FloatArray,
        outing: IntArray,
        u: FloatArray | None = None,
        *,
        fixed: bool = False,
    ) -> None:
        self._u = np.zeros_like(y) if u is None else u
        _, place = np.unique(outing, return_inverse=True)
        self._n = np.bincount(place).astype(float)
        self._p = x.shape[1]
        self._rows = y.size
        self.fixed = fixed
        if self._rows <= self._p:
            raise ValueError("no fewer columns than rows")
        if fixed:
            _refuse_dependent(x - _means(place, x, self._n)[place])
        else:
            _refuse_dependent(x)
        data = np.column_stack([x, y])
        self._means = _means(place, data, self._n)
        self._place, self._apart = place, data - self._means[place]
        self._within = self._apart.T @ self._apart
        self.ratio = math.inf if fixed else self._likeliest_ratio()
        """τ²/σ² by restricted maximum likelihood, not below zero."""
        self._solve(max(self.ratio, MIN_RATIO))

    @property
    def within_variance(self) -> float:
        """σ² by restricted maximum likelihood."""
        if self.fixed:
            return self._within_ss / self.within_df if self.within_df >= _MIN_DF else math.nan
        return float(self._profile(np.array([self.ratio]))[1][0])

    @property
    def outing_variance(self) -> float:
        """τ² by restricted maximum likelihood; not a number where outings are taken as they come."""
        return math.nan if self.fixed else self.ratio * self.within_variance

    def contrast(self, weights: FloatArray) -> Contrast | None:
        """Estimate one combination of the coefficients.

        Parameters
        ----------
        weights : ndarray, shape (p,)

        Returns
        -------
        Contrast or None
            None where the data leave nothing to judge its scatter by.
        """
        toward = self._inverse @ weights
        within = float(toward @ self._a_within @ toward)
        between = float(toward @ self._a_between @ toward)
        parts = []
        for share, ss, df in (
            (within, self._within_ss, self.within_df),
            (between, self._between_ss, self.between_df),
        ):
            if share <= 1e-9 * (within + between):
                continue
            if df < _MIN_DF:
                return None
            parts.append((share * ss / df, df))
        variance = sum(part for part, _ in parts)
        if not variance > 0.0:
            return None
        df = variance**2 / sum(part**2 / df for part, df in parts)
        return Contrast(
            float(weights @ self.coefficients),
            math.sqrt(variance),
            df,
            between / (within + between),
            float(np.sqrt(np.sum((self.row_weights(weights) * self._u) ** 2))),
        )

    def row_weights(self, weights: FloatArray) -> FloatArray:
        """Return what a combination of the coefficients weighs each value by, shape (n,)."""
        toward = self._inverse @ weights
        of_outing = self._level_weights * (self._means[:, : self._p] @ toward)
        return np.asarray(self._apart[:, : self._p] @ toward + of_outing[self._place])

    def likelihood(self, ratio: float) -> float:
        """Twice the negative logarithm of the restricted likelihood at τ²/σ², up to a constant."""
        return float(self._profile(np.array([ratio]))[0][0])

    def _cross(self, within: float, between: FloatArray) -> FloatArray:
        """Sum the cross products of columns and values, one weight within outings and one for each mean."""
        outer = self._means.T @ (self._means * (between * self._n)[:, None])
        return np.asarray(within * self._within + outer)

    def _profile(self, ratios: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return -2 log restricted likelihood and the likeliest σ² for each of some ratios."""
        p, df = self._p, self._rows - self._p
        scales = 1.0 + np.outer(ratios, self._n)
        products = np.stack([self._cross(1.0, 1.0 / scale) for scale in scales])
        factors = np.linalg.cholesky(products[:, :p, :p])
        halves = np.linalg.solve(factors, products[:, :p, p:])[..., 0]
        left = np.maximum(products[:, p, p] - np.sum(halves**2, axis=1), np.finfo(float).tiny)
        log_det = 2.0 * np.sum(np.log(np.diagonal(factors, axis1=1, axis2=2)), axis=1)
        return df * np.log(left / df) + np.sum(np.log(scales), axis=1) + log_det, left / df

    def _likeliest_ratio(self) -> float:
        """Maximise the restricted likelihood over τ²/σ² ≥ 0: a grid first, since it can have two maxima."""
        values = self._profile(_RATIOS)[0]
        k = int(np.argmin(values))
        low, high = _RATIOS[max(k - 1, 0)], _RATIOS[min(k + 1, _RATIOS.size - 1)]
        found = minimize_scalar(
            self.likelihood, bounds=(low, high), method="bounded", options={"xatol": 1e-7 * (1e-3 + high)}
        )
        return float(found.x) if found.fun < values[k] else float(_RATIOS[k])

    def _solve(self, ratio: float) -> None:
        """Solve for the coefficients with weights by a ratio, and split what is left by level."""
        p, n = self._p, self._n
        self._level_weights = np.zeros_like(n) if self.fixed else 1.0 / (1.0 + n * ratio)
        within, between = self._within, self._cross(0.0, self._level_weights)
        self._a_within, self._a_between = within[:p, :p], between[:p, :p]
        self._inverse = np.linalg.inv(self._a_within + self._a_between)
        self.coefficients: FloatArray = self._inverse @ (within + between)[:p, p]
        error = np.append(-self.coefficients, 1.0)
        # What is left after figures that repeat exactly is rounding, which goes by the order of the rows.
        self._within_ss, self._between_ss = (
            left if (left := float(error @ level @ error)) > _ROUNDING * float(level[p, p]) else 0.0
            for level in (within, between)
        )
        # What the coefficients take from each level: the two add up to the number of columns.
        spent = float(np.trace(self._inverse @ self._a_between))
        self.between_df = 0.0 if self.fixed else n.size - spent
        self.within_df = self._rows - n.size - (p - spent)


def _means(place: IntArray, data: FloatArray, n: FloatArray) -> FloatArray:
    """Mean of every column by outing, shape (outings, columns)."""
    sums = np.zeros((n.size, data.shape[1]))
    np.add.at(sums, place, data)
    return sums / n[:, None]


def _refuse_dependent(x: FloatArray) -> None:
    size = np.sqrt(np.sum(x * x, axis=0))
    if (
        not np.all(size > 0.0)
        or np.linalg.matrix_rank(x / size, tol=1e-8 * math.sqrt(x.shape[0])) < x.shape[1]
    ):
        raise ValueError("columns depend on one another")
