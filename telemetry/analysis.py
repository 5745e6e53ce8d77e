"""The one entry point: logs in, a whole analysis out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, groupby
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from telemetry.cleaning.corrections import ByHand, log_key
from telemetry.core.errors import CallError, LogError
from telemetry.core.frames import BoolArray, Log, MotorLog, Track
from telemetry.core.geo import LocalFrame, geodesic_m
from telemetry.core.progress import scope
from telemetry.core.units import MILE_M, SIXTEENTH_MILE_M, distance_text
from telemetry.kinematics.models import ReceiverModel
from telemetry.motor.power import PowerOptions
from telemetry.motor.sync.assign import MotorAssignment, assign_motors, motor_covering, report_power_again
from telemetry.motor.sync.clock import MotorClock
from telemetry.passes.find import DistanceSpeed, Pass
from telemetry.passes.measure import PassSpeeds, best_distances, bounded
from telemetry.passes.speed_log import SpeedLog as SpeedLog
from telemetry.passes.speed_log import local_frames, log_notes, number_passes, process_log, start_order
from telemetry.readers import ReadOptions, read_logs
from telemetry.ride.judge import RideEvent, judge_ride
from telemetry.schema import analysis_document, passes_frame, samples_frame, two_ways_frame
from telemetry.twoway.checks import JudgementOptions, judge_all
from telemetry.twoway.mean import TwoWay
from telemetry.twoway.pairing import find_courses, find_pairs, given_course
from telemetry.twoway.rules import Rule, load_rule

USUAL_DISTANCES_M = (SIXTEENTH_MILE_M, 100.0, MILE_M / 8, 250.0, MILE_M / 4, 500.0)
# How far an analysis is when its passes are measured, its motor logs joined, its ride judged: of its time.
_MEASURED, _JOINED, _RIDDEN = 0.5, 0.65, 0.9

AnalysisProgress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Request:
    """What the user asks of an analysis.

    Attributes
    ----------
    rule : str or Rule
        Name of a shipped rule, path of the user's own TOML file, or a rule already read.
    distance_m : float or None
        Measured distance for the two-way when the rule leaves it open or the user overrides it; where nobody
        says, 330 ft.
    gates : ((lat, lon), (lat, lon)) or None
        Given gates [deg]; they set the measured distance.
    distances_m : tuple of float
        Measured distances to report for each pass, beside the usual ones.
    window_s : float or None
        Time window from the user's body's book, in place of the rule's [s].
    mark_mps : float or None
        A mark to beat, judged by the rule's margin [m/s].
    power : PowerOptions
        What is known of the propeller, motor and pack.
    by_hand : ByHand
        What a person corrected in the logs.
    """

    rule: str | Rule = "water"
    distance_m: float | None = None
    gates: tuple[tuple[float, float], tuple[float, float]] | None = None
    distances_m: tuple[float, ...] = ()
    window_s: float | None = None
    mark_mps: float | None = None
    power: PowerOptions = field(default_factory=PowerOptions)
    by_hand: ByHand = field(default_factory=ByHand)


@dataclass(frozen=True)
class Analysis:
    """Everything one analysis found; ``to_dict`` is the JSON contract.

    Attributes
    ----------
    request : Request
        What was asked.
    speed_logs : tuple of SpeedLog
        In order of time; ``Pass.log`` counts in it.
    motor_logs : tuple of MotorLog
        As read.
    passes : tuple of Pass
        In order of time.
    two_ways : tuple of TwoWay
        The best by the rule first.
    notes : tuple of str
        What the whole analysis cannot tell, and why.
    errors : tuple of LogError
        Inputs that could not be used.
    measured : tuple of PassSpeeds
        For each pass, what its figures were measured on; :func:`rejudge` starts from it.
    motors : tuple of MotorAssignment
        The motor logs with their clocks and what they tell, where there is a speed log to join them to.
    ride : tuple of RideEvent
        How each pass rode, in order of the passes.
    """

    request: Request
    speed_logs: tuple[SpeedLog, ...]
    motor_logs: tuple[MotorLog, ...]
    passes: tuple[Pass, ...]
    two_ways: tuple[TwoWay, ...]
    notes: tuple[str, ...]
    errors: tuple[LogError, ...]
    measured: tuple[PassSpeeds, ...] = ()
    motors: tuple[MotorAssignment, ...] = ()
    ride: tuple[RideEvent, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract ``reciprocal-analysis/1``: plain types, SI, UTC as ISO 8601."""
        return analysis_document(self)

    @property
    def leading_two_way(self) -> TwoWay | None:
        """The two-way to state first: the best by the rule, else the first of those that do not count."""
        return next((w for w in self.two_ways if w.best), self.two_ways[0] if self.two_ways else None)

    def passes_frame(self) -> pd.DataFrame:
        """Return a row for each pass, indexed by its id; columns as :func:`telemetry.schema.passes_frame`."""
        return passes_frame(self)

    def two_ways_frame(self) -> pd.DataFrame:
        """Return a row for each two-way, indexed by its id; the best by the rule comes first."""
        return two_ways_frame(self)

    def samples_frame(self) -> pd.DataFrame:
        """Return every usable sample of the speed logs with its smoothed speed and its pass."""
        return samples_frame(self)

    def _repr_html_(self) -> str:
        """Show the two-ways and the passes as tables in a notebook."""
        return "".join(
            f"<p>{title}</p>{table.to_html(max_rows=20, float_format='{:.3f}'.format)}"
            for title, table in (("Two-ways", self.two_ways_frame()), ("Passes", self.passes_frame()))
        )


