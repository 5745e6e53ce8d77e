"""GPX 1.0 and 1.1: all tracks and segments of a file as one track, in file order.

gpxpy reads ordinary files. A direct walk over the XML elements takes over in three cases, and a finding says
so: gpxpy refuses the file (it raises on the first bad coordinate and on any cut), it drops a speed the file
states (a bare ``<speed>`` in GPX 1.1), or the file is so large that gpxpy's objects would take seconds. A
test holds both to the same values on every recorded log.

The point elements of GPX 1.0 (``speed``, ``course``) and those of any extension are recognised by local name,
whatever their namespace; both Topografix and the widespread track-point extension state metres per second and
degrees. Times without a zone are taken as UTC, as the GPX schema demands.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from typing import Any, Final

import gpxpy
import gpxpy.gpxfield
import numpy as np
from lxml import etree

from telemetry.errors import DamagedLogError, NothingUsableError
from telemetry.frames import Finding, FloatArray, Log, LogMeta, make_track
from telemetry.readers import notes, stamps
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.text import decode

_ROOT: Final = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>]")
_DECLARATION: Final = re.compile(r"^\s*<\?xml[^>]*\?>")
_NAMESPACE: Final = re.compile(r"\sxmlns(?::[\w.-]{1,40})?\s{0,9}=\s{0,9}[\"'][^\"']{0,400}[\"']")
_SPEED_ELEMENT: Final = re.compile(r"<(?:[\w.-]+:)?speed>")

# gpxpy makes a Python object of some fifty fields of each point: about 45 µs and 2 kB.
_MOST_POINTS: Final = 25_000
_MOST_ELEMENTS: Final = 500_000

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

_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MICROSECOND: Final = dt.timedelta(microseconds=1)
_NO_TIME: Final = int(np.iinfo(np.int64).min)


def _sniff(head: bytes) -> bool:
    return _ROOT.search(head.replace(b"\0", b"")) is not None


class _Points:
    """Columns that grow point by point; a column that a point lacks is filled up with NaN."""

    def __init__(self) -> None:
        self.stamp_us: list[int] = []
        self.lat_deg: list[float] = []
        self.lon_deg: list[float] = []
        self.more: dict[str, list[tuple[int, float]]] = {}
        self.misplaced = 0

    def add(self, time: dt.datetime | None, lat_deg: float, lon_deg: float) -> int:
        """Append a point and return its number."""
        self.stamp_us.append(_NO_TIME if time is None else _microseconds(time))
        self.lat_deg.append(lat_deg)
        self.lon_deg.append(lon_deg)
        return len(self.stamp_us) - 1

    def set(self, column: str, point: int, value: float) -> None:
        """Give a point a further value."""
        self.more.setdefault(column, []).append((point, value))

    def columns(self) -> dict[str, FloatArray]:
        """Everything as arrays, shape (n,)."""
        result = {"lat_deg": np.array(self.lat_deg), "lon_deg": np.array(self.lon_deg)}
        for name, entries in self.more.items():
            values = np.full(len(self.stamp_us), np.nan)
            at, given = zip(*entries, strict=True)
            values[np.array(at)] = given
            result[name] = values
        return result


def _microseconds(time: dt.datetime) -> int:
    if time.tzinfo is None:
        time = time.replace(tzinfo=dt.UTC)
    try:
        return (time - _EPOCH) // _MICROSECOND
    except ValueError:  # a zone a day or more away from UTC
        return _NO_TIME


def _read(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
    text = decode(data)[0]
    if "<!ENTITY" in text:
        raise DamagedLogError(
            "it declares XML entities, which no GPX log needs and which can be made to fill the memory",
            file=file,
            mend="export the log again from the device",
        )
    # The declaration names the encoding of the bytes, which are text by now.
    text = _DECLARATION.sub("", text, count=1).replace("\0", "")
    points, findings = _points(text, file)
    return (_track(points, findings, file),)


def _points(text: str, file: str) -> tuple[_Points, list[Finding]]:
    why = "the file is larger than the usual decoder reads in good time"
    if _suits_gpxpy(text):
        try:
            points = _from_gpxpy(gpxpy.parse(text))
        except Exception as error:
            # A foreign decoder on foreign bytes: its XML library has errors of its own.
            why = f"the usual decoder gave up ({_first_line(error)})"
        else:
            if "speed_mps" in points.more or not _SPEED_ELEMENT.search(text):
                return points, []
            why = "the usual decoder drops the speeds that stand outside an extension"
    points, damage = _from_elements(text)
    if not points.stamp_us and damage:
        raise DamagedLogError(
            f"it breaks off before the first track point: {damage}",
            file=file,
            mend="export the log again from the device",
        )
    findings = [Finding("second-decoder", f"read element by element: {why}")]
    if damage:
        findings.append(Finding("salvaged", f"the XML is damaged, what stands before was read: {damage}"))
    return points, findings


def _suits_gpxpy(text: str) -> bool:
    """Tell whether gpxpy's per-point objects and its regular expressions stay within a second or two."""
    return (
        text.count("<trkpt") + text.count("<wpt") + text.count("<rtept") <= _MOST_POINTS
        and text.count("<") <= _MOST_ELEMENTS
        and text.count("xmlns") <= 100
        and text.count("xmlns") == sum(1 for _ in _NAMESPACE.finditer(text))
    )


