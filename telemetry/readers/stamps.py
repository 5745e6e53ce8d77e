"""What every reader does with absolute time stamps once it has them as whole microseconds."""

from __future__ import annotations

import datetime as dt
from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.frames import BoolArray, FloatArray, IntArray

DAY_US: Final = 86_400_000_000
GPS_BEGINS_US: Final = 315_964_800_000_000
"""6 January 1980, the origin of GPS time (IS-GPS-200, section 3.3.4); no receiver can stamp earlier."""
_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
# What datetime can hold, so that a false stamp becomes a finding and not an overflow.
_EARLIEST_US: Final = (dt.datetime(1, 1, 2, tzinfo=dt.UTC) - _EPOCH) // dt.timedelta(microseconds=1)
_LATEST_US: Final = (dt.datetime(9999, 12, 30, tzinfo=dt.UTC) - _EPOCH) // dt.timedelta(microseconds=1)


def seconds(stamp_us: IntArray) -> FloatArray:
    """Seconds from the first stamp, shape (n,) [s]; exact to the microsecond for logs of up to a century."""
    return np.asarray((stamp_us - stamp_us[:1]) / 1e6, dtype=np.float64)


def utc(stamp_us: int) -> pd.Timestamp | None:
    """UTC of microseconds since 1970, timezone-aware; None outside the calendar."""
    if not _EARLIEST_US < stamp_us < _LATEST_US:
        return None
    return pd.Timestamp(_EPOCH + dt.timedelta(microseconds=int(stamp_us)))


def of_hhmmss(numbers: FloatArray, seconds_below: int) -> IntArray:
    """Read times of day written as one number, ``hhmmss.sss``.

    Parameters
    ----------
    numbers : ndarray, shape (n,)
        NaN where there is none.
    seconds_below : int
        60, or 61 where leap seconds are told.

    Returns
    -------
    ndarray of int, shape (n,)
        Since midnight [µs]; -1 where the number is not a time of day.
    """
    value = np.where((numbers >= 0) & (numbers < 240_000), numbers, np.nan)
    minutes, secs = value // 100 % 100, value % 100
    valid = (minutes < 60) & (secs < seconds_below)
    second = value // 10_000 * 3600 + minutes * 60 + np.floor(secs)
    time_us = second * 1_000_000 + np.rint((secs - np.floor(secs)) * 1e6)
    return np.where(valid, time_us, -1.0).astype(np.int64)


def days_since_1970(year: IntArray, month: IntArray, day: IntArray) -> FloatArray:
    """Count the days of dates of our calendar, shape (n,); NaN for one that is none, such as 31 June."""
    valid = (year >= 1900) & (year <= 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    months = np.where(valid, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    first, following = (m.astype("datetime64[D]").astype(np.int64) for m in (months, months + 1))
    return np.where(valid & (day <= following - first), first + day - 1.0, np.nan)


def believable(stamp_us: IntArray) -> BoolArray:
    """Mark stamps that at least one other stamp of the file supports, shape (n,).

    A stamp that no other lies within a day of is a misread record: an outing is minutes to hours long, and
    even files that join outings months apart hold more than one fix of each. Files of fewer than three stamps
    have nothing to be judged by and are believed.
    """
    if stamp_us.size < 3:
        return np.ones(stamp_us.size, dtype=np.bool_)
    order = np.argsort(stamp_us, kind="stable")
    near = np.diff(stamp_us[order]) <= DAY_US
    supported = np.concatenate([near, [False]]) | np.concatenate([[False], near])
    result = np.empty(stamp_us.size, dtype=np.bool_)
    result[order] = supported
    return result if result.any() else np.ones(stamp_us.size, dtype=np.bool_)


def chronological(stamp_us: IntArray) -> IntArray | None:
    """Find the order that brings stretches of a log which stand out of order into the order of time.

    Parameters
    ----------
    stamp_us : ndarray of int, shape (n,)
        In file order.

    Returns
    -------
    ndarray of int, shape (n,), or None
        A permutation; None where nothing is to be moved.

    Notes
    -----
    The file is cut into stretches wherever its time steps back. Stretches that overlap in time stay together
    in file order, as one false stamp makes two of them out of one; the groups are then sorted by their start.
    Stretches of fewer than three samples are false stamps rather than tracks and stay with the stretch before
    them, unless the whole file runs backwards.
    """
    step = np.diff(stamp_us)
    if not (step < 0).any():
        return None
    if (step <= 0).all() or float((step < 0).mean()) > _REVERSED_SHARE:
        return np.argsort(stamp_us, kind="stable")
    cuts = np.flatnonzero(step < 0) + 1
    begins, ends = np.r_[0, cuts], np.r_[cuts, stamp_us.size]
    large = np.flatnonzero(ends - begins >= _MIN_STRETCH)
    if large.size < 2:
        return None
    first, last = stamp_us[begins[large]], stamp_us[ends[large] - 1]
    by_start = np.argsort(first, kind="stable")
    reach = np.maximum.accumulate(last[by_start])
    group = np.empty(large.size, dtype=np.int64)
    group[by_start] = np.cumsum(np.r_[False, first[by_start][1:] > reach[:-1]])
    # Every sample belongs to the group of the last large stretch that begins at or before it.
    stretch = np.searchsorted(begins[large], np.arange(stamp_us.size), side="right") - 1
    order = np.argsort(group[np.maximum(stretch, 0)], kind="stable")
    return None if (np.diff(order) > 0).all() else order


_MIN_STRETCH: Final = 3
_REVERSED_SHARE: Final = 0.9
