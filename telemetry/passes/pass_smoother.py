"""How a log's passes were ridden on the whole: nodes, noise, how lively the hull is, and the smoothed speeds.

What all passes of a log share is measured on all of them together: the receiver's noise and the hull's
liveliness on the flat-out parts, and where the hull swings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import BoolArray, FloatArray, IntArray, true_runs
from telemetry.kinematics.models import (
    USUAL_DENSITY,
    USUAL_SD_MPS,
    AlongTrackData,
    ReceiverModel,
    SpeedSmoother,
    estimate_noise_and_jerk,
    refine_nodes,
    smooth_speed,
)
from telemetry.kinematics.oscillation import find_oscillating_steps, jerk_psd_of_steps
from telemetry.kinematics.position_only import estimate_jerk_psd
from telemetry.kinematics.whole_log import Motion, blur_s
from telemetry.passes.find import Window

_NODE_STEP_S = 0.25
_CRUISE_SHARE = 0.85
_CRUISE_MPS2 = 3.0
_MIN_IN_CRUISE = _MIN_ON_WAY = 4


@dataclass(frozen=True)
class Nodes:
    """Nodes of all passes of a log, one pass after the other."""

    t_s: FloatArray
    coupled: BoolArray
    sample: IntArray  # track sample of each entry of `at`
    at: IntArray  # node of that sample
    slices: list[slice]

    def samples_of(self, part: slice) -> tuple[IntArray, IntArray]:
        """Return the track samples of one pass, and the node of each counted from the pass's first."""
        mine = (self.at >= part.start) & (self.at < part.stop)
        return self.sample[mine], self.at[mine] - part.start


def build_nodes(cleaned: Cleaned, ranges: Sequence[tuple[int, int]]) -> Nodes:
    """Lay nodes over parts of a log, half-open ranges of samples; no step couples one part to the next."""
    t_s = cleaned.track.t_s
    times, couples, samples, ats, slices = [], [], [], [], []
    offset = 0
    for a, b in ranges:
        node_t, at, coupled = refine_nodes(t_s[a:b], _NODE_STEP_S, np.zeros(b - a - 1, dtype=np.bool_))
        times.append(node_t)
        couples.append(np.r_[coupled, False])
        samples.append(np.arange(a, b))
        ats.append(at + offset)
        slices.append(slice(offset, offset + node_t.size))
        offset += node_t.size
    return Nodes(
        np.concatenate(times),
        np.concatenate(couples)[:-1],
        np.concatenate(samples),
        np.concatenate(ats),
        slices,
    )


def smoothing_input(cleaned: Cleaned, motion: Motion) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Speed to smooth, where it may be used, and how much less it is trusted than usual."""
    track = cleaned.track
    v = track.column("speed_mps")
    if v is None:
        return motion.speed_mps, ~np.isnan(motion.speed_mps), np.ones(motion.t_s.size)
    trust = np.ones(v.size)
    own = track.column("speed_sd_mps")
    if own is not None:
        stated = own[cleaned.speed_ok & np.isfinite(own)]
        usual = float(np.median(stated)) if stated.size else 0.0
        if usual > 0:
            trust = np.nan_to_num(np.maximum(1.0, own / usual), nan=1.0)
    return v, cleaned.speed_ok, trust


def _cruises(motion: Motion, windows: Sequence[Window], usable: BoolArray) -> list[tuple[Window, int, int]]:
    """Flat-out parts of the passes, away from the throttle's corners."""
    out: list[tuple[Window, int, int]] = []
    for w in windows:
        v = motion.speed_mps[w.first : w.last]
        calm = (v > _CRUISE_SHARE * v.max()) & (
            np.abs(motion.acceleration_mps2[w.first : w.last]) < _CRUISE_MPS2
        )
        out += [
            (w, w.first + a, w.first + b)
            for a, b in true_runs(calm)
            # One speed alone leaves a part undetermined.
            if b - a >= _MIN_IN_CRUISE and usable[w.first + a : w.first + b].sum() >= 2
        ]
    return out


@dataclass(frozen=True)
class SmoothedPasses:
    """The speeds of all passes of a log, smoothed.

    Attributes
    ----------
    chain : SpeedSmoother
    sd_mps : float
        White noise of a speed.
    density : ndarray, shape (n - 1,)
        Jerk density of each step were no throttle moved [m²/s⁵].
    swings : ndarray of bool, shape (n - 1,)
        Steps in which the hull swings.
    """

    chain: SpeedSmoother
    sd_mps: float
    density: FloatArray
    swings: BoolArray


