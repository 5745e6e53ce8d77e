"""Where a hull swings, and how lively it is there: the crests of a swing are part of how fast it went.

A smoother that knows how calmly the hull rides most of the time takes a ripple of a few hertz for noise.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincinv

from telemetry.cleaning.timeline import window_bounds
from telemetry.core.frames import BoolArray, FloatArray, IntArray
from telemetry.kinematics.models import USUAL_DENSITY, SpeedSmoother, neg2_log_prior, profile_likelihood

_OVER_S = 1.0
_MIN_SAMPLES = 4
# A mean square so far above the quiet quarter's is a swing: chance makes one window in a hundred thousand so.
_MIN_RATIO, _CHANCE = 2.5, 1e-5
_WILD = 36.0  # one wild speed is none of the hull's doing


def _chi_square(share: float, freedom: FloatArray) -> FloatArray:
    """Point below which a share of mean squares of so many normal values lies, shape of ``freedom``."""
    return np.asarray(2.0 * gammaincinv(freedom / 2.0, share) / freedom)


def find_oscillating_steps(
    chain: SpeedSmoother, at: IntArray, v_mps: FloatArray, sd_mps: FloatArray
) -> BoolArray:
    """Find the steps in which speeds scatter about the smooth curve by far more than elsewhere.

    Parameters
    ----------
    chain : SpeedSmoother
    at : ndarray of int, shape (m,)
        Nodes at which a speed was measured, increasing.
    v_mps, sd_mps : ndarray, shape (m,)
        The speeds, and the standard deviation they are believed to have.

    Returns
    -------
    ndarray of bool, shape (n - 1,)

    Notes
    -----
    The quiet quarter of the log says how much scatter is noise, so that a log which swings in places shows
    it even where ``sd_mps`` was measured with the swing in it.
    """
    if at.size < _MIN_SAMPLES:
        return np.zeros(chain.coupled.size, dtype=np.bool_)
    strange = ((v_mps - chain.posterior.mean[at, 0]) / sd_mps) ** 2
    # Passes may overlap in time: each part is laid behind the one before it.
    step_s = np.where(chain.coupled, np.diff(chain.t_s), 2.0 * _OVER_S)
    first, last = window_bounds(np.r_[0.0, np.cumsum(step_s)][at], _OVER_S)
    count = (last + 1 - first).astype(np.float64)
    total = np.r_[0.0, np.cumsum(np.minimum(strange, _WILD))]
    mean = (total[last + 1] - total[first]) / count
    quiet = float(np.quantile(mean / _chi_square(0.25, count), 0.25))
    limit = quiet * np.maximum(_MIN_RATIO, _chi_square(1.0 - _CHANCE, count))
    swings = (mean > limit) & (count >= _MIN_SAMPLES)
    # A step belongs to the last sample before it.
    before = np.maximum(np.searchsorted(at, np.arange(chain.coupled.size), side="right") - 1, 0)
    return np.asarray(swings[before] & chain.coupled)


def jerk_psd_of_steps(
    chain: SpeedSmoother, steps: BoolArray, at: IntArray, v_mps: FloatArray, sd_mps: float
) -> float:
    """Measure how lively the hull is in some steps alone, the noise of a speed being known [m²/s⁵]."""
    inside = np.r_[steps, False] | np.r_[False, steps]
    node = np.flatnonzero(inside)
    place = np.full(inside.size, -1)
    place[node] = np.arange(node.size)
    seen = inside[at]
    coupled = steps[node[:-1]] & (np.diff(node) == 1)
    return _liveliness(chain.t_s[node], coupled, place[at[seen]], v_mps[seen], sd_mps)


def _liveliness(
    t_s: FloatArray, coupled: BoolArray, node: IntArray, v_mps: FloatArray, sd_mps: float
) -> float:
    """Measure the jerk density of a ride on parts of it, the noise of a speed being known [m²/s⁵].

    Parameters
    ----------
    t_s, coupled, node, v_mps
        As for :func:`smooth_speed`.
    sd_mps : float
    """
    best = (np.inf, USUAL_DENSITY)
    for density in np.geomspace(USUAL_DENSITY, 1e4, 10).tolist():
        quadratic, volume = profile_likelihood(t_s, coupled, node, v_mps, density / sd_mps**2)
        misfit = quadratic / sd_mps**2 + volume
        best = min(best, (misfit + float(neg2_log_prior(density)), density))
    return best[1]
