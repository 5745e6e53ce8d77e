"""Course lines, gates and crossings: what two opposite passes have in common.

Passes that run up and down the same piece of water share one course line, fitted through all of them. The
gates stand across it. Where the user gives none, they are placed on the part that both passes of a pair
cover, where the pair's average is highest; choosing the highest makes the figure a best case and is said so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from telemetry.core.errors import CallError
from telemetry.core.frames import BoolArray, FloatArray
from telemetry.core.geo import CourseLine, LocalFrame, fit_course, geodesic_m, wrap_deg
from telemetry.core.progress import report_each
from telemetry.kinematics.models import AlongTrackSmoother, ReceiverModel
from telemetry.passes.measure import MAX_STARTS, PassSpeeds, crossing_sd_s
from telemetry.twoway.mean import average_of
from telemetry.twoway.rules import Rule

_SAME_COURSE_DEG = 20.0
_SAME_COURSE_M = 100.0
_OPPOSITE_DEG = 45.0
_GRID_M = 0.5


@dataclass(frozen=True)
class CoursePass:
    """One pass seen along a course line.

    Attributes
    ----------
    index : int
        Of the pass in the analysis.
    chain : AlongTrackSmoother
    sense : int
        +1 where the pass runs with the course line, -1 where it runs against it.
    reach_m : (float, float)
        Lowest and highest along-course coordinate of the pass [m].
    """

    index: int
    chain: AlongTrackSmoother
    sense: int
    reach_m: tuple[float, float]

    def span_s(self, gates_m: FloatArray) -> FloatArray:
        """Entering and leaving time for pairs of gates, shape (m, 2) -> (m, 2), in order of time [s]."""
        return self.chain.crossing_s(gates_m if self.sense > 0 else gates_m[:, ::-1])


@dataclass(frozen=True)
class Course:
    """A course line with the passes along it."""

    line: CourseLine
    frame: LocalFrame
    passes: tuple[CoursePass, ...]


@dataclass(frozen=True)
class Pair:
    """Two opposite passes over the same two gates, before any judgement.

    Attributes
    ----------
    a, b : CoursePass
        In order of time.
    course : Course
    gates_m : (float, float)
        Along-course coordinates in the direction of ``a`` [m].
    distance_m : float
    spans_s : ((float, float), (float, float))
        Entering and leaving on each log's clock [s].
    sd_s : (float, float)
        Standard uncertainty of each time between the gates [s].
    by_place_spm : (float, float)
        How each changes with the place of both gates along the course [s/m].
    """

    a: CoursePass
    b: CoursePass
    course: Course
    gates_m: tuple[float, float]
    distance_m: float
    spans_s: tuple[tuple[float, float], tuple[float, float]]
    sd_s: tuple[float, float]
    by_place_spm: tuple[float, float]


def _axis_difference_deg(a_deg: float, b_deg: float) -> float:
    d = abs(float(wrap_deg(a_deg - b_deg)))
    return min(d, 180.0 - d)


_Placed = tuple[CoursePass, CoursePass, FloatArray]
# A pass between two gates: entering time, leaving time, the standard uncertainty of their difference [s], and
# how far that changes with the place of the gates [s/m].
_Crossing = tuple[float, float, float, float]


def one_course(first: CourseLine, other: CourseLine) -> bool:
    """Tell whether two lines of one frame run, either way, over the same piece of water."""
    _, across_m = first.along_across(other.east0_m, other.north0_m)
    apart_deg = _axis_difference_deg(other.heading_deg, first.heading_deg)
    return apart_deg < _SAME_COURSE_DEG and abs(float(across_m)) < _SAME_COURSE_M


def _course_pass(index: int, measured: PassSpeeds, line: CourseLine, whole: bool) -> CoursePass:
    """See a pass along a line; ``whole`` lets the run-up and run-out count as covered."""
    data = measured.data
    chain = data.along(line)
    sense = 1 if np.median(chain.along_mps) > 0.0 else -1
    inside = (
        np.ones(chain.t_s.size, dtype=np.bool_)
        if whole
        else (chain.t_s >= data.start_s - 1e-9) & (chain.t_s <= data.end_s + 1e-9)
    )
    way = chain.along_m[inside]
    return CoursePass(index, chain, sense, (float(way.min()), float(way.max())))


def find_courses(
    measured: Sequence[PassSpeeds],
    frames: Sequence[LocalFrame],
    given: CourseLine | None,
    home: LocalFrame | None = None,
) -> list[Course]:
    """Group passes by the water they run over.

    Parameters
    ----------
    measured : sequence of PassSpeeds
        All passes of the analysis.
    frames : sequence of LocalFrame
        The frame of each pass's metres.
    given : CourseLine or None
        Through the gates the user gave; all passes on their water roughly along it are then on one course.
    home : LocalFrame, optional
        The frame that ``given`` is laid in; the first pass's where left out.

    Returns
    -------
    list of Course
    """
    groups: list[list[int]] = []
    for i, m in enumerate(measured):
        own = m.data.window.course
        if own is None:
            continue
        if given is not None:
            at_home = frames[i] == (home or frames[0])
            if at_home and _axis_difference_deg(own.heading_deg, given.heading_deg) < _OPPOSITE_DEG:
                groups = groups or [[]]
                groups[0].append(i)
            continue
        for group in groups:
            first = measured[group[0]].data.window.course
            if first is None or frames[i] != frames[group[0]]:
                continue
            if one_course(first, own):
                group.append(i)
                break
        else:
            groups.append([i])
    courses = []
    for group in groups:
        line = given or _fit_through([measured[i] for i in group])
        members = tuple(_course_pass(i, measured[i], line, whole=given is not None) for i in group)
        courses.append(Course(line, frames[group[0]], members))
    return courses


def _fit_through(group: Sequence[PassSpeeds]) -> CourseLine:
    """Fit one line through the flat-out parts of all passes of a group."""
    east, north = [], []
    for m in group:
        d = m.data
        t = d.t_s[d.position_node]
        inside = (t >= d.start_s) & (t <= d.end_s)
        east.append(d.east_m[inside])
        north.append(d.north_m[inside])
    first = group[0].data.window
    return fit_course(np.concatenate(east), np.concatenate(north), first.heading_deg)


@dataclass(frozen=True)
class _Timetable:
    """Average of one pass over the measured distance, for gates all along the course.

    Attributes
    ----------
    start_m : ndarray, shape (g,)
        Lower gate, common to all passes of the course [m].
    speed_mps : ndarray, shape (g,)
        NaN where the pass does not cover both gates.
    """

    start_m: FloatArray
    speed_mps: FloatArray


def _timetables(members: Sequence[CoursePass], distance_m: float) -> dict[int, _Timetable]:
    # Passes at the far ends of nowhere, which meet no other, are not to stretch the grid.
    meets = [p for p in members if any(p is not q and _shared_m(p, q) >= distance_m for q in members)]
    low = min((p.reach_m[0] for p in meets), default=0.0)
    high = max((p.reach_m[1] for p in meets), default=0.0)
    step_m = max(_GRID_M, (high - low) / MAX_STARTS)
    start = np.arange(low, max(high - distance_m, low) + step_m, step_m)
    gates = np.column_stack([start, start + distance_m])
    tables = {}
    for p in members:
        covered = (gates[:, 0] >= p.reach_m[0]) & (gates[:, 1] <= p.reach_m[1])
        taken = np.diff(p.span_s(gates), axis=1)[:, 0]
        with np.errstate(invalid="ignore"):
            tables[p.index] = _Timetable(start, np.where(covered, distance_m / taken, np.nan))
    return tables


def _place(a: _Timetable, b: _Timetable, distance_m: float, rule: Rule) -> FloatArray | None:
    """Place the gates where the pair's average is highest; None where the shared part is too short."""
    shared = np.flatnonzero(~np.isnan(a.speed_mps + b.speed_mps))
    if shared.size == 0:
        return None
    va, vb = a.speed_mps[shared], b.speed_mps[shared]
    start = a.start_m[shared[int(np.argmax(average_of(rule.mean, va, vb)))]]
    return np.array([start, start + distance_m])


