"""Finding the unit of a speed column from the positions beside it, where the file does not say."""

from __future__ import annotations

from typing import Final

import numpy as np

from telemetry.core.frames import TRACK_COLUMNS, FloatArray
from telemetry.core.geo import LocalFrame
from telemetry.core.units import KMH_MPS, KNOT_MPS, MPH_MPS

UNITS_MPS: Final = {"m/s": 1.0, "km/h": KMH_MPS, "mph": MPH_MPS, "kn": KNOT_MPS}
# Half of the way between the nearest two, knots and mph, on a scale of ratios: ln(1.1508) / 2.
_TOLERANCE: Final = 0.07
_LONGEST_STEP_S: Final = 60.0
_MIN_PATH_M: Final = 50.0
_HIGHEST: Final = TRACK_COLUMNS["speed_mps"].high / min(UNITS_MPS.values())  # a speed in no unit lies above


def from_positions(
    speed: FloatArray, t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray
) -> tuple[str | None, float]:
    """Compare the path that the speeds add up to with the path between the positions.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speeds in the unknown unit.
    t_s : ndarray, shape (n,)
        Their times [s].
    lat_deg, lon_deg : ndarray, shape (n,)
        Positions [deg].

    Returns
    -------
    unit : str or None
        A key of :data:`UNITS_MPS`; None where the positions do not tell.
    ratio : float
        Logged speed over speed from positions [logged unit per m/s]; NaN where there is no path to compare.

    Notes
    -----
    Only steps at half the highest speed and more count, where position noise is small against the step. The
    sums are compared, not the single steps, so values held over several samples do no harm.
    """
    known = (np.abs(speed) <= _HIGHEST) & (np.abs(lat_deg) <= 90.0) & (np.abs(lon_deg) <= 180.0)
    v, t = speed[known], t_s[known]
    if v.size < 3:
        return None, float("nan")
    east_m, north_m = LocalFrame(float(np.median(lat_deg[known])), float(np.median(lon_deg[known]))).to_local(
        lat_deg[known], lon_deg[known]
    )
    dt = np.diff(t)
    path_m = np.hypot(np.diff(east_m), np.diff(north_m))
    mean = (v[1:] + v[:-1]) / 2.0
    fast = (dt > 0) & (dt <= _LONGEST_STEP_S) & (mean >= 0.5 * np.quantile(v, 0.98))
    total_m = float(path_m[fast].sum())
    if total_m < _MIN_PATH_M:
        return None, float("nan")
    ratio = float((mean[fast] * dt[fast]).sum()) / total_m
    for unit, factor in UNITS_MPS.items():
        if abs(np.log(max(ratio, 1e-9) * factor)) <= _TOLERANCE:
            return unit, ratio
    return None, ratio