def read_and_analyse(
    files: Sequence[Path],
    request: Request | None = None,
    options: ReadOptions | None = None,
    progress: AnalysisProgress | None = None,
) -> Analysis:
    """Read log files and analyse them together.

    Parameters
    ----------
    files : sequence of Path
        Logs, or archives of logs.
    request, options
        What is asked, and what the readers have to be told.
    progress : callable, optional
        Called with a step's name and the share done, 0 to 1.

    Returns
    -------
    Analysis
        A file that cannot be used is named in ``errors``; the rest is analysed all the same.

    Raises
    ------
    RuleError, CallError
        If the request cannot be used.
    """
    logs: list[Log] = []
    errors: list[LogError] = []
    for k, file in enumerate(files):
        if progress:
            progress(f"reading {Path(file).name}", 0.5 * k / len(files))
        read, unused = read_logs(Path(file), options)
        logs += read
        errors += unused
    return analyse(logs, request, errors, progress)


def analyse(
    logs: Sequence[Log],
    request: Request | None = None,
    errors: Sequence[LogError] = (),
    progress: AnalysisProgress | None = None,
) -> Analysis:
    """Analyse logs already read.

    Raises
    ------
    RuleError, CallError
        If the request cannot be used.
    """
    request = request or Request()
    load_rule(request.rule)
    notes: list[str] = []
    tracks, motors = _sorted_logs(logs, notes)
    distances_m = _distances(request)
    examinations = []
    for k, (track, frame) in enumerate(zip(tracks, local_frames(tracks), strict=True)):
        if progress:
            progress(f"analysing {track.meta.file}", 0.5 + 0.5 * k / len(tracks))
        with scope(_MEASURED * k / len(tracks), _MEASURED * (k + 1) / len(tracks)):
            examinations.append(process_log(track, frame, request.by_hand, distances_m))
    bare = Analysis(request, (), tuple(motors), (), (), tuple(notes), tuple(errors))
    whole = _with_logs(bare, examinations)
    with scope(_RIDDEN, 1.0):
        return _with_two_ways(whole)


Examination = tuple[SpeedLog, tuple[PassSpeeds, ...]]


def _with_logs(
    analysis: Analysis, examinations: Sequence[Examination], before: Analysis | None = None
) -> Analysis:
    """Put the speed logs into an analysis, with passes, motors and ride.

    Parameters
    ----------
    analysis : Analysis
        With its request, its motor logs and the notes that do not depend on the speed logs.
    examinations : sequence of Examination
    before : Analysis, optional
        One of the same logs; what its unchanged logs tell is taken from it.
    """
    logs = tuple(log for log, _ in examinations)
    measured = [mine for _, mine in examinations]
    passes, in_order = number_passes(logs, measured)
    same = {k for k, log in enumerate(logs) if before and log is before.speed_logs[k]}
    with scope(_MEASURED, _JOINED):
        joined = assign_motors(
            analysis.motor_logs,
            [(log.cleaned, log.motion) for log in logs],
            passes,
            [mine[0].data.lag_s if mine else 0.0 for mine in measured],
            analysis.request.power,
            analysis.request.by_hand,
            [{k: one.estimates[k] for k in same} for one in before.motors] if before else None,
        )
    ride: list[RideEvent] = []
    for k in range(len(logs)):
        with scope(*(_JOINED + (_RIDDEN - _JOINED) * i / len(logs) for i in (k, k + 1))):
            if before and k in same and _clock_in_ride(before.motors, k) == _clock_in_ride(joined, k):
                ride += _ride_as_before(before, passes, k)
            else:
                ride += _ride(logs[k], [p for p in passes if p.log == k], joined)
    order = {p.id: i for i, p in enumerate(passes)}
    return replace(
        analysis,
        speed_logs=logs,
        passes=passes,
        notes=analysis.notes + log_notes(logs, passes),
        measured=in_order,
        motors=joined,
        ride=tuple(sorted(ride, key=lambda e: order[e.pass_id])),
    )


