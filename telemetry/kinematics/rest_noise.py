"""What a receiver's speed does while the boat lies still: the size of its errors, and their colour.

Under way the wandering of a speed cannot be told from the hull's; at rest there is nothing else. The step in
which a speed is printed is told by its values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import FloatArray, true_runs
from telemetry.kinematics.models import ReceiverModel
from telemetry.kinematics.whole_log import Motion, white_sd

_AT_REST_MPS = 0.8
_MIN_S = 6.0
_GLIDES_S = 4.0
_BLOCK_S = 0.5
_MAX_BLOCKS = 40
_MAX_SERIES = 8
_MIN_BLOCKS = 8
_FADES_S = 3.0
_REST_OVER_S, _REST_M = 4.0, 7.0  # a boat that comes no further lies still, and its positions wander
_MIN_STEP_MPS = 0.02
_MIN_VALUES = 5
_SAME_STEP = 0.02


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """Sizes and times of a wandering error that are tried, and what is believed before the log is seen.

    ``size_factor`` and ``tau_factor`` are one standard deviation of the belief; ``level`` and ``slope`` bound
    what the boat itself may do at rest.
    """

    sizes: FloatArray
    taus_s: FloatArray
    size_factor: float
    tau_factor: float
    level: float
    slope: float


_SPEED_GRID = _Grid(
    sizes=np.geomspace(0.012, 0.3, 12),
    taus_s=np.array([1.0, 2.0, 4.0, 8.0, 16.0]),
    size_factor=1.6,
    tau_factor=2.5,
    level=0.5,
    slope=0.0045,
)
_POSITION_GRID = _Grid(
    sizes=np.geomspace(0.3, 9.0, 10),
    taus_s=np.array([5.0, 15.0, 40.0, 120.0, 300.0]),
    size_factor=2.0,
    tau_factor=3.0,
    level=50.0,
    slope=0.3,
)


@dataclass(frozen=True)
class RestNoise:
    """Errors of the speed as the boat at rest shows them.

    Attributes
    ----------
    coloured_sd_mps, coloured_tau_s : float
        Wandering part and how long it takes.
    white_sd_mps : float
        The rest.
    """

    coloured_sd_mps: float
    coloured_tau_s: float
    white_sd_mps: float


def _rests(cleaned: Cleaned, motion: Motion) -> list[FloatArray]:
    """Series of velocity components at rest, each with its times, shape (m, 2)."""
    track = cleaned.track
    v, course = track.column("speed_mps"), track.column("course_deg")
    if v is None:
        return []
    usable = cleaned.speed_ok & (np.nan_to_num(motion.speed_mps, nan=np.inf) < _AT_REST_MPS)
    out = []
    for a, b in true_runs(usable):
        # A hull that comes to rest glides on for a while.
        a = int(np.searchsorted(motion.t_s, motion.t_s[a] + _GLIDES_S)) if a > 0 else a
        if b - a < 2 * _MIN_BLOCKS:
            continue
        t = motion.t_s[a:b]
        # A static hold says nothing: the receiver wrote zeros, or the same course again.
        if t[-1] - t[0] < _MIN_S or np.unique(v[a:b]).size < 0.2 * (b - a):
            continue
        turns = course is not None and not np.isnan(course[a:b]).any() and np.unique(course[a:b]).size > 3
        if turns and course is not None:
            angle = np.radians(course[a:b])
            out += [np.column_stack([t, v[a:b] * f(angle)]) for f in (np.sin, np.cos)]
        elif float(np.median(v[a:b])) > 2.0 * float(v[a:b].std()):
            out.append(np.column_stack([t, v[a:b]]))  # adrift: what varies is the part along the drift
    return out


def measure_rest_noise(cleaned: Cleaned, motion: Motion, rx: ReceiverModel) -> RestNoise | None:
    """Measure the errors of the speed at rest; None where the boat never lies still or the receiver holds.

    Parameters
    ----------
    cleaned, motion
        Of one log.
    rx : ReceiverModel
        What is believed beforehand.
    """
    series = _rests(cleaned, motion)
    if not series:
        return None
    white = float(np.median([white_sd(one[:, 1], 0.0) for one in series]))
    found = _fit_wander(
        series,
        white,
        cleaned.track.usual_step_s,
        _SPEED_GRID,
        (rx.coloured_sd_mps, rx.coloured_tau_s),
    )
    return None if found is None else RestNoise(*found, white)


def _fit_wander(
    series: Sequence[FloatArray],
    white: float,
    step_s: float,
    grid: _Grid,
    usual: tuple[float, float],
) -> tuple[float, float] | None:
    """Fit size and time of a wandering error to series at rest, each with its times, shape (m, 2).

    Parameters
    ----------
    series : sequence of ndarray
    white : float
        Standard deviation of the white part.
    step_s : float
        Usual time between samples.
    grid : _Grid
    usual : (float, float)
        Size and time that are believed beforehand.

    Returns
    -------
    (float, float) or None
        None where every series is too short.
    """
    per = max(1, round(_BLOCK_S / step_s))
    log_likelihood = np.zeros((grid.sizes.size, grid.taus_s.size))
    used = False
    longest = sorted(series, key=len, reverse=True)[:_MAX_SERIES]
    for one in longest:
        blocks = one.shape[0] // per
        if blocks < _MIN_BLOCKS:
            continue
        used = True
        parts = one[: blocks * per].reshape(blocks, per, 2).mean(axis=1)[:_MAX_BLOCKS]
        apart = np.abs(parts[:, 0, None] - parts[:, 0])
        y = parts[:, 1] - parts[:, 1].mean()
        # The boat drifts at a speed that is not known and may change a little; it may still glide.
        since = parts[:, 0] - parts[0, 0]
        fades = np.exp(-since / _FADES_S)
        line = since - since.mean()
        unknown = (
            grid.level**2 + grid.slope**2 * np.outer(line, line) + grid.level**2 * np.outer(fades, fades)
        )
        unknown += (white**2 / per + 1e-8) * np.eye(y.size)
        shapes = np.exp(-apart / grid.taus_s[:, None, None])
        covariance = grid.sizes[:, None, None, None] ** 2 * shapes + unknown
        root = np.linalg.cholesky(covariance)
        z = np.linalg.solve(root, np.broadcast_to(y[:, None], (*root.shape[:-1], 1)))[..., 0]
        volume = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)
        log_likelihood -= 0.5 * (z**2).sum(axis=-1) + volume
    if not used:
        return None
    log_likelihood -= 0.5 * (np.log(grid.sizes / usual[0]) / np.log(grid.size_factor))[:, None] ** 2
    log_likelihood -= 0.5 * (np.log(grid.taus_s / usual[1]) / np.log(grid.tau_factor)) ** 2
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight /= weight.sum()
    size = float(np.sqrt((weight.sum(axis=1) * grid.sizes**2).sum()))
    return size, float(np.exp((weight.sum(axis=0) * np.log(grid.taus_s)).sum()))


def measure_rest_wander(cleaned: Cleaned, motion: Motion, rx: ReceiverModel) -> tuple[float, float] | None:
    """Measure how positions wander while the boat lies still.

    Parameters
    ----------
    cleaned, motion
        Of one log with positions.
    rx : ReceiverModel
        What is believed beforehand.

    Returns
    -------
    (float, float) or None
        Standard deviation in one axis [m] and time [s]; None where the boat never lies still or the receiver
        holds its position.
    """
    ok = np.flatnonzero(cleaned.position_ok)
    if ok.size < _MIN_BLOCKS:
        return None
    t, e, n = motion.t_s[ok], motion.east_m[ok], motion.north_m[ok]
    later = np.minimum(np.searchsorted(t, t + _REST_OVER_S), t.size - 1)
    still = np.hypot(e[later] - e, n[later] - n) < _REST_M
    series = []
    for a, b in true_runs(still):
        a = int(np.searchsorted(t, t[a] + _GLIDES_S)) if a > 0 else a
        if b - a < _MIN_BLOCKS or t[b - 1] - t[a] < _MIN_S or np.unique(e[a:b]).size < 0.2 * (b - a):
            continue
        series += [np.column_stack([t[a:b], part[a:b]]) for part in (e, n)]
    if not series:
        return None
    return _fit_wander(
        series,
        motion.position_sd_m,
        cleaned.track.usual_step_s,
        _POSITION_GRID,
        (rx.position_sd_m, rx.position_tau_s),
    )


def speed_step_mps(v_mps: FloatArray) -> float:
    """Step in which a speed is printed [m/s]; 0 where it is finer than matters or there is none.

    Examples
    --------
    >>> import numpy as np
    >>> round(speed_step_mps(np.array([3, 7, 4, 9, 12, 30, 31]) / 3.6), 4)
    0.2778
    >>> speed_step_mps(np.array([1.0, 2.5]))
    0.0
    """
    values = np.unique(v_mps[np.isfinite(v_mps)])
    if values.size < _MIN_VALUES:
        return 0.0
    steps = np.diff(values)
    least = float(steps.min())
    if least < _MIN_STEP_MPS:
        return 0.0
    whole = (
        np.abs(values / least - np.round(values / least))
        < _SAME_STEP * np.maximum(values / least, 1.0) + 0.02
    )
    off = np.abs(steps / least - np.round(steps / least))
    return least if whole.all() and float(off.max()) < 0.1 else 0.0
