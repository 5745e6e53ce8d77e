"""The two estimators that every speed comes from.

Both share one idea: the hull's acceleration wanders as a random walk, gently while it rides flat out and
abruptly when the throttle opens or shuts. The abrupt steps are let through by weighing each step with its own
innovation, as a Student-t process does [1]_; the gentle ones are measured from the log itself by maximum
likelihood over the flat-out parts of all passes together.

* *Speed* ``[v, a]``: the measured speed alone. Peak and held speeds come from it.
* *Along* ``[s, v, a, b, c]``: way along a course line from positions and measured speed together, with the
  slowly wandering errors of position (b) and of measured speed (c) as states of their own. Crossing times and
  measured-distance averages come from it.

References
----------
.. [1] A. Y. Aravkin, J. V. Burke, G. Pillonetto, Robust and trend-following Student's t Kalman smoothers,
   SIAM J. Control Optim. 52 (2014) 2891-2916, doi:10.1137/130918861.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from telemetry.core.frames import BoolArray, FloatArray, IntArray
from telemetry.kinematics.banded import (
    Chain,
    Posterior,
    jerk_precision,
    jerk_transition,
    snap_covariance,
    snap_transition,
)


@dataclass(frozen=True, slots=True)
class ReceiverModel:
    """What is assumed of a consumer receiver where the log itself cannot tell.

    Attributes
    ----------
    coloured_sd_mps, coloured_tau_s : float
        Slowly wandering part of the measured speed's error, and how long it takes to wander. Data sheets
        state 0.05 m/s, usually a 50 % figure; most of it is white and is measured from the log.
    shared_scale : float
        Part of the speed error that all passes of a log share, as a share of the speed: what tilts or filters
        alike on every pass (our own assumption, no source). An error that did not turn with the boat would
        cancel in a two-way.
    position_sd_m, position_tau_s : float
        Slowly wandering part of the position error in one axis: a 2.5 m circular error probable is a standard
        deviation of 2.1 m in each axis; minutes are the time the satellites' errors take to change.
    freedom : float
        Degrees of freedom of what is assumed: a data sheet's figure is taken as good to a quarter of itself,
        and ``1 / 2 (1 / 4)⁻²`` is 8 (JCGM 100:2008, G.4.2).
    least_speed_sd_mps, least_position_sd_m : float
        Floors of the white parts: a receiver that filters its output hides its noise.
    """

    coloured_sd_mps: float = 0.035
    coloured_tau_s: float = 8.0
    shared_scale: float = 2e-4
    position_sd_m: float = 2.0
    position_tau_s: float = 120.0
    freedom: float = 8.0
    least_speed_sd_mps: float = 0.01
    least_position_sd_m: float = 0.02


# What is believed before the log is seen, as medians and factors of one standard deviation: a receiver's
# noise from its usual data sheet, a hull whose acceleration wanders by some tenths of m/s² in a second
# (common practice, no source). At 10 Hz the log outweighs both; at 1 Hz it cannot tell them apart without.
USUAL_SD_MPS, _SD_FACTOR = 0.05, 2.0
USUAL_DENSITY, _DENSITY_FACTOR = 0.5, 4.0
# The way is let off from being exactly the sum of the speed by this much a step. Short steps of a quiet
# motion would otherwise tie the two so tightly that the system cannot be solved in double precision; a
# hundred steps of it add half a centimetre.
_WAY_SLACK_M = 5e-4
_MAX_PARTS = 20  # so that what smoothing costs goes by the samples of a log, not by how long it lasts
_ROUNDING_M = 1e-6
CORNER_FACTOR = 5.0  # a step this much livelier than the rest is a corner: the throttle was moved
_CORNER_SLACK = 5.0
_BLOCK = 4096
_WILD_SIGMAS, _ALONE = 4.0, 9.0
_FREEDOM = 3.0  # of the Student-t that lets corners through


def _innovation_size(states: FloatArray, dt_s: FloatArray) -> FloatArray:
    """Squared length of each step's innovation of ``[v, a]`` for unit jerk density, shape (n - 1,)."""
    v, a = np.diff(states[:, 0]) - dt_s * states[:-1, 1], np.diff(states[:, 1])
    return np.asarray(12.0 * v**2 / dt_s**3 - 12.0 * v * a / dt_s**2 + 4.0 * a**2 / dt_s)


