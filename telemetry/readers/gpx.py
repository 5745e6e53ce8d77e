"""GPX 1.0 and 1.1: all tracks and segments of a file as one track.

The points of an ordinary file are read by one pattern (:mod:`telemetry.readers.gpx_shapes`), those of any
other file by a walk over its elements (:mod:`telemetry.readers.gpx_points`). gpxpy is asked where the walk
finds the XML damaged and lost points; tests hold all three to the same values on every recorded log.

The point elements of GPX 1.0 (``speed``, ``course``) and those of any extension are recognised by local name,
whatever their namespace; both Topografix and the widespread track-point extension state metres per second and
degrees. Times without a zone are taken as UTC, as the GPX schema demands.
"""

from __future__ import annotations

import re
from typing import Final

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import Finding, Log, LogMeta, make_track
from telemetry.core.progress import report
from telemetry.readers import notes, stamps
from telemetry.readers.base import LogReader, ReadOptions
from telemetry.readers.gpx_points import NO_TIME_US, TrackPoints, points_of_elements, points_of_gpxpy
from telemetry.readers.gpx_shapes import points_of_shapes
from telemetry.readers.text import decode

_ROOT: Final = re.compile(rb"<(?:[\w.-]+:)?gpx[\s>]")
_DECLARATION: Final = re.compile(r"^\s*<\?xml[^>]*\?>")
_NAMESPACE: Final = re.compile(r"xmlns(?::[\w.-]{1,40})?\s{0,9}=\s{0,9}[\"'][^\"']{0,400}[\"']")

# gpxpy makes a Python object of some fifty fields of each point: about 45 µs and 2 kB.
_MAX_POINTS: Final = 15_000
_MAX_UNTIMED: Final = 100_000
_MAX_ELEMENTS: Final = 300_000


def _sniff(head: bytes) -> bool:
    return _ROOT.search(head.replace(b"\0", b"")) is not None


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
    points = text.count("<trkpt")
    if points > _MAX_UNTIMED and "time" not in text:  # bounds the memory that a useless file may take
        raise NothingUsableError(
            f"none of its {points} points carries a time, so there is no speed in it",
            file=file,
            hint=_HINT_TRACK,
        )
    report(0.05)
    read, findings = _points(text, file)
    report(0.9)
    return (_track(read, findings, file),)


def _points(text: str, file: str) -> tuple[TrackPoints, list[Finding]]:
    points = points_of_shapes(text)
    if points is not None:
        return points, []
    points, damage = points_of_elements(text)
    if not damage:
        return points, []
    findings = [Finding("salvaged", f"the XML is damaged, what stands before was read: {damage}")]
    second = _second_opinion(text)
    if second is not None and second.stamp_us.size > points.stamp_us.size:
        points = second
        findings = [Finding("second-decoder", f"read by the second decoder, as the XML is damaged: {damage}")]
    if not points.stamp_us.size:
        raise DamagedLogError(
            f"it breaks off before the first track point: {damage}",
            file=file,
            hint="export the log again from the device",
        )
    return points, findings


def _second_opinion(text: str) -> TrackPoints | None:
    """Read the points by gpxpy; None where it is not suited to the file or cannot read it either."""
    if not _suits_gpxpy(text):
        return None
    try:
        return points_of_gpxpy(text)
    except Exception:  # a foreign decoder on foreign bytes: its XML library has errors of its own
        return None


def _suits_gpxpy(text: str) -> bool:
    """Check that gpxpy's per-point objects and its regular expressions stay within a second or two."""
    return (
        text.count("<trkpt") + text.count("<wpt") + text.count("<rtept") <= _MAX_POINTS
        and text.count("<") <= _MAX_ELEMENTS
        and text.count("xmlns") <= 100
        and text.count("xmlns") == sum(1 for _ in _NAMESPACE.finditer(text))
    )


def _track(points: TrackPoints, findings: list[Finding], file: str) -> Log:
    if points.misplaced:
        findings.append(
            Finding("no-position", "points whose latitude or longitude is no number", points.misplaced)
        )
    stamp_us = points.stamp_us
    timed = stamp_us != NO_TIME_US
    if not timed.any():
        raise NothingUsableError(_nothing(points), file=file, hint=_HINT_TRACK)
    untimed = int((~timed).sum())
    if untimed:
        findings.append(Finding("no-time", "points without a time were left out", untimed))
    believed = timed.copy()
    believed[timed] = stamps.believable(stamp_us[timed])
    findings += notes.odd_stamps(stamp_us[timed], believed[timed])
    columns = {name: values[believed] for name, values in points.columns.items()}
    stamp_us = stamp_us[believed]
    order = stamps.chronological(stamp_us)
    if order is not None:
        findings += notes.sorted_by_time(stamp_us)
        stamp_us = stamp_us[order]
        columns = {name: values[order] for name, values in columns.items()}
    if points.tracks > 1:
        message = "it holds several tracks, which are read as one log; tracks"
        findings.append(Finding("several-tracks", message, points.tracks))
    t_s = stamps.seconds(stamp_us)
    findings += notes.before_gps(stamp_us)
    findings += notes.no_fix(columns, t_s)
    meta = LogMeta(file, "gpx", start_utc=stamps.utc(int(stamp_us[0])))
    return make_track(columns, t_s, meta, findings)


_HINT_TRACK: Final = "record a track (not a route or waypoints) with time stamps, and export that"


def _nothing(points: TrackPoints) -> str:
    if points.stamp_us.size:
        return f"none of its {points.stamp_us.size} points carries a time, so there is no speed in it"
    if points.misplaced:
        return f"the latitude or longitude of all {points.misplaced} points is no number"
    return "it holds no track point"


READER = LogReader("gpx", (".gpx",), _sniff, _read)
