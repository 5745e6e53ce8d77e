"""Peak, held and measured-distance speeds of the passes of one log, with their uncertainty.

Peak and held speeds come from curves drawn from what the smoother knows of the pass, averages over measured
distances from its way along the pass's own line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
from scipy.special import stdtrit

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import TRACK_COLUMNS, BoolArray, FloatArray, IntArray, cumulative_integral
from telemetry.core.geo import CourseLine
from telemetry.core.progress import report_each
from telemetry.core.stats import Z95
from telemetry.kinematics.corners import Corner, fit_corner, usual_corner
from telemetry.kinematics.models import (
    CORNER_FACTOR,
    USUAL_SD_MPS,
    AlongTrackData,
    AlongTrackSmoother,
    ReceiverModel,
    Response,
    SpeedSmoother,
    smooth_along,
)
from telemetry.kinematics.peak_draws import (
    HELD_S,
    between,
    cumulative_distance,
    linearise_corners,
    peak_of_draws,
    step_maxima,
    taken_off,
)
from telemetry.kinematics.position_only import max_secant_speed, student_t_reweight
from telemetry.kinematics.receiver import PassWay, fit_way, response_of
from telemetry.kinematics.rest_noise import RestNoise, measure_rest_noise, measure_rest_wander, speed_step_mps
from telemetry.kinematics.whole_log import Motion
from telemetry.passes.find import DistanceSpeed, Window
from telemetry.passes.pass_smoother import (
    Nodes,
    SmoothedPasses,
    build_nodes,
    smooth_passes,
    smoothing_input,
)

_Item = TypeVar("_Item")
_PAD_S = 2.0
_LAST_S = 0.25
_SLOW_STEP_S = 0.7
_WANDER_DOUBT = 1.45  # some seconds at rest tell the wandering to about that
# By how much the best of some seconds of wandering positions lies above their mean, and how far it spreads,
# over what one second wanders (on simulated positions at 1 and 10 Hz).
_LUCK, _SLOW_LUCK, _LUCK_SPREAD = 1.15, 0.3, 0.95
_CRASH_CORNER_S = 0.1
_MAX_CORNERS = 8
_MAX_LEARNED = 16  # passes of which a receiver is learned: more of one log say no more
_DRAWS = 256
MAX_STARTS = 20_000  # of a measured distance: half a metre apart on ten kilometres, further on a longer way
_REMEMBERED_LINES = 2  # a pass's own, and the one that it shares with other passes
# Of chop that is known the smoother follows a part; the highest crest of about ten stands so much above it,
# and spreads by so much (on simulated band noise of 0.8 to 8 Hz at 5 to 25 Hz).
_CHOP_CREST, _CHOP_SPREAD = 1.25, 0.45
_REST_DOUBT = 1.3
# Noise of which an unknown share, any from none to all, may be the hull's own motion on chop: its crests then
# belong to the peak. The highest of ten independent values stands 1.539 standard deviations up (tables of
# normal order statistics), and the root of a uniform share spreads by sqrt(1/2 - 4/9).
_CREST = 1.539 * (1.0 / 2.0 - 4.0 / 9.0) ** 0.5


def averaging_factor(span_s: float, tau_s: float) -> float:
    """Variance left of a slowly wandering error after averaging, as a share of its own.

    For an error with autocorrelation ``exp(-|t|/tau)`` averaged over ``T``:
    ``2 tau / T² (T - tau (1 - exp(-T / tau)))``.

    Examples
    --------
    >>> round(averaging_factor(1e-9, 8.0), 3), round(averaging_factor(800.0, 8.0), 4)
    (1.0, 0.0198)
    """
    x = span_s / tau_s
    if x < 1e-6:
        return 1.0
    return float(2.0 / x**2 * (x - 1.0 + np.exp(-x)))


@dataclass(frozen=True)
class PassData:
    """Everything of one pass that later steps measure on.

    Attributes
    ----------
    window : Window
    start_s, end_s : float
        Span of the pass on the log's clock [s].
    t_s : ndarray, shape (n,)
        Nodes, the pass with some seconds on either side [s].
    speed_mps : ndarray, shape (n,)
        Smoothed speed over ground [m/s].
    """

    window: Window
    start_s: float
    end_s: float
    t_s: FloatArray
    speed_mps: FloatArray
    density: FloatArray
    position_node: IntArray
    east_m: FloatArray
    north_m: FloatArray
    position_sd_m: float
    speed_node: IntArray
    measured_mps: FloatArray
    measured_sd_mps: FloatArray
    course_deg: FloatArray
    receiver: ReceiverModel
    _ways: dict[CourseLine, AlongTrackSmoother] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def lag_s(self) -> float:
        """By how much the measured speed lags the hull, delay and low-passes together [s]."""
        return self.receiver.response.total_s

    @property
    def length_m(self) -> float:
        """Way over ground between the pass's ends [m]."""
        inside = (self.t_s >= self.start_s - 1e-9) & (self.t_s <= self.end_s + 1e-9)
        return float(np.trapezoid(self.speed_mps[inside], self.t_s[inside]))

    def along(self, course: CourseLine) -> AlongTrackSmoother:
        """Smooth the pass along a course line, which need not be its own.

        The lines asked for last are remembered: another rule or distance asks for the same ones again.
        """
        way = self._ways.pop(course, None) or smooth_along(self.on(course), self.receiver)
        self._ways[course] = way
        if len(self._ways) > _REMEMBERED_LINES:
            self._ways.pop(next(iter(self._ways)), None)
        return way

    def on(self, course: CourseLine) -> AlongTrackData:
        """Project what was measured on a course line."""
        along_m, _ = course.along_across(self.east_m, self.north_m)
        towards = np.cos(np.radians(self.course_deg - course.heading_deg))
        return AlongTrackData(
            self.t_s,
            self.density,
            self.position_node,
            along_m,
            self.position_sd_m,
            self.speed_node,
            self.measured_mps * towards,
            self.measured_sd_mps,
            self.receiver.response,
        )


