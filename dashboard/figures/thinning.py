"""Fewer points for the same picture."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from telemetry.frames import FloatArray, IntArray


def thin(
    t_s: FloatArray, values: FloatArray, limit: int, whole: Iterable[tuple[float, float]] = ()
) -> IntArray:
    """Choose which samples to draw so that every peak, trough and break stays.

    Parameters
    ----------
    t_s, values : ndarray, shape (n,)
        The curve; NaN values are breaks in it.
    limit : int
        How many samples to aim at.
    whole : iterable of (float, float)
        Spans of ``t_s`` kept sample by sample (the passes), as long as they do not exceed ``limit``
        themselves.

    Returns
    -------
    ndarray of int, shape (m,)
        Ascending indices. Outside ``whole`` m stays below ``limit`` plus the number of breaks.
    """
    n = values.size
    if n <= limit:
        return np.arange(n)
    per_bucket = -(-n // max(limit // 2, 1))
    padded = np.full(-(-n // per_bucket) * per_bucket, np.nan)
    padded[:n] = values
    grid = padded.reshape(-1, per_bucket)
    first = np.arange(grid.shape[0]) * per_bucket
    low = first + np.argmin(np.where(np.isnan(grid), np.inf, grid), axis=1)
    high = first + np.argmax(np.where(np.isnan(grid), -np.inf, grid), axis=1)
    missing = np.isnan(values)
    edges = np.flatnonzero(np.diff(missing.astype(np.int8)))
    keep = np.zeros(n, dtype=bool)
    keep[np.concatenate([low, high, edges, edges + 1, [0, n - 1]])] = True
    inside = np.zeros(n, dtype=bool)
    for start_s, end_s in whole:
        inside |= (t_s >= start_s) & (t_s <= end_s)
    if np.count_nonzero(inside) <= limit:
        keep |= inside
    return np.flatnonzero(keep)
