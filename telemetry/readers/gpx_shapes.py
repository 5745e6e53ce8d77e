"""The fast decoder of GPX: track points that share a few shapes, read by one compiled pattern.

A recorder writes all its points with the same elements in the same order, so the tags of a few points give a
regular expression that matches every one of them. The result is used only if it is certain to be what a walk
over the elements would return: the expression must match every point of the file, and the rest of the file,
with one element in the place of each point, must be well-formed XML. Anything else is left to the walk.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from telemetry.core.frames import FloatArray, IntArray
from telemetry.core.progress import report
from telemetry.readers.gpx_points import (
    COLUMN_OF,
    NO_TIME_US,
    TrackPoints,
    local_name,
    number,
    parse_xml,
    stamps_of_texts,
)
from telemetry.readers.stamps import DAY_US, days_since_1970

_MAX_SHAPES: Final = 6
_SAMPLED: Final = 200
_MAX_POINT_CHARACTERS: Final = 4000
_TAG: Final = re.compile(
    r"<(/?)([A-Za-z_][\w.-]*(?::[A-Za-z_][\w.-]*)?)((?:\s+[\w.:-]+=\"[^\"<&]*\")*)\s*(/?)>"
)
_ROOT_TAG: Final = re.compile(r"<(?:[\w.-]+:)?gpx\b[^>]*>")
_ATTRIBUTE: Final = re.compile(r"\s+([\w.:-]+)=\"([^\"<&]*)\"")
# What a value may hold so that the pattern sees it as the XML parser does: no markup, entity or control sign.
_VALUE: Final = r"[\x20-\x25\x27-\x3b\x3d\x3f-\x7e]*"
_QUOTED: Final = r"[\x20\x21\x23-\x25\x27-\x3b\x3d-\x7e]*"
_SPACE: Final = r"[ \t\r\n]*"


@dataclass(frozen=True, slots=True)
class _Shape:
    """One shape of point: its expression, and what each of its groups holds."""

    pattern: str
    columns: tuple[str, ...]


def points_of_shapes(text: str) -> TrackPoints | None:
    """Read the points of a file whose points have a few shapes; None where that is not certain.

    Parameters
    ----------
    text : str
        The whole file without its XML declaration.
    """
    count = text.count("<trkpt")
    if not count or "<!DOCTYPE" in text or "<p" in text:
        return None
    shapes = _shapes(text)
    if shapes is None:
        return None
    pattern = re.compile("|".join(shape.pattern for shape in shapes))
    found = pattern.findall(text)
    if len(found) != count:
        return None
    report(0.5)
    tracks = _tracks_of_rest(text, pattern, count)
    if not tracks:
        return None
    report(0.6)
    return _points(shapes, found, tracks)


def _shapes(text: str) -> list[_Shape] | None:
    """Derive the shapes from the first points and from points all over the file, the most frequent first."""
    starts = [m.start() for m in re.finditer("<trkpt", text)]
    chosen = sorted({*range(min(20, len(starts))), *np.linspace(0, len(starts) - 1, _SAMPLED).astype(int)})
    seen: Counter[_Shape] = Counter()
    for i in chosen:
        end = starts[i + 1] if i + 1 < len(starts) else starts[i] + _MAX_POINT_CHARACTERS
        shape = _shape(text[starts[i] : min(end, starts[i] + _MAX_POINT_CHARACTERS)])
        if shape is None:
            return None
        seen[shape] += 1
        if len(seen) > _MAX_SHAPES:
            return None
    return [shape for shape, _ in seen.most_common()]


def _shape(text: str) -> _Shape | None:
    """Derive the expression of one point from its tags; None where it is not plain enough."""
    parts: list[str] = []
    columns: list[str] = []
    opened: list[str] = []
    at = 0
    while True:
        tag = _TAG.match(text, at)
        if tag is None:
            return None
        closing, name, attributes, alone = tag.groups()
        if closing:
            if attributes or alone or not opened or opened.pop() != name:
                return None
            parts.append(f"</{re.escape(name)}>")
        else:
            parts.append(_opening(name, attributes, alone, columns))
            if not alone:
                opened.append(name)
        if not opened:
            break
        at = tag.end()
        leaf_end = text.find("<", at)
        content = text[at:leaf_end]
        if leaf_end < 0:
            return None
        if not closing and not alone and text.startswith(f"</{name}>", leaf_end):
            parts.append(_content(name, len(opened) == 2, columns))
        elif content.strip():
            return None  # text beside elements: no recorder writes it
        else:
            parts.append(_SPACE)
        at = leaf_end
    if columns.count("lat") != 1 or columns.count("lon") != 1 or columns.count("time") > 1:
        return None
    return _Shape("".join(parts), tuple(columns))


def _opening(name: str, attributes: str, alone: str, columns: list[str]) -> str:
    point = name == "trkpt" and not columns
    parts = [f"<{re.escape(name)}"]
    for attribute, value in _ATTRIBUTE.findall(attributes):
        if point and attribute in ("lat", "lon"):
            columns.append(attribute)
            parts.append(rf"\s+{attribute}=\"({_QUOTED})\"")
        else:
            parts.append(rf"\s+{re.escape(attribute)}=\"{re.escape(value)}\"")
    return "".join([*parts, r"\s*", alone, ">"])


def _content(name: str, is_child: bool, columns: list[str]) -> str:
    """Expression of a leaf's text, a group where the leaf is read."""
    local = local_name(name)
    if local == "time" and is_child:
        columns.append("time")
    elif local == "fix":
        columns.append("fix")
        return r"(\w+)"
    elif local.lower() in COLUMN_OF:
        columns.append(COLUMN_OF[local.lower()])
    else:
        return _VALUE
    return f"({_VALUE})"


