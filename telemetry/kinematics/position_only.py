"""Speeds of a log that has positions alone: how lively the hull rode, where its throttle moved, how fast.

A second of positions says little of that second's speed. What is believed of the hull's liveliness, and where
its throttle was moved, then decides most of a peak; both have to come from the way itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from telemetry.kinematics.banded import snap_transition
from telemetry.kinematics.models import (
    USUAL_DENSITY,
    AlongTrackData,
    ReceiverModel,
    along_track_chain,
    neg2_log_prior,
    steps_covariance,
    student_t_jerk_psd,
)

_LIVELIEST = 300.0  # jerk density of a hull whose throttle is worked all the time [m²/s⁵]


def estimate_jerk_psd(parts: Sequence[AlongTrackData], receiver: ReceiverModel) -> float:
    """Measure how lively flat-out riding is where a log has positions alone [m²/s⁵].

    Parameters
    ----------
    parts : sequence of AlongTrackData
        Flat-out parts along their course lines, without measured speeds; their densities are not looked at.
    receiver : ReceiverModel
        Sizes and times of the wandering errors.

    Returns
    -------
    float
        The most probable jerk density, under the same broad belief as for :func:`calibrate`.

    Notes
    -----
    What positions say of a second of speed is little, so that a hull believed livelier than it is would have
    its highest speed found among their errors.
    """
    best = (np.inf, USUAL_DENSITY)
    for density in np.geomspace(1e-3, 1e2, 16).tolist():
        misfit = float(neg2_log_prior(density))
        for part in parts:
            tried = replace(part, density=np.full(part.t_s.size - 1, density))
            posterior = along_track_chain(tried, receiver)[0].solve()
            _, log_det = np.linalg.slogdet(steps_covariance(tried))
            misfit += 2.0 * posterior.half_log_det + float(log_det.sum()) - posterior.explained
        best = min(best, (misfit, density))
    return best[1]


def student_t_reweight(
    data: AlongTrackData, density: float, receiver: ReceiverModel, rounds: int = 10
) -> AlongTrackData:
    """Give each step of a way the jerk density its innovation asks for, as :func:`smooth_speed` does.

    Where a log has positions alone, the way itself has to tell where the throttle was moved. Rounds begin
    with a hull that may do anything anywhere: one that is believed calm would smear its corners over so many
    steps that none of them stands out.
    """
    dt = np.diff(data.t_s)
    f = snap_transition(dt)
    scale = np.full(dt.size, max(density, _LIVELIEST))
    for _ in range(rounds):
        data = replace(data, density=scale)
        states = along_track_chain(data, receiver)[0].solve().mean[:, :3]
        left = states[1:] - np.einsum("kij,kj->ki", f, states[:-1])
        size = scale * np.einsum("ki,kij,kj->k", left, np.linalg.inv(steps_covariance(data)), left)
        scale = student_t_jerk_psd(density, size, 3)
    return replace(data, density=scale)


def max_secant_speed(data: AlongTrackData, span_s: tuple[float, float], over_s: float) -> float:
    """Highest mean speed between two positions so far apart in time, straight from them [m/s].

    It smooths nothing, so that nothing can overshoot; what it takes of the positions' errors is for the
    smoother to say. NaN where the span is too short for one.
    """
    t_s = data.t_s[data.position_node]
    begins = t_s[(t_s >= span_s[0] - 1e-9) & (t_s + over_s <= span_s[1] + 1e-9)]
    if not begins.size:
        return float("nan")
    first, last = (np.interp(at, t_s, data.along_m) for at in (begins, begins + over_s))
    return float(np.max(np.abs(last - first)) / over_s)