def _crossings(placed: Sequence[_Placed]) -> dict[tuple[int, float], _Crossing]:
    """Reckon when each pair's passes are between its gates, by pass and first gate.

    All spans of a pass are reckoned at once, which costs little more than one. Between a few of them the
    uncertainty must not be interpolated: it goes as one over the speed, and a run-up from rest lies within
    reach.
    """
    wanted: dict[int, tuple[CoursePass, dict[float, FloatArray]]] = {}
    for a, b, gates in placed:
        for p in (a, b):
            wanted.setdefault(p.index, (p, {}))[1][float(gates[0])] = gates
    out: dict[tuple[int, float], _Crossing] = {}
    for index, (p, each) in wanted.items():
        spans = p.span_s(np.stack(list(each.values())))
        # A place that errs by δs along the course shifts a crossing at speed v, signed, by -δs / v.
        by_place = 1.0 / np.interp(spans, p.chain.t_s, p.chain.along_mps)
        reckoned = np.column_stack([spans, crossing_sd_s(p.chain, spans), -np.diff(by_place)]).tolist()
        out |= {(index, first_m): tuple(one) for first_m, one in zip(each, reckoned, strict=True)}
    return out


def _shared_m(a: CoursePass, b: CoursePass) -> float:
    """Length of course that both passes cover [m]; negative where they do not meet."""
    return min(a.reach_m[1], b.reach_m[1]) - max(a.reach_m[0], b.reach_m[0])


