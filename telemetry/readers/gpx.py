"""GPX 1.0 and 1.1: all tracks and segments of a file as one track, in file order.

gpxpy reads ordinary files. A direct walk over the XML elements takes over where gpxpy refuses the file (it
raises on the first bad coordinate and on any cut) or drops what the file states (a bare ``<speed>`` or
``<course>`` in GPX 1.1), and a finding says so. The walk also serves large files, for whose points gpxpy's
objects take seconds. A test holds both to the same values on every recorded log.

The point elements of GPX 1.0 (``speed``, ``course``) and those of any extension are recognised by local name,
whatever their namespace; both Topografix and the widespread track-point extension state metres per second and
degrees. Times without a zone are taken as UTC, as the GPX schema demands.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from functools import lru_cache
from typing import Any, Final

import gpxpy
import gpxpy.gpxfield
import numpy as np
from lxml import etree

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import Finding, FloatArray, IntArray, Log, LogMeta, make_track
from telemetry.core.progress import report
from telemetry.core.sanitize import SHORT, shortened
from telemetry.readers import notes, stamps
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.text import decode

_ROOT: Final = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>]")
_DECLARATION: Final = re.compile(r"^\s*<\?xml[^>]*\?>")
_NAMESPACE: Final = re.compile(r"xmlns(?::[\w.-]{1,40})?\s{0,9}=\s{0,9}[\"'][^\"']{0,400}[\"']")
_DROPPED: Final = re.compile(r"<(?:[\w.-]+:)?(speed|course|hacc|sacc|vspeed)[\s/>]", re.IGNORECASE)

# gpxpy makes a Python object of some fifty fields of each point: about 45 µs and 2 kB.
_MAX_POINTS: Final = 15_000
_MAX_ELEMENTS: Final = 300_000
_TOLD_EVERY: Final = 1000

_COLUMN_OF: Final = {
    "ele": "alt_m",
    "speed": "speed_mps",
    "course": "course_deg",
    "hdop": "hdop",
    "sat": "satellites",
    "hacc": "horizontal_sd_m",
    "sacc": "speed_sd_mps",
    "vspeed": "vertical_mps",
}
"""Local element names, lower case, of a track point or anywhere below its extensions."""

_ATTRIBUTES: Final = {
    "alt_m": "elevation",
    "speed_mps": "speed",
    "course_deg": "course",
    "hdop": "horizontal_dilution",
    "satellites": "satellites",
}
"""gpxpy's names for what it reads itself."""

_EPOCH: Final = dt.datetime(1970, 1, 1)  # noqa: DTZ001 - the zones are taken off before times become numbers
_NO_TIME: Final = int(np.iinfo(np.int64).min)


def _sniff(head: bytes) -> bool:
    return _ROOT.search(head.replace(b"\0", b"")) is not None


class _Points:
    """What either decoder hands over: a list for each column, in file order.

    ``times`` is None where a point has no time; ``more`` holds, for each further column, the
    numbers of the points that have it and their values; ``misplaced`` counts points without a position.
    """

    def __init__(self) -> None:
        self.lat_deg: list[float] = []
        self.lon_deg: list[float] = []
        self.times: list[dt.datetime | None] = []
        self.more: dict[str, tuple[list[int], list[float]]] = {}
        self.misplaced = 0

    def set(self, column: str, point: int, value: float) -> None:
        """Give a point a further value."""
        at, values = self.more.setdefault(column, ([], []))
        at.append(point)
        values.append(value)

    def stamp_us(self) -> IntArray:
        """Microseconds since 1970, shape (n,)."""
        naive = [_EPOCH if time is None else time.replace(tzinfo=None) for time in self.times]
        # gpxpy's zones carry their offset in minutes; a time without a zone is UTC.
        east_min = [getattr(time.tzinfo, "offset", 0) if time is not None else 0 for time in self.times]
        stamp_us = np.array(naive, dtype="datetime64[us]").astype(np.int64)
        stamp_us -= np.array(east_min, dtype=np.int64) * 60_000_000
        stamp_us[[time is None for time in self.times]] = _NO_TIME
        return stamp_us

    def columns(self) -> dict[str, FloatArray]:
        """Everything else as arrays, shape (n,)."""
        result = {
            "lat_deg": np.array(self.lat_deg, dtype=np.float64),
            "lon_deg": np.array(self.lon_deg, dtype=np.float64),
        }
        for name, (at, given) in self.more.items():
            values = np.full(len(self.times), np.nan)
            values[at] = given
            result[name] = values
        return result


