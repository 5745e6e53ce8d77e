"""The track points of a GPX file: what every decoder of the GPX reader returns, and two such decoders.

:func:`points_of_elements` walks the XML elements and reads whatever can be recovered of a damaged file.
:func:`points_of_gpxpy` uses gpxpy; it gives a second opinion on files that the walk finds damaged, and the
tests compare both on every recorded log.

References
----------
.. [1] GPX 1.0 and 1.1 schemas, topografix.com/GPX/1/0/gpx.xsd and /GPX/1/1/gpx.xsd.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Final

import gpxpy
import gpxpy.gpxfield
import numpy as np
from lxml import etree

from telemetry.core.frames import FloatArray, IntArray
from telemetry.core.progress import report
from telemetry.core.sanitize import SHORT, shortened

COLUMN_OF: Final = {
    "ele": "alt_m",
    "speed": "speed_mps",
    "course": "course_deg",
    "hdop": "hdop",
    "sat": "satellites",
    "hacc": "horizontal_sd_m",
    "sacc": "speed_sd_mps",
    "vspeed": "vertical_mps",
}
"""Column of each local element name, lower case, in a track point or anywhere below its extensions."""

NO_TIME_US: Final = int(np.iinfo(np.int64).min)
"""Stamp of a point without a readable time."""

_ATTRIBUTES: Final = {
    "alt_m": "elevation",
    "speed_mps": "speed",
    "course_deg": "course",
    "hdop": "horizontal_dilution",
    "satellites": "satellites",
}
"""gpxpy's names for what it reads itself."""

_EPOCH: Final = dt.datetime(1970, 1, 1)  # noqa: DTZ001 - the zones are taken off before times become numbers
_MAX_NUMBER: Final = 1e12  # also excludes "nan" and "inf"
_REPORT_EVERY: Final = 1000


@dataclass
class TrackPoints:
    """The track points of a file, in file order.

    Attributes
    ----------
    stamp_us : ndarray of int, shape (n,)
        Microseconds since 1970; :data:`NO_TIME_US` where a point has no time.
    columns : dict of str to ndarray, shape (n,)
        Latitude, longitude and whatever else the points state, NaN where missing.
    misplaced : int
        Points left out because their latitude or longitude is not a number.
    tracks : int
        ``<trk>`` elements that hold points.
    """

    stamp_us: IntArray
    columns: dict[str, FloatArray]
    misplaced: int = 0
    tracks: int = 1


@dataclass
class _Collected:
    """Lists that a decoder fills point by point.

    ``more`` holds, for each further column, the numbers of the points that have it and their values.
    """

    lat_deg: list[float] = field(default_factory=list)
    lon_deg: list[float] = field(default_factory=list)
    times: list[dt.datetime | None] = field(default_factory=list)
    more: dict[str, tuple[list[int], list[float]]] = field(default_factory=dict)
    misplaced: int = 0

    def set(self, column: str, point: int, value: float) -> None:
        """Set one further value of a point."""
        at, values = self.more.setdefault(column, ([], []))
        at.append(point)
        values.append(value)

    def points(self, tracks: int) -> TrackPoints:
        """Return the lists as arrays."""
        columns = {
            "lat_deg": np.array(self.lat_deg, dtype=np.float64),
            "lon_deg": np.array(self.lon_deg, dtype=np.float64),
        }
        for name, (at, given) in self.more.items():
            values = np.full(len(self.times), np.nan)
            values[at] = given
            columns[name] = values
        return TrackPoints(stamps_of_datetimes(self.times), columns, self.misplaced, tracks)


def stamps_of_datetimes(times: Sequence[dt.datetime | None]) -> IntArray:
    """Convert gpxpy's times to microseconds since 1970, shape (n,); None becomes :data:`NO_TIME_US`."""
    naive = [_EPOCH if time is None else time.replace(tzinfo=None) for time in times]
    # gpxpy's zones carry their offset in minutes; a time without one is UTC (GPX 1.1 schema, element time).
    east_min = [getattr(time.tzinfo, "offset", 0) if time is not None else 0 for time in times]
    stamp_us = np.array(naive, dtype="datetime64[us]").astype(np.int64)
    stamp_us -= np.array(east_min, dtype=np.int64) * 60_000_000
    stamp_us[[time is None for time in times]] = NO_TIME_US
    return stamp_us


