"""The data compared when clocks are matched: steps of the logged speed, and the drive signal.

Differences of neighbouring measured speeds are compared, not the smoothed acceleration, so that no corner is
smeared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import FloatArray, IntArray, cumulative_integral
from telemetry.kinematics.whole_log import DIFFERENCED_OVER_S, Motion, differenced_speed

REACH_S = 0.5
_MIN_STEP_S = 0.08
_NODE_S = 0.05
_LOOSENED = 1e6
# Lifting off slows a hull by one to two g (common practice, no source); faster is a tumble or a collision,
# and so is a large loss of speed inside a gap of the log. The data after one do not help to match the clocks.
_HULL_MPS2 = 25.0
_LOST_MPS = 5.0
_GAP_STEPS = 3.5
_TUMBLE_S = 3.0


@dataclass(frozen=True, kw_only=True)
class SpeedSteps:
    """Differences of neighbouring usable speeds of a speed log, arrays of shape (n,).

    Attributes
    ----------
    start_s, end_s : ndarray
        Times of the two samples on the speed log's clock [s].
    rise_mps : ndarray
        Later minus earlier measured speed.
    node_s, node_speed : ndarray, shape (n, k + 1)
        Times from the one sample to the other [s], and speed there as a share of the log's top: measured at
        the two samples, smoothed in between.
    joined : ndarray of bool, shape (n-1,)
        Whether an increment ends with the sample with which the next one starts.
    top_mps : float
        The speed of which ``node_speed`` is a share.
    noise_var : float
        Variance of one measured speed [m²/s²].
    loose : ndarray
        Factor on ``FORCE_DENSITY``; large where the model does not hold.
    """

    start_s: FloatArray
    end_s: FloatArray
    rise_mps: FloatArray
    node_s: FloatArray
    node_speed: FloatArray
    joined: IntArray
    top_mps: float
    noise_var: float
    loose: FloatArray

    @property
    def span_s(self) -> FloatArray:
        """Length of each increment [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Drive:
    """The drive signal, scaled to about 1 at the top, and its running integrals, on the motor's clock."""

    t_s: FloatArray
    value: FloatArray
    integral: FloatArray
    square_integral: FloatArray


def speed_steps(cleaned: Cleaned, motion: Motion, least_s: float = _MIN_STEP_S) -> SpeedSteps:
    """Compute the usable differences of speed of a log, samples at least ``least_s`` apart.

    Parameters
    ----------
    cleaned : Cleaned
        The speed log.
    motion : Motion
        Its smoothed motion.
    least_s : float
        Smallest distance between two samples [s].
    """
    measured = cleaned.track.column("speed_mps")
    usable = cleaned.speed_ok if measured is not None else cleaned.position_ok
    speed = measured
    if speed is None:
        # Not smoothed, so that each corner carries only its own mean; no closer than that.
        speed = differenced_speed(motion.t_s, motion.east_m, motion.north_m)
        least_s = max(least_s, DIFFERENCED_OVER_S)
    stretch = np.zeros(motion.t_s.size, dtype=np.int64)
    for number, (a, b) in enumerate(cleaned.stretches):
        stretch[a:b] = number + 1
    usable = usable & np.isfinite(speed) & np.isfinite(motion.speed_mps) & (stretch > 0)
    step_s = float(np.median(np.diff(motion.t_s)))
    keep = np.flatnonzero(usable)[:: max(1, int(np.ceil(least_s / step_s - 1e-9)))]
    same = stretch[keep[1:]] == stretch[keep[:-1]]
    a, b = keep[:-1][same], keep[1:][same]
    top = max(float(np.percentile(motion.speed_mps[keep], 99.5)), 1e-3) if keep.size else 1.0
    start_s, end_s = motion.t_s[a], motion.t_s[b]
    parts = int(np.ceil(max(least_s, step_s) / _NODE_S - 1e-9))
    node_s = start_s[:, None] + (end_s - start_s)[:, None] * np.linspace(0.0, 1.0, parts + 1)
    known = np.isfinite(motion.speed_mps) & np.isfinite(motion.acceleration_mps2)
    from scipy.interpolate import CubicHermiteSpline  # slow to import, and only a motor log needs it

    curve = CubicHermiteSpline(motion.t_s[known], motion.speed_mps[known], motion.acceleration_mps2[known])
    node_mps = curve(node_s)
    node_mps[:, 0], node_mps[:, -1] = speed[a], speed[b]
    rise = speed[b] - speed[a]
    span_s = end_s - start_s
    gap = span_s > _GAP_STEPS * float(np.median(span_s)) if span_s.size else np.zeros(0, dtype=np.bool_)
    sudden = (np.abs(rise) > _HULL_MPS2 * span_s) | (gap & (rise < -_LOST_MPS))
    return SpeedSteps(
        start_s=start_s,
        end_s=end_s,
        rise_mps=rise,
        node_s=node_s,
        node_speed=np.clip(node_mps / top, 0.0, 1.0),
        joined=(a[1:] == b[:-1]).astype(np.int64),
        top_mps=top,
        noise_var=float(motion.speed_sd_mps) ** 2,
        loose=downweight(start_s, start_s[sudden], np.ones(a.size), _TUMBLE_S),
    )


def integrate_drive(t_s: FloatArray, value: FloatArray) -> Drive:
    """Scale a motor quantity and integrate it; missing values are bridged."""
    known = np.isfinite(value)
    t, u = t_s[known], value[known]
    u = np.maximum(u, 0.0) / max(float(np.percentile(u, 99.5)), 1e-9)
    return Drive(t, u, cumulative_integral(t, u), cumulative_integral(t, u * u))


def downweight(
    start_s: FloatArray, odd_s: FloatArray, loose: FloatArray, after_s: float = REACH_S
) -> FloatArray:
    """Increase the variance of increments close to outliers.

    Parameters
    ----------
    start_s : ndarray, shape (n,)
        Start of each increment [s].
    odd_s : ndarray, shape (k,)
        Times of the outliers [s].
    loose : ndarray, shape (n,)
        Present factors on ``FORCE_DENSITY``.
    after_s : float
        How long after an outlier the variance is increased [s].
    """
    if odd_s.size == 0:
        return loose
    following = np.searchsorted(odd_s, start_s)
    next_s = np.r_[odd_s, np.inf][following]
    last_s = np.r_[-np.inf, odd_s][following]
    near = (next_s - start_s <= REACH_S) | (start_s - last_s <= after_s)
    return np.where(near, _LOOSENED, loose)
