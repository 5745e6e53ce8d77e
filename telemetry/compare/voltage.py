"""Pack voltage as a regressor: measured with noise, and with a slope that other boats tell something about.

Noise in a regressor draws its slope towards zero and leaves part of the difference between two sides in the
comparison [1]_. The voltage is therefore replaced by its expectation given what was logged (regression
calibration): the mean of the outing, drawn towards its group by its reliability, plus the common decline
along the outing. What is left of the logged values has a slope of its own, so that true swings can explain
something and noise explains nothing.

References
----------
.. [1] R. J. Carroll, D. Ruppert, L. A. Stefanski, C. M. Crainiceanu, Measurement Error in Nonlinear Models,
   2nd edition, CRC Press 2006, chapters 1 and 4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from telemetry.core.frames import FloatArray, IntArray


@dataclass(frozen=True, kw_only=True)
class Calibrated:
    """Logged voltages split into what is believed and what may be noise.

    Attributes
    ----------
    expected : ndarray, shape (n,)
        Voltage given what was logged [V].
    rest : ndarray, shape (n,)
        What is left within outings, with mean zero in each of them [V].
    noise_v : float
        Standard deviation of what is left; not a number where no outing has two values.
    """

    expected: FloatArray
    rest: FloatArray
    noise_v: float


def calibrate(volts: FloatArray, order: FloatArray, outing: IntArray, group: IntArray) -> Calibrated:
    """Replace logged voltages by their expectations.

    Parameters
    ----------
    volts : ndarray, shape (n,)
        As logged [V].
    order : ndarray, shape (n,)
        Place within the outing.
    outing, group : ndarray of int, shape (n,)
        Outing and sheet of each row, numbered from 0.

    Returns
    -------
    Calibrated
    """
    count = np.bincount(outing).astype(float)
    mean_v = np.bincount(outing, volts) / count
    mean_order = np.bincount(outing, order) / count
    apart_v, apart_order = volts - mean_v[outing], order - mean_order[outing]
    spread = float(apart_order @ apart_order)
    slope = float(apart_order @ apart_v) / spread if spread > 0.0 else 0.0
    line = slope * apart_order
    rest = apart_v - line
    df = volts.size - count.size - (spread > 0.0)
    noise_v = math.sqrt(float(rest @ rest) / df) if df >= 1 else math.nan
    # Outing means at a common place in the outing, so that a long outing is not taken for a weak pack.
    level = mean_v - slope * mean_order
    shrunk = _shrink(level, count, noise_v, group, outing)
    return Calibrated(expected=shrunk[outing] + slope * order, rest=rest, noise_v=noise_v)


def _shrink(
    level: FloatArray, count: FloatArray, noise_v: float, group: IntArray, outing: IntArray
) -> FloatArray:
    """Draw the levels of outings towards the mean of their group by their reliability."""
    if not noise_v > 0.0:
        return level
    of_outing = np.zeros(count.size, dtype=np.int64)
    of_outing[outing] = group
    size = np.bincount(of_outing).astype(float)
    centre = np.bincount(of_outing, level) / np.maximum(size, 1.0)
    apart = level - centre[of_outing]
    df = float(np.sum(size > 0)) and level.size - float(np.sum(size > 0))
    if df < 1.0:
        return level
    error = noise_v**2 / count
    between = max(float(apart @ apart) / df - float(error.mean()), 0.0)
    reliable = between / (between + error) if between > 0.0 else np.zeros_like(error)
    return np.asarray(centre[of_outing] + reliable * apart)
