"""NMEA 0183: any talker's RMC, GGA, GLL, VTG, GSA and ZDA sentences, joined by epoch.

An epoch is a run of sentences with one time of day; a sentence type that comes twice in a run begins a
further row, so that a frozen clock stays visible to the cleaning. VTG and GSA carry no time. They belong to
the epoch before them, or to the one after where the log begins with one: receivers differ in which they send
first. Where RMC states the same speed as VTG, agreement with it decides instead.
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import BoolArray, Finding, FloatArray, IntArray, Log, LogMeta, make_track
from telemetry.core.progress import report
from telemetry.core.sanitize import LABEL, cut
from telemetry.core.units import KMH_MPS, KNOT_MPS
from telemetry.readers import notes, stamps
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.nmea_fields import Fields, Sentences, find_commas, foreign_addresses, kind_code, split

_SENTENCE: Final = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|GLL|VTG|GSA|GSV|ZDA|GNS|GBS|GST),|![A-Z]{2}VD[MO],")
_TIME_FIELD: Final = {"RMC": 1, "GGA": 1, "GLL": 5}
_MAX_LISTED: Final = 8
_MIN_CHARACTERS: Final = len("$GPVTG,,,,,,,,")
_DAY_US: Final = stamps.DAY_US


_READ: Final = ("RMC", "GGA", "GLL", "VTG", "GSA", "ZDA")


def _sniff(head: bytes) -> bool:
    return _SENTENCE.search(head) is not None


def _read(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
    sentences = split(data)
    good, findings = _good(sentences, file)
    commas = find_commas(sentences)
    # Shorter ones hold neither a time nor an empty field for each of their kind: they only fill the memory.
    long = good & (sentences.end - sentences.start >= _MIN_CHARACTERS)
    places = {name: np.flatnonzero(long & (sentences.kind == kind_code(name))) for name in _READ}
    fields = {name: Fields(sentences, where, commas) for name, where in places.items()}

    report(0.4)
    epochs = _Epochs(places, fields)
    if epochs.rows == 0:
        raise NothingUsableError(
            "no sentence with a time and a fix (RMC, GGA or GLL) is whole",
            file=file,
            hint="switch RMC on in the receiver, or export the log again",
        )
    stamp_us, dated, more = _stamps(epochs, fields)
    findings += more
    report(0.6)
    columns = _columns(epochs, fields)
    findings += _unread(fields)
    report(0.9)
    believed = stamps.believable(stamp_us) if dated else np.ones(stamp_us.size, dtype=np.bool_)
    findings += notes.odd_stamps(stamp_us, believed)
    stamp_us = stamp_us[believed]
    columns = {name: values[believed] for name, values in columns.items()}
    order = stamps.chronological(stamp_us) if dated else None
    if order is not None:
        findings += notes.sorted_by_time(stamp_us)
        stamp_us = stamp_us[order]
        columns = {name: values[order] for name, values in columns.items()}
    t_s = stamps.seconds(stamp_us)
    if dated:
        findings += notes.before_gps(stamp_us)
    findings += notes.no_fix(columns, t_s)
    meta = LogMeta(file, "nmea", start_utc=stamps.utc(int(stamp_us[0])) if dated else None)
    return (make_track(columns, t_s, meta, findings),)


def _good(sentences: Sentences, file: str) -> tuple[BoolArray, list[Finding]]:
    findings = []
    # A receiver may sum up its own sentences alone: those that are read decide.
    read = np.isin(sentences.kind, [kind_code(name) for name in _READ])
    if sentences.has_checksum[read].any() or (sentences.has_checksum.any() and not read.any()):
        good = sentences.checksum_ok & ~sentences.foreign
        bad = int((~good & ~sentences.foreign).sum())
        if bad:
            findings.append(
                Finding("bad-checksum", "sentences with a wrong or missing checksum were left out", bad)
            )
    else:
        # Receivers may leave checksums out altogether; then there is nothing to verify, and that is said.
        good = ~sentences.foreign
        findings.append(
            Finding(
                "no-checksum",
                "no sentence that is read carries a checksum: damage cannot be seen",
                int(good.sum()),
            )
        )
    foreign = int(sentences.foreign.sum())
    if foreign:
        names = ", ".join(cut(foreign_addresses(sentences, _MAX_LISTED), _MAX_LISTED, LABEL))
        message = f"proprietary and encapsulated sentences are not read and were passed over: {names}"
        findings.append(Finding("sentences-unread", message, foreign))
    if not good.any():
        raise DamagedLogError(
            f"none of its {good.size - foreign} sentences passes its checksum",
            file=file,
            hint="record again; the link between receiver and logger drops characters",
        )
    if sentences.stray_lines:
        findings.append(
            Finding("stray-text", "lines that are no sentence were skipped", sentences.stray_lines)
        )
    return good, findings


def _unread(fields: dict[str, Fields]) -> list[Finding]:
    """Report fields of valid sentences that hold something else than their type allows."""
    counts = {f"{name} field {at}": n for name, of in fields.items() for at, n in of.unread().items()}
    if not counts:
        return []
    message = f"fields that are not what belongs there were left out: {', '.join(counts)}"
    return [Finding("bad-number", message, sum(counts.values()))]


class _Epochs:
    """Which row each sentence belongs to.

    Attributes
    ----------
    rows : int
        Number of rows.
    row_of : dict of str to ndarray of int
        For each timed type, the row of each of its sentences, -1 for one without a usable time.
    tod_us : ndarray of int, shape (rows,)
        Time of day [µs].
    """

    def __init__(self, places: dict[str, IntArray], fields: dict[str, Fields]) -> None:
        self._places = places
        times = {name: _time_of_day_us(fields[name], at) for name, at in _TIME_FIELD.items()}
        place = np.concatenate([places[name] for name in times])
        tod = np.concatenate(list(times.values()))
        kind = np.concatenate([np.full(t.size, i) for i, t in enumerate(times.values())])
        order = np.argsort(place, kind="stable")
        order = order[tod[order] >= 0]
        place, tod, kind = place[order], tod[order], kind[order]
        run = np.cumsum(np.diff(tod, prepend=tod[:1]) != 0)
        key = np.empty(run.size, dtype=np.int64)
        for i in range(len(times)):
            chosen = kind == i
            key[chosen] = _key(run[chosen])
        self._keys, first = np.unique(key, return_index=True)
        self.rows = int(self._keys.size)
        self.tod_us = tod[first]
        self._timed_place, self._timed_run = place, run
        self.row_of: dict[str, IntArray] = {}
        row = np.searchsorted(self._keys, key)
        for i, name in enumerate(times):
            rows = np.full(places[name].size, -1)
            rows[np.searchsorted(places[name], place[kind == i])] = row[kind == i]
            self.row_of[name] = rows

    def untimed(self, name: str, leading: bool) -> IntArray:
        """Rows of sentences without a time; -1 where there is no epoch for one."""
        place = self._places[name]
        at = np.searchsorted(self._timed_place, place) - (0 if leading else 1)
        inside = (at >= 0) & (at < self._timed_place.size)
        key = _key(self._timed_run[at[inside]])
        row = np.searchsorted(self._keys, key)
        known = self._keys[np.minimum(row, self.rows - 1)] == key
        result = np.full(place.size, -1)
        result[inside] = np.where(known, row, -1)
        return result

    def begins_with(self, name: str) -> bool:
        """Whether the log's first sentence of this type stands before the first timed one."""
        return bool(self._places[name].size and self._places[name][0] < self._timed_place[0])

    def spread(self, values: FloatArray, row: IntArray) -> FloatArray:
        """Assign one type's values to the rows, NaN where a row has none; the first of several stays."""
        result = np.full(self.rows, np.nan)
        known = row >= 0
        result[row[known][::-1]] = values[known][::-1]
        return result


