"""Draw fewer points for the same picture, and the true samples again on zooming in.

A line over an hour holds more samples than a screen has columns. Of each run of samples that falls into one
column, the lowest and the highest are drawn: every peak and trough stays, and no point is invented that was
not logged. A stretch that is zoomed into is thinned again by itself, until every sample of it is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from telemetry.core.frames import FloatArray, IntArray

RESAMPLED: Final = "resampled"
"""Key in ``meta`` of each trace whose points change on zooming."""

Window = tuple[float, float]


def thin(
    t_s: FloatArray, values: FloatArray, limit: int, whole: Iterable[tuple[float, float]] = ()
) -> IntArray:
    """Choose the samples to draw so that every peak, trough and break stays.

    Parameters
    ----------
    t_s, values : ndarray, shape (n,)
        The curve; NaN values are breaks in it.
    limit : int
        Approximate number of samples.
    whole : iterable of (float, float)
        Spans of ``t_s`` kept sample by sample (the passes), as long as they do not exceed ``limit``
        themselves.

    Returns
    -------
    ndarray of int, shape (m,)
        Ascending indices. Outside ``whole`` m stays below ``limit`` plus twice the number of breaks.
    """
    n = values.size
    kept = _extremes(values, limit)
    if kept.size == n:
        return kept
    inside = np.zeros(n, dtype=bool)
    for start_s, end_s in whole:
        inside |= (t_s >= start_s) & (t_s <= end_s)
    if np.count_nonzero(inside) <= limit:
        inside[kept] = True
        return np.flatnonzero(inside)
    return kept


def resample(x: FloatArray, values: FloatArray, limit: int, window: Window | None = None) -> IntArray:
    """Choose the samples to draw of a curve that is zoomed in.

    Parameters
    ----------
    x, values : ndarray, shape (n,)
        The curve, in the order in which it is drawn; NaN values are breaks in it.
    limit : int
        Approximate number of samples inside the window, and as many in all the rest.
    window : (float, float), optional
        Lowest and highest visible ``x``; by default all.

    Returns
    -------
    ndarray of int, shape (m,)
        Ascending indices. The window gets one sample beyond either end, so that the line leaves the picture
        correctly; the rest stays coarse, and is there at once when the picture is panned.
    """
    coarse = _extremes(values, limit)
    if window is None or coarse.size == values.size:
        return coarse
    inside = np.flatnonzero((x >= window[0]) & (x <= window[1]))
    if inside.size == 0:
        return coarse
    first, last = max(int(inside[0]) - 1, 0), min(int(inside[-1]) + 2, values.size)
    fine = first + _extremes(values[first:last], limit)
    return np.concatenate([coarse[coarse < first], fine, coarse[coarse >= last]])


def window_of(shown: Sequence[float | str] | None) -> Window | None:
    """Parse the visible range of an axis from a plot's event; on an axis of dates in milliseconds since 1970.

    Examples
    --------
    >>> window_of([3.5, 1.0]), window_of(["1970-01-01 00:00:01.5", "1970-01-01 00:00:02"]), window_of(None)
    ((1.0, 3.5), (1500.0, 2000.0), None)
    """
    if not shown:
        return None
    low, high = sorted(_place(end) for end in shown)
    return low, high


def _place(end: float | str) -> float:
    if isinstance(end, str):
        return float(np.datetime64(end, "us").astype(np.int64)) / 1000.0
    return float(end)


def _extremes(values: FloatArray, limit: int) -> IntArray:
    """Choose the lowest and the highest of each run of samples, both sides of each break, and both ends."""
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
    return np.flatnonzero(keep)