@dataclass(frozen=True)
class PassSpeeds:
    """Figures of one pass; half-widths are of 95 % intervals.

    ``spread_mps`` is the standard deviation of the curves that the peak is taken from, on the nodes of
    ``data``; errors that wander slowly or are shared by all passes are not in it, see :func:`curve_u95_mps`.
    ``contradicted`` says that the figures came out in no possible order, beyond their intervals.
    """

    data: PassData
    peak_mps: float
    peak_u95_mps: float
    peak_s: float
    held_1s_mps: float
    held_1s_u95_mps: float
    distances: tuple[DistanceSpeed, ...]
    spread_mps: FloatArray
    contradicted: bool = False


def best_distances(data: PassData, distances_m: Sequence[float]) -> tuple[DistanceSpeed, ...]:
    """Find the best average over each distance anywhere between the pass's ends.

    The distance is straight along the pass's own line, as between two gates; none for a log without
    positions.
    """
    if data.window.course is None:
        return ()
    chain = data.along(data.window.course)
    inside = (chain.t_s >= data.start_s - 1e-9) & (chain.t_s <= data.end_s + 1e-9)
    s0, s1 = chain.along_m[inside][[0, -1]]
    out = []
    for distance_m in distances_m:
        room = s1 - s0 - distance_m
        if room < 0.0:
            continue
        starts = s0 + np.linspace(0.0, room, min(max(2, int(room / 0.5) + 1), MAX_STARTS))
        taken = chain.crossing_s(starts + distance_m) - chain.crossing_s(starts)
        if np.isnan(taken).all():  # the way runs back and forth, not through
            continue
        k = int(np.nanargmin(taken))
        a_s = float(chain.crossing_s(starts[k : k + 1])[0])
        b_s = a_s + float(taken[k])
        speed = distance_m / float(taken[k])
        if speed > TRACK_COLUMNS["speed_mps"].high:  # the way leads over positions that no boat was at
            continue
        out.append(
            DistanceSpeed(
                float(distance_m),
                speed,
                _distance_u95_mps(chain, a_s, b_s, speed, data.receiver),
                a_s,
                b_s,
            )
        )
    return tuple(out)


