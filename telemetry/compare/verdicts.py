"""The verdict on one measure, and how much more running would give one.

A 95 % interval is stated; a verdict asks more. People look again after every outing, and each look is another
chance for a change that does nothing to be called. The verdicts ``faster``, ``slower``, ``higher`` and
``lower`` therefore ask the 99 % interval to leave out zero at every look. That is Pocock's spending rule
[1]_: with the same nominal level at each of twelve looks, a true null is called at most one time in twenty
over all of them (his nominal levels, from memory: 1.06 % for ten looks, 0.75 % for twenty; the study shows 2
to 4 % over twelve looks).

References
----------
.. [1] S. J. Pocock, Biometrika 64 (1977) 191, doi:10.1093/biomet/64.2.191, table 1.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from telemetry.compare.effects import Difference, NoDifference, difference
from telemetry.compare.evidence import Evidence, of_measure
from telemetry.compare.measures import Measure
from telemetry.compare.planning import Plans, plan_further
from telemetry.compare.posterior import DAY

VERDICT_LEVEL: Final = 0.99
LOOKS: Final = 12
"""Looks at growing evidence over which a true null is called at most one time in twenty."""
NO_DIFFERENCE: Final = "no clear difference"
NOT_ENOUGH: Final = "not enough passes"
CANNOT_TELL: Final = "cannot tell"
PROBABLY: Final = 0.8  # chance from which the first line says "probably"
_MOST: Final = 0.5  # share of the variance from which a confounder is the reason

Reason = Literal[
    "called",
    "called-small",
    "within-care",
    "one-day",
    "one-outing",
    "place",
    "time",
    "days",
    "early",
    "zero-inside",
    "missing-before",
    "missing-after",
    "one-outing-each",
    "nothing-seen",
    "no-scatter",
    "too-few",
]


@dataclass(frozen=True, slots=True)
class Group:
    """One side of a comparison in plain numbers.

    Attributes
    ----------
    count, outings : int
        Two-ways or passes, and outings they were run in.
    mean, sd : float or None
        Plain mean and standard deviation of the figures, SI; nothing adjusted.
    """

    count: int
    outings: int
    mean: float | None
    sd: float | None

    @classmethod
    def of(cls, evidence: Sequence[Evidence], key: str) -> Group:
        """Count and average one measure."""
        values = np.array([e.values[key] for e in evidence], dtype=float)
        return cls(
            values.size,
            len({e.outing_id for e in evidence}),
            float(values.mean()) if values.size else None,
            float(values.std(ddof=1)) if values.size > 1 else None,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        return {"count": self.count, "outings": self.outings, "mean": self.mean, "sd": self.sd}


@dataclass(frozen=True, kw_only=True)
class Effect:
    """What a change did to one measure.

    Attributes
    ----------
    measure : Measure
    before, after : Group
    verdict : str
        ``faster`` or ``slower`` for speeds, ``higher`` or ``lower`` for other measures, ``no clear
        difference``, ``cannot tell`` or ``not enough passes``.
    reason : str
        Code of why.
    care : float
        Smallest difference that matters to the user, SI.
    found : Difference or None
        The estimate; None where the evidence gives none.
    plans : Plans or None
        Further running that would show a difference of ``care``, where more is needed.
    """

    measure: Measure
    before: Group
    after: Group
    verdict: str
    reason: Reason
    care: float
    found: Difference | None = None
    plans: Plans | None = None

    @property
    def difference(self) -> float | None:
        """After less before, adjusted, SI."""
        return None if self.found is None else self.found.estimate

    @property
    def u95(self) -> float | None:
        """Half the 95 % interval of the difference, SI; None where days or places cannot be told from it."""
        return None if self.found is None or self.found.unlinked else self.found.half_width()

    @property
    def chance(self) -> float | None:
        """Probability that after exceeds before; None where days or places cannot be told from the change."""
        return None if self.found is None or self.found.unlinked else self.found.chance

    @property
    def likely(self) -> str:
        """The likelier of the two directions where it is probable, else empty."""
        if self.chance is None or max(self.chance, 1.0 - self.chance) < PROBABLY:
            return ""
        return self.measure.up if self.chance > 0.5 else self.measure.down

    def to_dict(self) -> dict[str, Any]:
        """Return plain types, SI."""
        return {
            "measure": self.measure.key,
            "kind": self.measure.kind,
            "verdict": self.verdict,
            "reason_code": self.reason,
            "care": self.care,
            "before": self.before.to_dict(),
            "after": self.after.to_dict(),
            "difference": self.difference,
            "low": None if self.u95 is None or self.difference is None else self.difference - self.u95,
            "high": None if self.u95 is None or self.difference is None else self.difference + self.u95,
            "chance_higher": self.chance,
            **({} if self.found is None else _basis(self.found)),
            "plans": [] if self.plans is None else [plan.to_dict() for plan in self.plans.offered],
            "more_than_six_outings": None if self.plans is None else self.plans.too_long,
        }


def _basis(found: Difference) -> dict[str, Any]:
    """Return what a difference rests on as plain types, SI."""
    trend = found.trend
    return {
        "standard_error": found.found.sd,
        "measurement_u": found.measuring_u,
        "sd_between_days": found.sd_between_days,
        "sd_between_outings": found.sd_between_outings,
        "sd_within_outings": found.sd_within_outings,
        "typical_day_difference": found.day_difference,
        "history_outings": found.history_outings,
        "adjusted": [
            {"covariate": a.covariate.key, "slope": a.slope, "slope_u95": a.slope_u95, "shift": a.shift}
            for a in found.adjusted
        ],
        "trend": trend
        and {
            "per_day": trend.per_day,
            "per_day_u95": trend.per_day_u95,
            "per_outing": trend.per_outing,
            "per_outing_u95": trend.per_outing_u95,
            "per_hour": trend.per_hour,
            "per_hour_u95": trend.per_hour_u95,
        },
        "spoiled": [
            {"outing": s.outing_id, "probability": s.probability, "weight": s.weight} for s in found.spoiled
        ],
    }


def effect(
    measure: Measure,
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    *,
    care: float | None = None,
    barred: Collection[str] = (),
    history: Sequence[Evidence] = (),
    plan: bool = True,
) -> Effect:
    """Judge one measure.

    Parameters
    ----------
    measure : Measure
    before, after : sequence of Evidence
        What does not have the figure is left aside.
    care : float, optional
        Smallest difference that matters, SI; the measure's own where nobody says.
    barred, history
        As :func:`~telemetry.compare.effects.difference` takes them.
    plan : bool
        Whether to work out what further running would tell.
    """
    care = measure.care if care is None else care
    first, second = (of_measure(side, measure.key, measure.kind) for side in (before, after))
    groups = Group.of(first, measure.key), Group.of(second, measure.key)

    def told(
        verdict: str, reason: Reason, found: Difference | None = None, plans: Plans | None = None
    ) -> Effect:
        return Effect(
            measure=measure, before=groups[0], after=groups[1], verdict=verdict, reason=reason, care=care,
            found=found, plans=plans,
        )  # fmt: skip

    if not first or not second:
        return told(NOT_ENOUGH, "missing-after" if first else "missing-before")
    known = of_measure(history, measure.key, measure.kind)
    found = difference(measure, first, second, barred=barred, history=known)
    if isinstance(found, NoDifference):
        return told(CANNOT_TELL if found.code == "one-outing-each" else NOT_ENOUGH, found.code)
    verdict, reason = judge(measure, found, care)
    needed = plan and verdict in (NOT_ENOUGH, CANNOT_TELL)
    plans = plan_further(found.fit, care, VERDICT_LEVEL, _size(first, second)) if needed else None
    return told(verdict, reason, found, plans)


def judge(measure: Measure, found: Difference, care: float) -> tuple[str, Reason]:
    """Decide on the verdict and its reason."""
    if found.unlinked is not None:
        return CANNOT_TELL, found.unlinked
    middle, half = found.estimate, found.half_width()
    if abs(middle) > found.half_width(VERDICT_LEVEL) and _sure(found.chance):
        word = measure.up if middle > 0.0 else measure.down
        return word, "called-small" if abs(middle) + half <= care else "called"
    if abs(middle) + half <= care:
        return NO_DIFFERENCE, "within-care"
    for axis, reason in (("drift", "time"), ("place", "place")):
        matters = found.share.get(axis, 0.0) > _MOST or _sure(found.without.get(axis, 0.5))
        if matters and (axis == "place" or found.apart_in_time):
            return CANNOT_TELL, "time" if reason == "time" else "place"
    if _sure(found.without.get(DAY, 0.5)):
        return NOT_ENOUGH, "days"
    return NOT_ENOUGH, "early" if abs(middle) > half else "zero-inside"


def _sure(chance: float) -> bool:
    """Whether a probability lies outside the verdict's level on either side."""
    return max(chance, 1.0 - chance) > 0.5 + VERDICT_LEVEL / 2.0


def _size(before: Sequence[Evidence], after: Sequence[Evidence]) -> int:
    """Two-ways or passes that an outing of this boat usually has."""
    counts = Counter(e.outing_id for e in (*before, *after))
    return max(1, round(float(np.median(list(counts.values())))))