def _ride(log: SpeedLog, passes: Sequence[Pass], joined: Sequence[MotorAssignment]) -> Sequence[RideEvent]:
    """Judge how the passes of one log rode."""
    rows: list[RideEvent] = []
    # In order of time, so that each motor log comes once; by its identity, as logs do not compare.
    for _, those in groupby(((motor_covering(joined, p), p) for p in passes), lambda pair: id(pair[0])):
        motors, mine = zip(*those, strict=True)
        rows += judge_ride(log.cleaned, log.motion, mine, motors[0].signal() if motors[0] else None)
    return rows


def _clock_in_ride(joined: Sequence[MotorAssignment], number: int) -> tuple[MotorClock, ...]:
    return tuple(j.clock for j in joined if j.speed_log == number and j.clock.trusted)


def _ride_as_before(before: Analysis, passes: Sequence[Pass], number: int) -> list[RideEvent]:
    """Return a log's ride with its passes named as they are now."""
    former, now = ([p.id for p in some if p.log == number] for some in (before.passes, passes))
    name = dict(zip(former, now, strict=True))
    return [replace(e, pass_id=name[e.pass_id]) for e in before.ride if e.pass_id in name]


def rejudge(analysis: Analysis, request: Request) -> Analysis:
    """Answer another request on passes already measured.

    Nothing is read again, and nothing cleaned or smoothed but the logs that are corrected otherwise by hand.

    Raises
    ------
    RuleError, CallError
        If the request cannot be used.
    """
    if request.by_hand != analysis.request.by_hand:
        analysis = _corrected(analysis, request.by_hand)
    passes, measured = analysis.passes, analysis.measured
    wanted = _distances(request)
    if wanted != _distances(analysis.request):
        measured = tuple(replace(m, distances=_over(m, wanted)) for m in measured)
        passes = tuple(replace(p, distances=m.distances) for p, m in zip(passes, measured, strict=True))
    joined = analysis.motors
    if request.power != analysis.request.power:
        motions = [log.motion for log in analysis.speed_logs]
        joined = report_power_again(joined, motions, passes, request.power)
    kept = tuple(n for n in analysis.notes if not n.startswith(_TWO_WAY_NOTE))
    return _with_two_ways(
        replace(
            analysis,
            request=request,
            passes=passes,
            measured=measured,
            motors=joined,
            notes=kept,
            two_ways=(),
        )
    )


def _over(measured: PassSpeeds, wanted: tuple[float, ...]) -> tuple[DistanceSpeed, ...]:
    """Give a pass's best averages over the wanted distances; those known already are not found again."""
    known = {one.distance_m: one for one in measured.distances}
    missing = [distance_m for distance_m in wanted if distance_m not in known]
    found = bounded(best_distances(measured.data, missing), measured.held_1s_mps)
    known |= {one.distance_m: one for one in found}
    return tuple(known[distance_m] for distance_m in wanted if distance_m in known)


def _corrected(analysis: Analysis, by_hand: ByHand) -> Analysis:
    """Take what is corrected by hand into account, two-ways apart."""
    request = analysis.request
    examinations = []
    for k, log in enumerate(analysis.speed_logs):
        key = log_key(log.read.meta)
        mine = (m for p, m in zip(analysis.passes, analysis.measured, strict=True) if p.log == k)
        same = by_hand.of(key) == request.by_hand.of(key)
        examinations.append(
            (log, tuple(mine))
            if same
            else process_log(log.read, log.motion.frame, by_hand, _distances(request))
        )
    told = set(log_notes(analysis.speed_logs, analysis.passes))
    kept = tuple(n for n in analysis.notes if n not in told and not n.startswith(_TWO_WAY_NOTE))
    bare = replace(analysis, request=replace(request, by_hand=by_hand), notes=kept, two_ways=())
    return _with_logs(bare, examinations, analysis)