def _distance_u95_mps(
    chain: AlongTrackSmoother, start_s: float, end_s: float, speed_mps: float, receiver: ReceiverModel
) -> float:
    """Half-width of the 95 % interval of the average between two crossings, shared part included [m/s].

    From ``v = D / (t2 - t1)``: a position error δs at a crossing passed at speed v' shifts its time by
    ``-δs / v'``, so ``u(v) = D / (t2 - t1)² u(δs1 / v1 - δs2 / v2)`` (JCGM 100:2008, 5.2).
    """
    own_s = float(crossing_sd_s(chain, np.array([[start_s, end_s]]))[0])
    shared = (receiver.shared_scale * speed_mps) ** 2
    by_response_s = float(np.linalg.norm(chain.shift_by_response_s(np.array([[start_s, end_s]]))[0]))
    variance = (speed_mps * float(np.hypot(own_s, by_response_s)) / (end_s - start_s)) ** 2 + shared
    wandering = receiver.coloured_sd_mps**2 * averaging_factor(end_s - start_s, receiver.coloured_tau_s)
    return half_width_95(variance, min(variance, wandering + shared), receiver)


def crossing_sd_s(chain: AlongTrackSmoother, spans_s: FloatArray) -> FloatArray:
    """Give the standard uncertainty of the time between two crossings, for each span.

    Parameters
    ----------
    spans_s : ndarray, shape (m, 2)
        Times of the two crossings [s].

    Returns
    -------
    ndarray, shape (m,)
    """
    first, v1 = chain.way_weights(spans_s[:, 0])
    second, v2 = chain.way_weights(spans_s[:, 1])
    weights = first / v1 - second / v2
    return chain.response.doubt * np.sqrt(np.diagonal(chain.posterior.covariance(weights)))


def measure_passes(
    cleaned: Cleaned,
    motion: Motion,
    windows: Sequence[Window],
    distances_m: Sequence[float],
    receiver: ReceiverModel | None = None,
    *,
    positions_lie: bool = False,
) -> list[PassSpeeds]:
    """Measure the passes of one log.

    Parameters
    ----------
    cleaned, motion, windows
        Of the same log.
    distances_m : sequence of float
        Measured distances to look for [m].
    receiver : ReceiverModel, optional
    positions_lie : bool
        Whether the positions are known to be wrong, so that the receiver is not learned from them.

    Returns
    -------
    list of PassSpeeds
        One for each window, in the same order.
    """
    if not windows:
        return []
    measured = cleaned.track.meta.speed_source == "measured"
    v, v_ok, trust = smoothing_input(cleaned, motion)
    lay = build_nodes(cleaned, _padded(cleaned.track.t_s, windows))
    rx, rest = _receiver_at_rest(cleaned, motion, v, receiver or ReceiverModel())
    ride = smooth_passes(cleaned, motion, windows, lay, rx)
    if measured:
        response = _response(cleaned, motion, windows, lay, ride.chain, v_ok, rx, positions_lie)
        rx = replace(rx, response=response)
    course = cleaned.track.column("course_deg")
    sampled = lay.at[v_ok[lay.sample]]
    log = _MeasuredLog(
        cleaned=cleaned,
        motion=motion,
        measured=measured,
        v_mps=v,
        v_ok=v_ok,
        trust=trust,
        course_deg=motion.course_deg
        if course is None
        else np.where(np.isnan(course), motion.course_deg, course),
        lay=lay,
        ride=ride,
        rest=rest,
        rx=rx,
        sampled=sampled,
        step_s=float(np.median(np.diff(lay.t_s[sampled]))),
    )
    both = list(zip(windows, lay.slices, strict=True))
    return [_measure_one(log, w, part, distances_m) for w, part in report_each(both, len(both))]


def _padded(t_s: FloatArray, windows: Sequence[Window]) -> list[tuple[int, int]]:
    """Half-open ranges of samples of the passes with some seconds before and after them."""
    ranges = []
    for w in windows:
        a = int(np.searchsorted(t_s, t_s[w.first] - _PAD_S))
        b = int(np.searchsorted(t_s, t_s[w.last - 1] + _PAD_S, side="right"))
        # What speed and positions say once a hull tumbles is no motion of a boat, and must not reach back.
        b = w.last if w.crashed else b
        ranges.append((max(a, w.stretch[0]), min(b, w.stretch[1])))
    return ranges


