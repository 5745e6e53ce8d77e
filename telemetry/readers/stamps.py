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
        Since midnight [µs]; -1 where the number is no time of day.
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
    """Tell which stamps at least one other stamp of the file supports, shape (n,).

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
