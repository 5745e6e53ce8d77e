"""Receivers as they are: filters, delays, coloured noise, steps, reflections, holds.

The receiver in :mod:`sample_logs.receiver` behaves as the analysis assumes. Those here do not: each records
the same true motion with one or several of the habits of consumer receivers and phones. The analysis has no
knowledge of them. Sizes are our own assumptions within what data sheets and manuals describe, unless a source
is named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from sample_logs.noise import gauss_markov
from sample_logs.truth import FINE_HZ, Truth
from telemetry.core.frames import FloatArray, LogMeta, Track, make_track


@dataclass(frozen=True, slots=True, kw_only=True)
class Reflections:
    """Stretches near the top of a pass in which a reflected signal adds to the speed.

    Attributes
    ----------
    least_mps, most_mps, least_s, most_s : float
        Range of the excess and of how long it lasts.
    share : float
        Of the passes that have one.
    with_position : bool
        Whether the position follows the false speed.
    """

    least_mps: float = 1.0
    most_mps: float = 3.0
    least_s: float = 0.3
    most_s: float = 1.0
    share: float = 1.0
    with_position: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class RealReceiver:
    """Habits of a receiver.

    Attributes
    ----------
    rate_hz : float
    speed_filter_s, position_filter_s : float
        Time constant of a low-pass of ``poles`` poles, in all, on the velocity and on the position.
    poles : int
        1 or 2; two poles of half the time each.
    mean_s : float
        The speed is a running mean over this time that ends at the stamp.
    speed_delay_s : float
        The speed describes what was this long before its stamp; the position does not.
    white_sd_mps, coloured_sd_mps, coloured_tau_s : float
        Noise of each component of the velocity.
    position_white_sd_m, position_walk_sd_m, position_walk_tau_s : float
        Noise of each component of the position.
    speed_scale : float
        What the speed is multiplied by.
    speed_step_mps : float
        The printed step of the speed; 0 for three decimals.
    position_decimals : int
        Of a degree.
    jitter_s : float
        Standard deviation of the stamps against the true times of the fixes.
    hold_below_mps : float
        Static hold: position and velocity stand still below this speed (a setting of common receivers,
        u-blox ANTARIS 4 system integration manual, 4.6.4).
    three_d : bool
        The speed is that of the velocity in three dimensions.
    reflections : Reflections or None
    has_speed, has_positions, has_vertical, has_course : bool
    """

    rate_hz: float = 10.0
    speed_filter_s: float = 0.0
    position_filter_s: float = 0.0
    poles: int = 1
    mean_s: float = 0.0
    speed_delay_s: float = 0.0
    white_sd_mps: float = 0.04
    coloured_sd_mps: float = 0.03
    coloured_tau_s: float = 8.0
    position_white_sd_m: float = 0.05
    position_walk_sd_m: float = 1.2
    position_walk_tau_s: float = 120.0
    speed_scale: float = 1.0
    speed_step_mps: float = 0.0
    position_decimals: int = 7
    jitter_s: float = 0.0
    hold_below_mps: float = 0.0
    three_d: bool = False
    reflections: Reflections | None = None
    has_speed: bool = True
    has_positions: bool = True
    has_vertical: bool = True
    has_course: bool = True

    def drawn(self, rng: np.random.Generator) -> RealReceiver:
        """Vary the noise as one device differs from another, a quarter of itself."""
        names = ("white_sd_mps", "coloured_sd_mps", "position_white_sd_m", "position_walk_sd_m")
        return replace(self, **{name: getattr(self, name) * rng.uniform(0.75, 1.25) for name in names})


def low_pass(values: FloatArray, tau_s: float, poles: int, rate_hz: float = FINE_HZ) -> FloatArray:
    """Filter a signal by so many equal poles whose delays add up to ``tau_s``, shape of ``values``."""
    if tau_s <= 0.0:
        return values
    keep = math.exp(-poles / (tau_s * rate_hz))
    out = values
    for _ in range(poles):
        out, _ = lfilter([1.0 - keep], [1.0, -keep], out, zi=np.array([keep * out[0]]))
    return np.asarray(out)


def running_mean(values: FloatArray, over_s: float, rate_hz: float = FINE_HZ) -> FloatArray:
    """Mean over the time before each sample, shape of ``values``."""
    n = round(over_s * rate_hz)
    if n < 2:
        return values
    padded = np.r_[np.full(n, values[0]), values]
    summed = np.cumsum(padded)
    return np.asarray((summed[n:] - summed[:-n]) / n)


def _reflected(rng: np.random.Generator, wanted: Reflections, truth: Truth) -> FloatArray:
    """Draw the false speed along the course at each moment of the truth, shape (n,) [m/s]."""
    extra = np.zeros(truth.t_s.size)
    for a_pass in truth.passes:
        if rng.random() > wanted.share:
            continue
        size, lasts_s = (
            rng.uniform(wanted.least_mps, wanted.most_mps),
            rng.uniform(wanted.least_s, wanted.most_s),
        )
        starts_s = a_pass.peak_s - rng.uniform(0.0, 1.0) * lasts_s - rng.uniform(0.0, 0.5)
        inside = (truth.t_s >= starts_s) & (truth.t_s <= starts_s + lasts_s)
        extra[inside] = size
    return low_pass(extra, 0.1, 2)


def record(rng: np.random.Generator, receiver: RealReceiver, truth: Truth) -> Track:
    """Record a true motion with a receiver.

    Parameters
    ----------
    rng : numpy.random.Generator
    receiver : RealReceiver
    truth : Truth

    Returns
    -------
    Track
        As a reader would return it.
    """
    rx = receiver
    n = math.floor((truth.t_s[-1] - 0.5) * rx.rate_hz)
    t_s = np.arange(n) / rx.rate_hz
    at_s = np.clip(t_s + rx.jitter_s * rng.standard_normal(n), 0.0, None)
    step_s = 1.0 / rx.rate_hz
    heading = np.arctan2(truth.east_mps, truth.north_mps)
    extra = _reflected(rng, rx.reflections, truth) if rx.reflections else np.zeros(truth.t_s.size)
    velocity, place = [], []
    for name, share in (("east", np.sin(heading)), ("north", np.cos(heading))):
        true_mps = getattr(truth, f"{name}_mps") + extra * share
        seen = running_mean(low_pass(true_mps, rx.speed_filter_s, rx.poles), rx.mean_s)
        noise = rx.white_sd_mps * rng.standard_normal(n)
        noise += gauss_markov(rng, n, step_s, rx.coloured_sd_mps, rx.coloured_tau_s)
        velocity.append(np.interp(at_s - rx.speed_delay_s, truth.t_s, seen) * rx.speed_scale + noise)
        follows = (
            np.cumsum(extra * share) / FINE_HZ if rx.reflections and rx.reflections.with_position else 0.0
        )
        if isinstance(follows, np.ndarray):
            # The false way is forgotten within some seconds, as the filter finds its fix again.
            keep = math.exp(-1.0 / (4.0 * FINE_HZ))
            follows = np.asarray(lfilter([1.0], [1.0, -keep], extra * share / FINE_HZ))
        where_m = low_pass(getattr(truth, f"{name}_m") + follows, rx.position_filter_s, rx.poles)
        place.append(
            np.interp(at_s, truth.t_s, where_m)
            + rx.position_white_sd_m * rng.standard_normal(n)
            + gauss_markov(rng, n, step_s, rx.position_walk_sd_m, rx.position_walk_tau_s)
        )
    vertical = np.interp(at_s, truth.t_s, low_pass(truth.vertical_mps, rx.speed_filter_s, rx.poles))
    vertical = vertical + 2.5 * rx.white_sd_mps * rng.standard_normal(n)
    speed = np.hypot(*velocity)
    if rx.three_d:
        speed = np.hypot(speed, vertical)
    course = np.degrees(np.arctan2(*velocity)) % 360.0
    if rx.hold_below_mps > 0.0:
        held = speed < rx.hold_below_mps
        last = np.maximum.accumulate(np.where(held, 0, np.arange(n)))
        place = [p[last] for p in place]
        course = course[last]
        speed = np.where(held, 0.0, speed)
    columns: dict[str, FloatArray] = {}
    if rx.has_positions:
        lat, lon = truth.frame.to_geodetic(*place)
        columns["lat_deg"] = np.round(lat, rx.position_decimals)
        columns["lon_deg"] = np.round(lon, rx.position_decimals)
    if rx.has_speed:
        step = rx.speed_step_mps
        columns["speed_mps"] = np.round(speed / step) * step if step else np.round(speed, 3)
        if rx.has_course:
            columns["course_deg"] = np.round(course, 2) % 360.0
        if rx.has_vertical:
            columns["vertical_mps"] = np.round(vertical, 3)
    meta = LogMeta("real receiver", "simulated", pd.Timestamp("2025-06-14T08:30:00Z"))
    return make_track(columns, t_s, meta)