def _first_line(error: BaseException) -> str:
    return str(error).strip().splitlines()[0][:160] if str(error).strip() else type(error).__name__


def _from_gpxpy(gpx: gpxpy.gpx.GPX) -> _Points:
    points = _Points()
    for track in gpx.tracks:
        for segment in track.segments:
            for p in segment.points:
                n = points.add(p.time, p.latitude, p.longitude)
                if p.elevation is not None:
                    points.set("alt_m", n, p.elevation)
                if p.speed is not None:
                    points.set("speed_mps", n, p.speed)
                if p.course is not None:
                    points.set("course_deg", n, p.course)
                if p.horizontal_dilution is not None:
                    points.set("hdop", n, p.horizontal_dilution)
                if p.satellites is not None:
                    points.set("satellites", n, p.satellites)
                if p.type_of_gpx_fix is not None:
                    points.set("fix", n, float(p.type_of_gpx_fix != "none"))
                for extension in p.extensions:
                    for element in extension.iter():
                        _set_by_name(points, n, element)
    return points


def _set_by_name(points: _Points, point: int, element: Any) -> None:
    tag = element.tag
    if not isinstance(tag, str):  # a comment or a processing instruction
        return
    column = _COLUMN_OF.get(tag.rpartition("}")[2].rpartition(":")[2].lower())
    if column is not None:
        value = _number(element.text)
        if value is not None:
            points.set(column, point, value)


def _number(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if abs(value) < 1e12 else None  # also turns "nan" and "inf" away


def _from_elements(text: str) -> tuple[_Points, str]:
    """Walk the XML itself; returns the points and what is wrong with the XML (empty if nothing)."""
    parser = etree.XMLParser(recover=True, resolve_entities=False, no_network=True, remove_comments=True)
    root = etree.fromstring(text.encode("utf-8", errors="replace"), parser)
    faults = [entry.message for entry in parser.error_log if entry.level_name in ("ERROR", "FATAL")]
    damage = f"{faults[0]} (line {parser.error_log[0].line})" if faults else ""
    points = _Points()
    if root is not None:
        for element in _track_points(root):
            _add_element(points, element)
    return points, damage


def _track_points(root: Any) -> Iterator[Any]:
    for element in root.iter():
        tag = element.tag
        if isinstance(tag, str) and tag.rpartition("}")[2].rpartition(":")[2] == "trkpt":
            yield element


def _add_element(points: _Points, element: Any) -> None:
    lat_deg, lon_deg = _number(element.get("lat")), _number(element.get("lon"))
    if lat_deg is None or lon_deg is None:
        points.misplaced += 1
        return
    time = None
    below = [child for child in element.iterdescendants() if isinstance(child.tag, str)]
    for child in below:
        if child.tag.rpartition("}")[2] == "time" and child.getparent() is element:
            time = gpxpy.gpxfield.TIME_TYPE.from_string(child.text)
    n = points.add(time, lat_deg, lon_deg)
    for child in below:
        if child.tag.rpartition("}")[2] == "fix":
            points.set("fix", n, float((child.text or "").strip() != "none"))
        else:
            _set_by_name(points, n, child)


def _track(points: _Points, findings: list[Finding], file: str) -> Log:
    if points.misplaced:
        findings.append(
            Finding("no-position", "points whose latitude or longitude is no number", points.misplaced)
        )
    stamp_us = np.array(points.stamp_us, dtype=np.int64)
    timed = stamp_us != _NO_TIME
    if not timed.any():
        raise NothingUsableError(_nothing(points), file=file, mend=_MEND_NOTHING)
    untimed = int((~timed).sum())
    if untimed:
        findings.append(Finding("no-time", "points without a time were left out", untimed))
    believed = timed.copy()
    believed[timed] = stamps.believable(stamp_us[timed])
    findings += notes.disbelieved(stamp_us[timed], believed[timed])
    columns = {name: values[believed] for name, values in points.columns().items()}
    stamp_us = stamp_us[believed]
    t_s = stamps.seconds(stamp_us)
    findings += notes.before_gps(stamp_us)
    findings += notes.no_fix(columns, t_s)
    meta = LogMeta(file, "gpx", start_utc=stamps.utc(int(stamp_us[0])))
    return make_track(columns, t_s, meta, findings)


_MEND_NOTHING: Final = "record a track (not a route or waypoints) with time stamps, and export that"


def _nothing(points: _Points) -> str:
    if points.stamp_us:
        return f"none of its {len(points.stamp_us)} points carries a time, so there is no speed in it"
    if points.misplaced:
        return f"the latitude or longitude of all {points.misplaced} points is no number"
    return "it holds no track point"


READER = LogReader("gpx", (".gpx",), _sniff, _read)
