"""What speaks against giving a difference to one change: said aloud, whatever the verdict."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

from telemetry.compare.covariates import COVARIATES, RUN_ORDER, VOLTAGE, WAY, Sides, relevant, sides_of
from telemetry.compare.effects import Adjustment
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import MEASURES
from telemetry.compare.verdicts import Effect
from telemetry.setup import ItemChange


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to bear in mind with a comparison.

    Attributes
    ----------
    code : str
        ``several-changes``, ``same-tune``, ``tune-unknown``, ``within-gauge``, ``one-sided``, ``time`` or
        the key of a covariate.
    text : str
        A sentence, SI units named.
    adjusted : bool
        Whether the figures were adjusted for it.
    sides, why : Sides or None, str
        Of a covariate: what differed and what was made of it, for a reader of other units.
    """

    code: str
    text: str
    adjusted: bool = False
    sides: Sides | None = None
    why: str = ""

    def told_in(self, shown: Callable[[str, float], str]) -> str:
        """Write it in a reader's units; ``shown`` writes a value with its unit, given SI."""
        return self.text if self.sides is None else f"{_told(self.sides, shown)}; {self.why}."

    def to_dict(self) -> dict[str, Any]:
        """Return plain types."""
        return {"code": self.code, "text": self.text, "adjusted": self.adjusted}


def of_tune(changes: Sequence[ItemChange] | None) -> list[Remark]:
    """Say what the two sheets leave open; None where a side has no sheet of its own."""
    if changes is None:
        return [
            Remark(
                "tune-unknown", "A side holds more than one sheet: what changed is not one tune to another."
            )
        ]
    if not changes:
        return [
            Remark("same-tune", "The two sheets say the same: a difference between them is not the tune's.")
        ]
    remarks = []
    if len(changes) > 1:
        names = ", ".join(change.item.title.lower() for change in changes)
        remarks.append(
            Remark(
                "several-changes",
                f"{len(changes)} items differ ({names}): the difference is that of all together, and cannot "
                "be given to one of them.",
            )
        )
    one_sided = [c.item.title.lower() for c in changes if c.before is None or c.after is None]
    if one_sided:
        remarks.append(
            Remark(
                "one-sided",
                f"Only one of the sheets states: {', '.join(one_sided)}. It may have changed or not.",
            )
        )
    for change in changes:
        if change.beyond_gauges is False:
            size = f"{change.difference:+.3g} {change.item.unit}"
            remarks.append(
                Remark("within-gauge", f"{change.item.title}: {size} is within what the gauges can tell.")
            )
    return remarks


def of_conditions(
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    adjusted: Sequence[Adjustment],
    barred: Collection[str] = (),
) -> list[Remark]:
    """Say how water, wind, pack and order differed, and whether that was allowed for."""
    done = {a.covariate.key for a in adjusted}
    asked = relevant(MEASURES["two_way_mps"])
    remarks = []
    for covariate in COVARIATES:
        if covariate in (WAY,) or (covariate == RUN_ORDER and VOLTAGE.key in done):
            continue
        sides = sides_of(covariate, before, after)
        if sides.differs or covariate.key in done:
            is_done = covariate.key in done
            why = "adjusted for" if is_done else _why_not(sides, covariate.key in barred, covariate in asked)
            text = f"{_told(sides, _in_si)}; {why}."
            remarks.append(Remark(covariate.key, text, is_done, sides, why))
    return remarks + _of_time(before, after)


def _in_si(unit: str, value: float) -> str:
    return f"{value:.2f} {unit}"


def _told(sides: Sides, shown: Callable[[str, float], str]) -> str:
    covariate = sides.covariate
    title = covariate.title.capitalize()
    if covariate.is_name:
        return f"{title}: {_names(sides.before)} before, {_names(sides.after)} after"
    if covariate == RUN_ORDER:
        return f"{title}: on average {sides.before:.1f} places in before, {sides.after:.1f} after"
    before, after = (
        shown(covariate.unit, value) if isinstance(value, float) else "not stated"
        for value in (sides.before, sides.after)
    )
    return f"{title}: {before} before, {after} after"


def _why_not(sides: Sides, barred: bool, asked: bool) -> str:
    """Say why a covariate was not adjusted for."""
    if barred:
        return "not adjusted for, since the change of the tune moves it itself"
    if not asked:
        return "not adjusted for: a speed is never adjusted for it"
    if sides.standing == "apart":
        return (
            "not adjusted for: the two sides do not overlap in it, so that it cannot be told from the change"
        )
    if sides.standing == "unknown":
        return "not adjusted for: it is not known of everything"
    return "not adjusted for: there are too few outings"


def _names(names: object) -> str:
    return ", ".join(names) if isinstance(names, tuple) and names else "not stated"


def _of_time(before: Sequence[Evidence], after: Sequence[Evidence]) -> list[Remark]:
    """Say when all of one side came before all of the other: what else changed with time is mixed into it."""
    times = [[e.outing_utc for e in side if e.outing_utc is not None] for side in (before, after)]
    if not times[0] or not times[1]:
        return (
            [Remark("no-dates", "Some outings have no date: each of them is taken for a day of its own.")]
            if len(times[0]) + len(times[1]) < len(before) + len(after)
            else []
        )
    one_after_other = max(times[0]) < min(times[1]) or max(times[1]) < min(times[0])
    if not one_after_other:
        return []
    return [
        Remark(
            "time",
            "All outings of one side came before all of the other: whatever else changed in that time (pack, "
            "propeller, driver, season) is mixed into the difference. Going back to the first sheet once "
            "more tells.",
        )
    ]


def of_model(effect: Effect) -> list[Remark]:
    """Say which outings look spoiled, and whether the season drifted."""
    found = effect.found
    if found is None:
        return []
    remarks = [
        Remark(
            "spoiled",
            f"Outing {s.outing_id} was much slower than the others predict (weed, a slipping coupling, a wet "
            f"connector?): spoiled with {100 * s.probability:.0f} % probability, so that it counts for "
            f"{100 * s.weight:.0f} % of a sound one. It was not left out.",
        )
        for s in found.spoiled
        if s.probability >= 0.5
    ]
    trend = found.trend
    if trend is not None and abs(trend.per_day) > trend.per_day_u95:
        hourly = "" if trend.per_hour is None else f", {trend.per_hour:+.3g} for each hour under way"
        remarks.append(
            Remark(
                "trend",
                f"The figures drift by {trend.per_outing:+.3g} ± {trend.per_outing_u95:.2g} for each further "
                f"outing{hourly} (SI units), sheets held equal. Adjusted for.",
                True,
            )
        )
    return remarks