def _receiver_at_rest(
    cleaned: Cleaned, motion: Motion, v_mps: FloatArray, rx: ReceiverModel
) -> tuple[ReceiverModel, RestNoise | None]:
    """Learn the sizes of the receiver's errors while the boat lies still, and the step of its speeds."""
    if cleaned.track.meta.speed_source != "measured":
        wander = measure_rest_wander(cleaned, motion, rx)
        if wander is not None:
            doubted = replace(rx.response, doubt=_WANDER_DOUBT)
            rx = replace(rx, position_sd_m=wander[0], position_tau_s=wander[1], response=doubted)
        return rx, None
    rest = measure_rest_noise(cleaned, motion, rx)
    if rest is not None:
        rx = replace(
            rx,
            coloured_sd_mps=max(rest.coloured_sd_mps, rx.coloured_sd_mps),
            coloured_tau_s=rest.coloured_tau_s,
        )
    step_mps = speed_step_mps(v_mps)
    if step_mps:
        # A speed that hardly changes stays on one step, and errs alike all the while.
        rx = replace(rx, coloured_sd_mps=float(np.hypot(rx.coloured_sd_mps, step_mps / np.sqrt(12.0))))
    return rx, rest


@dataclass(frozen=True, kw_only=True)
class _MeasuredLog:
    """A log with what all of its passes share.

    ``sampled`` are the nodes at which a usable speed stands, and ``step_s`` is the usual time between them.
    """

    cleaned: Cleaned
    motion: Motion
    measured: bool
    v_mps: FloatArray
    v_ok: BoolArray
    trust: FloatArray
    course_deg: FloatArray
    lay: Nodes
    ride: SmoothedPasses
    rest: RestNoise | None
    rx: ReceiverModel
    sampled: IntArray
    step_s: float


def _measure_one(log: _MeasuredLog, w: Window, part: slice, distances_m: Sequence[float]) -> PassSpeeds:
    """Measure one pass of a log."""
    data = _pass_data(log, w, part)
    tops, curves, peak_s = _tops(log, data, part)
    if not log.measured and w.course is not None:
        slow = log.step_s > _SLOW_STEP_S
        over_s = max(HELD_S, log.step_s if slow else 2.0 * log.step_s)
        secant_mps = max_secant_speed(data.on(w.course), (data.start_s, data.end_s), over_s)
        first, second = (
            _less_luck(_between(top, secant_mps, slow), log.motion, log.rx, slow) for top in tops
        )
        tops = (first, second)
    return in_order(
        PassSpeeds(
            data,
            *_to_scale(tops[0], log.rx.response),
            peak_s,
            *_to_scale(tops[1], log.rx.response),
            best_distances(data, distances_m),
            curves.std(axis=1, ddof=1),
        )
    )


def _pass_data(log: _MeasuredLog, w: Window, part: slice) -> PassData:
    """Gather what later steps measure on."""
    cleaned, motion, chain = log.cleaned, log.motion, log.ride.chain
    t_s = cleaned.track.t_s
    rows, here = log.lay.samples_of(part)
    p_ok, s_ok = cleaned.position_ok[rows], log.v_ok[rows] & log.measured
    data = PassData(
        w,
        float(t_s[w.first]),
        float(t_s[w.last - 1]),
        log.lay.t_s[part],
        chain.posterior.mean[part, 0],
        chain.density[part.start : part.stop - 1],
        here[p_ok],
        motion.east_m[rows[p_ok]],
        motion.north_m[rows[p_ok]],
        motion.position_sd_m,
        here[s_ok],
        log.v_mps[rows[s_ok]],
        log.ride.sd_mps * log.trust[rows[s_ok]],
        log.course_deg[rows[s_ok]],
        log.rx,
    )
    if not log.measured and w.course is not None:
        data = replace(
            data, density=student_t_reweight(data.on(w.course), log.ride.density[0], log.rx).density
        )
    return data


