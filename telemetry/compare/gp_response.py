"""A measure's response to one item: a parabola and a Gaussian process about it, scales averaged over.

A hull's answer to a tune is mostly a parabola near its best; the process is for what is not. Both have priors
as wide as tunes are, so that one step beyond the values tried is as unsure as it is.

With three to ten values tried, the likelihood cannot pick a length scale; picking one anyway makes the
interval between and beyond the values too narrow. Every scale of a grid speaks here, weighed by how well it
explains the values [1]_, and the spread between them is part of the answer.

References
----------
.. [1] C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, equations
   2.25-2.30 (prediction, marginal likelihood) and 2.39-2.40 (a trend with priors on its coefficients).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import norm

from telemetry.frames import FloatArray

_LENGTHS: Final = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
"""Length scales, in spans of the values tried: a hull's answer bends over the range that people try."""
_AMPLITUDES: Final = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
"""Standard deviations of the process, in differences that matter."""
_TREND: Final = (1e3, 10.0, 10.0)
"""Standard deviations of the parabola's three coefficients, in differences that matter and spans tried."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """A response at some values of the item: mean, shape (n,), and covariance, shape (n, n)."""

    mean: FloatArray
    covariance: FloatArray

    @property
    def sd(self) -> FloatArray:
        """Standard deviations, shape (n,)."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))

    def half_width(self, level: float = 0.95) -> FloatArray:
        """Half the interval of the response itself (not of one more two-way)."""
        return np.asarray(norm.ppf(0.5 + level / 2.0) * self.sd)


def predict(x: FloatArray, y: FloatArray, u: FloatArray, at: FloatArray, care: float) -> Prediction:
    """Predict a response at values of an item.

    Parameters
    ----------
    x, y, u : ndarray, shape (n,)
        Values tried, means there and their standard uncertainties; two at least, not all at one value.
    at : ndarray, shape (m,)
        Where to predict.
    care : float
        Difference that matters, the scale of the response.

    Returns
    -------
    Prediction
    """
    span = float(np.ptp(x))
    logs, means, seconds = [], [], []
    for length in _LENGTHS:
        for amplitude in _AMPLITUDES:
            log_likelihood, mean, covariance = _one(x, y, u, at, length * span, amplitude * care, care)
            logs.append(log_likelihood)
            means.append(mean)
            seconds.append(covariance + np.outer(mean, mean))
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    mean = weight @ np.array(means)
    second = np.tensordot(weight, np.array(seconds), axes=1)
    return Prediction(mean, second - np.outer(mean, mean))


def _one(
    x: FloatArray,
    y: FloatArray,
    u: FloatArray,
    at: FloatArray,
    length: float,
    amplitude: float,
    care: float,
) -> tuple[float, FloatArray, FloatArray]:
    """Predict under one pair of scales, with the logarithm of the marginal likelihood."""

    def kernel(a: FloatArray, b: FloatArray) -> FloatArray:
        process = amplitude**2 * np.exp(-0.5 * ((a[:, None] - b[None, :]) / length) ** 2)
        return np.asarray(process + (parabola(a) * (np.array(_TREND) * care) ** 2) @ parabola(b).T)

    def parabola(a: FloatArray) -> FloatArray:
        return np.vander((a - x.mean()) / np.ptp(x), 3, increasing=True)

    middle = float(y.mean())
    factor = cho_factor(kernel(x, x) + np.diag(u**2), lower=True)
    across = kernel(at, x)
    solved = cho_solve(factor, y - middle)
    mean = middle + across @ solved
    left = kernel(at, at) - across @ cho_solve(factor, across.T)
    log_det = 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    log_likelihood = (
        -0.5 * float((y - middle) @ solved) - 0.5 * log_det - 0.5 * y.size * math.log(2.0 * math.pi)
    )
    return log_likelihood, mean, left


def expected_gain(gained: Prediction) -> FloatArray:
    """Mean of a gain, losses counted as nothing.

    References
    ----------
    D. R. Jones, M. Schonlau, W. J. Welch, J. Global Optim. 13 (1998), doi:10.1023/A:1008306431147,
    equation 15.

    Examples
    --------
    >>> round(float(expected_gain(Prediction(np.array([0.0]), np.array([[1.0]])))[0]), 4)
    0.3989
    """
    sd = np.maximum(gained.sd, 1e-12)
    z = gained.mean / sd
    return np.asarray(gained.mean * norm.cdf(z) + sd * norm.pdf(z))
