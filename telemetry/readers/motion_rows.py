"""Tables of phones and motion sensors: rows at the accelerometer's rate with a GPS fix in some of them.

The fixes become the rows of the track; the accelerations and turn rates keep their own rate in the track's
``motion`` frame, and the track carries their mean over each of its steps, which does not alias.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.frames import MOTION_COLUMNS, BoolArray, FloatArray

_MIN_RATIO: Final = 2.5
"""Motion rows for each fix from which on the two have rates of their own."""
_FIX_COLUMNS: Final = ("lat_deg", "lon_deg", "speed_mps")
_MIN_CHANGING: Final = 0.5


def fix_rows(columns: Mapping[str, FloatArray]) -> BoolArray | None:
    """Find the rows of a table that hold a fix of their own.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
        Track columns in their frame units.

    Returns
    -------
    ndarray of bool, shape (n,), or None
        None where fixes and motion have one rate. The first row always counts, so that the clock stays.
    """
    motion = [columns[name] for name in MOTION_COLUMNS if name in columns]
    fixes = [columns[name] for name in _FIX_COLUMNS if name in columns]
    if not motion or not fixes:
        return None
    moving = np.any([np.isfinite(values) for values in motion], axis=0)
    stated = np.any([np.isfinite(values) for values in fixes], axis=0)
    fresh = stated if not _are_held(fixes, motion, stated) else stated & ~_repeats(fixes)
    if fresh.sum() < 2 or moving.sum() < _MIN_RATIO * fresh.sum():
        return None
    fresh[0] = True
    return np.asarray(fresh, dtype=np.bool_)


def _are_held(fixes: list[FloatArray], motion: list[FloatArray], stated: BoolArray) -> bool:
    """Check whether fixes are written again in the rows between them, while the motion changes."""
    changes = np.any([np.diff(values) != 0.0 for values in motion], axis=0)
    same = _repeats(fixes)[1:] & stated[1:]
    return bool(stated.mean() > _MIN_CHANGING and same.mean() > _MIN_CHANGING < changes.mean())


def _repeats(fixes: list[FloatArray]) -> BoolArray:
    """Mark rows that write the fix before them again, for no longer than fixes usually are apart.

    A boat at rest repeats its position in true fixes too: of a long run every usual step counts as one.
    """
    same = np.all([(np.diff(v) == 0.0) | (np.isnan(v[1:]) & np.isnan(v[:-1])) for v in fixes], axis=0)
    begins = np.flatnonzero(np.r_[True, ~same])
    index = np.arange(same.size + 1)
    into = index - begins[np.searchsorted(begins, index, side="right") - 1]
    usual = int(max(1.0, np.median(np.diff(begins)))) if begins.size > 1 else 1
    return np.asarray(into % usual != 0)


def split_motion(
    columns: Mapping[str, FloatArray], t_s: FloatArray, rows: BoolArray
) -> tuple[dict[str, FloatArray], pd.DataFrame]:
    """Split a table's columns into the track's rows and the motion at its own rate.

    Parameters
    ----------
    columns : mapping of str to ndarray, shape (n,)
    t_s : ndarray, shape (n,)
        Times of the rows [s].
    rows : ndarray of bool, shape (n,)
        The rows of the track.

    Returns
    -------
    columns : dict of str to ndarray, shape (rows.sum(),)
        Of the track; accelerations and rates are means over the step around each row.
    motion : DataFrame
        Indexed by ``t_s``, on the track's clock, with the columns of :data:`MOTION_COLUMNS` that there are.
    """
    moving = {name: values for name, values in columns.items() if name in MOTION_COLUMNS}
    track = {name: values[rows] for name, values in columns.items() if name not in MOTION_COLUMNS}
    filled = np.any([np.isfinite(values) for values in moving.values()], axis=0)
    order = np.flatnonzero(filled)[np.argsort(t_s[filled], kind="stable")]
    index = pd.Index(t_s[order], name="t_s")
    motion = pd.DataFrame({name: values[order] for name, values in moving.items()}, index=index)
    return track | means_around(motion, t_s[rows]), motion


def means_around(motion: pd.DataFrame, t_s: FloatArray) -> dict[str, FloatArray]:
    """Average each motion column over the steps around given times, NaN where a step holds no sample."""
    order = np.argsort(t_s, kind="stable")
    middle = (t_s[order][1:] + t_s[order][:-1]) / 2.0
    step = np.searchsorted(middle, motion.index.to_numpy(), side="right")
    result = {}
    for name in motion.columns:
        values = motion[name].to_numpy(dtype=np.float64)
        known = np.isfinite(values)
        count = np.bincount(step[known], minlength=t_s.size)
        total = np.bincount(step[known], weights=values[known], minlength=t_s.size)
        mean = np.full(t_s.size, np.nan)
        mean[order] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
        result[str(name)] = mean
    return result