def _tops(
    log: _MeasuredLog, data: PassData, part: slice
) -> tuple[tuple[tuple[float, float], tuple[float, float]], FloatArray, float]:
    """Estimate peak and best second from curves drawn from the smoother's posterior.

    Returns
    -------
    tops : ((float, float), (float, float))
        Peak and best second, each with half its 95 % interval [m/s].
    curves : ndarray, shape (n, draws)
        The curves on the pass's nodes [m/s].
    peak_s : float
        When their mean is highest [s].
    """
    chain, w = log.ride.chain, data.window
    steps = slice(part.start, part.stop - 1)
    sampled = log.sampled[(log.sampled >= part.start) & (log.sampled < part.stop)] - part.start
    livelier = data.density > CORNER_FACTOR * log.ride.density[steps]
    # Fixed, and started again: a pass must give the same figures each time and in any company.
    rng = np.random.default_rng(0)
    noise = rng.standard_normal((data.t_s.size * 2, _DRAWS))
    both = chain.posterior.part(part).sample(noise)
    curves, corner, silent = linearise_corners(data.t_s, sampled, livelier, log.step_s, both[:, 0])
    if not log.measured and w.course is not None:
        along = data.along(w.course)
        noise = rng.standard_normal((along.t_s.size * 5, _DRAWS))
        curves = along.posterior.sample(noise)[:, 1]
    span_s = (data.start_s, data.end_s)
    peak, held = peak_of_draws(data.t_s, curves, sampled, corner, silent, span_s, rng.random(_DRAWS))
    if log.measured:
        low_pass_s = np.array(log.rx.response.low_pass_s)
        taken = taken_off(data.t_s, chain.posterior.mean[part], sampled, livelier, span_s, low_pass_s)
        deviate = rng.standard_normal((2, _DRAWS)) / Z95
        low, high = taken[0]
        peak = peak + between(low[0], high[0], rng.random(_DRAWS))
        peak = peak + deviate[0] * (0.5 * (low[1] + high[1] - low[0] - high[0]))
        held = held + taken[1][0] + deviate[1] * (taken[1][1] - taken[1][0])
    inside = (data.t_s >= data.start_s) & (data.t_s <= data.end_s)
    # In a dropout no sample holds the curves together.
    swinging = inside[:-1] & inside[1:] & ~silent[:-1] & log.ride.swings[steps]
    peak = np.maximum(peak, step_maxima(data.t_s, both, np.flatnonzero(swinging)))
    if w.crashed:  # at a time unknown within the next step
        on_s = log.step_s * rng.random(_DRAWS)
        last, last_1s = _at_crash(data.t_s[inside], curves[inside], on_s)
        peak, held = np.maximum(peak, last), np.maximum(held, last_1s)
    # Where the hull swings the curve follows its crests.
    known = None if swinging.any() else log.rest
    crest_mps, crest_sd_mps = _crests(log.ride.sd_mps if log.measured else USUAL_SD_MPS, known)
    tops = (
        (float(peak.mean()) + crest_mps, _u95(peak, 0.0, log.measured, crest_sd_mps, log.rx)),
        (float(held.mean()), _u95(held, HELD_S, log.measured, 0.0, log.rx)),
    )
    return tops, curves, float(data.t_s[inside][int(np.argmax(curves.mean(axis=1)[inside]))])


def _crests(sd_mps: float, rest: RestNoise | None) -> tuple[float, float]:
    """By how much the crests of chop stand above the smoothed speed at the top, and its uncertainty [m/s].

    Noise that a boat at rest does not have is the hull's own on chop. Where no rest tells, any share of the
    noise may be.
    """
    if rest is None:
        return 0.0, _CREST * sd_mps
    chop_mps = float(np.sqrt(max(sd_mps**2 - (_REST_DOUBT * rest.white_sd_mps) ** 2, 0.0)))
    return _CHOP_CREST * chop_mps, float(
        np.hypot(_CHOP_SPREAD * chop_mps, _CREST * min(rest.white_sd_mps, sd_mps))
    )


def _less_luck(
    top: tuple[float, float], motion: Motion, rx: ReceiverModel, slow: bool
) -> tuple[float, float]:
    """Take off the best second of positions what their wandering adds to it, and allow for its spread.

    Of some seconds of a wandering position the one that wanders fastest is chosen.
    """
    away = 1.0 - np.exp(-HELD_S / rx.position_tau_s)
    second_mps = float(np.hypot(rx.position_sd_m * np.sqrt(2.0 * away), motion.position_sd_m)) / HELD_S
    luck = _SLOW_LUCK if slow else _LUCK
    return top[0] - luck * second_mps, float(np.hypot(top[1], Z95 * _LUCK_SPREAD * second_mps))


def _to_scale(top: tuple[float, float], response: Response) -> tuple[float, float]:
    """Bring a speed and its half-width to the scale of the positions."""
    value_mps, u95_mps = (part / (1.0 + response.scale) for part in top)
    scale_sd = float(np.linalg.norm(response.root[3]))
    return value_mps, float(np.hypot(u95_mps, Z95 * scale_sd * value_mps))