def student_t_jerk_psd(density: FloatArray | float, size: FloatArray, states: int) -> FloatArray:
    """Jerk density that each step's innovation asks for, as a Student-t process weighs it [1]_.

    Parameters
    ----------
    density : ndarray, shape (n - 1,), or float
        Of flat-out riding [m²/s⁵].
    size : ndarray, shape (n - 1,)
        Squared length of each step's innovation for unit jerk density.
    states : int
        How many states an innovation has.
    """
    scale = np.maximum(density, (_FREEDOM * density + size) / (_FREEDOM + states))
    # The smoothed innovation of a corner is less than the true one by what smoothing took off it.
    return np.where(scale > CORNER_FACTOR * density, _CORNER_SLACK * scale, scale)


def neg2_log_prior(density: FloatArray | float) -> FloatArray:
    """Give what the broad belief in a jerk density adds to minus twice the log likelihood."""
    return np.asarray((np.log(density / USUAL_DENSITY) / np.log(_DENSITY_FACTOR)) ** 2)


def _jerk_chain(dt_s: FloatArray, coupled: BoolArray, density: FloatArray) -> Chain:
    """Begin a chain of ``[v, a]``, its steps a block at a time: an hour would else be held several times."""
    chain = Chain(dt_s.size + 1, 2)
    for first in range(0, dt_s.size, _BLOCK):
        block = slice(first, first + _BLOCK)
        precision = jerk_precision(dt_s[block]) / density[block, None, None]
        chain.step(slice(0, 2), jerk_transition(dt_s[block]), precision, coupled[block], first)
    return chain


@dataclass(frozen=True)
class SpeedSmoother:
    """Posterior of ``[v, a]`` on nodes that may belong to several passes, one after the other.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
        Node times [s].
    coupled : ndarray of bool, shape (n - 1,)
        False between passes.
    posterior : Posterior
    density : ndarray, shape (n - 1,)
        Jerk density each step was given [m²/s⁵].
    """

    t_s: FloatArray
    coupled: BoolArray
    posterior: Posterior
    density: FloatArray


def smooth_speed(
    t_s: FloatArray,
    coupled: BoolArray,
    node: IntArray,
    v_mps: FloatArray,
    sd_mps: FloatArray,
    density: FloatArray | float = USUAL_DENSITY,
    rounds: int = 4,
    *,
    swings: bool = False,
) -> SpeedSmoother:
    """Smooth measured speeds with corners let through.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        Node times, increasing inside each coupled run [s].
    coupled : ndarray of bool, shape (n - 1,)
    node : ndarray of int, shape (m,)
        Nodes at which a speed was measured, without repeats.
    v_mps, sd_mps : ndarray, shape (m,)
        Measured speeds and their white standard deviations [m/s].
    density : ndarray, shape (n - 1,), or float
        Jerk density of flat-out riding [m²/s⁵].
    rounds : int
        How often the steps are weighed anew.
    swings : bool
        Whether the hull swings in places, so that many speeds stray from a calm curve at first.
    """
    dt = np.where(coupled, np.diff(t_s), 1.0)
    h = np.array([1.0, 0.0])
    scale = np.broadcast_to(density, dt.shape)
    r_inverse = 1.0 / sd_mps**2

    def solved() -> Posterior:
        chain = _jerk_chain(dt, coupled, scale)
        chain.prior(slice(None), 0, 1e-8)
        chain.prior(slice(None), 1, 1e-4)
        chain.observe(node, h, v_mps, r_inverse)
        return chain.solve()

    for k in range(rounds - 1):
        mean = solved().mean
        size = _innovation_size(mean, dt)
        scale = student_t_jerk_psd(density, size, 2)
        # One wild speed that the judges let through must not drag the curve along.
        z = (v_mps - mean[node, 0]) / sd_mps
        strange = np.maximum(1.0, (z / _WILD_SIGMAS) ** 2)
        if k == 0 and swings:
            # Where a swing ends at a corner, the lively step before it would be bent in its place, and the
            # speeds that this misses be taken for wild. But a wild speed is alone.
            alone = np.ones(strange.size, dtype=np.bool_)
            alone[1:] &= strange[:-1] < strange[1:] / _ALONE
            alone[:-1] &= strange[1:] < strange[:-1] / _ALONE
            strange = np.where(alone, strange, 1.0)
        r_inverse = 1.0 / sd_mps**2 / strange
    return SpeedSmoother(t_s, coupled, solved(), scale)


