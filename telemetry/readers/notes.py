"""Findings that more than one reader makes, worded once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.core.frames import BoolArray, Finding, FloatArray, IntArray
from telemetry.readers.stamps import GPS_BEGINS_US, seconds, utc


def odd_stamps(stamp_us: IntArray, believed: BoolArray) -> list[Finding]:
    """Describe the samples :func:`telemetry.readers.stamps.believable` rejects."""
    wrong = stamp_us[~believed]
    if not wrong.size:
        return []
    first = utc(int(wrong[0]))
    what = first.strftime("%Y-%m-%d") if first is not None else "outside the calendar"
    return [
        Finding(
            "odd-stamp",
            f"samples left out whose time ({what}) is more than a day from every other one",
            int(wrong.size),
        )
    ]


def before_gps(stamp_us: IntArray) -> list[Finding]:
    """Describe stamps from before GPS began, which a receiver without the date or a converter writes."""
    message = "times from before 1980, when GPS began: the date is not to be believed"
    return spanning("odd-stamp", message, stamp_us < GPS_BEGINS_US, seconds(stamp_us))


def no_fix(columns: Mapping[str, FloatArray], t_s: FloatArray) -> list[Finding]:
    """Describe the samples for which the receiver itself denies a fix."""
    if "fix" not in columns:
        return []
    return spanning("no-fix", "samples for which the receiver says it has no fix", columns["fix"] == 0.0, t_s)


def spanning(code: str, message: str, where: BoolArray, t_s: FloatArray) -> list[Finding]:
    """Return one finding over the samples marked in ``where``, or none."""
    if not where.any():
        return []
    times = t_s[where]
    return [Finding(code, message, int(where.sum()), float(times.min()), float(times.max()))]


def sorted_by_time(stamp_us: IntArray) -> list[Finding]:
    """Describe a log whose stretches stood out of the order of time and were sorted.

    Parameters
    ----------
    stamp_us : ndarray of int, shape (n,)
        In file order.
    """
    steps_back = int((np.diff(stamp_us) < 0).sum())
    message = "rows or tracks stood out of the order of time and were sorted; places where time steps back"
    return [Finding("out-of-order", message, steps_back)]