def in_order(measured: PassSpeeds) -> PassSpeeds:
    """Bring a pass's figures into the order that they must have: peak, best second, longer averages.

    A figure above the one that bounds it meets it where their intervals say, and both grow by how far they
    were moved.
    """
    peak, held = (measured.peak_mps, measured.peak_u95_mps), (measured.held_1s_mps, measured.held_1s_u95_mps)
    contradicted = False
    if held[0] > peak[0]:
        peak, held, contradicted = _met(peak, held)
    distances = bounded(measured.distances, held[0])
    contradicted |= any(
        now is not before and before.speed_mps - held[0] > before.u95_mps + held[1]
        for now, before in zip(distances, measured.distances, strict=True)
    )
    return replace(
        measured,
        peak_mps=peak[0],
        peak_u95_mps=peak[1],
        held_1s_mps=held[0],
        held_1s_u95_mps=held[1],
        distances=distances,
        contradicted=contradicted,
    )


def bounded(distances: Sequence[DistanceSpeed], held_mps: float) -> tuple[DistanceSpeed, ...]:
    """Bring averages of a second and longer down to the best second, with wider intervals."""
    return tuple(
        replace(d, speed_mps=held_mps, u95_mps=float(np.hypot(d.u95_mps, d.speed_mps - held_mps)))
        if d.end_s - d.start_s >= HELD_S and d.speed_mps > held_mps
        else d
        for d in distances
    )


def _met(
    above: tuple[float, float], below: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float], bool]:
    """Let two figures in the wrong order meet; with whether they contradict each other."""
    share = above[1] ** 2 / max(above[1] ** 2 + below[1] ** 2, 1e-12)
    met = above[0] + share * (below[0] - above[0])
    beyond = below[0] - above[0] > above[1] + below[1]
    moved = [(met, float(np.hypot(u95, met - value))) for value, u95 in (above, below)]
    return moved[0], moved[1], beyond


def _between(smoothed: tuple[float, float], secant_mps: float, slow: bool) -> tuple[float, float]:
    """Give the middle of a smoothed top and the positions' own, and an interval that knows both.

    The one overshoots where a corner was missed between samples, the other falls short of a brief top.
    """
    value_mps, u95_mps = smoothed
    if np.isnan(secant_mps):
        return smoothed
    # With a sample a second or less a corner is missed in most passes, and the positions alone come nearer.
    share = 0.0 if slow else 0.5
    return secant_mps + share * (value_mps - secant_mps), float(np.hypot(u95_mps, value_mps - secant_mps))


def curve_u95_mps(measured: PassSpeeds) -> FloatArray:
    """Give half the width of the 95 % band of a pass's speed, moment by moment.

    Returns
    -------
    ndarray, shape (n,)
        On the nodes of ``measured.data`` [m/s]. The crests of a chop that fall between samples are not in it;
        those of the peak are in the peak's own interval.
    """
    rx = measured.data.receiver
    # A differenced speed's wandering error is in the drawn curves already, as for the peak.
    wandering = rx.coloured_sd_mps**2 if measured.data.speed_node.size else 0.0
    assumed = wandering + (rx.shared_scale * measured.data.speed_mps) ** 2
    both = zip(measured.spread_mps.tolist(), assumed.tolist(), strict=True)
    return np.array([half_width_95(sd**2 + part, part, rx) for sd, part in both])