def profile_likelihood(
    t_s: FloatArray, coupled: BoolArray, node: IntArray, v_mps: FloatArray, ratio: float
) -> tuple[float, float]:
    """Fit at one ratio of jerk density to noise variance.

    Returns
    -------
    quadratic : float
        Sum of squares to be divided by the noise variance [m²/s²].
    volume : float
        What the determinants add to minus twice the log likelihood, up to a constant.
    """
    dt = np.where(coupled, np.diff(t_s), 1.0)
    chain = _jerk_chain(dt, coupled, np.full(dt.size, ratio))
    chain.prior(slice(None), 0, 1e-12)  # where a part holds one speed alone
    chain.prior(slice(None), 1, 1e-9)
    chain.observe(node, np.array([1.0, 0.0]), v_mps, np.ones(node.size))
    posterior = chain.solve()
    left = v_mps - posterior.mean[node, 0]
    innovation = _innovation_size(posterior.mean, dt)[coupled].sum()
    volume = 2.0 * posterior.half_log_det + 2.0 * int(coupled.sum()) * np.log(ratio)
    return float(left @ left + innovation / ratio), float(volume)


def estimate_noise_and_jerk(
    t_s: FloatArray, coupled: BoolArray, node: IntArray, v_mps: FloatArray, least_sd_mps: float
) -> tuple[float, float]:
    """Measure noise and liveliness of the speed on flat-out parts.

    Parameters
    ----------
    t_s, coupled, node, v_mps
        As for :func:`smooth_speed`, holding flat-out riding only.
    least_sd_mps : float
        Floor of the noise [m/s].

    Returns
    -------
    sd_mps, density : float
        White noise of a measured speed [m/s] and jerk density [m²/s⁵].

    Notes
    -----
    The most probable pair under a broad log-normal belief in each. The system is solved once for each ratio
    of the two on a logarithmic grid; a factor of two in it moves the smoothed speed by far less than its
    error.
    """
    freedom = node.size - 2 * int((~coupled).sum() + 1)
    sd = np.geomspace(least_sd_mps, 0.5, 40)
    best = (np.inf, USUAL_SD_MPS, USUAL_DENSITY)
    for ratio in np.geomspace(1.0, 1e5, 18).tolist():
        quadratic, volume = profile_likelihood(t_s, coupled, node, v_mps, ratio)
        density = ratio * sd**2
        misfit = freedom * 2.0 * np.log(sd) + quadratic / sd**2 + volume
        misfit += (np.log(sd / USUAL_SD_MPS) / np.log(_SD_FACTOR)) ** 2
        misfit += neg2_log_prior(density)
        k = int(np.argmin(misfit))
        best = min(best, (float(misfit[k]), float(sd[k]), float(density[k])))
    return best[1], best[2]


def refine_nodes(
    t_s: FloatArray, longest_s: float, broken: BoolArray
) -> tuple[FloatArray, IntArray, BoolArray]:
    """Add nodes inside long steps, so that a smooth motion can be followed between samples.

    Parameters
    ----------
    t_s : ndarray, shape (m,)
        Sample times [s].
    longest_s : float
        Longest step between nodes; a step between samples is cut into 20 at most all the same [s].
    broken : ndarray of bool, shape (m - 1,)
        Steps that get no nodes and no coupling.

    Returns
    -------
    node_t_s : ndarray, shape (n,)
    at : ndarray of int, shape (m,)
        The node of each sample.
    coupled : ndarray of bool, shape (n - 1,)
    """
    step = np.diff(t_s)
    parts = np.where(broken, 1, np.clip(np.ceil(step / longest_s - 1e-6), 1, _MAX_PARTS)).astype(np.int64)
    at = np.r_[0, np.cumsum(parts)]
    owner = np.repeat(np.arange(step.size), parts)
    k = np.arange(owner.size) - at[owner]
    node_t = np.r_[t_s[owner] + step[owner] * k / parts[owner], t_s[-1:]]
    coupled = np.ones(node_t.size - 1, dtype=np.bool_)
    coupled[at[:-1][broken]] = False
    return node_t, at, coupled