def _read(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
    text = decode(data)[0]
    if "<!ENTITY" in text:
        raise DamagedLogError(
            "it declares XML entities, which no GPX log needs and which can be made to fill the memory",
            file=file,
            hint="export the log again from the device",
        )
    # The declaration names the encoding of the bytes, which are text by now.
    text = _DECLARATION.sub("", text, count=1).replace("\0", "")
    report(0.05)
    points, findings = _points(text, file)
    report(0.9)
    return (_track(points, findings, file),)


def _points(text: str, file: str) -> tuple[_Points, list[Finding]]:
    why = ""
    if _suits_gpxpy(text):
        try:
            points = _from_gpxpy(gpxpy.parse(text))
        except Exception as error:
            # A foreign decoder on foreign bytes: its XML library has errors of its own.
            why = f"the usual decoder gave up ({_told(error)})"
        else:
            if not _lacks(points, text):
                return points, []
            walked, damage = _from_elements(text)
            if damage or _given(walked) <= _given(points):  # the rest is of waypoints, or no number
                return points, []
            told = "read element by element: the usual decoder drops what stands outside an extension"
            return walked, [Finding("second-decoder", told)]
    points, damage = _from_elements(text)
    if not points.times and damage:
        raise DamagedLogError(
            f"it breaks off before the first track point: {damage}",
            file=file,
            hint="export the log again from the device",
        )
    findings = [Finding("second-decoder", f"read element by element: {why}")] if why else []
    if damage:
        findings.append(Finding("salvaged", f"the XML is damaged, what stands before was read: {damage}"))
    return points, findings


def _lacks(points: _Points, text: str) -> bool:
    """Tell whether the text states more than was taken of what gpxpy knows in an extension alone."""
    stated = Counter(_COLUMN_OF[name.lower()] for name in _DROPPED.findall(text))
    return any(count > len(points.more.get(column, ((), ()))[0]) for column, count in stated.items())


def _given(points: _Points) -> int:
    return sum(len(at) for at, _ in points.more.values())


def _suits_gpxpy(text: str) -> bool:
    """Tell whether gpxpy's per-point objects and its regular expressions stay within a second or two."""
    return (
        text.count("<trkpt") + text.count("<wpt") + text.count("<rtept") <= _MAX_POINTS
        and text.count("<") <= _MAX_ELEMENTS
        and text.count("xmlns") <= 100
        and text.count("xmlns") == sum(1 for _ in _NAMESPACE.finditer(text))
    )


def _told(error: BaseException) -> str:
    """Tell what a decoder says, which quotes the file as it stands."""
    return shortened(str(error), SHORT) or type(error).__name__


def _from_gpxpy(gpx: gpxpy.gpx.GPX) -> _Points:
    each = [p for track in gpx.tracks for segment in track.segments for p in segment.points]
    points = _Points()
    points.lat_deg = [p.latitude for p in each]
    points.lon_deg = [p.longitude for p in each]
    points.times = [p.time for p in each]
    for column, attribute in _ATTRIBUTES.items():
        given = [(n, value) for n, p in enumerate(each) if (value := getattr(p, attribute)) is not None]
        if given:
            points.more[column] = ([n for n, _ in given], [float(value) for _, value in given])
    for n, p in enumerate(each):
        if p.type_of_gpx_fix is not None:
            points.set("fix", n, float(p.type_of_gpx_fix != "none"))
        for extension in p.extensions:
            for element in extension.iter():
                if _column_of(element.tag) is not None:  # asked here, since most elements are wrappers
                    _set_by_name(points, n, element)
    return points


def _set_by_name(points: _Points, point: int, element: Any) -> None:
    column = _column_of(element.tag)
    if column is not None:
        value = _number(element.text)
        if value is not None:
            points.set(column, point, value)


@lru_cache(maxsize=1024)
def _local_name(tag: Any) -> str:
    """Name of an element without namespace or prefix; empty for a comment or a processing instruction."""
    return tag.rpartition("}")[2].rpartition(":")[2] if isinstance(tag, str) else ""


@lru_cache(maxsize=1024)
def _column_of(tag: Any) -> str | None:
    return _COLUMN_OF.get(_local_name(tag).lower())


def _number(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if abs(value) < 1e12 else None  # also turns "nan" and "inf" away


def _from_elements(text: str) -> tuple[_Points, str]:
    """Walk the XML itself; returns the points and what is wrong with the XML (empty if nothing)."""
    parser = etree.XMLParser(recover=True, resolve_entities=False, no_network=True, remove_comments=True)
    try:
        root = etree.fromstring(text.encode("utf-8", errors="replace"), parser)
    except etree.XMLSyntaxError as error:  # beyond what can be recovered: no element at all
        return _Points(), _told(error)
    faults = [entry.message for entry in parser.error_log if entry.level_name in ("ERROR", "FATAL")]
    damage = f"{shortened(faults[0], SHORT)} (line {parser.error_log[0].line})" if faults else ""
    points = _Points()
    if root is not None:
        likely = max(1, text.count("trkpt") // 2)  # a start and an end each
        for element in root.iter():
            if _local_name(element.tag) == "trkpt":
                if len(points.times) % _TOLD_EVERY == 0:
                    report(0.2 + 0.7 * min(1.0, len(points.times) / likely))
                _add_element(points, element)
    return points, damage


def _add_element(points: _Points, element: Any) -> None:
    lat_deg, lon_deg = _number(element.get("lat")), _number(element.get("lon"))
    if lat_deg is None or lon_deg is None:
        points.misplaced += 1
        return
    n = len(points.times)
    points.lat_deg.append(lat_deg)
    points.lon_deg.append(lon_deg)
    points.times.append(None)
    for child in element.iterdescendants():
        name = _local_name(child.tag)
        if name == "time" and child.getparent() is element and points.times[n] is None:
            points.times[n] = gpxpy.gpxfield.TIME_TYPE.from_string(child.text)
        elif name == "fix":
            points.set("fix", n, float((child.text or "").strip() != "none"))
        else:
            _set_by_name(points, n, child)


def _track(points: _Points, findings: list[Finding], file: str) -> Log:
    if points.misplaced:
        findings.append(
            Finding("no-position", "points whose latitude or longitude is no number", points.misplaced)
        )
    stamp_us = points.stamp_us()
    timed = stamp_us != _NO_TIME
    if not timed.any():
        raise NothingUsableError(_nothing(points), file=file, hint=_MEND_NOTHING)
    untimed = int((~timed).sum())
    if untimed:
        findings.append(Finding("no-time", "points without a time were left out", untimed))
    believed = timed.copy()
    believed[timed] = stamps.believable(stamp_us[timed])
    findings += notes.odd_stamps(stamp_us[timed], believed[timed])
    columns = {name: values[believed] for name, values in points.columns().items()}
    stamp_us = stamp_us[believed]
    t_s = stamps.seconds(stamp_us)
    findings += notes.before_gps(stamp_us)
    findings += notes.no_fix(columns, t_s)
    meta = LogMeta(file, "gpx", start_utc=stamps.utc(int(stamp_us[0])))
    return make_track(columns, t_s, meta, findings)


_MEND_NOTHING: Final = "record a track (not a route or waypoints) with time stamps, and export that"


def _nothing(points: _Points) -> str:
    if points.times:
        return f"none of its {len(points.times)} points carries a time, so there is no speed in it"
    if points.misplaced:
        return f"the latitude or longitude of all {points.misplaced} points is no number"
    return "it holds no track point"


READER = LogReader("gpx", (".gpx",), _sniff, _read)