def find_pairs(
    courses: Sequence[Course],
    measured: Sequence[PassSpeeds],
    distance_m: float,
    gates_m: tuple[float, float] | None,
    rule: Rule,
    may_pair: BoolArray,
) -> tuple[list[Pair], list[str]]:
    """Form all pairs of opposite passes that cover both gates.

    Parameters
    ----------
    courses, measured
        As from :func:`find_courses`.
    distance_m : float
        Between the gates [m].
    gates_m : (float, float) or None
        Along-course coordinates of given gates; None to place them.
    rule : Rule
        Its mean decides where the gates are placed best.
    may_pair : ndarray of bool, shape (p, p)
        Which passes, the earlier first, may be paired at all.

    Returns
    -------
    pairs : list of Pair
    misses : list of str
        For passes or pairs that do not cover the gates: how much is missing.
    """
    pairs: list[Pair] = []
    misses: list[str] = []
    headings = [m.data.window.heading_deg for m in measured]
    for course in report_each(courses, len(courses)):
        members, short = _covering(course.passes, gates_m, distance_m)
        misses += short
        placed: list[_Placed] = []
        tables = _timetables(members, distance_m) if members and gates_m is None else {}
        for a, b in combinations(members, 2):
            turned_deg = abs(float(wrap_deg(headings[a.index] - headings[b.index])))
            if a.sense == b.sense or turned_deg < 180.0 - _OPPOSITE_DEG or not may_pair[a.index, b.index]:
                continue
            if gates_m is not None:
                gates: FloatArray | None = np.array(sorted(gates_m))
            else:
                gates = _place(tables[a.index], tables[b.index], distance_m, rule)
            if gates is not None:
                placed.append((a, b, gates))
            elif (shared_m := _shared_m(a, b)) > 0.0:
                misses.append(
                    f"P{a.index + 1} and P{b.index + 1} share {shared_m:.0f} m of course, "
                    f"less than the {distance_m:.3f} m to be measured"
                )
        crossings = _crossings(placed)
        pairs += [_pair(*one, course, distance_m, crossings) for one in placed]
    return pairs, misses


def shared_place_s2(pair: Pair, receiver: ReceiverModel) -> float:
    """Give the covariance of a pair's two times between the gates, by the place that both err in [s²].

    From one pass to the other a place's error decays to ``exp(-Δt / τ)`` (JCGM 100:2008, 5.2.2, F.1.2.3).
    """
    (a0_s, a1_s), (b0_s, b1_s) = pair.spans_s
    alike = math.exp(-abs(b0_s + b1_s - a0_s - a1_s) / 2.0 / receiver.position_tau_s)
    return receiver.position_sd_m**2 * alike * pair.by_place_spm[0] * pair.by_place_spm[1]


def _covering(
    passes: Sequence[CoursePass], gates_m: tuple[float, float] | None, distance_m: float
) -> tuple[list[CoursePass], list[str]]:
    """Keep the passes that cross both given gates; say of the others how far they run."""
    if gates_m is None:
        return list(passes), []
    low, high = min(gates_m), max(gates_m)
    covering, short = [], []
    for p in passes:
        if p.reach_m[0] <= low and p.reach_m[1] >= high:
            covering.append(p)
        else:
            short.append(
                f"P{p.index + 1} does not cross both given gates: it runs from {p.reach_m[0] - low:.0f} m "
                f"to {p.reach_m[1] - low:.0f} m of the {distance_m:.3f} m between them"
            )
    return covering, short


def _pair(
    a: CoursePass,
    b: CoursePass,
    gates: FloatArray,
    course: Course,
    distance_m: float,
    crossings: dict[tuple[int, float], _Crossing],
) -> Pair:
    (a0_s, a1_s, a_sd_s, a_spm), (b0_s, b1_s, b_sd_s, b_spm) = (
        crossings[p.index, float(gates[0])] for p in (a, b)
    )
    ordered = gates if a.sense > 0 else gates[::-1]
    return Pair(
        a,
        b,
        course,
        (float(ordered[0]), float(ordered[1])),
        distance_m,
        ((a0_s, a1_s), (b0_s, b1_s)),
        (a_sd_s, b_sd_s),
        (a_spm, b_spm),
    )


def given_course(
    gates: tuple[tuple[float, float], tuple[float, float]], frame: LocalFrame
) -> tuple[CourseLine, tuple[float, float], float]:
    """Lay the course line through given gates.

    Parameters
    ----------
    gates : ((lat, lon), (lat, lon))
        WGS 84 [deg].
    frame : LocalFrame

    Returns
    -------
    course : CourseLine
    gates_m : (float, float)
        Where they stand along it [m].
    distance_m : float
        Between them [m].

    Raises
    ------
    CallError
        If they are not on the globe, or no measured distance apart.
    """
    (lat1, lon1), (lat2, lon2) = gates
    if not all(np.isfinite(x) for x in (lat1, lon1, lat2, lon2)) or max(abs(lat1), abs(lat2)) > 90.0:
        raise CallError("the gates are not on the globe", hint="give LAT1,LON1,LAT2,LON2 in degrees")
    distance_m = geodesic_m(lat1, lon1, lat2, lon2)
    if not 1.0 <= distance_m <= 5000.0:
        raise CallError(
            f"the gates are {distance_m:.1f} m apart", hint="give two gates between 1 m and 5 km apart"
        )
    east_m, north_m = frame.to_local([lat1, lat2], [lon1, lon2])
    heading = float(np.degrees(np.arctan2(np.diff(east_m), np.diff(north_m)))[0] % 360.0)
    line = CourseLine(float(east_m[0]), float(north_m[0]), heading)
    return line, (0.0, distance_m), distance_m