def _at_crash(t_s: FloatArray, drawn_mps: FloatArray, on_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Reckon each drawn curve's speed at a crash, and its mean over the second before, shape (draws,) each.

    The hull went on for ``on_s`` after the last sample, less than a sample step, gaining as at the last.
    """
    k = min(int(np.searchsorted(t_s, t_s[-1] - _LAST_S)), t_s.size - 2)
    slope = np.maximum((drawn_mps[-1] - drawn_mps[k]) / (t_s[-1] - t_s[k]), 0.0)
    at_mps = drawn_mps[-1] + slope * on_s
    way_m = cumulative_distance(t_s, drawn_mps)
    # How far each curve had come when its last second began.
    begins_s = np.clip(t_s[-1] + on_s - HELD_S, t_s[0], t_s[-1])
    left = np.clip(np.searchsorted(t_s, begins_s, side="right") - 1, 0, t_s.size - 2)
    share = (begins_s - t_s[left]) / (t_s[left + 1] - t_s[left])
    each = np.arange(on_s.size)
    begun_m = way_m[left, each] * (1.0 - share) + way_m[left + 1, each] * share
    return at_mps, (way_m[-1] - begun_m + 0.5 * (drawn_mps[-1] + at_mps) * on_s) / HELD_S


def _some_of(items: Sequence[_Item], most: int) -> Sequence[_Item]:
    """Pick so many of a sequence at most, evenly."""
    return items if len(items) <= most else [items[round(k)] for k in np.linspace(0, len(items) - 1, most)]


def _response(
    cleaned: Cleaned,
    motion: Motion,
    windows: Sequence[Window],
    lay: Nodes,
    chain: SpeedSmoother,
    v_ok: BoolArray,
    rx: ReceiverModel,
    positions_lie: bool,
) -> Response:
    """Estimate how the receiver responds, from all passes of a log."""
    v = cleaned.track.column("speed_mps")
    ways, corners = [], []
    for w, part in _some_of(list(zip(windows, lay.slices, strict=True)), _MAX_LEARNED):
        rows, t = lay.samples_of(part)[0], chain.t_s[part]
        ok = cleaned.position_ok[rows]
        speed, gain = chain.posterior.mean[part].T
        if w.course is not None and ok.any() and not positions_lie:
            turned = np.interp(t, motion.t_s[rows], np.unwrap(motion.course_deg[rows], period=360.0))
            towards = np.cos(np.radians(turned - w.course.heading_deg))
            along_m, _ = w.course.along_across(motion.east_m[rows[ok]], motion.north_m[rows[ok]])
            at_s = motion.t_s[rows[ok]]
            ways.append(
                PassWay(
                    t, speed * towards, gain * towards, cumulative_integral(t, speed * towards), at_s, along_m
                )
            )
        seen = rows[v_ok[rows]]
        if w.crashed:
            # A hull that hits the water stops at once: what is left of its speed then is the receiver's.
            stop_s = max(_CRASH_CORNER_S, 0.35 * cleaned.track.usual_step_s)
            corners.append(Corner(stop_s, 0.5 * stop_s, -np.inf))
        elif v is not None and seen.size and len(corners) < _MAX_CORNERS:
            deepest = int(np.argmin(gain))
            before = np.flatnonzero(gain[:deepest] > 0.5 * gain[deepest])
            about_s = float(t[before[-1] if before.size else deepest])
            corner = fit_corner(motion.t_s[seen], v[seen], max(motion.speed_sd_mps, 0.02), about_s)
            corners += [corner] if corner else []
    step_s = cleaned.track.usual_step_s
    return response_of(fit_way(ways, motion.position_sd_m, rx), usual_corner(corners), step_s)


def _u95(values: FloatArray, span_s: float, measured: bool, crest_mps: float, rx: ReceiverModel) -> float:
    """Half-width of the 95 % interval: spread of the draws, the wandering error and the shared one."""
    own = float(values.var(ddof=1)) + crest_mps**2
    # A differenced speed's wandering error is a state of its chain and in the draws already.
    wandering = rx.coloured_sd_mps**2 * averaging_factor(span_s, rx.coloured_tau_s) if measured else 0.0
    assumed = wandering + (rx.shared_scale * float(values.mean())) ** 2
    return half_width_95(own + assumed, assumed, rx)


def half_width_95(variance: float, assumed: float, rx: ReceiverModel) -> float:
    """Half-width of a 95 % interval of which a part rests on assumed variances.

    Parameters
    ----------
    variance : float
        In all.
    assumed : float
        The part of it that no log tells: the receiver model's own.
    rx : ReceiverModel

    References
    ----------
    JCGM 100:2008, G.4.1 and G.4.2 (effective degrees of freedom, of an assumed uncertainty too).

    Examples
    --------
    >>> rx = ReceiverModel()
    >>> round(half_width_95(1.0, 0.0, rx), 3), round(half_width_95(1.0, 1.0, rx), 3)
    (1.96, 2.306)
    """
    freedom = rx.freedom * (variance / assumed) ** 2 if assumed > 0.0 else np.inf
    return float(stdtrit(freedom, 0.975) if np.isfinite(freedom) else Z95) * float(np.sqrt(variance))
