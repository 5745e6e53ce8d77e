"""Peak, held and measured-distance speeds of the passes of one log, with their uncertainty.

Peak and held speeds come from curves drawn from what the smoother knows of the pass, averages over measured
distances from its way along the pass's own line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import stdtrit

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import TRACK_COLUMNS, FloatArray, IntArray, cumulative_integral
from telemetry.core.geo import CourseLine
from telemetry.core.progress import report_each
from telemetry.core.stats import Z95
from telemetry.kinematics.models import (
    CORNER_FACTOR,
    USUAL_SD_MPS,
    AlongTrackData,
    AlongTrackSmoother,
    ReceiverModel,
    SpeedSmoother,
    smooth_along,
)
from telemetry.kinematics.peak_draws import (
    HELD_S,
    cumulative_distance,
    linearise_corners,
    peak_of_draws,
    step_maxima,
)
from telemetry.kinematics.position_only import max_secant_speed, student_t_reweight
from telemetry.kinematics.whole_log import Motion
from telemetry.passes.find import DistanceSpeed, Window
from telemetry.passes.pass_smoother import Nodes, build_nodes, smooth_passes, smoothing_input

_PAD_S = 2.0
_LAST_S = 0.25
_DRAWS = 256
MAX_STARTS = 20_000  # of a measured distance: half a metre apart on ten kilometres, further on a longer way
_REMEMBERED_LINES = 2  # a pass's own, and the one that it shares with other passes
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
    lag_s: float
    receiver: ReceiverModel
    _ways: dict[CourseLine, AlongTrackSmoother] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

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
            self.lag_s,
        )


@dataclass(frozen=True)
class PassSpeeds:
    """Figures of one pass; half-widths are of 95 % intervals.

    ``spread_mps`` is the standard deviation of the curves that the peak is taken from, on the nodes of
    ``data``; errors that wander slowly or are shared by all passes are not in it, see :func:`curve_u95_mps`.
    """

    data: PassData
    peak_mps: float
    peak_u95_mps: float
    peak_s: float
    held_1s_mps: float
    held_1s_u95_mps: float
    distances: tuple[DistanceSpeed, ...]
    spread_mps: FloatArray


def _lag_s(speed: SpeedSmoother, parts: Sequence[tuple[slice, IntArray, FloatArray]]) -> float:
    """By how much the measured speed lags the positions, over all passes of a log [s].

    While the speed changes by Δv, a speed that lags by L sums up to a way that is short by L Δv. The
    regression of the way's shortfall on the speed, a constant for each pass, gives L.
    """
    x, y = [], []
    for nodes_of_pass, at, along_m in parts:
        t = speed.t_s[nodes_of_pass]
        v = speed.posterior.mean[nodes_of_pass, 0]
        summed = cumulative_integral(t, v)
        short = along_m - summed[at]
        x.append(v[at] - v[at].mean())
        y.append(short - short.mean())
    if not x:
        return 0.0
    v, short = np.concatenate(x), np.concatenate(y)
    spread = float(v @ v)
    if v.size < 10 or spread < 50.0 * v.size:  # the speed hardly changes: nothing to regress on
        return 0.0
    return float(np.clip(float(v @ short) / spread, -0.5, 1.0))


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
    variance = (speed_mps * own_s / (end_s - start_s)) ** 2 + shared
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
    return np.sqrt(np.diagonal(chain.posterior.covariance(weights)))


def measure_passes(
    cleaned: Cleaned,
    motion: Motion,
    windows: Sequence[Window],
    distances_m: Sequence[float],
    receiver: ReceiverModel | None = None,
) -> list[PassSpeeds]:
    """Measure the passes of one log.

    Parameters
    ----------
    cleaned, motion, windows
        Of the same log.
    distances_m : sequence of float
        Measured distances to look for [m].
    receiver : ReceiverModel, optional

    Returns
    -------
    list of PassSpeeds
        One for each window, in the same order.
    """
    rx = receiver or ReceiverModel()
    if not windows:
        return []
    t_s = cleaned.track.t_s
    measured = cleaned.track.meta.speed_source == "measured"
    v, v_ok, trust = smoothing_input(cleaned, motion)

    ranges = []
    for w in windows:
        a = int(np.searchsorted(t_s, t_s[w.first] - _PAD_S))
        b = int(np.searchsorted(t_s, t_s[w.last - 1] + _PAD_S, side="right"))
        # What speed and positions say once a hull tumbles is no motion of a boat, and must not reach back.
        b = w.last if w.crashed else b
        ranges.append((max(a, w.stretch[0]), min(b, w.stretch[1])))
    lay = build_nodes(cleaned, ranges)

    usable = v_ok[lay.sample]
    at = lay.at[usable]
    ride = smooth_passes(cleaned, motion, windows, lay, rx)
    chain, sd_mps = ride.chain, ride.sd_mps

    course_log = cleaned.track.column("course_deg")
    course = (
        motion.course_deg
        if course_log is None
        else np.where(np.isnan(course_log), motion.course_deg, course_log)
    )
    lag_s = 0.0
    if measured and motion.has_positions:
        lag_s = _lag_s(chain, _lag_parts(cleaned, motion, windows, lay))

    usual_step_s = float(np.median(np.diff(lay.t_s[at])))
    out = []
    for w, part in report_each(zip(windows, lay.slices, strict=True), len(windows)):
        mine = (lay.at >= part.start) & (lay.at < part.stop)
        rows, here = lay.sample[mine], lay.at[mine] - part.start
        p_ok, s_ok = cleaned.position_ok[rows], v_ok[rows] & measured
        data = PassData(
            w,
            float(t_s[w.first]),
            float(t_s[w.last - 1]),
            lay.t_s[part],
            chain.posterior.mean[part, 0],
            chain.density[part.start : part.stop - 1],
            here[p_ok],
            motion.east_m[rows[p_ok]],
            motion.north_m[rows[p_ok]],
            motion.position_sd_m,
            here[s_ok],
            v[rows[s_ok]],
            sd_mps * trust[rows[s_ok]],
            course[rows[s_ok]],
            lag_s,
            rx,
        )
        if not measured and w.course is not None:
            data = replace(data, density=student_t_reweight(data.on(w.course), ride.density[0], rx).density)
        sampled = at[(at >= part.start) & (at < part.stop)] - part.start
        # Fixed, and begun anew: a pass must give the same figures each time and in any company.
        rng = np.random.default_rng(0)
        noise = rng.standard_normal((data.t_s.size * 2, _DRAWS))
        both = chain.posterior.part(part).sample(noise)
        curves, corner, silent = linearise_corners(
            data.t_s,
            sampled,
            data.density > CORNER_FACTOR * ride.density[part.start : part.stop - 1],
            usual_step_s,
            both[:, 0],
        )
        if not measured and w.course is not None:
            along = data.along(w.course)
            noise = rng.standard_normal((along.t_s.size * 5, _DRAWS))
            curves = along.posterior.sample(noise)[:, 1]
        peak, held = peak_of_draws(
            data.t_s,
            curves,
            sampled,
            corner,
            silent,
            (data.start_s, data.end_s),
            rng.random(_DRAWS),
        )
        inside = (data.t_s >= data.start_s) & (data.t_s <= data.end_s)
        # In a dropout no sample holds the curves together.
        swinging = inside[:-1] & inside[1:] & ~silent[:-1] & ride.swings[part.start : part.stop - 1]
        peak = np.maximum(peak, step_maxima(data.t_s, both, np.flatnonzero(swinging)))
        mean = curves.mean(axis=1)
        if w.crashed:  # at a time unknown within the next step
            on_s = usual_step_s * rng.random(_DRAWS)
            last, last_1s = _at_crash(data.t_s[inside], curves[inside], on_s)
            peak, held = np.maximum(peak, last), np.maximum(held, last_1s)
        chop_mps = sd_mps if measured else USUAL_SD_MPS
        tops = (
            (float(peak.mean()), _u95(peak, 0.0, measured, _CREST * chop_mps, rx)),
            (float(held.mean()), _u95(held, HELD_S, measured, 0.0, rx)),
        )
        if not measured and w.course is not None:
            over_s = max(HELD_S, 2.0 * usual_step_s)
            secant_mps = max_secant_speed(data.on(w.course), (data.start_s, data.end_s), over_s)
            tops = (_between(tops[0], secant_mps), _between(tops[1], secant_mps))
        out.append(
            PassSpeeds(
                data,
                *tops[0],
                float(data.t_s[inside][int(np.argmax(mean[inside]))]),
                *tops[1],
                best_distances(data, distances_m),
                curves.std(axis=1, ddof=1),
            )
        )
    return out


def _between(smoothed: tuple[float, float], secant_mps: float) -> tuple[float, float]:
    """Give the middle of a smoothed top and the positions' own, and an interval that knows both.

    The one overshoots where a corner was missed between samples, the other falls short of a brief top.
    """
    value_mps, u95_mps = smoothed
    if np.isnan(secant_mps):
        return smoothed
    return 0.5 * (value_mps + secant_mps), float(np.hypot(u95_mps, value_mps - secant_mps))


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


def _lag_parts(
    cleaned: Cleaned, motion: Motion, windows: Sequence[Window], lay: Nodes
) -> list[tuple[slice, IntArray, FloatArray]]:
    parts = []
    for w, part in zip(windows, lay.slices, strict=True):
        mine = (lay.at >= part.start) & (lay.at < part.stop)
        rows = lay.sample[mine]
        ok = cleaned.position_ok[rows]
        if w.course is not None and ok.any():
            along_m, _ = w.course.along_across(motion.east_m[rows[ok]], motion.north_m[rows[ok]])
            parts.append((part, lay.at[mine][ok] - part.start, along_m))
    return parts


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
    >>> round(half_width(1.0, 0.0, rx), 3), round(half_width(1.0, 1.0, rx), 3)
    (1.96, 2.306)
    """
    freedom = rx.freedom * (variance / assumed) ** 2 if assumed > 0.0 else np.inf
    return float(stdtrit(freedom, 0.975) if np.isfinite(freedom) else Z95) * float(np.sqrt(variance))
