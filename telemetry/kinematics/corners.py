"""How sharply a log's speed turns where the throttle is shut: a bound on any low-pass in it.

A receiver that filters speed and position alike leaves nothing to compare. But a throttle is shut within some
tenths of a second, and the deceleration then begins as abruptly as the thrust ends; a low-pass of time
constant τ makes of this step an exponential of that time. The corner of the sharpest lifts so bounds τ from
above.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from telemetry.core.frames import FloatArray

_BEFORE_S, _AFTER_S = 1.5, 1.5
_STEPS_BEFORE, _STEPS_AFTER = 3.0, 5.0  # of a slow log, which needs a longer look
_SLOW_STEP_S = 0.27
_SLOWEST_SHARE = 0.45  # of the speed at the lift: a hull that comes off the plane drags otherwise
_MIN_BEND_MPS2 = 2.0
_MIN_SAMPLES = 5
TIMES_S = np.geomspace(0.03, 1.7, 20)
_RATES_PER_S = np.geomspace(0.08, 1.6, 12)  # deceleration at the lift over the speed there
_GRID_S = 0.02
_REACH_S = 12.0
_PLACE_S = 0.05


@dataclass(frozen=True)
class Corner:
    """One lift.

    Attributes
    ----------
    time_s, sd_s : float
        Time constant of the low-pass that would make its corner, and its standard uncertainty.
    bend_mps2 : float
        Change of acceleration at the lift.
    """

    time_s: float
    sd_s: float
    bend_mps2: float


def _corner(square: FloatArray, freedom: int, bend_mps2: float) -> Corner | None:
    """Average the time constant over its likelihood, from sums of squares on ``TIMES_S``."""
    if bend_mps2 > -_MIN_BEND_MPS2:
        return None
    floor = max(float(square.min()) / max(freedom, 1), 1.0)
    weight = np.exp(-0.5 * (square - square.min()) / floor)
    weight /= weight.sum()
    mean = float(weight @ TIMES_S)
    return Corner(mean, float(np.sqrt(weight @ (TIMES_S - mean) ** 2)), bend_mps2)


def _fast(t: FloatArray, v: FloatArray, sd_mps: float, step_s: float) -> Corner | None:
    """Fit a line, a bend and a parabola after it, low-passed: drag of any law over so short a time."""
    squares, bends = [], []
    for tau in TIMES_S.tolist():
        places = np.arange(-0.6 - tau, 0.6, max(_PLACE_S, 0.5 * step_s))
        x = np.maximum(t[None, :] - places[:, None], 0.0)
        rises = -np.expm1(-x / tau)
        ramp = x - tau * rises
        parabola = x**2 - 2.0 * tau * ramp
        basis = np.stack([np.ones_like(x), np.broadcast_to(t, x.shape), ramp, parabola], axis=-1)
        normal = np.swapaxes(basis, 1, 2) @ basis + 1e-9 * np.eye(4)
        right = np.swapaxes(basis, 1, 2) @ v
        beta = np.linalg.solve(normal, right[..., None])[..., 0]
        # Drag eases as the hull slows. What steepens instead is a filter of another shape.
        steepens = beta[:, 3] < 0.0
        beta[steepens, 3] = 0.0
        beta[steepens, :3] = np.linalg.solve(normal[steepens, :3, :3], right[steepens, :3, None])[..., 0]
        square = float(v @ v) - (beta * right).sum(axis=1)
        k = int(np.argmin(square))
        squares.append(max(float(square[k]), 0.0) / sd_mps**2)
        bends.append(float(beta[k, 2]))
    return _corner(np.array(squares), t.size - 6, bends[int(np.argmin(squares))])


@cache
def _responses() -> tuple[FloatArray, FloatArray]:
    """Low-passed shapes of a lift on a grid of time from ``-_REACH_S / 4`` on.

    Returns
    -------
    falls : ndarray, shape (times, rates, grid)
        Of a speed that is 1 until 0 and then falls as ``1 / (1 + c x)``, as with drag by the square.
    gains : ndarray, shape (times, grid)
        Of one that rises by 1 a second until 0 and stays.
    """
    x = np.arange(-_REACH_S / 4.0, _REACH_S, _GRID_S)
    fall = 1.0 / (1.0 + _RATES_PER_S[:, None] * np.maximum(x, 0.0))
    falls = np.empty((TIMES_S.size, _RATES_PER_S.size, x.size))
    gains = np.empty((TIMES_S.size, x.size))
    # One pole, sample by sample: scipy.signal does the same and takes a third of a second to import.
    keep = np.exp(-_GRID_S / np.asarray(TIMES_S))[:, None]
    response = np.zeros(falls.shape[:2])
    for i in range(x.size):
        response = (1.0 - keep) * (fall[:, i] - 1.0) + keep * response
        falls[:, :, i] = response + 1.0
    for k, tau in enumerate(TIMES_S):
        # The ramp has gone on for ever: its response lags it by τ until the bend.
        gains[k] = np.where(x < 0.0, x - tau, -tau * np.exp(-np.maximum(x, 0.0) / tau))
    return falls, gains


def _slow(t: FloatArray, v: FloatArray, sd_mps: float, step_s: float) -> Corner | None:
    """Fit a line, then drag by the square of the speed, low-passed, on the few samples of a slow log."""
    falls, gains = _responses()
    places = np.arange(-step_s - TIMES_S[-1], step_s, step_s / 8.0)
    index = np.rint((t[None, :] - places[:, None] + _REACH_S / 4.0) / _GRID_S).astype(np.int64)
    index = np.clip(index, 0, falls.shape[2] - 1)
    a, b = falls[:, :, index], gains[:, None, index]  # (times, rates, places, m), (times, 1, places, m)
    aa, bb, ab = (a * a).sum(-1), (b * b).sum(-1), (a * b).sum(-1)
    av, bv = a @ v, b @ v
    det = aa * bb - ab**2 + 1e-9
    p, q = (bb * av - ab * bv) / det, (aa * bv - ab * av) / det
    square = np.maximum(float(v @ v) - p * av - q * bv, 0.0) / sd_mps**2
    best = np.unravel_index(int(np.argmin(square)), square.shape)
    bend = -float(_RATES_PER_S[best[1]] * p[best] + q[best])
    return _corner(square.reshape(TIMES_S.size, -1).min(axis=1), t.size - 5, bend)


def fit_corner(t_s: FloatArray, v_mps: FloatArray, sd_mps: float, about_s: float) -> Corner | None:
    """Fit one lift of the throttle.

    Parameters
    ----------
    t_s, v_mps : ndarray, shape (m,)
        Measured speeds around the lift [s, m/s].
    sd_mps : float
        Their white noise [m/s].
    about_s : float
        About when the throttle was shut.

    Returns
    -------
    Corner or None
        None where too few samples or too slight a bend show nothing.
    """
    if t_s.size < _MIN_SAMPLES:
        return None
    step_s = float(np.median(np.diff(t_s)))
    before_s, after_s = max(_BEFORE_S, _STEPS_BEFORE * step_s), max(_AFTER_S, _STEPS_AFTER * step_s)
    keep = (t_s >= about_s - before_s) & (t_s <= about_s + after_s)
    if step_s > _SLOW_STEP_S and keep.any():
        late = t_s[(v_mps < _SLOWEST_SHARE * v_mps[keep].max()) & (t_s > about_s)]
        keep &= t_s < (late[0] if late.size else np.inf)
    t, v = t_s[keep] - about_s, v_mps[keep]
    if t.size < _MIN_SAMPLES or not (t > 0.0).any():
        return None
    return (_slow if step_s > _SLOW_STEP_S else _fast)(t, v, sd_mps, step_s)


def usual_corner(corners: Sequence[Corner]) -> Corner | None:
    """Return the corner in the sharper half of a log's corners; None where it has none.

    A driver may lift gently; no driver makes a corner sharper than the receiver.
    """
    ranked = sorted(corners, key=lambda c: c.time_s)
    return ranked[(len(ranked) - 1) // 2] if ranked else None