def _tracks_of_rest(text: str, pattern: re.Pattern[str], count: int) -> int:
    """Count the tracks that hold points; 0 where the file without its points is not well-formed XML."""
    first, root_tag = pattern.search(text), _ROOT_TAG.search(text)
    if first is None or root_tag is None:
        return 0
    rest = pattern.sub("<p/>", text)
    # Prefixes must mean the same in every point, which holds if only the root declares them.
    if rest.count("xmlns") != root_tag[0].count("xmlns") or "trkpt" in rest:
        return 0
    root, damage = parse_xml(rest.replace("<p/>", first[0], 1))
    # A point in a comment is matched by the pattern, and is not an element.
    if root is None or damage or sum(1 for _ in root.iter("{*}p", "{*}trkpt")) != count:
        return 0
    return sum(1 for track in root.iter("{*}trk") if next(track.iter("{*}p", "{*}trkpt"), None) is not None)


def _points(shapes: Sequence[_Shape], found: Sequence[tuple[str, ...]], tracks: int) -> TrackPoints:
    """Convert the texts of all groups to arrays."""
    texts = list(zip(*found, strict=True))
    columns: dict[str, FloatArray] = {}
    stamp_us = np.full(len(found), NO_TIME_US)
    group = 0
    for shape in shapes:
        for column in shape.columns:
            if column == "time":
                stamps = parse_times(texts[group])
                stamp_us = np.where(stamps == NO_TIME_US, stamp_us, stamps)
            else:
                values = _fixes(texts[group]) if column == "fix" else parse_numbers(texts[group])
                columns[column] = np.where(np.isnan(values), columns.get(column, values), values)
            group += 1
    columns = {"lat_deg": columns.pop("lat"), "lon_deg": columns.pop("lon"), **columns}
    columns = {name: values for name, values in columns.items() if not np.isnan(values).all()} | {
        name: columns[name] for name in ("lat_deg", "lon_deg")
    }
    placed = np.isfinite(columns["lat_deg"]) & np.isfinite(columns["lon_deg"])
    if not placed.all():
        columns = {name: values[placed] for name, values in columns.items()}
        stamp_us = stamp_us[placed]
    return TrackPoints(stamp_us, columns, int((~placed).sum()), tracks)


def _fixes(texts: Sequence[str]) -> FloatArray:
    return np.array([np.nan if not text else float(text != "none") for text in texts])


def parse_numbers(texts: Sequence[str]) -> FloatArray:
    """Parse numbers, shape (n,), NaN where :func:`telemetry.readers.gpx_points.number` finds none."""
    try:
        values = np.array(list(map(float, texts)))
    except ValueError:
        return np.array([number(text) for text in texts], dtype=np.float64)
    return np.where(np.abs(values) < 1e12, values, np.nan)


def parse_times(texts: Sequence[str]) -> IntArray:
    """Parse ISO 8601 times in UTC, shape (n,) [µs since 1970]; :data:`NO_TIME_US` where there is none.

    Texts of the form ``yyyy-mm-ddThh:mm:ss[.fff]Z`` are parsed together by their length; all others one by
    one, so that the result is that of gpxpy for every text.
    """
    result = np.full(len(texts), NO_TIME_US)
    lengths = np.fromiter(map(len, texts), dtype=np.int64, count=len(texts))
    for length in np.unique(lengths[lengths > 0]).tolist():
        at = np.flatnonzero(lengths == length)
        same = texts if at.size == len(texts) else [texts[i] for i in at.tolist()]
        stamps, parsed = _parse_plain(same, length)
        if not parsed.all():
            stamps[~parsed] = stamps_of_texts([same[i] for i in np.flatnonzero(~parsed).tolist()])
        result[at] = stamps
    return result


def _parse_plain(
    texts: Sequence[str], length: int
) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Parse texts of one length; returns the stamps and which of them have the plain form."""
    n = len(texts)
    fraction_digits = max(length - 21, 0)
    if length not in (19, 20) and not 1 <= fraction_digits <= 15:
        return np.full(n, NO_TIME_US), np.zeros(n, dtype=np.bool_)
    try:
        characters = np.frombuffer("".join(texts).encode("ascii"), dtype=np.uint8).reshape(n, length)
    except UnicodeEncodeError:
        return np.full(n, NO_TIME_US), np.zeros(n, dtype=np.bool_)
    marks = {4: "-", 7: "-", 10: "T", 13: ":", 16: ":"}
    if length >= 20:
        marks[length - 1] = "Z"
    if length > 20:
        marks[19] = "."
    characters = np.ascontiguousarray(characters.T)
    digits = (characters - np.uint8(ord("0"))).astype(np.int64)
    plain = np.ones(n, dtype=np.bool_)
    for i in range(length):
        plain &= characters[i] == ord(marks[i]) if i in marks else digits[i] <= 9

    def whole(start: int, count: int) -> IntArray:
        value = np.zeros(n, dtype=np.int64)
        for i in range(start, start + count):
            value = value * 10 + digits[i]
        return value

    days = days_since_1970(whole(0, 4), whole(5, 2), whole(8, 2))
    hour, minute, second = whole(11, 2), whole(14, 2), whole(17, 2)
    plain &= np.isfinite(days) & (hour < 24) & (minute < 60) & (second < 60)
    stamps = np.nan_to_num(days).astype(np.int64) * DAY_US
    stamps += ((hour * 60 + minute) * 60 + second) * 1_000_000
    kept = min(fraction_digits, 6)  # further digits are cut off, as gpxpy does
    if kept:
        stamps += whole(20, kept) * 10 ** (6 - kept)
    return stamps, plain
