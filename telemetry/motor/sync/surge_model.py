"""The surge model, which ties a motor log to a speed log by the forces on the hull.

On plane the thrust of a propeller at shaft speed n on a hull at speed v is, by the open-water law with a
linear thrust coefficient, ``a n² - b n v``; the resistance is some function of the speed. The surge equation

    dv/dt = a n² - b n v - r(v)

is linear in a, b and in r at a few knots of speed, so that only the relation of the two clocks has to be
searched. It needs no mass, no propeller and no drag coefficient: they are fitted to the log. Power changes
within tenths of a second and the acceleration follows at once, which carries the time information.

Neighbouring differences of speed share a noisy sample and the unmodelled forces wander, which makes the
covariance tridiagonal and generalised least squares a banded solve. Between two samples the speed follows the
forces themselves, not a smooth curve, once they are known: that resolves a corner inside a slow log's second.

References
----------
.. [1] A. C. Aitken, On least squares and linear combination of observations, Proc. R. Soc. Edinburgh 55
   (1936).
.. [2] G. H. Golub, V. Pereyra, The differentiation of pseudo-inverses and nonlinear least squares problems
   whose variables separate, SIAM J. Numer. Anal. 10 (1973), doi:10.1137/0710036.
.. [3] K.-Y. Liang, S. L. Zeger, Longitudinal data analysis using generalized linear models, Biometrika 73
   (1986), doi:10.1093/biomet/73.1.13 (the variance that asks only for independent clusters).
.. [4] R. M. Bell, D. F. McCaffrey, Bias reduction in standard errors for linear regression with multi-stage
   samples, Survey Methodology 28 (2002) (from memory: the correction for few clusters).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import solveh_banded

from telemetry.core.frames import FloatArray, IntArray
from telemetry.motor.sync.speed_steps import REACH_S, Drive, SpeedSteps, downweight

# Spectral density of the unmodelled forces, over mass [m²/s³]: 0.1 is about 0.3 m/s of drift in a second.
# Larger values weigh the corners of the speed curve more and its slow course less; only the ratio to the
# measurement noise matters.
FORCE_DENSITY = 0.1
# A hull's resistance has a hump at take-off, within a few metres a second: ten parts of the speed resolve it.
DRAG_KNOTS = 11
_CLUSTER_S = 5.0
_OUTLIER = 6.0
_MAX_ODD_PLACES = 2
_PATH_ROUNDS = 4
_MIN_FREE = 0.01
_MIN_A_FORCE = 3  # increments for each force to be fitted


@dataclass(frozen=True, kw_only=True)
class SurgeFit:
    """The model fitted at one relation of the clocks.

    Attributes
    ----------
    rest_s, drift : float
        Motor time t is at ``t + rest_s + drift (t - middle)`` on the speed log's clock.
    used : ndarray of int
        Increments that the motor log covers.
    unexplained, total : float
        Weighted sums of squares after the fit and before it.
    coefficients : ndarray, shape (p,)
        Regressors of the fit.
    forces : ndarray, shape (m, p)
        The regressors.
    weighted : ndarray, shape (m, p + 1)
        Regressors and rises, multiplied by the inverse covariance.
    """

    rest_s: float
    drift: float
    used: IntArray
    unexplained: float
    total: float
    coefficients: FloatArray
    forces: FloatArray = field(repr=False)
    weighted: FloatArray = field(repr=False)

    @property
    def explained(self) -> float:
        """Share of the weighted squares that the model explains, 0 to 1."""
        return 1.0 - self.unexplained / self.total if self.total > 0 else 0.0


@dataclass(frozen=True)
class ClockStep:
    """A Gauss-Newton step of the clocks.

    Attributes
    ----------
    rest_s, drift : float
        The step.
    score, information : ndarray, shape (m,)
        Each cluster's information on the offset: alone it would shift it by ``score / information``.
    """

    rest_s: float
    drift: float
    score: FloatArray
    information: FloatArray

    @property
    def clusters(self) -> float:
        """Effective number of clusters that carry the information."""
        total = float(self.information.sum())
        return total**2 / float(np.sum(self.information**2)) if total > 0 else 0.0

    @property
    def scatter_s(self) -> float:
        """Weighted scatter of the clusters' offsets [s]."""
        known = self.information > 0
        total = float(self.information[known].sum())
        away = self.score[known] ** 2 / self.information[known]
        return float(np.sqrt(away.sum() / total)) if total > 0 else float("inf")


