"""Pairing passes into two-ways and judging them by a rule."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from telemetry.geo import CourseLine

CheckResult = Literal["met", "not met", "cannot tell"]
Verdict = Literal["counts", "does not count", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Gate:
    """One end of the measured distance, on the course line."""

    lat_deg: float
    lon_deg: float
    east_m: float
    north_m: float


@dataclass(frozen=True, slots=True)
class Check:
    """One condition of a rule with its evidence."""

    name: str
    result: CheckResult
    detail: str


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Two opposite passes over the same two gates.

    Attributes
    ----------
    id : str
        ``T1`` ... in the order listed, the best by the rule first.
    passes : tuple of str
        The two passes' ids in order of time.
    rule : str
        The rule's name.
    mean : {"of speeds", "of times"}
        How the two make one figure.
    distance_m : float
        Between the gates [m].
    speeds_mps, speed_u95_mps, times_s : tuple of float
        Each way: average between the gates, half its 95 % interval, and the time between them.
    crossings_s : tuple of (float, float)
        Each way: entering and leaving time on its log's clock [s].
    average_mps : float
        Unrounded [m/s].
    u95_mps : float
        Half the 95 % interval of the average [m/s].
    u_independent_mps, u_shared_mps : float
        Standard uncertainties: the part that averages out between the passes, and the part both share.
    verdict, checks
        The judgement and its evidence.
    gates : tuple of Gate
        In the direction of the earlier pass.
    gates_given : bool
        False when the program placed them.
    course : CourseLine
        The line the gates stand across, in the metres of the first pass's log.
    best : bool
        Marked on the best two-way by the rule.
    official_text : str
        The average as the rule would print it (unit and rounding), without any claim.
    """

    id: str
    passes: tuple[str, str]
    rule: str
    mean: Literal["of speeds", "of times"]
    distance_m: float
    speeds_mps: tuple[float, float]
    speed_u95_mps: tuple[float, float]
    times_s: tuple[float, float]
    crossings_s: tuple[tuple[float, float], tuple[float, float]]
    average_mps: float
    u95_mps: float
    u_independent_mps: float
    u_shared_mps: float
    verdict: Verdict
    checks: tuple[Check, ...]
    gates: tuple[Gate, Gate]
    gates_given: bool
    course: CourseLine
    best: bool
    official_text: str