def stamps_of_texts(texts: Sequence[str]) -> IntArray:
    """Parse times one by one, shape (n,) [µs since 1970]."""
    return stamps_of_datetimes([gpxpy.gpxfield.TIME_TYPE.from_string(text) for text in texts])


def number(text: str | None) -> float | None:
    """Parse a number of a point; None where the text is not a finite number of usual size."""
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if abs(value) < _MAX_NUMBER else None


def error_text(error: BaseException) -> str:
    """Return a decoder's message, which quotes the file as it stands, cut to a short line."""
    return shortened(str(error), SHORT) or type(error).__name__


def points_of_gpxpy(text: str) -> TrackPoints:
    """Read the points by gpxpy, which raises errors of its own on damaged XML."""
    tracks = [[p for segment in track.segments for p in segment.points] for track in gpxpy.parse(text).tracks]
    each = [p for track in tracks for p in track]
    points = _Collected([p.latitude for p in each], [p.longitude for p in each], [p.time for p in each])
    for column, attribute in _ATTRIBUTES.items():
        given = [(n, value) for n, p in enumerate(each) if (value := getattr(p, attribute)) is not None]
        if given:
            points.more[column] = ([n for n, _ in given], [float(value) for _, value in given])
    for n, p in enumerate(each):
        if p.type_of_gpx_fix is not None:
            points.set("fix", n, float(p.type_of_gpx_fix != "none"))
        for extension in p.extensions:
            for element in extension.iter():
                _set_by_name(points, n, element)
    return points.points(sum(1 for track in tracks if track))


@lru_cache(maxsize=1024)
def local_name(tag: Any) -> str:
    """Name of an element without namespace or prefix; empty for a comment or a processing instruction."""
    return tag.rpartition("}")[2].rpartition(":")[2] if isinstance(tag, str) else ""


@lru_cache(maxsize=1024)
def _column_of(tag: Any) -> str | None:
    return COLUMN_OF.get(local_name(tag).lower())


def _set_by_name(points: _Collected, point: int, element: Any) -> None:
    column = _column_of(element.tag)
    if column is not None:
        value = number(element.text)
        if value is not None:
            points.set(column, point, value)


def parse_xml(text: str) -> tuple[Any, str]:
    """Parse XML as far as it can be recovered.

    Returns
    -------
    root : lxml element or None
    damage : str
        What is wrong with the XML; empty if nothing.
    """
    parser = etree.XMLParser(recover=True, resolve_entities=False, no_network=True, remove_comments=True)
    try:
        root = etree.fromstring(text.encode("utf-8", errors="replace"), parser)
    except etree.XMLSyntaxError as error:  # beyond what can be recovered: not one element
        return None, error_text(error)
    faults = [entry.message for entry in parser.error_log if entry.level_name in ("ERROR", "FATAL")]
    return root, f"{shortened(faults[0], SHORT)} (line {parser.error_log[0].line})" if faults else ""


def points_of_elements(text: str) -> tuple[TrackPoints, str]:
    """Walk the XML elements; returns the points and what is wrong with the XML (empty if nothing)."""
    root, damage = parse_xml(text)
    points = _Collected()
    tracks = 0
    if root is not None:
        likely = max(1, text.count("trkpt") // 2)  # a start and an end each
        counted = 0
        for element in root.iter():
            name = local_name(element.tag)
            if name == "trk":
                tracks, counted = tracks + (len(points.times) > counted), len(points.times)
            elif name == "trkpt":
                if len(points.times) % _REPORT_EVERY == 0:
                    report(0.2 + 0.7 * min(1.0, len(points.times) / likely))
                _add_element(points, element)
        tracks += len(points.times) > counted
    return points.points(tracks), damage


def _add_element(points: _Collected, element: Any) -> None:
    lat_deg, lon_deg = number(element.get("lat")), number(element.get("lon"))
    if lat_deg is None or lon_deg is None:
        points.misplaced += 1
        return
    n = len(points.times)
    points.lat_deg.append(lat_deg)
    points.lon_deg.append(lon_deg)
    points.times.append(None)
    for child in element.iterdescendants():
        name = local_name(child.tag)
        if name == "time" and child.getparent() is element and points.times[n] is None:
            points.times[n] = gpxpy.gpxfield.TIME_TYPE.from_string(child.text)
        elif name == "fix":
            points.set("fix", n, float((child.text or "").strip() != "none"))
        else:
            _set_by_name(points, n, child)