@dataclass(frozen=True, kw_only=True)
class _Joint:
    """Forces and clocks solved together: regressors, weighted regressors, normal matrix and solution.

    ``residual`` is weighted; ``first`` are the indices at which the clusters begin.
    """

    columns: FloatArray
    weighted: FloatArray
    normal: FloatArray
    prior: float
    theta: FloatArray
    residual: FloatArray
    first: IntArray

    def summed(self, rows: FloatArray) -> FloatArray:
        """Sum rows of increments by clusters."""
        return np.asarray(np.add.reduceat(rows, self.first, axis=0))


class SurgeProblem:
    """One speed log and one motor log, ready to be fitted at many relations of their clocks."""

    def __init__(self, inc: SpeedSteps, drive: Drive, drag_knots: int = DRAG_KNOTS) -> None:
        self.inc = inc
        self.drive = drive
        self._knots = np.linspace(0.0, 1.0, drag_knots)
        self.middle_s = 0.5 * float(drive.t_s[0] + drive.t_s[-1])
        self._node_span_s = np.diff(inc.node_s, axis=1)
        self._node_mean = 0.5 * (inc.node_speed[:, 1:] + inc.node_speed[:, :-1])
        hats = [np.interp(self._node_mean, self._knots, row) for row in np.eye(drag_knots)]
        self._drag = np.stack([(hat * self._node_span_s).sum(axis=1) for hat in hats], axis=1)

    def to_motor(self, t_s: FloatArray, rest_s: float, drift: float) -> FloatArray:
        """Convert times of the speed log to the motor log's clock.

        Parameters
        ----------
        t_s : ndarray
            Times on the speed log's clock, any shape [s].
        rest_s : float
            Offset at the middle of the log [s].
        drift : float
            Relative drift of the motor log's clock.
        """
        return self.middle_s + (t_s - rest_s - self.middle_s) / (1.0 + drift)

    def _forces(self, rest_s: float, drift: float) -> tuple[IntArray, FloatArray]:
        """Select the increments that the motor log covers and build their regressors."""
        d = self.drive
        at = self.to_motor(self.inc.node_s, rest_s, drift)
        used = np.flatnonzero((at[:, 0] >= d.t_s[0]) & (at[:, -1] <= d.t_s[-1]))
        at, v = at[used], self._node_mean[used]
        pushed = np.diff(np.interp(at, d.t_s, d.integral), axis=1)
        squared = np.interp(at[:, [0, -1]], d.t_s, d.square_integral)
        thrust = np.stack([squared[:, 1] - squared[:, 0], -(pushed * v).sum(axis=1)], axis=1) * (1.0 + drift)
        return used, np.column_stack([thrust, self._drag[used]])

    def _moved(self, fit: SurgeFit) -> FloatArray:
        """Differentiate the fitted rises by offset and by drift, shape (m, 2)."""
        at, v = self.to_motor(self.inc.node_s[fit.used], fit.rest_s, fit.drift), self._node_mean[fit.used]
        u = np.interp(at, self.drive.t_s, self.drive.value)
        by_offset = np.stack([u[:, 0] ** 2 - u[:, -1] ** 2, (np.diff(u, axis=1) * v).sum(axis=1)], axis=1)
        from_middle = at - self.middle_s
        by_drift = np.stack(
            [
                u[:, 0] ** 2 * from_middle[:, 0] - u[:, -1] ** 2 * from_middle[:, -1],
                (np.diff(u * from_middle, axis=1) * v).sum(axis=1),
            ],
            axis=1,
        )
        return np.stack([by_offset @ fit.coefficients[:2], by_drift @ fit.coefficients[:2]], axis=1)

    def _weighted(self, used: IntArray, columns: FloatArray) -> FloatArray:
        """Multiply columns by the inverse covariance of the increments, shape as given."""
        inc = self.inc
        bands = np.zeros((2, used.size))
        bands[1] = FORCE_DENSITY * inc.loose[used] * inc.span_s[used] + 2.0 * inc.noise_var
        neighbours = np.diff(used) == 1
        bands[0, 1:] = np.where(neighbours, -inc.noise_var * inc.joined[used[:-1]], 0.0)
        return np.asarray(solveh_banded(bands, columns, check_finite=False))

    def at(self, rest_s: float, drift: float) -> SurgeFit | None:
        """Fit the forces with the clocks fixed; None if the logs hardly overlap."""
        used, forces = self._forces(rest_s, drift)
        if used.size < _MIN_A_FORCE * forces.shape[1]:
            return None
        y = self.inc.rise_mps[used]
        weighted = self._weighted(used, np.column_stack([forces, y]))
        normal = _ridged(forces.T @ weighted[:, :-1])
        theta = np.asarray(np.linalg.solve(normal, forces.T @ weighted[:, -1]), dtype=np.float64)
        total = float(y @ weighted[:, -1])
        left = total - float(theta @ (forces.T @ weighted[:, -1]))
        return SurgeFit(
            rest_s=rest_s,
            drift=drift,
            used=used,
            unexplained=left,
            total=total,
            coefficients=theta,
            forces=forces,
            weighted=weighted,
        )

    def step(self, fit: SurgeFit, drift_sd: float) -> ClockStep:
        """One Gauss-Newton step of the clocks from a fit."""
        joint = self._joint(fit, drift_sd)
        offset, weighted = joint.columns[:, -2], joint.weighted[:, -2]
        return ClockStep(
            float(joint.theta[-2]),
            float(joint.theta[-1]),
            joint.summed(joint.columns * joint.residual[:, None])[:, -2],
            joint.summed(offset * weighted),
        )

    def covariance(self, fit: SurgeFit, drift_sd: float) -> FloatArray:
        """Compute the covariance of offset and drift, shape (2, 2), from clusters (references 3 and 4)."""
        joint = self._joint(fit, drift_sd)
        scores = joint.summed(joint.columns * joint.residual[:, None])
        share = joint.summed(joint.columns[:, :, None] * joint.weighted[:, None, :])
        freed = _freed(joint.normal, share, scores)
        spread = freed.T @ freed
        spread[-1, -1] += (joint.prior * drift_sd) ** 2
        inverse = np.linalg.inv(joint.normal)
        return np.asarray((inverse @ spread @ inverse)[-2:, -2:])

    def _joint(self, fit: SurgeFit, drift_sd: float) -> _Joint:
        """Solve forces and clocks together, linearised about a fit."""
        used, moved = fit.used, self._moved(fit)
        columns = np.column_stack([fit.forces, moved])
        weighted = np.column_stack([fit.weighted[:, :-1], self._weighted(used, moved)])
        normal, right = _ridged(columns.T @ weighted), columns.T @ fit.weighted[:, -1]
        # A clock's drift is known beforehand to a few hundred ppm; one pass alone cannot determine it.
        prior = fit.unexplained / used.size / drift_sd**2
        normal[-1, -1] += prior
        right[-1] -= prior * fit.drift
        theta = np.asarray(np.linalg.solve(normal, right), dtype=np.float64)
        place = (self.inc.start_s[used] // _CLUSTER_S).astype(np.int64)
        first = np.r_[0, np.flatnonzero(np.diff(place)) + 1]
        return _Joint(
            columns=columns,
            weighted=weighted,
            normal=normal,
            prior=prior,
            theta=theta,
            residual=fit.weighted[:, -1] - weighted @ theta,
            first=first,
        )

    def within(self, start_s: float, end_s: float) -> SurgeProblem:
        """Keep the increments between two times of the speed log."""
        a, b = np.searchsorted(self.inc.start_s, [start_s, end_s])
        inc = self.inc
        part = replace(
            inc,
            start_s=inc.start_s[a:b],
            end_s=inc.end_s[a:b],
            rise_mps=inc.rise_mps[a:b],
            node_s=inc.node_s[a:b],
            node_speed=inc.node_speed[a:b],
            joined=inc.joined[a : max(b - 1, a)],
            loose=inc.loose[a:b],
        )
        return SurgeProblem(part, self.drive)

    def following(self, fit: SurgeFit) -> SurgeProblem:
        """Replace the speed between each two samples by that of the fitted forces, tied to both samples."""
        inc, used = self.inc, fit.used
        a, b, *resistance = fit.coefficients
        node_s, v = inc.node_s[used], inc.node_speed[used]
        u = np.interp(self.to_motor(node_s, fit.rest_s, fit.drift), self.drive.t_s, self.drive.value)
        share = (node_s - node_s[:, :1]) / inc.span_s[used, None]
        first, last = v[:, :1], v[:, -1:]
        for _ in range(_PATH_ROUNDS):
            pull = (a * u**2 - b * u * v + np.interp(v, self._knots, resistance)) / inc.top_mps
            steps = 0.5 * (pull[:, 1:] + pull[:, :-1]) * np.diff(node_s, axis=1)
            risen = np.column_stack([np.zeros(used.size), np.cumsum(steps, axis=1)])
            v = np.clip(first + risen + (last - first - risen[:, -1:]) * share, 0.0, 1.0)
        node_speed = inc.node_speed.copy()
        node_speed[used] = v
        return SurgeProblem(replace(inc, node_speed=node_speed), self.drive)

    def without_outliers(self, fit: SurgeFit) -> SurgeProblem:
        """Downweight the model where it does not hold (a tumble, a collision), half a second around.

        If it fails again and again the logs do not belong together, and nothing is downweighted.
        """
        inc, used = self.inc, fit.used
        left = inc.rise_mps[used] - fit.forces @ fit.coefficients
        # Relative to its own variance, so that a tumble already downweighted is not an outlier again.
        usual = np.sqrt(FORCE_DENSITY * inc.loose[used] * inc.span_s[used] + 2.0 * inc.noise_var)
        size = np.abs(left) / usual
        odd = inc.start_s[used][size > _OUTLIER * max(float(np.median(size)) / 0.6745, 0.3)]
        if odd.size == 0 or 1 + int(np.sum(np.diff(odd) > 2.0 * REACH_S)) > _MAX_ODD_PLACES:
            return self
        return SurgeProblem(replace(inc, loose=downweight(inc.start_s, odd, inc.loose)), self.drive)


def _ridged(normal: FloatArray) -> FloatArray:
    """Regularise normal equations for a speed range that was never visited."""
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
    normal[np.diag_indices_from(normal)] += 1e-12
    return normal


def _freed(normal: FloatArray, share: FloatArray, scores: FloatArray) -> FloatArray:
    """Correct the residuals for the pull of each cluster on the fit, shape (g, p) as the scores.

    The residuals of a cluster that holds the share h of the information are too small by the root of 1 - h;
    with few clusters for many forces the plain variance is too small by as much (reference 4 of the module).
    """
    root = np.linalg.cholesky(normal)
    inverse = np.linalg.inv(root)
    held = inverse @ share @ inverse.T
    values, vectors = np.linalg.eigh(0.5 * (held + held.transpose(0, 2, 1)))
    scaled = vectors.transpose(0, 2, 1) @ (inverse @ scores[:, :, None])
    scaled *= 1.0 / np.sqrt(np.clip(1.0 - values, _MIN_FREE, 1.0))[:, :, None]
    return np.asarray((root @ (vectors @ scaled))[:, :, 0])
