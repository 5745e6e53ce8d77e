"""The time of each row of a table, from its most reliable column."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from telemetry.core.frames import BoolArray, ClockSource, Finding, FloatArray, IntArray
from telemetry.readers.headings import TIME_COLUMNS, Match
from telemetry.readers.stamps import DAY_US, days_since_1970, of_hhmmss

_NONE: Final = int(np.iinfo(np.int64).min)
_ISO_DATE: Final = re.compile(r"\s*\d{4}-?\d\d-?\d\d")
_ZONED: Final = r"^\s*(\d[\d:.]*)\s*(?:[zZ]|([+-])(\d\d)(?::?(\d\d))?)\s*$"
_ZONE: Final = re.compile(r"[T\s]\d[\d:.]*\s*(?:[zZ]|[+-]\d\d(?::?\d\d)?)\s*$")
_READ_AS_THIS_MOMENT: Final = ("now", "today")  # by pandas, which no cell of a log can mean
_ANY_DATE: Final = re.compile(r"\s*\d{1,4}[-./]?\d")
_DATE_PARTS: Final = re.compile(r"\s*(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})")
_COMPACT_DATE: Final = re.compile(r"(\d{4})()(\d\d)(\d\d)(?:\.0)?$")  # the .0 where the column has gaps
_HALF_DAY: Final = r"^\s*(\d{1,2})(?::(\d\d))?(?::(\d\d(?:\.\d*)?))?\s*([aApP])\.?\s?[mM]\.?\s*$"
_SHORT_DATE: Final = re.compile(r"(\d\d)()(\d\d)(\d\d)$")
_TWO_PARTS: Final = r"^\s*(\d{1,4}):([0-5]?\d(?:\.\d*)?)\s*$"
# Numbers above these are seconds, milliseconds, microseconds or nanoseconds since 1970, from 1980 on.
_MOST: Final = 1e19  # beyond it a number is not a time in any unit
_EPOCH_FROM: Final = ((3e17, 1e-9), (3e14, 1e-6), (3e11, 1e-3), (3e8, 1.0))


@dataclass(frozen=True)
class RowClock:
    """The time of each row.

    Attributes
    ----------
    stamp_us : ndarray of int, shape (n,)
        Microseconds, since 1970 where ``dated``; meaningless where not ``timed``.
    timed : ndarray of bool, shape (n,)
        Whether the row has a usable time.
    dated : bool
        Whether the day is known.
    source : {"receiver", "host", "controller"}
        Whose clock it is, as far as the headings tell.
    findings : tuple of Finding
        What was assumed, and what was chosen.
    """

    stamp_us: IntArray
    timed: BoolArray
    dated: bool
    source: ClockSource
    findings: tuple[Finding, ...]


@dataclass
class _Reading:
    stamp_us: IntArray
    dated: bool
    findings: list[Finding]
    east_us: FloatArray | None = None  # what each was written ahead of UTC, NaN where it names no zone

    @property
    def timed(self) -> BoolArray:
        return np.asarray(self.stamp_us != _NONE)


def find_clock(
    columns: Mapping[str, Match],
    values: Callable[[Match], pd.Series],
    has_positions: bool,
    milliseconds: pd.Series | None = None,
) -> RowClock | None:
    """Choose the clock: the receiver's before a dated one, that before the host's and bare elapsed time.

    Parameters
    ----------
    columns : mapping of str to Match
        The matched columns by their meaning.
    values : callable
        Gives a matched column's raw values.
    has_positions : bool
        Whether the table holds a speed log; then a dated clock is taken for the receiver's.
    milliseconds : Series, shape (n,), optional
        A column of milliseconds to add to times of whole seconds.

    Returns
    -------
    RowClock or None
        None where no column gives any row a time.
    """
    present = [columns[name] for name in TIME_COLUMNS if name in columns and name != "date"]
    for m in present:
        cells = values(m)
        dates = values(columns["date"]) if "date" in columns and m.column in ("utc", "clock") else None
        reading = _read_column(m, cells, dates is not None)
        if milliseconds is not None and cells is not milliseconds:
            reading = _with_milliseconds(reading, milliseconds)
        if not reading.dated and dates is not None:
            reading = _with_date(reading, dates, columns["date"].heading)
        if not reading.timed.any():
            continue
        findings = reading.findings
        if len(present) > 1:
            others = ", ".join(repr(other.shown) for other in present if other is not m)
            findings.append(Finding("clock-chosen", f"times are taken from {m.shown!r}, not from {others}"))
        if not reading.dated and has_positions:  # a controller hardly ever knows the day
            findings.append(
                Finding("no-date", "the table does not say which day it was", int(reading.timed.sum()))
            )
        source: ClockSource = "controller"
        if has_positions:
            source = "receiver" if m.column == "utc" or (m.column == "clock" and reading.dated) else "host"
        return RowClock(reading.stamp_us, reading.timed, reading.dated, source, tuple(findings))
    return None


def _with_milliseconds(reading: _Reading, milliseconds: pd.Series) -> _Reading:
    """Add a column of milliseconds to times of whole seconds."""
    more_ms = pd.to_numeric(milliseconds, errors="coerce").to_numpy(dtype=np.float64)
    usable = reading.timed & (more_ms >= 0.0) & (more_ms < 1000.0)
    if not usable.any() or (reading.stamp_us[usable] % 1_000_000 != 0).any():
        return reading
    stamp_us = reading.stamp_us.copy()
    stamp_us[usable] += np.rint(more_ms[usable] * 1000.0).astype(np.int64)
    return _Reading(stamp_us, reading.dated, reading.findings, reading.east_us)


def _read_column(m: Match, values: pd.Series, has_dates: bool) -> _Reading:
    if pd.api.types.is_numeric_dtype(values):
        return _from_numbers(m, values.to_numpy(dtype=np.float64), has_dates)
    filled = values.dropna()
    if filled.empty:
        return _Reading(np.full(len(values), _NONE), False, [])
    # Half of the first few decide: a broken first cell must not make times of day out of seconds.
    first = [str(cell) for cell in filled.iloc[:21]]
    sample = sorted(first, key=lambda cell: (":" in cell, bool(_ANY_DATE.match(cell))))[len(first) // 2]
    if _ISO_DATE.match(sample) or _DATE_PARTS.match(sample):
        return _from_dates(values, sample)
    if m.column == "elapsed" and ":" in sample:
        return _of_stopwatch(m, values)
    if ":" in sample:
        return _times_of_day(values)
    return _from_numbers(
        m, pd.to_numeric(_points(values), errors="coerce").to_numpy(dtype=np.float64), has_dates
    )


def _points(values: pd.Series) -> pd.Series:
    """Texts with decimal points where the table writes decimal commas."""
    texts = values.astype("str")
    commas = texts.iloc[:1000].str.contains(",", regex=False, na=False).any()
    return texts.str.replace(",", ".", regex=False) if commas else texts


def _times_of_day(values: pd.Series) -> _Reading:
    texts, east_us = _without_zone(_points(values))
    times = _durations(texts)
    named = (times != _NONE) & np.isfinite(east_us)
    times[named] -= east_us[named].astype(np.int64)
    return _Reading(_roll_over(times), False, [], east_us)


def _without_zone(texts: pd.Series) -> tuple[pd.Series, FloatArray]:
    """Take the zones off times of day; returns how far each is ahead of UTC [µs], NaN where not stated."""
    parts = texts.str.extract(_ZONED)
    named = parts[0].notna()
    minutes = parts[2].astype("float64").fillna(0.0) * 60.0 + parts[3].astype("float64").fillna(0.0)
    east_us = (minutes * 60e6).where(parts[1] != "-", -minutes * 60e6).where(named)
    return texts.mask(named, parts[0]), np.asarray(east_us, dtype=np.float64)


def _durations(texts: pd.Series) -> IntArray:
    # The parser of ISO 8601 is many times faster than that of durations, but wants two digits for the hour.
    stamps = pd.to_datetime("1970-01-01T" + texts, format="ISO8601", errors="coerce", utc=True)
    times = _microseconds(stamps.dt.tz_localize(None))
    rest = times == _NONE
    if rest.any():
        times[rest] = _half_day_times(texts[rest])
        rest = times == _NONE
    if rest.any():
        times[rest] = _microseconds(pd.to_timedelta(texts[rest].str.strip(), errors="coerce"))
    return times


def _half_day_times(texts: pd.Series) -> IntArray:
    """Read times of day with am or pm [µs], shape (n,)."""
    parts = texts.str.extract(_HALF_DAY)
    hour, minute, second = (pd.to_numeric(parts[i], errors="coerce").fillna(0.0) for i in range(3))
    afternoon = parts[3].str.lower() == "p"
    valid = parts[3].notna() & hour.between(1, 12) & (minute < 60) & (second < 61)
    seconds = (hour % 12 + 12 * afternoon) * 3600 + minute * 60 + second
    times = np.rint(seconds.to_numpy(dtype=np.float64) * 1e6)
    return np.where(valid.to_numpy(dtype=np.bool_), times, float(_NONE)).astype(np.int64)


def _of_stopwatch(m: Match, values: pd.Series) -> _Reading:
    """Elapsed times in three parts, or in two as a stopwatch shows them: minutes and seconds."""
    texts = _points(values)
    times = _durations(texts)
    parts = texts.str.extract(_TWO_PARTS)
    elapsed_s = (parts[0].astype("float64") * 60.0 + parts[1].astype("float64")).to_numpy(dtype=np.float64)
    two = np.isfinite(elapsed_s)
    times[two] = np.rint(elapsed_s[two] * 1e6).astype(np.int64)
    message = f"{m.shown!r} is written in two parts; minutes and seconds were assumed"
    findings = [Finding("unit-assumed", message, int(two.sum()))] if two.any() else []
    return _Reading(_roll_over(times), False, findings)


def _microseconds(times: pd.Series) -> IntArray:
    missing = times.isna().to_numpy()
    unit = "datetime64[us]" if times.dtype.kind == "M" else "timedelta64[us]"
    stamp_us = times.to_numpy().astype(unit).astype(np.int64)
    return np.where(missing, _NONE, stamp_us)


def _from_numbers(m: Match, numbers: FloatArray, has_dates: bool) -> _Reading:
    numbers = np.where(np.abs(numbers) < _MOST, numbers, np.nan)
    finite = numbers[np.isfinite(numbers)]
    if finite.size == 0:
        return _Reading(np.full(numbers.size, _NONE), False, [])
    if not m.unit and _are_times_of_day(m, finite, has_dates):
        message = f"{m.shown!r} states no unit; hours, minutes and seconds in one number were assumed"
        times = np.where(np.isfinite(numbers), of_hhmmss(numbers, 60), _NONE)
        return _Reading(_roll_over(times), False, [Finding("unit-assumed", message)])
    findings: list[Finding] = []
    factor = m.factor
    if not m.unit:
        typical = float(np.median(finite))
        factor = next((f for least, f in _EPOCH_FROM if typical >= least), 0.0)
        if factor == 0.0:
            # Whole numbers five and more apart are milliseconds: nothing logs motors or boats every 5 s.
            steps = np.diff(finite)
            steps = steps[steps > 0]
            coarse = bool(steps.size) and bool((finite % 1 == 0).all()) and float(np.median(steps)) >= 5
            factor = 1e-3 if coarse else 1.0
            name = "milliseconds" if coarse else "seconds"
            findings.append(Finding("unit-assumed", f"{m.shown!r} states no unit; {name} were assumed"))
    seconds = numbers * factor
    if not m.unit or m.column in ("elapsed", "clock"):
        numbers, wraps = _unwrapped(numbers)
        if wraps:
            message = f"{m.shown!r}: the device's counter ran over and was counted on"
            findings.append(Finding("clock-wrapped", message, wraps))
        seconds = numbers * factor
    usable = np.isfinite(seconds) & (np.abs(seconds) < 9e12)
    # Whole milli- and microseconds stay exact: they are scaled up, not down to seconds and up again.
    scale = round(1e6 * factor) if factor >= 1e-6 else 1e6 * factor
    stamp_us = np.full(numbers.size, _NONE)
    stamp_us[usable] = np.rint(numbers[usable] * scale).astype(np.int64)
    dated = bool(usable.any()) and float(np.median(seconds[usable])) > _EPOCH_FROM[-1][0]
    return _Reading(stamp_us, dated, findings)


def _unwrapped(numbers: FloatArray) -> tuple[FloatArray, int]:
    """Count on over the places where a counter of 16, 24, 31 or 32 bits runs over.

    A step back is one only if, with the counter's whole range added, it is a usual step of the log.
    """
    at = np.flatnonzero(np.isfinite(numbers))
    step = np.diff(numbers[at])
    back = np.flatnonzero(step < 0)
    forward = step[step > 0]
    if back.size == 0 or forward.size < 3:
        return numbers, 0
    usual = float(np.median(forward))
    for bits in (16, 24, 31, 32):
        whole = 2.0**bits
        inside = numbers[at].min() >= 0.0 and numbers[at].max() < whole
        if inside and bool((np.abs(step[back] + whole - usual) <= _MAX_WRAP_STEPS * usual).all()):
            result = numbers.copy()
            result[at] += np.concatenate([[0.0], np.cumsum(np.where(step < 0, whole, 0.0))])
            return result, int(back.size)
    return numbers, 0


_MAX_WRAP_STEPS: Final = 20.0


def _are_times_of_day(m: Match, numbers: FloatArray, has_dates: bool) -> bool:
    """Check whether all numbers can be ``hhmmss.ss`` and cannot well be anything else.

    Receivers' times count as such from 10 000 on, a value too large for the seconds of a short log. A bare
    ``time`` has to come with dates, or to leave out 60 to 99 of every hundred, over ten minutes at least.
    """
    if m.column not in ("utc", "clock") or not bool((of_hhmmss(numbers, 60) >= 0).all()):
        return False
    if m.column == "utc" or "hhmmss" in m.heading.lower():
        return float(numbers.max()) >= 10_000
    return has_dates or (float(numbers.max()) >= 10_000 and np.unique(numbers // 100).size >= _MIN_MINUTES)


_MIN_MINUTES: Final = 3


def _from_dates(values: pd.Series, sample: str) -> _Reading:
    texts = _points(values)
    if not _ISO_DATE.match(sample) or re.search(r"[aApP]\.?[mM]\.?\s*$", sample):
        parts = texts.str.split(r"[T\s]+", n=1, regex=True, expand=True)
        if parts.shape[1] < 2:
            return _Reading(np.full(len(values), _NONE), False, [])
        return _with_date(_times_of_day(parts[1]), parts[0])
    texts = texts.mask(texts.isin(_READ_AS_THIS_MOMENT))
    stamps = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True).dt.tz_localize(None)
    findings = []
    if not _ZONE.search(sample):
        findings.append(
            Finding("time-zone-assumed", "its times name no time zone and were taken as UTC", len(values))
        )
    return _Reading(_microseconds(stamps), True, findings)


def _with_date(reading: _Reading, dates: pd.Series, heading: str = "") -> _Reading:
    """Add the day from a column of dates to times of day."""
    codes, unique = pd.factorize(dates.astype("str").str.strip())
    parts = [_date_parts(str(text)) for text in unique]
    orders, days = _read_dates(parts, heading)
    ambiguous = len(orders) > 1
    if ambiguous:
        message = f"its dates may be {' or '.join(orders)}; times are kept, the day is not known"
        reading.findings.append(Finding("date-ambiguous", message, len(dates)))
    day = np.append(days, np.nan)[codes]  # the last where there is none
    both = reading.timed & np.isfinite(day)
    if not both.any():
        return reading
    if ambiguous:  # whatever day it was, the next one is not a month away
        return _Reading(_roll_over(np.where(both, reading.stamp_us % DAY_US, _NONE)), False, reading.findings)
    east_us = np.full(len(dates), np.nan) if reading.east_us is None else reading.east_us
    ahead_us = np.nan_to_num(east_us).astype(np.int64)  # the date is that of the time as it was written
    time_of_day = np.where(both, reading.stamp_us + ahead_us, 0) % DAY_US - ahead_us
    stamp_us = np.where(both, np.nan_to_num(day).astype(np.int64) * DAY_US + time_of_day, _NONE)
    unzoned = int((both & np.isnan(east_us)).sum())
    if unzoned:
        message = "its times name no time zone and were taken as UTC"
        reading.findings.append(Finding("time-zone-assumed", message, unzoned))
    return _Reading(stamp_us, True, reading.findings)


def _date_parts(text: str) -> re.Match[str] | None:
    short = text.removesuffix(".0")  # where the column has gaps
    padded = (
        short.zfill(6) if short.isdigit() and len(short) in (5, 6) else short
    )  # a zero is lost in a number
    return _DATE_PARTS.match(text) or _COMPACT_DATE.match(text) or _SHORT_DATE.match(padded)


def _read_dates(parts: list[re.Match[str] | None], heading: str) -> tuple[list[str], FloatArray]:
    """Read dates in the order that the most of them allow.

    Returns
    -------
    orders : list of str
        Such as ``day/month/year``; several where they fit equally and mean different days.
    days : ndarray, shape (n,)
        Since 1970 by the first of the orders, NaN where a date is none.
    """
    known = [p for p in parts if p is not None]
    if any(len(p[1]) == 4 for p in known):
        orders = ["year/month/day"]
    elif any(p[2] == "." for p in known):  # written with points, the day goes first
        orders = ["day/month/year"]
    elif any(not p[2] for p in known):
        orders = _short_orders(parts, heading)
    elif any(len(p[4]) == 4 for p in known):
        orders = ["day/month/year", "month/day/year"]
    else:
        orders = ["day/month/year", "month/day/year", "year/month/day"]
    read = {order: _days(parts, order) for order in orders}
    fits = {order: int(np.isfinite(days).sum()) for order, days in read.items()}
    best = [order for order in orders if fits[order] == max(fits.values())]
    # 05/05/2021 reads the same either way.
    differing = [
        order for order in best[1:] if not np.array_equal(read[order], read[best[0]], equal_nan=True)
    ]
    return [best[0], *differing], read[best[0]]


def _short_orders(parts: list[re.Match[str] | None], heading: str) -> list[str]:
    """Orders that dates of six digits may have: what the heading says, else what gives years of GPS logs."""
    plain = re.sub(r"[^a-z]", "", heading.lower())
    orders = ["year/month/day", "day/month/year"]
    for written, order in zip(("yymmdd", "ddmmyy"), orders, strict=True):
        if written in plain:
            return [order]
    years = {
        order: int(np.nanmedian(days)) // 365 + 1970
        for order in orders
        if np.isfinite(days := _days(parts, order)).any()
    }
    recent = [order for order, year in years.items() if _FIRST_YEAR <= year <= _LAST_YEAR]
    return recent or orders


_FIRST_YEAR: Final = 2008
_LAST_YEAR: Final = 2035


def _days(parts: list[re.Match[str] | None], order: str) -> FloatArray:
    """Days since 1970, NaN where there is none, shape (n,)."""
    numbers = np.array([(0, 0, 0) if p is None else (int(p[1]), int(p[3]), int(p[4])) for p in parts])
    part = dict(zip(order.split("/"), numbers.reshape(-1, 3).T, strict=True))
    year = part["year"]
    century = np.where(year < 80, 2000, np.where(year < 100, 1900, 0))
    return days_since_1970(year + century, part["month"], part["day"])


def _roll_over(time_of_day_us: IntArray) -> IntArray:
    """Let times of day run on over midnight."""
    timed = time_of_day_us != _NONE
    step = np.diff(time_of_day_us[timed], prepend=time_of_day_us[timed][:1])
    midnights = np.cumsum((step < -DAY_US // 2).astype(np.int64) - (step > DAY_US // 2))
    result = time_of_day_us.copy()
    result[timed] += midnights * DAY_US
    return result