def _by_speed(
    cleaned: Cleaned,
    cruises: Sequence[tuple[Window, int, int]],
    lay: Nodes,
    v: FloatArray,
    v_ok: BoolArray,
    trust: FloatArray,
    rx: ReceiverModel,
) -> SmoothedPasses:
    """Smooth measured speeds, with the noise of calm riding, and follow the hull where it swings."""
    usable = v_ok[lay.sample]
    at, sample = lay.at[usable], lay.sample[usable]

    def smoothed(calm: BoolArray, swings: bool) -> tuple[SpeedSmoother, float, float]:
        sd_mps, density = USUAL_SD_MPS, USUAL_DENSITY
        ranges = [(a, b) for _, a, b in cruises if calm[a:b].sum() >= _MIN_IN_CRUISE]
        if ranges:
            c = build_nodes(cleaned, ranges)
            seen = calm[c.sample]
            sd_mps, density = estimate_noise_and_jerk(
                c.t_s, c.coupled, c.at[seen], v[c.sample][seen], rx.least_speed_sd_mps
            )
        sds = sd_mps * trust[sample]
        chain = smooth_speed(lay.t_s, lay.coupled, at, v[sample], sds, density, swings=swings)
        return chain, sd_mps, density

    chain, sd_mps, density = smoothed(v_ok, False)
    swings = find_oscillating_steps(chain, at, v[sample], sd_mps * trust[sample])
    base = np.full(swings.size, density)
    if swings.any():
        # The hull's swing was taken for noise, which then hides it.
        calm = v_ok.copy()
        calm[sample] &= ~np.r_[swings, False][at]
        chain, sd_mps, density = smoothed(calm, True)
        sds = sd_mps * trust[sample]
        swings = find_oscillating_steps(chain, at, v[sample], sds)
        base = np.full(swings.size, density)
        base[swings] = jerk_psd_of_steps(chain, swings, at, v[sample], sd_mps)
        chain = smooth_speed(lay.t_s, lay.coupled, at, v[sample], sds, base, swings=True)
    return SmoothedPasses(chain, sd_mps, base, swings)


def _way_noise(
    cleaned: Cleaned, motion: Motion, cruises: Sequence[tuple[Window, int, int]], rx: ReceiverModel
) -> tuple[float, float]:
    """Noise of a speed made of positions [m/s], and how lively the hull rides [m²/s⁵].

    The noise is that of a difference of positions and of their wandering in between; neighbouring speeds
    share it, and so each is trusted as one of many that say the same.
    """
    parts = []
    for w, a, b in cruises:
        here = np.arange(a, b)[cleaned.position_ok[a:b]]
        if w.course is None or here.size < _MIN_ON_WAY:
            continue
        lay = build_nodes(cleaned, [(a, b)])
        along_m, _ = w.course.along_across(motion.east_m[here], motion.north_m[here])
        none, nodes_of = np.zeros(0, dtype=np.int64), lay.at[here - a]
        parts.append(
            AlongTrackData(
                lay.t_s,
                np.ones(lay.t_s.size - 1),
                nodes_of,
                along_m,
                motion.position_sd_m,
                none,
                np.zeros(0),
                np.zeros(0),
            )
        )
    over_s = blur_s(cleaned.track.t_s)
    walk_m = rx.position_sd_m * float(np.sqrt(2.0 * over_s / rx.position_tau_s))
    alone_mps = float(np.hypot(np.sqrt(2.0) * motion.position_sd_m, walk_m)) / over_s
    alike = max(1.0, over_s / cleaned.track.usual_step_s)
    density = estimate_jerk_psd(parts, rx) if parts else USUAL_DENSITY
    return alone_mps * float(np.sqrt(alike)), density


def smooth_passes(
    cleaned: Cleaned, motion: Motion, windows: Sequence[Window], lay: Nodes, receiver: ReceiverModel
) -> SmoothedPasses:
    """Smooth the speeds of all passes of one log.

    Parameters
    ----------
    cleaned, motion, windows
        Of the same log.
    lay : Nodes
        Of its passes.
    receiver : ReceiverModel
    """
    v, v_ok, trust = smoothing_input(cleaned, motion)
    cruises = _cruises(motion, windows, v_ok)
    if cleaned.track.meta.speed_source == "measured":
        return _by_speed(cleaned, cruises, lay, v, v_ok, trust, receiver)
    sd_mps, density = _way_noise(cleaned, motion, cruises, receiver)
    usable = v_ok[lay.sample]
    at, sample = lay.at[usable], lay.sample[usable]
    calm = np.full(lay.t_s.size - 1, density)
    chain = smooth_speed(lay.t_s, lay.coupled, at, v[sample], sd_mps * trust[sample], calm)
    return SmoothedPasses(chain, sd_mps, calm, np.zeros(calm.size, dtype=np.bool_))
