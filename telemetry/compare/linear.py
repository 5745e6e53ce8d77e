"""Least squares and the one-way analysis of variance, to the digits that double precision allows.

Columns are centred and scaled before an orthogonal factorisation, and the residuals of a first solution are
fitted once more: a constant of 10¹² over a scatter of 0.1 must not eat the scatter.

References
----------
.. [1] Å. Björck, Numerical Methods for Least Squares Problems, SIAM 1996, 2.9 (iterative refinement).
.. [2] NIST Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd/ (what it is held against).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from telemetry.core.frames import FloatArray

_REFINEMENTS = 2


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """A fit ``y = X b + e``.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
    unscaled_covariance : ndarray, shape (p, p)
        ``(X'X)⁻¹``; times ``residual_variance`` it is the coefficients' covariance.
    residual_ss : float
        Sum of squared residuals.
    df : int
        Rows less columns.
    """

    coefficients: FloatArray
    unscaled_covariance: FloatArray
    residual_ss: float
    df: int

    @property
    def residual_variance(self) -> float:
        """Sum of squares over degrees of freedom; not a number where none are left."""
        return self.residual_ss / self.df if self.df > 0 else math.nan

    @property
    def standard_errors(self) -> FloatArray:
        """Of the coefficients."""
        return np.asarray(np.sqrt(np.diag(self.unscaled_covariance) * self.residual_variance))


def least_squares(x: FloatArray, y: FloatArray) -> LeastSquares:
    """Solve a full-rank least-squares problem.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Of full column rank, a column of ones among them where a constant is wanted.
    y : ndarray, shape (n,)

    Returns
    -------
    LeastSquares

    Raises
    ------
    ValueError
        If the columns are not independent to working precision.

    Examples
    --------
    >>> fit = least_squares(np.column_stack([np.ones(3), [0.0, 1.0, 2.0]]), np.array([1.0, 3.0, 5.0]))
    >>> [round(float(b), 12) for b in fit.coefficients]
    [1.0, 2.0]
    """
    scale = np.sqrt(np.sum(x * x, axis=0))
    if not np.all(scale > 0.0):
        raise ValueError("a column is zero")
    scaled = x / scale
    q, r = np.linalg.qr(scaled)
    if np.abs(np.diag(r)).min() < x.shape[0] * np.finfo(float).eps:
        raise ValueError("columns depend on one another")
    coefficients = np.zeros(x.shape[1])
    residual = y.astype(float)
    for _ in range(1 + _REFINEMENTS):
        coefficients = coefficients + solve_triangular(r, q.T @ residual) / scale
        residual = _residuals(x, coefficients, y)
    inverse = solve_triangular(r, np.eye(r.shape[0])) / scale[:, None]
    return LeastSquares(coefficients, inverse @ inverse.T, float(residual @ residual), y.size - x.shape[1])


def _residuals(x: FloatArray, coefficients: FloatArray, y: FloatArray) -> FloatArray:
    """Return ``y - X b`` rounded once: the sum of products is carried in extended precision."""
    wide = np.longdouble
    return np.asarray(y.astype(wide) - x.astype(wide) @ coefficients.astype(wide), dtype=float)


@dataclass(frozen=True, slots=True)
class OneWay:
    """A one-way analysis of variance: sums of squares, degrees of freedom and their ratio F."""

    between_ss: float
    within_ss: float
    between_df: int
    within_df: int

    @property
    def within_ms(self) -> float:
        """Variance within groups."""
        return self.within_ss / self.within_df

    @property
    def f(self) -> float:
        """Mean square between groups over the one within."""
        return self.between_ss / self.between_df / self.within_ms

    @property
    def r_squared(self) -> float:
        """Share of the total sum of squares that lies between groups."""
        return self.between_ss / (self.between_ss + self.within_ss)


def one_way(groups: Sequence[FloatArray]) -> OneWay:
    """Split the scatter of grouped values into what lies between and within the groups.

    Parameters
    ----------
    groups : sequence of ndarray
        Two or more, with more values than groups.

    Returns
    -------
    OneWay
    """
    everything = np.concatenate(groups)
    # Deviations from the first value are exact in binary arithmetic where values share leading digits.
    shifted = [np.asarray(group, dtype=float) - everything[0] for group in groups]
    sizes = np.array([group.size for group in groups])
    means = np.array([group.mean() for group in shifted])
    grand = float(sizes @ means) / everything.size
    within = math.fsum(float(d * d) for g, m in zip(shifted, means, strict=True) for d in g - m)
    between = float(sizes @ (means - grand) ** 2)
    return OneWay(between, within, len(groups) - 1, everything.size - len(groups))
