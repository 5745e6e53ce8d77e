"""What a two-way is, and how two speeds make one figure.

Bodies differ. In published powerboat practice the figure is the arithmetic mean of the two speeds; in land
practice it is the distance over the mean of the two times, which is the harmonic mean of the speeds. A steady
current adds to one speed what it takes from the other: it cancels in the first and lowers the second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from typing import Literal, TypeVar

from telemetry.core.frames import FloatArray
from telemetry.core.geo import CourseLine
from telemetry.core.units import SPEED_UNITS
from telemetry.twoway.rules import Rule

Speeds = TypeVar("Speeds", float, FloatArray)  # one pair, or a whole course of them
CheckResult = Literal["met", "not met", "cannot tell"]
TwoWayVerdict = Literal["counts", "does not count", "cannot tell"]


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
    verdict: TwoWayVerdict
    checks: tuple[Check, ...]
    gates: tuple[Gate, Gate]
    gates_given: bool
    course: CourseLine
    best: bool
    official_text: str


def mean_of_speeds(v1: Speeds, v2: Speeds) -> Speeds:
    """Arithmetic mean of two speeds, in their unit.

    Examples
    --------
    >>> mean_of_speeds(275.15, 245.55)
    260.35
    """
    return (v1 + v2) / 2.0


def mean_of_times(v1: Speeds, v2: Speeds) -> Speeds:
    """Distance over the mean of the two times: the harmonic mean of two speeds, in their unit.

    Examples
    --------
    >>> round(mean_of_times(385.645, 403.135), 3)
    394.196
    """
    return 2.0 * v1 * v2 / (v1 + v2)


def average_of(mean: Literal["of speeds", "of times"], v1: Speeds, v2: Speeds) -> Speeds:
    """Average two speeds the way a rule says."""
    return mean_of_speeds(v1, v2) if mean == "of speeds" else mean_of_times(v1, v2)


def sensitivities(mean: Literal["of speeds", "of times"], v1: float, v2: float) -> tuple[float, float]:
    """Partial derivatives of the average by each of the two speeds (JCGM 100:2008, 5.1.3)."""
    if mean == "of speeds":
        return 0.5, 0.5
    total = v1 + v2
    return 2.0 * (v2 / total) ** 2, 2.0 * (v1 / total) ** 2


def gate_speed_u_mps(distance_m: float, time_s: float, u_time_s: float, u_distance_m: float = 0.0) -> float:
    """Give the standard uncertainty of a speed taken between two gates [m/s].

    For ``v = D / t``: ``(u(v) / v)² = (u(D) / D)² + (u(t) / t)²`` (JCGM 100:2008, 5.1.2). Gates that are
    lines in the receiver's own coordinates have no error of their own; surveyed ones have.

    Examples
    --------
    >>> round(gate_speed_u_mps(100.584, 2.250, 0.001, 0.02), 4)
    0.0218
    """
    return distance_m / time_s * math.hypot(u_distance_m / distance_m, u_time_s / time_s)


def printed_figure(speed_mps: float, rule: Rule) -> str:
    """Write a speed as the rule prints it: its unit, its decimals, rounded or cut.

    Examples
    --------
    >>> from telemetry.twoway.rules import load_rule
    >>> printed_figure(178.4975 * 0.44704, load_rule("water"))
    '178.497 mph'
    """
    shown = SPEED_UNITS[rule.unit].from_si(speed_mps)
    # Nine decimals first: a cut must not fall a whole digit for the last bit of a float.
    value = Decimal(f"{shown:.9f}")
    mode = ROUND_DOWN if rule.rounding == "down" else ROUND_HALF_UP
    return f"{value.quantize(Decimal(1).scaleb(-rule.decimals), mode)} {rule.unit}"
