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

_NO_SPREAD = ((0.0, 0.0, 0.0, 0.0),) * 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """How a receiver's measured speed follows the true speed: ``u(t) = m(t + d) + τ m'(t + d)``.

    Attributes
    ----------
    delay_s, filter_s : float
        d and τ of the speed against the positions [s].
    common_s : float
        Low-pass that speed and positions share [s].
    scale : float
        Relative excess of the measured speed over the positions.
    root : tuple of tuple of float, shape (4, 4)
        Lower factor of the covariance of the four, in this order.
    misfit : float
        Mean square of the positions about the summed speed, against what their assumed errors explain.
    checked : bool
        Whether speed and positions were held against each other.
    doubt : float
        By how much the standard uncertainties of the way are to grow, as its errors are known roughly.
    """

    delay_s: float = 0.0
    filter_s: float = 0.0
    common_s: float = 0.0
    scale: float = 0.0
    root: tuple[tuple[float, ...], ...] = _NO_SPREAD
    misfit: float = 0.0
    checked: bool = False
    doubt: float = 1.0

    @property
    def common_sd_s(self) -> float:
        """Standard uncertainty of the shared low-pass [s]."""
        return float(np.linalg.norm(self.root[2]))

    @property
    def low_pass_s(self) -> tuple[float, float]:
        """Both low-passes together, and the upper end of their 95 % interval [s]."""
        middle = self.filter_s + self.common_s
        sd = float(np.hypot(np.linalg.norm(self.root[1]), self.common_sd_s))
        return middle, middle + 1.96 * sd

    @property
    def total_s(self) -> float:
        """Delay and low-passes together [s]."""
        return self.delay_s + self.filter_s + self.common_s


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
    response: Response = Response()


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
        Of ``[s, v, a, b, c]``, with ``s`` and ``v`` as the receiver's filter shows them.
    response : Response
        Of the receiver.
    by_response : ndarray, shape (n, 5, 3), or None
        How the states change with its delay, its low-pass and its scale.
    """

    t_s: FloatArray
    along_m: FloatArray
    along_mps: FloatArray
    posterior: Posterior
    response: Response = Response()
    by_response: FloatArray | None = None

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
        of_state = (1.0, *_unfiltered(self.response))
        for state, factor in enumerate(of_state):
            weights[k, state, m] = (1.0 - share) * factor
            weights[k + 1, state, m] = share * factor
        return weights, np.interp(t_s, self.t_s, self.along_mps)

    @cached_property
    def _way_by_response(self) -> FloatArray | None:
        """How the way changes with delay, low-pass and scale, shape (n, 3)."""
        if self.by_response is None:
            return None
        of_state = np.array([1.0, *_unfiltered(self.response), 0.0, 0.0])
        way = np.einsum("s,nsp->np", of_state, self.by_response)
        way[:, 1] += self.posterior.mean[:, 1] + self.response.common_s * self.posterior.mean[:, 2]
        return np.asarray(way)

    def _way_if_smoothed(self, sign: float, more_s: float) -> FloatArray:
        """How far the pass has come by each node if speed and positions are smoothed so much longer [m]."""
        mean = self.posterior.mean
        added = more_s * (mean[:, 1] + self.response.filter_s * mean[:, 2])
        return np.asarray(np.maximum.accumulate(sign * (self.along_m + added)))

    def shift_by_response_s(self, spans_s: FloatArray) -> FloatArray:
        """How the time between two crossings changes with what is not known of the receiver's response.

        Parameters
        ----------
        spans_s : ndarray, shape (m, 2)
            Times of the two crossings [s].

        Returns
        -------
        ndarray, shape (m, 4)
            For one standard deviation of each independent part of :attr:`Response.root` [s].
        """
        root = np.array(self.response.root)
        out = np.zeros((spans_s.shape[0], 4))
        if not root.any():
            return out
        speed = np.interp(spans_s, self.t_s, self.along_mps)
        way = self._way_by_response
        if way is not None:
            for column, p in enumerate((0, 1, 3)):
                at = np.interp(spans_s, self.t_s, way[:, column]) / speed
                out[:, p] = at[:, 0] - at[:, 1]
        most_s = 1.96 * self.response.common_sd_s
        if most_s > 0.0:
            # By difference to the end of the interval: of the first order a shared low-pass shifts both
            # crossings alike, and what is left goes with its square.
            sign, way_m = self._way
            gone = np.interp(spans_s, self.t_s, way_m)
            shifted = np.interp(gone, self._way_if_smoothed(sign, most_s), self.t_s)
            out[:, 2] = (np.diff(shifted, axis=1) - np.diff(spans_s, axis=1))[:, 0] / most_s
        return np.asarray(out @ root)


def _unfiltered(response: Response) -> tuple[float, float]:
    """Shares of filtered speed and its derivative that make the true way of a filtered one [s, s²]."""
    return response.filter_s + response.common_s, response.filter_s * response.common_s


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
    response : Response
        How the measured speed follows the positions.
    """

    t_s: FloatArray
    density: FloatArray
    position_node: IntArray
    along_m: FloatArray
    position_sd_m: float
    speed_node: IntArray
    along_mps: FloatArray
    speed_sd_mps: FloatArray
    response: Response = Response()


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
    rx = receiver or ReceiverModel()
    chain, origin_m = along_track_chain(data, rx)
    posterior = chain.solve()
    mean = posterior.mean
    first, second = _unfiltered(data.response)
    return AlongTrackSmoother(
        data.t_s,
        mean[:, 0] + first * mean[:, 1] + second * mean[:, 2] + origin_m,
        mean[:, 1] + first * mean[:, 2],
        posterior,
        data.response,
        _by_response(data, posterior, origin_m),
    )


