"""The verdict on one measure, and how much more running would give one.

A 95 % interval is stated; a verdict asks a little more. With few outings the level of any interval is itself
only near: over many simulated pairs of sheets it covers 93 to 97 %. For a true null to be called at most one
time in twenty all the same, ``faster``, ``slower``, ``higher`` and ``lower`` ask the 97 % interval to leave
out zero.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from telemetry.compare.effects import Difference, difference
from telemetry.compare.evidence import Evidence, of_measure
from telemetry.compare.measures import Measure
from telemetry.compare.planning import Plan, plan_alternating, plan_outings

VERDICT_LEVEL: Final = 0.97
NO_DIFFERENCE: Final = "no clear difference"
NOT_ENOUGH: Final = "not enough passes"


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


@dataclass(frozen=True, slots=True)
class Effect:
    """What a change did to one measure.

    Attributes
    ----------
    measure : Measure
    before, after : Group
    verdict : str
        ``faster`` or ``slower`` for speeds, ``higher`` or ``lower`` for other measures, ``no clear
        difference`` or ``not enough passes``.
    reason : str
        Why, in a sentence without a full stop.
    care : float
        Smallest difference that matters to the user, SI.
    found : Difference or None
        The estimate; None where the evidence gives none.
    plans : tuple of Plan
        Further running that would show a difference of ``care``, where more is needed.
    """

    measure: Measure
    before: Group
    after: Group
    verdict: str
    reason: str
    care: float
    found: Difference | None = None
    plans: tuple[Plan, ...] = ()

    @property
    def difference(self) -> float | None:
        """After less before, adjusted, SI."""
        return None if self.found is None else self.found.contrast.estimate

    @property
    def u95(self) -> float | None:
        """Half the 95 % interval of the difference, SI."""
        return None if self.found is None else self.found.half_width()

    def to_dict(self) -> dict[str, Any]:
        """Return plain types, SI."""
        found = self.found
        interval: dict[str, Any] = {"difference": None, "low": None, "high": None}
        if found is not None:
            middle, half = found.contrast.estimate, found.half_width()
            interval = {
                "difference": middle,
                "low": middle - half,
                "high": middle + half,
                "df": found.contrast.df if math.isfinite(found.contrast.df) else None,
                "standard_error": found.contrast.standard_error,
                "measurement_u": found.contrast.measurement_u,
                "sd_between_outings": math.sqrt(found.scatter.between),
                "sd_within_outings": math.sqrt(found.scatter.within),
                "history_outings": found.history_outings,
                "adjusted": [
                    {"covariate": a.covariate.key, "slope": a.slope, "shift": a.shift} for a in found.adjusted
                ],
            }
        return {
            "measure": self.measure.key,
            "kind": self.measure.kind,
            "verdict": self.verdict,
            "reason": self.reason,
            "care": self.care,
            "before": self.before.to_dict(),
            "after": self.after.to_dict(),
            **interval,
            "plans": [plan.to_dict() for plan in self.plans],
        }


def effect(
    measure: Measure,
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    *,
    care: float | None = None,
    barred: Collection[str] = (),
    history: Sequence[Evidence] = (),
) -> Effect:
    """Judge one measure.

    Parameters
    ----------
    measure : Measure
    before, after : sequence of Evidence
        What does not speak about the measure is left aside.
    care : float, optional
        Smallest difference that matters, SI; the measure's own where nobody says.
    barred, history
        As :func:`~telemetry.compare.effects.difference` takes them.
    """
    care = measure.care if care is None else care
    first, second = (of_measure(side, measure.key, measure.kind) for side in (before, after))
    groups = Group.of(first, measure.key), Group.of(second, measure.key)
    for group, name in zip(groups, ("before", "after"), strict=True):
        if not group.count:
            unit = "two-way" if measure.kind == "two-way" else "pass with this figure"
            return Effect(measure, groups[0], groups[1], NOT_ENOUGH, f"there is no {unit} {name}", care)
    known = of_measure(history, measure.key, measure.kind)
    found = difference(measure, first, second, barred=barred, history=known)
    if isinstance(found, str):
        return Effect(measure, groups[0], groups[1], NOT_ENOUGH, found, care)
    verdict, reason = _verdict(measure, found, care)
    plans = _plans(found, _sizes(first), _sizes(second), care) if verdict == NOT_ENOUGH else ()
    return Effect(measure, groups[0], groups[1], verdict, reason, care, found, plans)


def _verdict(measure: Measure, found: Difference, care: float) -> tuple[str, str]:
    middle, half = found.contrast.estimate, found.half_width()
    if abs(middle) > found.half_width(VERDICT_LEVEL):
        word = measure.up if middle > 0.0 else measure.down
        small = ", though by less than matters to you" if abs(middle) + half <= care else ""
        return word, f"the interval leaves out zero{small}"
    if abs(middle) + half <= care:
        return NO_DIFFERENCE, "the whole interval lies within what matters to you"
    if abs(middle) > half:
        return (
            NOT_ENOUGH,
            "the interval leaves out zero by too little: with so few outings that happens by chance as well",
        )
    return NOT_ENOUGH, "the interval holds zero, and differences that matter to you"


def _sizes(side: Sequence[Evidence]) -> tuple[int, ...]:
    """Count the evidence of each outing."""
    return tuple(Counter(e.outing_id for e in side).values())


def _plans(
    found: Difference, before: tuple[int, ...], after: tuple[int, ...], care: float
) -> tuple[Plan, ...]:
    # An outing of the logbook has one sheet: both in turn are advised only to who ran them so already.
    if found.within_only:
        alternating = plan_alternating(care, found.scatter, VERDICT_LEVEL)
        return () if alternating is None else (alternating,)
    return plan_outings(care, found.scatter, before, after, VERDICT_LEVEL)
