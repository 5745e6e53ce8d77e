"""A linear-Gaussian smoother for chains of states, solved as one banded system.

For a state that moves as ``x[k+1] = F[k] x[k] + w[k]`` and is seen as ``z = H x + e``, the mean that a
Rauch-Tung-Striebel pass computes step by step is the solution of one symmetric positive definite system whose
matrix is block tridiagonal. Written that way a whole log is smoothed by one LAPACK call, breaks in the log
are steps without coupling, and the variance of any weighted sum of states costs one more triangular solve.

References
----------
.. [1] H. E. Rauch, F. Tung, C. T. Striebel, Maximum likelihood estimates of linear dynamic systems,
   AIAA Journal 3 (1965) 1445-1450, doi:10.2514/3.3166.
.. [2] A. Y. Aravkin, B. M. Bell, J. V. Burke, G. Pillonetto, Kalman smoothing and block tridiagonal systems:
   new connections and numerical stability results, arXiv:1303.5237 (2013); cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.linalg.lapack import dtbtrs

from telemetry.core.frames import BoolArray, FloatArray, IntArray

# What nothing was measured of is held by its prior alone, which drowns in rounding beside very short steps:
# such a system is solved a little stiffer, at the first of these shares of its diagonal that will do.
_STIFFER = (0.0, 1e-14, 1e-12, 1e-10)


def jerk_transition(dt_s: FloatArray) -> FloatArray:
    """Transition of ``[v, a]`` when the acceleration is a random walk, shape (n, 2, 2)."""
    f = np.zeros((dt_s.size, 2, 2))
    f[:, 0, 0] = f[:, 1, 1] = 1.0
    f[:, 0, 1] = dt_s
    return f


def jerk_precision(dt_s: FloatArray) -> FloatArray:
    """Inverse of the process covariance of ``[v, a]`` for unit jerk density, shape (n, 2, 2).

    The covariance of a twice integrated white noise over a step is ``[[dt³/3, dt²/2], [dt²/2, dt]]``; its
    minimiser is the cubic smoothing spline (G. Wahba, J. R. Statist. Soc. B 40 (1978) 364-372).
    """
    q = np.empty((dt_s.size, 2, 2))
    q[:, 0, 0] = 12.0 / dt_s**3
    q[:, 0, 1] = q[:, 1, 0] = -6.0 / dt_s**2
    q[:, 1, 1] = 4.0 / dt_s
    return q


def snap_transition(dt_s: FloatArray) -> FloatArray:
    """Transition of ``[s, v, a]`` when the acceleration is a random walk, shape (n, 3, 3)."""
    f = np.zeros((dt_s.size, 3, 3))
    f[:, 0, 0] = f[:, 1, 1] = f[:, 2, 2] = 1.0
    f[:, 0, 1] = f[:, 1, 2] = dt_s
    f[:, 0, 2] = dt_s**2 / 2.0
    return f


def snap_covariance(dt_s: FloatArray) -> FloatArray:
    """Process covariance of ``[s, v, a]`` for unit jerk density, shape (n, 3, 3).

    Of a three times integrated white noise over a step: between the i-th and j-th integral
    ``dt^(i+j+1) / (i! j! (i+j+1))``.
    """
    q = np.empty((dt_s.size, 3, 3))
    q[:, 0, 0] = dt_s**5 / 20.0
    q[:, 0, 1] = q[:, 1, 0] = dt_s**4 / 8.0
    q[:, 0, 2] = q[:, 2, 0] = dt_s**3 / 6.0
    q[:, 1, 1] = dt_s**3 / 3.0
    q[:, 1, 2] = q[:, 2, 1] = dt_s**2 / 2.0
    q[:, 2, 2] = dt_s
    return q


@dataclass(frozen=True)
class Posterior:
    """What the smoother knows: the mean of every state and the factor of the precision matrix.

    Attributes
    ----------
    mean : ndarray, shape (n, d)
        Smoothed states.
    factor : ndarray, shape (2 d, n d)
        Lower banded Cholesky factor of the precision.
    explained : float
        Sum of squares, each over its variance, that the measurements lose by it.
    """

    mean: FloatArray
    factor: FloatArray
    explained: float

    @property
    def half_log_det(self) -> float:
        """Half the log determinant of the precision."""
        return float(np.log(self.factor[0]).sum())

    def part(self, nodes: slice) -> Posterior:
        """Give what is known of some nodes that no step couples to the others."""
        d = self.mean.shape[1]
        return Posterior(self.mean[nodes], self.factor[:, d * nodes.start : d * nodes.stop], np.nan)

    def covariance(self, weights: FloatArray) -> FloatArray:
        """Covariance of weighted sums of states.

        Parameters
        ----------
        weights : ndarray, shape (n, d, m)
            One column for each of the m sums.

        Returns
        -------
        ndarray, shape (m, m)
        """
        w = weights.reshape(-1, weights.shape[-1])
        return np.asarray(w.T @ cho_solve_banded((self.factor, True), w, check_finite=False))

    def sample(self, noise: FloatArray) -> FloatArray:
        """Draw states around the mean.

        Parameters
        ----------
        noise : ndarray, shape (n d, m)
            Independent standard normal numbers.

        Returns
        -------
        ndarray, shape (n, d, m)
        """
        drawn, info = dtbtrs(self.factor, noise, uplo="L", trans="T")
        if info != 0:  # pragma: no cover - the factor's diagonal is positive by construction
            raise ArithmeticError("the smoother's factor is singular")
        return np.asarray(self.mean[:, :, None] + drawn.reshape(*self.mean.shape, -1))


class Chain:
    """Collects the precision and the right-hand side of one chain of states, then solves it.

    Parameters
    ----------
    n, d : int
        Number of nodes and of states a node.
    """

    def __init__(self, n: int, d: int) -> None:
        self.n, self.d = n, d
        # Column by column, as LAPACK wants it: [node, column, row below the diagonal].
        self._band = np.zeros((n, d, 2 * d))
        self._rhs = np.zeros((n, d))

    def step(
        self, rows: slice, f: FloatArray, precision: FloatArray, coupled: BoolArray, first: int = 0
    ) -> None:
        """Couple neighbouring nodes: states ``rows`` move by ``f`` with the given process precision.

        Parameters
        ----------
        rows : slice
            Which states of a node move together.
        f, precision : ndarray, shape (m, r, r)
            Transition and inverse process covariance of each step.
        coupled : ndarray of bool, shape (m,)
            False at a break: the step then says nothing.
        first : int
            Which step they begin with.
        """
        p = np.where(coupled[:, None, None], precision, 0.0)
        pf = p @ f
        ftpf = np.swapaxes(f, 1, 2) @ pf
        node, after = slice(first, first + coupled.size), slice(first + 1, first + coupled.size + 1)
        states = range(self.d)[rows]
        for i, row in enumerate(states):
            for j, col in enumerate(states):
                self._band[node, col, self.d + row - col] -= pf[:, i, j]
                if row >= col:
                    self._band[node, col, row - col] += ftpf[:, i, j]
                    self._band[after, col, row - col] += p[:, i, j]

    def prior(self, node: IntArray | slice | int, state: int, precision: float, mean: float = 0.0) -> None:
        """Add what is known of one state of some nodes beforehand."""
        self._band[node, state, 0] += precision
        self._rhs[node, state] += precision * mean

    def observe(self, node: IntArray, h: FloatArray, z: FloatArray, precision: FloatArray) -> None:
        """Add scalar measurements ``z = h · x[node] + e``, one for each entry of ``node`` (no repeats).

        Parameters
        ----------
        node : ndarray of int, shape (m,)
        h : ndarray, shape (d,)
        z, precision : ndarray, shape (m,)
        """
        seen = np.flatnonzero(h)
        for row in seen:
            self._rhs[node, row] += precision * z * h[row]
            for col in seen[seen <= row]:
                self._band[node, col, row - col] += precision * h[row] * h[col]

    def solve(self) -> Posterior:
        """Factor the system and return the posterior.

        Raises
        ------
        numpy.linalg.LinAlgError
            If some state is neither observed nor coupled to one that is.
        """
        band = self._band.reshape(self.n * self.d, 2 * self.d).T
        for stiffer in _STIFFER:
            band[0] *= 1.0 + stiffer
            try:
                factor = cholesky_banded(band, lower=True, check_finite=False)
                break
            except np.linalg.LinAlgError:
                if stiffer == _STIFFER[-1]:
                    raise
        mean = cho_solve_banded((factor, True), self._rhs.reshape(-1), check_finite=False)
        explained = float(self._rhs.reshape(-1) @ mean)
        return Posterior(mean.reshape(self.n, self.d), factor, explained)
