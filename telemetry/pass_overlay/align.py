"""Align passes on one abscissa: along the course, in time, or by the time of day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from telemetry.core.frames import FloatArray
from telemetry.core.geo import CourseLine, LocalFrame, fit_course
from telemetry.pass_overlay.curves import PassCurves
from telemetry.twoway.pairing import one_course

Abscissa = Literal["distance", "time", "day"]
Anchor = Literal["take-off", "on plane", "start", "peak", "course"]

ANCHORS: Final[dict[Anchor, str]] = {
    "take-off": "the beginning of take-off",
    "on plane": "the end of take-off",
    "start": "the start of the pass",
    "peak": "the peak speed",
    "course": "the common course line",
}
_TOGETHER_M: Final = 20_000.0  # farther apart, local metres from one origin are meaningless
_DAY_S: Final = 86_400.0


@dataclass(frozen=True)
class AlignedPass:
    """One pass on the common abscissa.

    Attributes
    ----------
    index : int
        Index of the pass among those given.
    curves : PassCurves
    x : ndarray, shape (n,)
        The abscissa at each of the pass's samples, ``curves.t_s`` [m or s].
    origin_s : float or None
        Time on the pass's own clock at which the abscissa is zero; None if all passes share one origin.
    """

    index: int
    curves: PassCurves
    x: FloatArray
    origin_s: float | None

    def at(self, t_s: npt.ArrayLike) -> FloatArray:
        """Convert times on the pass's clock to the abscissa, any shape."""
        return np.interp(np.asarray(t_s, dtype=np.float64), self.curves.t_s, self.x)


