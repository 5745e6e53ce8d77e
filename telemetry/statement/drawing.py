"""The two drawings of a statement: both passes from above and their speed, on one along-course axis.

The course is horizontal, gate A at the left, the first pass from left to right. The passes differ by line
(whole and dashed), arrow and name, not by colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lxml import etree
from lxml.builder import E

from telemetry.core.units import SPEED_UNITS, Unit, speed_text

if TYPE_CHECKING:
    from telemetry.statement.facts import Statement, StatementPass

_WIDTH: Final = 440.0
_LEFT, _RIGHT = 48.0, 10.0
_PLAN_TOP, _SPEED_TOP, _SPEED_HEIGHT, _FOOT = 34.0, 8.0, 112.0, 36.0
_MIN_PLAN, _MAX_PLAN = 46.0, 150.0
_BESIDE_M: Final = 3.0  # margin around the tracks
_CLASSES: Final = ("way-first", "way-second")


@dataclass(frozen=True, slots=True)
class _Axis:
    """Map a quantity to a position on the drawing."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def ticks(low: float, high: float, most: int) -> list[float]:
    """List round values inside a span: steps of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    low, high : float
        The span.
    most : int
        Highest number of values.

    Examples
    --------
    >>> ticks(-30.0, 130.0, 6)
    [0.0, 50.0, 100.0]
    """
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough)
    first, last = math.ceil(low / step), math.floor(high / step)
    return [round(k * step, 9) for k in range(first, last + 1)]


def plan_svg(s: Statement) -> str:
    """Draw both passes between the gates from above, to scale."""
    x = _along_axis(s)
    scale = (x.end - x.start) / (x.high - x.low)
    across = [value for way in s.ways for value in way.trace.across_m] or [0.0]
    middle_m = (min(across) + max(across)) / 2.0
    wanted = (max(across) - min(across) + 2.0 * _BESIDE_M) * scale
    height = min(max(wanted, _MIN_PLAN), _MAX_PLAN)
    y = _Axis(middle_m - height / scale / 2.0, middle_m + height / scale / 2.0, _PLAN_TOP, _PLAN_TOP + height)
    parts = [
        _water(x, y),
        *_gates(s, x, y),
        *(_line(x, y, way.trace.along_m, way.trace.across_m, k) for k, way in enumerate(s.ways)),
        *(_arrow(x, y, way, k) for k, way in enumerate(s.ways)),
        *_north(s.course_deg),
    ]
    headings = "; ".join(f"{way.pass_id} on heading {way.heading_deg:.0f}°" for way in s.ways)
    return _picture(
        "plan",
        _PLAN_TOP + height + 4.0,
        "Both passes from above",
        f"To scale, gates A and B across the course; {headings}.",
        parts,
    )


def speed_svg(s: Statement) -> str:
    """Draw both passes' smoothed speed over the along-course distance."""
    x, unit = _along_axis(s), SPEED_UNITS[s.unit]
    speeds = [unit.from_si(value) for way in s.ways for value in way.trace.speed_mps] or [0.0, 1.0]
    room = max(0.06 * (max(speeds) - min(speeds)), 0.5)
    bottom = _SPEED_TOP + _SPEED_HEIGHT
    y = _Axis(min(speeds) - room, max(speeds) + room, bottom, _SPEED_TOP)
    parts = [
        _water(x, y),
        *_speed_ticks(y, unit),
        *_gates(s, x, y, named=False),
        *(
            _line(x, y, way.trace.along_m, [unit.from_si(v) for v in way.trace.speed_mps], k)
            for k, way in enumerate(s.ways)
        ),
        *_along_ticks(x, bottom),
    ]
    averages = "; ".join(
        f"{way.pass_id} averages {speed_text(way.speed_mps, s.unit)} between the gates" for way in s.ways
    )
    return _picture("speed", bottom + _FOOT, "Speed along the course", f"{averages}.", parts)


def _along_axis(s: Statement) -> _Axis:
    along = [value for way in s.ways for value in way.trace.along_m]
    distance_m = s.two_way.distance_m if s.two_way else 1.0
    return _Axis(min([0.0, *along]), max([distance_m, *along]), _LEFT, _WIDTH - _RIGHT)


def _water(x: _Axis, y: _Axis) -> etree._Element:
    top = min(y.start, y.end)
    size = {"width": _n(x.end - x.start), "height": _n(abs(y.end - y.start))}
    return E.rect({"x": _n(x.start), "y": _n(top), "class": "water", **size})