def _position_rows(data: AlongTrackData) -> tuple[IntArray, FloatArray, FloatArray]:
    """Nodes at which positions are seen by the clock of the speed, and what they see of the states.

    A position at t describes the speed that is stamped t + d: it is seen at the node nearest to that time,
    and the rest of the way is gone at that node's speed.

    Returns
    -------
    node : ndarray of int, shape (p,)
    h : ndarray, shape (p, 5)
    rest_s : ndarray, shape (p,)
    """
    at = data.t_s[data.position_node] + data.response.delay_s
    right = np.clip(np.searchsorted(data.t_s, at), 1, data.t_s.size - 1)
    node = np.where(at - data.t_s[right - 1] < data.t_s[right] - at, right - 1, right)
    rest = at - data.t_s[node]
    tau = data.response.filter_s
    h = np.zeros((at.size, 5))
    h[:, 0] = h[:, 3] = 1.0
    h[:, 1] = rest + tau
    h[:, 2] = 0.5 * rest**2 + tau * rest
    return node, h, rest


def _by_response(data: AlongTrackData, posterior: Posterior, origin_m: float) -> FloatArray | None:
    """How the states change with delay, low-pass and scale of the receiver, shape (n, 5, 3).

    The mean solves ``P x = HᵀR⁻¹z``; with it ``P dx = dHᵀR⁻¹(z - Hx) - HᵀR⁻¹ dH x``.
    """
    if not data.position_node.size or not np.any(np.array(data.response.root)[[0, 1, 3]]):
        return None
    node, h, rest = _position_rows(data)
    precision = data.position_sd_m**-2.0
    mean = posterior.mean
    left = data.along_m - origin_m - np.einsum("ps,ps->p", h, mean[node])
    right = np.zeros((*mean.shape, 3))
    tau = data.response.filter_s
    for p, (dv, da) in enumerate(((np.ones(rest.size), rest + tau), (np.ones(rest.size), rest))):
        changes = dv * mean[node, 1] + da * mean[node, 2]
        np.add.at(right[:, 1, p], node, precision * dv * left)
        np.add.at(right[:, 2, p], node, precision * da * left)
        for state in range(4):
            np.add.at(right[:, state, p], node, -precision * h[:, state] * changes)
    if data.speed_node.size:
        v = mean[data.speed_node, 1]
        gain = 1.0 + data.response.scale
        weight = data.speed_sd_mps**-2.0
        off = data.along_mps - gain * v - mean[data.speed_node, 4]
        right[data.speed_node, 1, 2] += weight * (off - gain * v)
        right[data.speed_node, 4, 2] -= weight * v
    return posterior.solve(right)


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
    node, h, _ = _position_rows(data)
    chain.observe_each(node, h, data.along_m - origin, np.full(node.size, data.position_sd_m**-2.0))
    chain.observe(
        data.speed_node,
        np.array([0.0, 1.0 + data.response.scale, 0.0, 0.0, 1.0]),
        data.along_mps,
        data.speed_sd_mps**-2.0,
    )
    return chain, origin