@dataclass(frozen=True)
class AlongTrackSmoother:
    """Posterior of the way along one course line over one pass.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
        Node times [s].
    along_m, along_mps : ndarray, shape (n,)
        Way and speed along the line; the way is counted from the line's origin in the log's own positions,
        their common error included.
    posterior : Posterior
        Of ``[s, v, a, b, c]``.
    """

    t_s: FloatArray
    along_m: FloatArray
    along_mps: FloatArray
    posterior: Posterior

    @cached_property
    def _way(self) -> tuple[float, FloatArray]:
        """Which way the pass runs, and how far it has come by each node [m]: asked for with every gate."""
        # By the speed, not by the ends: a pass's run-out may turn back on itself.
        sign = float(np.sign(np.median(self.along_mps)))
        return sign, np.maximum.accumulate(sign * self.along_m)

    def crossing_s(self, along_m: FloatArray) -> FloatArray:
        """When the way reaches the given points, any shape [s]; NaN outside the chain."""
        sign, way = self._way
        wanted = sign * np.asarray(along_m, dtype=np.float64)
        # The very ends belong to the chain, whatever rounding a sum of two lengths brings.
        near = np.clip(wanted, way[0], way[-1])
        wanted = np.where(np.abs(near - wanted) < _ROUNDING_M, near, wanted)
        return np.asarray(np.interp(wanted, way, self.t_s, left=np.nan, right=np.nan))

    def way_weights(self, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Weights that pick the way at given times, and the speed there.

        Returns
        -------
        weights : ndarray, shape (n, 5, m)
        speed_mps : ndarray, shape (m,)
        """
        k = np.clip(np.searchsorted(self.t_s, t_s) - 1, 0, self.t_s.size - 2)
        share = (t_s - self.t_s[k]) / (self.t_s[k + 1] - self.t_s[k])
        weights = np.zeros((self.t_s.size, 5, t_s.size))
        m = np.arange(t_s.size)
        weights[k, 0, m] = 1.0 - share
        weights[k + 1, 0, m] = share
        return weights, np.interp(t_s, self.t_s, self.along_mps)


@dataclass(frozen=True)
class AlongTrackData:
    """Measurements of one pass projected on a course line, on the pass's nodes.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
    density : ndarray, shape (n - 1,)
        Jerk density of each step, from the speed chain [m²/s⁵].
    position_node, along_m : ndarray, shape (p,)
    position_sd_m : float
    speed_node, along_mps, speed_sd_mps : ndarray, shape (m,)
        Empty where the log measures no speed.
    lag_s : float
        By how much the measured speed lags the positions [s].
    """

    t_s: FloatArray
    density: FloatArray
    position_node: IntArray
    along_m: FloatArray
    position_sd_m: float
    speed_node: IntArray
    along_mps: FloatArray
    speed_sd_mps: FloatArray
    lag_s: float


def smooth_along(data: AlongTrackData, receiver: ReceiverModel | None = None) -> AlongTrackSmoother:
    """Smooth positions and measured speed of one pass together.

    Parameters
    ----------
    data : AlongTrackData
    receiver : ReceiverModel, optional
        Sizes and times of the slowly wandering errors.

    Returns
    -------
    AlongChain
    """
    chain, origin_m = along_track_chain(data, receiver or ReceiverModel())
    posterior = chain.solve()
    mean = posterior.mean
    return AlongTrackSmoother(data.t_s, mean[:, 0] + origin_m, mean[:, 1], posterior)


def steps_covariance(data: AlongTrackData) -> FloatArray:
    """Process covariance of ``[s, v, a]`` of each step, shape (n - 1, 3, 3)."""
    covariance = snap_covariance(np.diff(data.t_s)) * data.density[:, None, None]
    covariance[:, 0, 0] += _WAY_SLACK_M**2
    return covariance


def along_track_chain(data: AlongTrackData, rx: ReceiverModel) -> tuple[Chain, float]:
    """Collect what is known of a way along a course line; with the place from which it is counted [m]."""
    n = data.t_s.size
    dt = np.diff(data.t_s)
    coupled = np.ones(n - 1, dtype=np.bool_)
    chain = Chain(n, 5)
    precision = np.asarray(np.linalg.inv(steps_covariance(data)), dtype=np.float64)
    chain.step(slice(0, 3), snap_transition(dt), precision, coupled)
    for state, sd, tau in (
        (3, rx.position_sd_m, rx.position_tau_s),
        (4, rx.coloured_sd_mps, rx.coloured_tau_s),
    ):
        decay = np.exp(-dt / tau)
        chain.step(
            slice(state, state + 1),
            decay[:, None, None],
            1.0 / (sd**2 * (1.0 - decay**2))[:, None, None],
            coupled,
        )
        chain.prior(0, state, 1.0 / sd**2)
    # The way is counted from the pass's middle, which keeps the numbers small where the steps are short.
    origin = float(data.along_m.mean()) if data.along_m.size else 0.0
    chain.prior(slice(None), 2, 1e-4)
    chain.observe(
        data.position_node,
        np.array([1.0, 0.0, 0.0, 1.0, 0.0]),
        data.along_m - origin,
        np.full(data.along_m.size, data.position_sd_m**-2.0),
    )
    chain.observe(
        data.speed_node,
        np.array([0.0, 1.0, -data.lag_s, 0.0, 1.0]),
        data.along_mps,
        data.speed_sd_mps**-2.0,
    )
    return chain, origin