_TWO_WAY_NOTE = "Two-way: "


def _sorted_logs(logs: Sequence[Log], notes: list[str]) -> tuple[list[Track], list[MotorLog]]:
    """Part the logs by kind, in order of time, and use a file given twice once."""
    seen: set[tuple[str, type]] = set()
    tracks: list[Track] = []
    motors: list[MotorLog] = []
    for log in logs:
        key = (log.meta.sha256, type(log))
        if log.meta.sha256 and key in seen:
            notes.append(f"{log.meta.file} holds the same bytes as another file given: used once.")
            continue
        seen.add(key)
        if isinstance(log, Track):
            tracks.append(log)
        else:
            motors.append(log)
    tracks.sort(key=lambda t: start_order(t, 0.0))
    return tracks, motors


def _distances(request: Request) -> tuple[float, ...]:
    extra = request.distances_m + ((request.distance_m,) if request.distance_m else ())
    return tuple(sorted({*USUAL_DISTANCES_M, *extra}))


def _may_pair(analysis: Analysis) -> BoolArray:
    """Which passes may be paired: of one log, or of logs that follow one another in time and place."""
    logs = analysis.speed_logs
    follow = np.eye(len(logs), dtype=np.bool_)
    for i, j in combinations(range(len(logs)), 2):  # the logs are in order of time
        (_, end), (start, _) = (logs[k].cleaned.track.span_utc for k in (i, j))
        apart = end is not None and start is not None and start > end
        follow[i, j] = follow[j, i] = apart and logs[i].motion.frame == logs[j].motion.frame
    log = [p.log for p in analysis.passes]
    return np.asarray(follow[np.ix_(log, log)])


def _home(
    frames: Sequence[LocalFrame], gates: tuple[tuple[float, float], tuple[float, float]] | None
) -> LocalFrame | None:
    """Find the water that given gates stand on: logs of several may be analysed at once."""
    if not gates or not frames:
        return None
    return min(frames, key=lambda f: geodesic_m(f.lat0_deg, f.lon0_deg, *gates[0]))


def _with_two_ways(analysis: Analysis) -> Analysis:
    """Pair and judge the passes of an analysis by its request."""
    request = analysis.request
    rule = load_rule(request.rule)
    if request.window_s is not None:
        rule = replace(rule, window_s=request.window_s)
    distance_m = request.distance_m or rule.distance_m or SIXTEENTH_MILE_M
    if not 1.0 <= distance_m <= 5000.0:
        raise CallError(f"a measured distance of {distance_m:g} m", hint="choose between 1 m and 5000 m")
    receiver = ReceiverModel()
    passes, measured = analysis.passes, analysis.measured
    frames = [analysis.speed_logs[p.log].motion.frame for p in passes]
    home = _home(frames, request.gates)
    given = given_course(request.gates, home) if request.gates and home else None
    courses = find_courses(measured, frames, given[0] if given else None, home)
    pairs, misses = find_pairs(
        courses,
        measured,
        given[2] if given else distance_m,
        given[1] if given else None,
        rule,
        _may_pair(analysis),
    )
    terms = JudgementOptions(rule, given is not None, request.mark_mps, receiver)
    cleaned = [log.cleaned for log in analysis.speed_logs]
    two_ways = judge_all(pairs, passes, measured, cleaned, terms)
    notes = [_TWO_WAY_NOTE + miss + "." for miss in misses[:_MAX_MISSES]]
    if len(misses) > _MAX_MISSES:
        notes.append(f"{_TWO_WAY_NOTE}{len(misses) - _MAX_MISSES} more of that kind.")
    if not two_ways and analysis.speed_logs:
        notes.insert(0, _TWO_WAY_NOTE + _why_none(analysis, given[2] if given else distance_m))
    return replace(analysis, two_ways=two_ways, notes=analysis.notes + tuple(notes))


_MAX_MISSES = 6


def _why_none(analysis: Analysis, distance_m: float) -> str:
    """Say why there is no two-way at all."""
    placed = [m for m in analysis.measured if m.data.window.course is not None]
    if len(analysis.passes) < 2:
        n = len(analysis.passes)
        return f"cannot tell: it takes two passes in opposite directions, and {n or 'none'} was found."
    if len(placed) < 2:
        return "cannot tell: the log has no positions, so the measured distance has no place."
    return (
        "cannot tell: no two passes run opposite ways over the same "
        f"{distance_text(distance_m)} of one course."
    )