def _key(run: IntArray) -> IntArray:
    """Make one number of each sentence's run and of how often its type came before in that run."""
    index = np.arange(run.size)
    begins = np.flatnonzero(np.diff(run, prepend=-1))
    nth = index - begins[np.cumsum(np.diff(run, prepend=-1) != 0) - 1] if run.size else index
    return np.asarray(run.astype(np.int64) << 24 | nth)


def _time_of_day_us(fields: Fields, number: int) -> IntArray:
    """Time of day from ``hhmmss.sss`` [µs], -1 where there is none."""
    time_us = stamps.of_hhmmss(fields.number(number), seconds_below=61)
    fields.hold(number, time_us >= 0)
    return time_us


def _stamps(epochs: _Epochs, fields: dict[str, Fields]) -> tuple[IntArray, bool, list[Finding]]:
    """Time of each row [µs since 1970, or since the first midnight], and whether the day is known."""
    tod = epochs.tod_us
    step = np.diff(tod, prepend=tod[:1])
    # A step back of more than half a day is midnight; one forward is a stamp out of order across midnight.
    midnights = np.cumsum((step < -_DAY_US // 2).astype(np.int64) - (step > _DAY_US // 2))
    day = _days(epochs, fields)
    known = np.flatnonzero(np.isfinite(day))
    if known.size == 0:
        finding = Finding("no-date", "no sentence says which day it was; times of day only", int(tod.size))
        return midnights * _DAY_US + tod, False, [finding]
    # Rows without a date of their own take the last one before them, those at the beginning the first.
    source = known[np.maximum(np.searchsorted(known, np.arange(tod.size), side="right") - 1, 0)]
    day_of_row = day[source].astype(np.int64) - midnights[source] + midnights
    return day_of_row * _DAY_US + tod, True, []


def _days(epochs: _Epochs, fields: dict[str, Fields]) -> FloatArray:
    """Days since 1970 as RMC states them, else as ZDA does, NaN where neither does; shape (rows,)."""
    rmc = fields["RMC"]
    ddmmyy = np.nan_to_num(rmc.number(9), nan=0.0).astype(np.int64)
    year = ddmmyy % 100
    days = stamps.days_since_1970(
        np.where(year < 80, 2000, 1900) + year, ddmmyy // 100 % 100, ddmmyy // 10_000
    )
    # A receiver without a fix may still count from its last or first known day: a valid fix knows better.
    valid = rmc.letter(2) == ord("A")
    rmc.hold(9, np.isfinite(days) | ~valid)
    for usable in (valid, np.ones(days.size, dtype=np.bool_)):
        spread = epochs.spread(np.where(usable, days, np.nan), epochs.row_of["RMC"])
        if np.isfinite(spread).any():
            return spread
    zda = fields["ZDA"]
    whole = [np.nan_to_num(zda.number(n), nan=0.0).astype(np.int64) for n in (4, 3, 2)]
    tod = _time_of_day_us(zda, 1)
    row = epochs.untimed("ZDA", leading=epochs.begins_with("ZDA"))
    # The row may lie on the other side of midnight; no ZDA is half a day from its epoch.
    moment = stamps.days_since_1970(*whole) * _DAY_US + tod
    days = np.where(tod >= 0, np.rint((moment - epochs.tod_us[np.maximum(row, 0)]) / _DAY_US), np.nan)
    return epochs.spread(days, row)


def _columns(epochs: _Epochs, fields: dict[str, Fields]) -> dict[str, FloatArray]:
    rmc, gga, gll = fields["RMC"], fields["GGA"], fields["GLL"]
    row = epochs.row_of

    def angle(*candidates: tuple[str, int]) -> FloatArray:
        result = np.full(epochs.rows, np.nan)
        for name, at in candidates:
            missing = np.isnan(result)
            if not missing.any():
                break
            result[missing] = epochs.spread(_angle_deg(fields[name], at), row[name])[missing]
        return result

    speed_mps, course_deg, vtg_fix = _speed_and_course(epochs, fields)
    columns = {
        "lat_deg": angle(("GGA", 2), ("RMC", 3), ("GLL", 1)),
        "lon_deg": angle(("GGA", 4), ("RMC", 5), ("GLL", 3)),
        "alt_m": epochs.spread(gga.number(9), row["GGA"]),
        "speed_mps": speed_mps,
        "course_deg": course_deg,
        "hdop": epochs.spread(gga.number(8), row["GGA"]),
        "satellites": epochs.spread(gga.number(7), row["GGA"]),
    }
    if np.isnan(columns["hdop"]).all():
        gsa_row = epochs.untimed("GSA", leading=epochs.begins_with("GSA"))
        columns["hdop"] = epochs.spread(fields["GSA"].number(16), gsa_row)
    verdicts = [
        epochs.spread(_valid(rmc, 2, 12), row["RMC"]),
        epochs.spread(_quality(gga), row["GGA"]),
        epochs.spread(_valid(gll, 6, 7), row["GLL"]),
        vtg_fix,
    ]
    columns["fix"] = np.fmin.reduce(verdicts)  # one sentence that says "no fix" is enough
    return columns


def _angle_deg(fields: Fields, number: int) -> FloatArray:
    """Latitude or longitude from ``dddmm.mmm`` and its hemisphere letter [deg]."""
    value = fields.number(number)
    degrees = np.floor(value / 100.0)
    minutes = value - degrees * 100.0
    hemisphere = fields.letter(number + 1)
    south_or_west = (hemisphere == ord("S")) | (hemisphere == ord("W"))
    known = south_or_west | (hemisphere == ord("N")) | (hemisphere == ord("E"))
    angle = np.where(south_or_west, -1.0, 1.0) * (degrees + minutes / 60.0)
    usable = known & (minutes < 60.0)
    fields.hold(number, usable)
    return np.where(usable, angle, np.nan)


def _valid(fields: Fields, status_at: int, mode_at: int) -> FloatArray:
    """Return 1 for status A, 0 for V and for modes without a measurement."""
    status = fields.letter(status_at)
    result = np.where(status == ord("A"), 1.0, np.where(status == ord("V"), 0.0, np.nan))
    result[_unmeasured(fields, mode_at)] = 0.0
    return result


def _unmeasured(fields: Fields, mode_at: int) -> BoolArray:
    """Mark modes without a measurement: no fix (N), dead reckoning (E), manual input (M)."""
    return np.isin(fields.letter(mode_at), [ord(letter) for letter in "NEM"])


def _quality(gga: Fields) -> FloatArray:
    """Return 1 for a satellite fix, 0 for none, dead reckoning and manual input, NaN where empty."""
    quality = gga.number(6)
    return np.where(np.isnan(quality), np.nan, ~np.isin(quality, (0.0, 6.0, 7.0)))


def _speed_and_course(
    epochs: _Epochs, fields: dict[str, Fields]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Speed from whichever of RMC and VTG (knots or km/h) writes it most finely, gaps from the other.

    Returns
    -------
    speed_mps, course_deg : ndarray, shape (rows,)
    fix : ndarray, shape (rows,)
        0 where VTG says that they are not measured, else NaN.
    """
    rmc, vtg = fields["RMC"], fields["VTG"]
    rmc_row = epochs.row_of["RMC"]
    rmc_kn, rmc_places = rmc.number_and_places(7)
    vtg_kn, kn_places = vtg.number_and_places(5)
    vtg_kmh, kmh_places = vtg.number_and_places(7)
    step_rmc, step_kn, step_kmh = (
        KNOT_MPS / 10.0**rmc_places,
        KNOT_MPS / 10.0**kn_places,
        KMH_MPS / 10.0**kmh_places,
    )
    fine, coarse = vtg_kmh * KMH_MPS, vtg_kn * KNOT_MPS
    step_vtg = step_kmh
    if np.isnan(fine).all() or (step_kn <= step_kmh and not np.isnan(coarse).all()):
        fine, coarse, step_vtg = coarse, fine, step_kn
    vtg_mps = np.where(np.isnan(fine), coarse, fine)

    from_rmc = epochs.spread(rmc_kn * KNOT_MPS, rmc_row)
    options = [epochs.untimed("VTG", leading) for leading in (False, True)]
    spreads = [epochs.spread(vtg_mps, row) for row in options]
    misfits = [_misfit(from_rmc, spread) for spread in spreads]
    leading = epochs.begins_with("VTG") if misfits[0] == misfits[1] else misfits[1] < misfits[0]
    from_vtg, misfit = spreads[leading], misfits[leading]

    # VTG is preferred only where it is finer and agrees with RMC within the rounding of both.
    trusted = np.isfinite(misfit) and misfit <= step_rmc + step_vtg
    first, second = (from_vtg, from_rmc) if step_vtg < step_rmc and trusted else (from_rmc, from_vtg)
    course_rmc = epochs.spread(rmc.number(8), rmc_row)
    course_vtg = epochs.spread(vtg.number(1), options[leading])
    return (
        np.where(np.isnan(first), second, first),
        np.where(np.isnan(course_rmc), course_vtg, course_rmc),
        epochs.spread(np.where(_unmeasured(vtg, 9), 0.0, np.nan), options[leading]),
    )


def _misfit(a: FloatArray, b: FloatArray) -> float:
    """Mean difference where both are known; infinite where they never meet."""
    both = np.isfinite(a) & np.isfinite(b)
    return float(np.mean(np.abs(a[both] - b[both]))) if both.any() else float("inf")


READER = LogReader("nmea", (".nmea", ".nma", ".log", ".txt"), _sniff, _read)