@dataclass(frozen=True)
class Overlay:
    """Passes on one abscissa.

    Attributes
    ----------
    abscissa : {"distance", "time", "day"}
    anchor : str
        A key of :data:`ANCHORS`; not used for the time of day.
    laid : tuple of AlignedPass
        In the order given.
    left_out : tuple of (int, str)
        Passes that cannot be aligned, and why.
    notes : tuple of str
        Remarks on the abscissa.
    """

    abscissa: Abscissa
    anchor: Anchor
    laid: tuple[AlignedPass, ...]
    left_out: tuple[tuple[int, str], ...]
    notes: tuple[str, ...]

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest abscissa of all passes."""
        ends = [x for one in self.laid for x in (np.nanmin(one.x), np.nanmax(one.x))]
        return (float(min(ends)), float(max(ends))) if ends else (0.0, 1.0)


def align(curves: Sequence[PassCurves], abscissa: Abscissa, anchor: Anchor) -> Overlay:
    """Align passes on one abscissa; every sample of each is kept.

    Parameters
    ----------
    curves : sequence of PassCurves
        Of one outing or of many; the first one sets the direction of a common course line.
    abscissa : {"distance", "time", "day"}
        Distance along the course [m], time [s], or time of day (UTC) [s].
    anchor : {"take-off", "on plane", "start", "peak", "course"}
        Where the abscissa of each pass is zero. ``"course"``, for the distance only, counts along the line
        that the passes share; passes of opposite direction then run against each other.

    Returns
    -------
    Overlay
    """
    if abscissa == "day":
        return _by_time_of_day(curves)
    if abscissa == "distance" and anchor == "course":
        return _on_common_course(curves)
    anchor = "start" if anchor == "course" else anchor
    laid, notes = [], []
    for k, one in enumerate(curves):
        origin_s, instead = _origin(one, anchor)
        if instead:
            notes.append((k, instead))
        if abscissa == "distance" and one.way_source == "speed":
            notes.append((k, "its log has no positions: the distance is the integrated speed"))
        own = one.t_s if abscissa == "time" else one.way_m
        zero = origin_s if abscissa == "time" else float(np.interp(origin_s, one.t_s, own))
        laid.append(AlignedPass(k, one, own - zero, origin_s))
    return Overlay(abscissa, anchor, tuple(laid), (), _told(curves, notes))


def _origin(one: PassCurves, anchor: Anchor) -> tuple[float, str]:
    """Return the time of an anchor [s], and a note if the pass lacks it and another is used."""
    if anchor == "peak":
        return one.one.peak_s, ""
    takeoff = one.one.takeoff
    if anchor == "start" or takeoff is None:
        return one.one.start_s, "" if anchor == "start" else "its log has no take-off: its start is used"
    return (takeoff.start_s if anchor == "take-off" else takeoff.end_s), ""


def _told(curves: Sequence[PassCurves], notes: Sequence[tuple[int, str]]) -> tuple[str, ...]:
    """List each note once, with the number of passes it applies to."""
    counts: dict[str, int] = {}
    for _, note in notes:
        counts[note] = counts.get(note, 0) + 1
    return tuple(
        f"{'All passes' if n == len(curves) > 1 else f'{n} pass' if n == 1 else f'{n} passes'}: {note}"
        for note, n in counts.items()
    )


def _by_time_of_day(curves: Sequence[PassCurves]) -> Overlay:
    laid, left_out, days = [], [], []
    for k, one in enumerate(curves):
        if one.start_utc is None:
            left_out.append((k, "its log does not state the day, so its time of day is unknown"))
            continue
        day = (one.start_utc + pd.Timedelta(seconds=one.one.start_s)).floor("D")
        days.append(f"{day:%Y-%m-%d}")
        laid.append(AlignedPass(k, one, one.t_s + (one.start_utc - day).total_seconds(), None))
    several = sorted(set(days))
    note = f"UTC on {several[0]}" if len(several) == 1 else ""
    if len(several) > 1:
        note = f"These are {len(several)} days, aligned by the time of day, UTC"
    return Overlay("day", "start", tuple(laid), tuple(left_out), (note,) if note else ())


def _on_common_course(curves: Sequence[PassCurves]) -> Overlay:
    first = next((one for one in curves if one.course is not None), None)
    places = in_one_frame(curves)
    shared, left_out = [], []
    for k, one in enumerate(curves):
        why = _why_not_shared(first, one)
        if why:
            left_out.append((k, why))
        else:
            shared.append(k)
    if first is None or first.course is None:
        return Overlay("distance", "course", (), tuple(left_out), ())
    inside = [_own_part(curves[k], places[k]) for k in shared]
    east_m, north_m = (np.concatenate(part) for part in zip(*inside, strict=True))
    line = fit_course(east_m, north_m, first.course.heading_deg)
    zero_m = float(line.along_across(*(part[:1] for part in inside[0]))[0][0])
    laid = tuple(
        AlignedPass(k, curves[k], line.along_across(*_known(places[k]))[0] - zero_m, None) for k in shared
    )
    note = "Distance from the start of the first of these passes, in its direction"
    return Overlay("distance", "course", laid, tuple(left_out), (note,))


Places = tuple[FloatArray, FloatArray]


def _known(place: Places | None) -> Places:
    assert place is not None  # only passes that share a course line come here, and those have positions
    return place


def _own_part(one: PassCurves, place: Places | None) -> Places:
    inside = (one.t_s >= one.one.start_s) & (one.t_s <= one.one.end_s)
    east_m, north_m = _known(place)
    return east_m[inside], north_m[inside]


def _why_not_shared(first: PassCurves | None, one: PassCurves) -> str:
    """Explain why a pass does not share the first one's course line; empty if it does."""
    if first is None or first.course is None or one.course is None:
        return "its log has no positions, so it cannot be placed on a course line"
    line = _in_frame(one.course, one.frame, first.frame)
    if line is None or not one_course(first.course, line):
        return "it ran on another stretch of water than the first pass"
    return ""


def _in_frame(line: CourseLine, own: LocalFrame, other: LocalFrame) -> CourseLine | None:
    """Convert a course line to another local frame; None if that is too far away."""
    moved = _moved(np.array([line.east0_m]), np.array([line.north0_m]), own, other)
    return None if moved is None else replace(line, east0_m=float(moved[0][0]), north0_m=float(moved[1][0]))


def _moved(east_m: FloatArray, north_m: FloatArray, own: LocalFrame, other: LocalFrame) -> Places | None:
    if own == other:
        return east_m, north_m
    moved = other.to_local(*own.to_geodetic(east_m, north_m))
    return moved if np.hypot(*moved).max() < _TOGETHER_M else None


def in_one_frame(curves: Sequence[PassCurves]) -> tuple[Places | None, ...]:
    """Convert every pass's positions to metres east and north of one origin.

    Returns
    -------
    tuple of ((n,) ndarray, (n,) ndarray) or None
        None for a pass without positions, and for one more than 20 km from the first that has positions.
    """
    first = next((one.frame for one in curves if one.east_m is not None), None)
    return tuple(
        None
        if one.east_m is None or one.north_m is None or first is None
        else _moved(one.east_m, one.north_m, one.frame, first)
        for one in curves
    )