def _gates(s: Statement, x: _Axis, y: _Axis, *, named: bool = True) -> Iterable[etree._Element]:
    top, bottom = min(y.start, y.end), max(y.start, y.end)
    for name, along_m in zip("AB", (0.0, s.two_way.distance_m if s.two_way else 1.0), strict=True):
        place = _n(x.at(along_m))
        yield E.line({"x1": place, "x2": place, "y1": _n(top), "y2": _n(bottom), "class": "gate"})
        if named:
            yield _text(x.at(along_m), top - 6.0, name, "gate-name")


def _line(
    x: _Axis, y: _Axis, along_m: Sequence[float], values: Sequence[float], which: int
) -> etree._Element:
    # What is outside the drawing is clipped to its edge: a pass that strays is seen to leave it.
    low, high = min(y.start, y.end), max(y.start, y.end)
    places = ((x.at(a), min(max(y.at(v), low), high)) for a, v in zip(along_m, values, strict=True))
    points = " ".join(f"{_n(px)},{_n(py)}" for px, py in places)
    return E.polyline({"points": points, "class": _CLASSES[which]})


def _arrow(x: _Axis, y: _Axis, way: StatementPass, which: int) -> etree._Element:
    """Label a pass next to the gates, with the arrow of its direction."""
    forward = which == 0
    place = x.start + 2.0 if forward else x.end - 2.0
    text = f"{way.pass_id} ▸" if forward else f"◂ {way.pass_id}"
    return _text(
        place, min(y.start, y.end) - 6.0, text, f"{_CLASSES[which]}-name", "start" if forward else "end"
    )


def _north(course_deg: float) -> Iterable[etree._Element]:
    """Draw the north arrow in the upper left corner, as the course is horizontal."""
    heading = math.radians(course_deg)
    dx, dy = math.cos(heading), -math.sin(heading)
    cx, cy, half = 22.0, _PLAN_TOP + 22.0, 11.0
    tip, tail = (cx + half * dx, cy + half * dy), (cx - half * dx, cy - half * dy)
    wings = (
        (tip[0] - 7.0 * dx + side * 4.0 * dy, tip[1] - 7.0 * dy - side * 4.0 * dx) for side in (1.0, -1.0)
    )
    ends = {"x1": _n(tail[0]), "y1": _n(tail[1]), "x2": _n(tip[0]), "y2": _n(tip[1])}
    yield E.line({"class": "north", **ends})
    yield E.polygon(
        {"points": " ".join(f"{_n(px)},{_n(py)}" for px, py in (tip, *wings)), "class": "north-tip"}
    )
    yield _text(cx + 19.0 * dx, cy + 19.0 * dy + 4.0, "N", "label")


def _along_ticks(x: _Axis, bottom: float) -> Iterable[etree._Element]:
    for value in ticks(x.low, x.high, 6):
        place = _n(x.at(value))
        yield E.line({"x1": place, "x2": place, "y1": _n(bottom), "y2": _n(bottom + 4.0), "class": "tick"})
        yield _text(x.at(value), bottom + 17.0, f"{value:g}", "label")
    yield _text((x.start + x.end) / 2.0, bottom + 32.0, "along the course from gate A [m]", "label")


def _speed_ticks(y: _Axis, unit: Unit) -> Iterable[etree._Element]:
    for value in ticks(y.low, y.high, 5):
        place = _n(y.at(value))
        yield E.line({"x1": _n(_LEFT), "x2": _n(_WIDTH - _RIGHT), "y1": place, "y2": place, "class": "grid"})
        yield _text(_LEFT - 6.0, y.at(value) + 4.5, f"{value:g}", "label", "end")
    yield _text(2.0, y.start + 17.0, f"[{unit.name}]", "label", "start")


def _text(x: float, y: float, text: str, kind: str, anchor: str = "middle") -> etree._Element:
    return E.text({"x": _n(x), "y": _n(y), "class": kind, "text-anchor": anchor}, text)


def _picture(name: str, height: float, title: str, description: str, parts: Iterable[etree._Element]) -> str:
    described = f"{name}-title {name}-told"
    frame = {"viewBox": f"0 0 {_n(_WIDTH)} {_n(height)}", "role": "img", "aria-labelledby": described}
    titles = (E.title({"id": f"{name}-title"}, title), E.desc({"id": f"{name}-told"}, description))
    return str(etree.tostring(E.svg(frame, *titles, *parts), encoding="unicode"))


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
