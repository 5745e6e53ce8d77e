"""What a receiver's speed does while the boat lies still: the size of its errors, and their colour.

Under way the wandering of a speed cannot be told from the hull's; at rest there is nothing else. The step in
which a speed is printed is told by its values.
"""

from __future__ import annotations

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
_MAX_BLOCKS = 60
_MIN_BLOCKS = 8
_SDS_MPS = np.geomspace(0.012, 0.3, 12)
_TAUS_S = np.array([1.0, 2.0, 4.0, 8.0, 16.0])
# Beliefs before the log is seen, as factors of one standard deviation about the receiver model's own values.
_SD_FACTOR, _TAU_FACTOR = 1.6, 2.5
_MIN_STEP_MPS = 0.02
_MIN_VALUES = 5
_SAME_STEP = 0.02


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
    step_s = cleaned.track.usual_step_s
    per = max(1, round(_BLOCK_S / step_s))
    log_likelihood = np.zeros((_SDS_MPS.size, _TAUS_S.size))
    used = False
    for one in series:
        blocks = one.shape[0] // per
        if blocks < _MIN_BLOCKS:
            continue
        used = True
        parts = one[: blocks * per].reshape(blocks, per, 2).mean(axis=1)[:_MAX_BLOCKS]
        apart = np.abs(parts[:, 0, None] - parts[:, 0])
        y = parts[:, 1] - parts[:, 1].mean()
        # The boat drifts at a speed that is not known and may change a little.
        since = parts[:, 0] - parts[0, 0]
        fades = np.exp(-since / 3.0)
        drift = (
            0.25
            + 0.002 * np.outer(since - since.mean(), since - since.mean()) / 100.0
            + 0.25 * np.outer(fades, fades)
        )
        for k, tau in enumerate(_TAUS_S.tolist()):
            shape = np.exp(-apart / tau)
            for i, sd in enumerate(_SDS_MPS.tolist()):
                covariance = sd**2 * shape + (white**2 / per + 1e-8) * np.eye(y.size) + drift
                root = np.linalg.cholesky(covariance)
                z = np.linalg.solve(root, y)
                log_likelihood[i, k] -= 0.5 * float(z @ z) + float(np.log(np.diag(root)).sum())
    if not used:
        return None
    belief = -0.5 * (np.log(_SDS_MPS / rx.coloured_sd_mps) / np.log(_SD_FACTOR)) ** 2
    slow = -0.5 * (np.log(_TAUS_S / rx.coloured_tau_s) / np.log(_TAU_FACTOR)) ** 2
    log_likelihood += belief[:, None] + slow
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight /= weight.sum()
    sd = float(np.sqrt((weight.sum(axis=1) * _SDS_MPS**2).sum()))
    tau = float(np.exp((weight.sum(axis=0) * np.log(_TAUS_S)).sum()))
    return RestNoise(sd, tau, white)


def speed_step_mps(v_mps: FloatArray) -> float:
    """Step in which a speed is printed [m/s]; 0 where it is finer than matters or there is none.

    Examples
    --------
    >>> import numpy as np
    >>> round(speed_step_mps(np.array([3, 7, 4, 9, 12, 30, 31]) / 3.6), 4), speed_step_mps(np.array([1.0,
    2.5])) (0.2778, 0.0)
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
