"""How many more two-ways would show a difference: the power of the t-test.

References
----------
J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd edition 1988, chapter 2 (noncentral t).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import asdict, dataclass
from typing import Any, Final, Literal

from scipy.optimize import brentq
from scipy.stats import nct
from scipy.stats import t as student

POWER: Final = 0.8
_MAX_OUTINGS = 200
_ROUND: Final = (2, 4, 6)
"""Two-ways an outing that a plan offers."""


def t_power(noncentrality: float, df: float, level: float = 0.95) -> float:
    """Chance that a two-sided t-test calls a difference.

    Parameters
    ----------
    noncentrality : float
        True difference over the standard error of its estimate.
    df : float
    level : float
        Of the interval that must leave out zero.

    Examples
    --------
    >>> round(t_power(0.0, 10), 3)
    0.05
    """
    critical = float(student.ppf(0.5 + level / 2.0, df))
    d = abs(noncentrality)
    # Far out the distribution function loses its footing; there the test calls every time.
    if d > critical + 12.0:
        return 1.0
    return float(nct.sf(critical, df, d) + nct.cdf(-critical, df, d))


def two_sample_power(
    difference: float, sd: float, n: float, ratio: float = 1.0, level: float = 0.95
) -> float:
    """Power of the t-test between ``n`` and ``ratio * n`` independent values of one standard deviation."""
    other = ratio * n
    return t_power(difference / (sd * math.sqrt(1.0 / n + 1.0 / other)), n + other - 2.0, level)


def two_sample_size(
    difference: float, sd: float, power: float = POWER, ratio: float = 1.0, level: float = 0.95
) -> float:
    """Values needed in the first sample, as a real number; a plan rounds it up.

    Raises
    ------
    ValueError
        If there is no difference to show.

    Examples
    --------
    >>> round(two_sample_size(0.5, 1.0), 2)
    63.77
    """
    if difference == 0.0:
        raise ValueError("no number of values shows a difference of nothing")
    least = 2.0 / (1.0 + ratio) + 1e-3

    def short(n: float) -> float:
        return two_sample_power(difference, sd, n, ratio, level) - power

    most = 2.0 * least
    while short(most) < 0.0:
        most *= 2.0
    return least if short(least) >= 0.0 else float(brentq(short, least, most))


@dataclass(frozen=True, slots=True)
class Plan:
    """Further running that would show a difference.

    Attributes
    ----------
    kind : {"outings", "alternating"}
        Each outing on one sheet; or both sheets in turn within an outing.
    outings_before, outings_after : int
        Further outings on each sheet; for the alternating kind, outings in which both are run.
    per_outing : int
        Two-ways (or passes) in each of them; for the alternating kind on each of the two sheets.
    two_ways : int
        All together.
    power : float
        Chance that they show the difference.
    """

    kind: Literal["outings", "alternating"]
    outings_before: int
    outings_after: int
    per_outing: int
    two_ways: int
    power: float

    @property
    def outings(self) -> int:
        """Further outings all together."""
        return self.outings_before + (self.outings_after if self.kind == "outings" else 0)

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Scatter:
    """What further running will scatter by: variance between outings and within them."""

    between: float
    within: float

    def outing_mean(self, n: float) -> float:
        """Variance of the mean of an outing of n."""
        return self.between + self.within / n


def plan_outings(
    care: float, scatter: Scatter, before: tuple[int, ...], after: tuple[int, ...], level: float
) -> tuple[Plan, ...]:
    """Plan further outings on one sheet each, for a few sizes of outing.

    Parameters
    ----------
    care : float
        Difference to be shown.
    scatter : Scatter
        As estimated so far; the plan is no surer than it is.
    before, after : tuple of int
        Two-ways in each outing so far, a side.
    level : float
        Of the interval that must leave out zero.

    Returns
    -------
    tuple of Plan
        Without those that would need more outings than anybody makes, nor those that need more two-ways than
        another in no fewer outings.
    """
    plans = [plan for size in _ROUND if (plan := _plan_of(size, care, scatter, before, after, level))]
    return tuple(p for p in plans if not any(_poorer(p, q) for q in plans))


def _poorer(plan: Plan, other: Plan) -> bool:
    """Whether another plan needs fewer two-ways in no more outings."""
    return other.two_ways < plan.two_ways and other.outings <= plan.outings


def _plan_of(
    size: int, care: float, scatter: Scatter, before: tuple[int, ...], after: tuple[int, ...], level: float
) -> Plan | None:
    """Find the fewest further outings of one size; each goes to the side of which less is known."""
    known = [sum(1.0 / scatter.outing_mean(n) for n in side) for side in (before, after)]
    steps: list[tuple[int, float, float]] = []  # further outings before, and what is then known of each side
    added = 0
    for _ in range(_MAX_OUTINGS):
        to_before = known[0] <= known[1]
        added += to_before
        known[0 if to_before else 1] += 1.0 / scatter.outing_mean(size)
        steps.append((added, known[0], known[1]))

    def power_of(step: int) -> float:
        df = len(before) + len(after) + step + 1 - 2
        _, first, second = steps[step]
        if df < 1 or not (first > 0.0 and second > 0.0):
            return 0.0
        return t_power(care / math.sqrt(1.0 / first + 1.0 / second), df, level)

    found = bisect_left(range(_MAX_OUTINGS), POWER, key=power_of)
    if found == _MAX_OUTINGS:
        return None
    of_before = steps[found][0]
    return Plan("outings", of_before, found + 1 - of_before, size, size * (found + 1), power_of(found))


def plan_alternating(care: float, scatter: Scatter, level: float) -> Plan | None:
    """Plan outings in which both sheets are run in turn: what an outing shares then cancels.

    Nothing run so far is counted. The constant of each outing and the pack's running down cost a degree of
    freedom each.
    """
    for total in range(4, 10 * _MAX_OUTINGS, 2):
        outings = math.ceil(total / (2 * _ROUND[-1]))
        each = math.ceil(total / (2 * outings))
        count = 2 * outings * each
        df = count - outings - 2
        if df < 1:
            continue
        power = t_power(care / math.sqrt(scatter.within * 4.0 / count), df, level)
        if power >= POWER:
            return Plan("alternating", outings, outings, each, count, power)
    return None
