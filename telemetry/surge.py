"""How the motor drives the hull along: the model that ties a motor log to a speed log.

On plane the thrust of a propeller at shaft speed n on a hull at speed v is, by the open-water law with a
linear thrust coefficient, ``a n² - b n v``; what holds the hull back is some function of its speed. The surge
equation

    dv/dt = a n² - b n v - r(v)

is linear in a, b and in r at a few knots of speed, so that only the relation of the two clocks is left to
search. It needs no mass, no propeller and no drag coefficient: the log itself fits them. Power goes on and
off within tenths of a second and the acceleration follows at once, which is where the time information lies.

Fitted are the differences of neighbouring measured speeds, not the smoothed acceleration, so that nothing is
smeared over a corner. Neighbours share a noisy sample and the forces left out wander, which makes the
covariance tridiagonal and generalised least squares a banded solve.

References
----------
.. [1] A. C. Aitken, On least squares and linear combination of observations, Proc. R. Soc. Edinburgh 55
   (1936).
.. [2] G. H. Golub, V. Pereyra, The differentiation of pseudo-inverses and nonlinear least squares problems
   whose variables separate, SIAM J. Numer. Anal. 10 (1973), doi:10.1137/0710036.
.. [3] K.-Y. Liang, S. L. Zeger, Longitudinal data analysis using generalized linear models, Biometrika 73
   (1986), doi:10.1093/biomet/73.1.13 (the variance that asks only for independent clusters).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.linalg import solveh_banded

from telemetry.cleaning import Cleaned
from telemetry.frames import FloatArray, IntArray
from telemetry.motion import Motion

# Spectral density of the forces left out, over mass [m²/s³]: 0.1 is about 0.3 m/s of drift in a second.
# Larger values weigh the corners of the speed curve more and its slow course less; only the ratio to the
# measuring noise matters.
FORCE_DENSITY = 0.1
_DRAG_KNOTS = 6
_LEAST_STEP_S = 0.08
_CLUSTER_S = 5.0
_OUTLIER = 6.0
_OUTLIER_REACH_S = 0.5
_LOOSENED = 1e6
_MOST_ODD_PLACES = 2
# Lifting off slows a hull by one to two g (common practice, no source); faster is a tumble or a collision,
# and so is much speed gone inside a gap of the log. What follows one says nothing of the clocks.
_HULL_MPS2 = 25.0
_LOST_MPS = 5.0
_GAP_STEPS = 3.5
_TUMBLE_S = 3.0
_NODE_S = 0.1


@dataclass(frozen=True)
class Increments:
    """Differences of neighbouring usable speeds of a speed log, arrays of shape (n,).

    Attributes
    ----------
    start_s, end_s : ndarray
        Times of the two samples on the speed log's clock [s].
    rise_mps : ndarray
        Later minus earlier measured speed.
    node_s, node_speed : ndarray, shape (n, k + 1)
        Times from the one sample to the other [s], and smoothed speed there as a share of the log's top: as
        many as slow sampling needs to follow a curve in between.
    joined : ndarray of bool, shape (n-1,)
        Whether an increment ends with the sample with which the next one starts.
    noise_var : float
        Variance of one measured speed [m²/s²].
    loose : ndarray
        Factor on ``FORCE_DENSITY``; large where the model has been found not to hold.
    """

    start_s: FloatArray
    end_s: FloatArray
    rise_mps: FloatArray
    node_s: FloatArray
    node_speed: FloatArray
    joined: IntArray
    noise_var: float
    loose: FloatArray

    @property
    def span_s(self) -> FloatArray:
        """Length of each increment [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Driver:
    """What drives the hull, scaled to about 1 at the top, and its running integrals, on the motor's clock."""

    t_s: FloatArray
    value: FloatArray
    integral: FloatArray
    square_integral: FloatArray


@dataclass(frozen=True)
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
        a and b, then the resistance at each knot of speed with its sign turned.
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
        """Share of the weighted squares that the model explains; 1 is all, 0 nothing."""
        return 1.0 - self.unexplained / self.total if self.total > 0 else 0.0


@dataclass(frozen=True)
class ClockStep:
    """A Gauss-Newton step of the clocks.

    Attributes
    ----------
    rest_s, drift : float
        The step.
    covariance : ndarray, shape (2, 2)
        Of offset and drift, from clusters of increments (reference 3 of the module).
    score, information : ndarray, shape (m,)
        Each cluster's own say on the offset: where it alone would have it is ``score / information`` away.
    """

    rest_s: float
    drift: float
    covariance: FloatArray
    score: FloatArray
    information: FloatArray

    @property
    def clusters(self) -> float:
        """How many clusters carry the information, as an effective number."""
        total = float(self.information.sum())
        return total**2 / float(np.sum(self.information**2)) if total > 0 else 0.0

    @property
    def scatter_s(self) -> float:
        """How far apart the clusters would have the offset, weighted [s]."""
        known = self.information > 0
        total = float(self.information[known].sum())
        away = self.score[known] ** 2 / self.information[known]
        return float(np.sqrt(away.sum() / total)) if total > 0 else float("inf")


def increments(cleaned: Cleaned, motion: Motion, least_s: float = _LEAST_STEP_S) -> Increments:
    """Take the usable differences of speed from a log, samples at least ``least_s`` apart."""
    measured = cleaned.track.column("speed_mps")
    usable = cleaned.speed_ok if measured is not None else cleaned.position_ok
    speed = measured if measured is not None else motion.speed_mps
    stretch = np.zeros(motion.t_s.size, dtype=np.int64)
    for number, (a, b) in enumerate(cleaned.stretches):
        stretch[a:b] = number + 1
    usable = usable & np.isfinite(speed) & np.isfinite(motion.speed_mps) & (stretch > 0)
    step_s = float(np.median(np.diff(motion.t_s)))
    keep = np.flatnonzero(usable)[:: max(1, int(np.ceil(least_s / step_s - 1e-9)))]
    same = stretch[keep[1:]] == stretch[keep[:-1]]
    a, b = keep[:-1][same], keep[1:][same]
    top = float(np.percentile(motion.speed_mps[keep], 99.5)) if keep.size else 1.0
    start_s, end_s = motion.t_s[a], motion.t_s[b]
    parts = int(np.ceil(max(least_s, step_s) / max(_NODE_S, least_s) - 1e-9))
    node_s = start_s[:, None] + (end_s - start_s)[:, None] * np.linspace(0.0, 1.0, parts + 1)
    known = np.isfinite(motion.speed_mps) & np.isfinite(motion.acceleration_mps2)
    curve = CubicHermiteSpline(motion.t_s[known], motion.speed_mps[known], motion.acceleration_mps2[known])
    rise = speed[b] - speed[a]
    span_s = end_s - start_s
    gap = span_s > _GAP_STEPS * float(np.median(span_s)) if span_s.size else np.zeros(0, dtype=np.bool_)
    sudden = (np.abs(rise) > _HULL_MPS2 * span_s) | (gap & (rise < -_LOST_MPS))
    return Increments(
        start_s,
        end_s,
        rise,
        node_s,
        np.clip(curve(node_s) / max(top, 1e-3), 0.0, 1.0),
        (a[1:] == b[:-1]).astype(np.int64),
        float(motion.speed_sd_mps) ** 2,
        _loosened(start_s, start_s[sudden], np.ones(a.size), _TUMBLE_S),
    )


def driver(t_s: FloatArray, value: FloatArray) -> Driver:
    """Scale a motor quantity and integrate it; missing values are bridged."""
    known = np.isfinite(value)
    t, u = t_s[known], value[known]
    u = np.maximum(u, 0.0) / max(float(np.percentile(u, 99.5)), 1e-9)

    def running(x: FloatArray) -> FloatArray:
        return np.asarray(np.r_[0.0, np.cumsum(0.5 * (x[1:] + x[:-1]) * np.diff(t))])

    return Driver(t, u, running(u), running(u * u))


class SurgeProblem:
    """One speed log and one motor log, ready to be fitted at many relations of their clocks."""

    def __init__(self, inc: Increments, drive: Driver) -> None:
        self.inc = inc
        self.drive = drive
        self.middle_s = 0.5 * float(drive.t_s[0] + drive.t_s[-1])
        self._node_span_s = np.diff(inc.node_s, axis=1)
        self._node_mean = 0.5 * (inc.node_speed[:, 1:] + inc.node_speed[:, :-1])
        knots = np.linspace(0.0, 1.0, _DRAG_KNOTS)
        hats = [np.interp(self._node_mean, knots, row) for row in np.eye(_DRAG_KNOTS)]
        self._drag = np.stack([(hat * self._node_span_s).sum(axis=1) for hat in hats], axis=1)

    def to_motor(self, t_s: FloatArray, rest_s: float, drift: float) -> FloatArray:
        """Return times of the speed log on the motor log's clock."""
        return self.middle_s + (t_s - rest_s - self.middle_s) / (1.0 + drift)

    def _forces(self, rest_s: float, drift: float) -> tuple[IntArray, FloatArray]:
        """Take the increments that the motor log covers and their regressors."""
        d = self.drive
        at = self.to_motor(self.inc.node_s, rest_s, drift)
        used = np.flatnonzero((at[:, 0] >= d.t_s[0]) & (at[:, -1] <= d.t_s[-1]))
        at, v = at[used], self._node_mean[used]
        pushed = np.diff(np.interp(at, d.t_s, d.integral), axis=1)
        squared = np.interp(at[:, [0, -1]], d.t_s, d.square_integral)
        thrust = np.stack([squared[:, 1] - squared[:, 0], -(pushed * v).sum(axis=1)], axis=1) * (1.0 + drift)
        return used, np.column_stack([thrust, self._drag[used]])

    def _moved(self, fit: SurgeFit) -> FloatArray:
        """Tell how the fitted rises change with offset and with drift, shape (m, 2)."""
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
        """Fit the forces with the clocks held; None where the logs hardly overlap."""
        used, forces = self._forces(rest_s, drift)
        if used.size < 4 * forces.shape[1]:
            return None
        y = self.inc.rise_mps[used]
        weighted = self._weighted(used, np.column_stack([forces, y]))
        normal = _ridged(forces.T @ weighted[:, :-1])
        theta = np.asarray(np.linalg.solve(normal, forces.T @ weighted[:, -1]), dtype=np.float64)
        total = float(y @ weighted[:, -1])
        left = total - float(theta @ (forces.T @ weighted[:, -1]))
        return SurgeFit(rest_s, drift, used, left, total, theta, forces, weighted)

    def step(self, fit: SurgeFit, drift_sd: float) -> ClockStep:
        """One Gauss-Newton step of the clocks from a fit, with what it says of their uncertainty."""
        used, moved = fit.used, self._moved(fit)
        columns = np.column_stack([fit.forces, moved])
        moved_weighted = self._weighted(used, moved)
        weighted = np.column_stack([fit.weighted[:, :-1], moved_weighted, fit.weighted[:, -1]])
        normal = _ridged(columns.T @ weighted[:, :-1])
        right = columns.T @ weighted[:, -1]
        # A clock's drift is known beforehand to a few hundred ppm; one pass alone cannot tell it.
        prior = fit.unexplained / used.size / drift_sd**2
        normal[-1, -1] += prior
        right[-1] -= prior * fit.drift
        theta = np.linalg.solve(normal, right)
        residual = weighted[:, -1] - weighted[:, :-1] @ theta
        place = (self.inc.start_s[used] // _CLUSTER_S).astype(np.int64)
        first = np.r_[0, np.flatnonzero(np.diff(place)) + 1]
        scores = np.add.reduceat(columns * residual[:, None], first, axis=0)
        inverse = np.linalg.inv(normal)
        spread = scores.T @ scores
        spread[-1, -1] += (prior * drift_sd) ** 2
        information = np.add.reduceat(moved[:, 0] * moved_weighted[:, 0], first)
        return ClockStep(
            float(theta[-2]),
            float(theta[-1]),
            (inverse @ spread @ inverse)[-2:, -2:],
            scores[:, -2],
            information,
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

    def without_outliers(self, fit: SurgeFit) -> SurgeProblem:
        """Loosen the model where it does not hold (a tumble, a collision), half a second around.

        Where it fails again and again the logs do not belong together, and nothing is loosened.
        """
        inc, used = self.inc, fit.used
        left = inc.rise_mps[used] - fit.forces @ fit.coefficients
        usual = np.sqrt(FORCE_DENSITY * inc.span_s[used] + 2.0 * inc.noise_var)
        size = np.abs(left) / usual
        odd = inc.start_s[used][size > _OUTLIER * max(float(np.median(size)) / 0.6745, 0.3)]
        if odd.size == 0 or 1 + int(np.sum(np.diff(odd) > 2.0 * _OUTLIER_REACH_S)) > _MOST_ODD_PLACES:
            return self
        return SurgeProblem(replace(inc, loose=_loosened(inc.start_s, odd, inc.loose)), self.drive)


def _loosened(
    start_s: FloatArray, odd_s: FloatArray, loose: FloatArray, after_s: float = _OUTLIER_REACH_S
) -> FloatArray:
    """Raise the freedom of increments close to odd ones."""
    if odd_s.size == 0:
        return loose
    following = np.searchsorted(odd_s, start_s)
    next_s = np.r_[odd_s, np.inf][following]
    last_s = np.r_[-np.inf, odd_s][following]
    near = (next_s - start_s <= _OUTLIER_REACH_S) | (start_s - last_s <= after_s)
    return np.where(near, _LOOSENED, loose)


def _ridged(normal: FloatArray) -> FloatArray:
    """Guard normal equations against a speed range that was never visited."""
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
    normal[np.diag_indices_from(normal)] += 1e-12
    return normal
