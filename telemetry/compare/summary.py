"""What is known, in one line: the first line of every answer, on screens, terminals and in JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from telemetry.compare.display import Units, difference_text, value_text
from telemetry.compare.measures import MEASURES

if TYPE_CHECKING:
    from telemetry.compare.advice import Advice
    from telemetry.compare.comparison import Comparison
    from telemetry.compare.history import History
    from telemetry.compare.planning import Plan
    from telemetry.compare.verdicts import Effect

_NUMBERS: Final = ("no", "one", "two", "three", "four", "five", "six")


def comparison_summary(comparison: Comparison, units: Units) -> str:
    """Write what a comparison knows, and what would tell where it does not."""
    head, before, after = comparison.headline, comparison.before, comparison.after
    if head.difference is None:
        return f"Not known yet whether {after} is faster than {before}: {_missing(head)}."
    apart = difference_text(head.measure, head.difference, units, head.u95)
    if head.verdict in (head.measure.up, head.measure.down):
        return f"{after} is {head.verdict} than {before}: {apart}."
    if head.verdict == "no clear difference":
        return f"{after} and {before} do not differ by as much as matters to you: {apart}."
    if head.verdict == "cannot tell":
        return f"Cannot tell {after} from {before} by {apart}: {_confounded(comparison, units)}."
    more = _more(head)
    if head.likely:
        return f"{after} is probably {head.likely} than {before}: {apart}{more}."
    return f"Not known yet whether {after} is faster than {before}: {apart}{more}."


def _missing(head: Effect) -> str:
    if head.reason == "missing-before":
        return "there is no two-way before"
    if head.reason == "missing-after":
        return "there is no two-way after"
    if head.reason == "no-scatter":
        return "the figures do not scatter at all, as no measured ones do"
    return "run both on one day, in turn (A B B A), to tell"


def _confounded(comparison: Comparison, units: Units) -> str:
    """Write what cannot be told from the change, and what would tell."""
    head, before, after = comparison.headline, comparison.before, comparison.after
    found = head.found
    assert found is not None
    if head.reason == "one-day":
        usual = "how far this boat's days differ is not known yet"
        if found.day_difference is not None:
            size = difference_text(head.measure, found.day_difference, units).lstrip("+")
            usual = f"two days of this boat typically differ by {size}"
        return f"the two days may differ by more ({usual}); one day with both, in turn, would tell more"
    if head.reason == "one-outing":
        return "the two outings may differ by more; both again on one day, in turn (A B B A), would tell more"
    if head.reason == "place":
        chance = _chance(head)
        return (
            f"the places may differ by as much; one day with both at one place, in turn{chance}, would tell"
        )
    first = before if found.last_side == 1 else after
    return f"the season may have changed by as much; going back to {first} for an outing or two would tell"


def _chance(head: Effect) -> str:
    if head.plans is None or not head.plans.offered:
        return ""
    return f" ({100 * head.plans.offered[0].power:.0f} % chance)"


def _more(head: Effect) -> str:
    """Write the plan that would tell as the end of a sentence."""
    if head.plans is None:
        return ""
    plan = head.plans.offered[-1]
    if head.plans.too_long:
        size = "it" if not head.plans.enough else f"it ({plan.outings} outings)"
        return f"; more than six outings would be needed to settle {size}"
    return f"; {plan_words(plan)} would tell ({100 * plan.power:.0f} % chance)"


def plan_words(plan: Plan) -> str:
    """Write a plan: days, and which sheet in which order.

    Examples
    --------
    >>> from telemetry.compare.planning import Plan
    >>> plan_words(Plan("ABBA", 2, 8, 3, 24, 0.8))
    'two more days with both sheets in turn (A B B A)'
    """
    count = _NUMBERS[plan.days] if plan.days < len(_NUMBERS) else str(plan.days)
    day = "day" if plan.days == 1 else "days"
    turn = "A B B A" if plan.pattern == "ABBA" else ("A B" if plan.days == 1 else "A B, then B A")
    return f"{count} more {day} with both sheets in turn ({turn})"


def history_summary(told: History, units: Units) -> str:
    """Write which sheet is best, and how sure that is."""
    if not told.points:
        return f"No outing of this boat has a figure for: {told.measure.title.lower()}."
    if told.best is None:
        return "No best sheet yet: too few days and outings to say how far they differ."
    level = told.best.level
    mean = value_text(told.measure, level.mean, units, level.u95)
    chance = level.chance_best
    if chance is None or len(told.points) == 1:
        return f"{told.best.sheet}: {mean}."
    sure = "is the best sheet" if chance > 0.95 else "is probably the best sheet" if chance > 0.6 else "leads"
    return f"{told.best.sheet} {sure}: {mean}, best of {len(told.points)} with {_percent(chance)} chance."


def advice_summary(advice: Advice, units: Units, best_sheet: str = "") -> str:
    """Write what to run next, and what it is expected to bring."""
    best = best_sheet or "the best sheet"
    if advice.verdict == "try" and advice.trial is not None:
        trial = advice.trial
        unit = "" if trial.item.unit == "1" else f" {trial.item.unit}"
        gain = difference_text(MEASURES["two_way_mps"], trial.gain, units, trial.gain_u95)
        return (
            f"Try {trial.item.title.lower()} {trial.value:g}{unit}: {gain} against {best}, faster with "
            f"{_percent(trial.chance)} chance."
        )
    if advice.verdict == "run the best again":
        return f"Run {best} again: that tells more than another value would."
    if advice.verdict == "leave it":
        return f"Leave it at {best}: {advice.reason}."
    return f"Too little to advise: {advice.reason}."


def _percent(chance: float) -> str:
    """Write a probability without false certainty."""
    return f"{min(max(100.0 * chance, 1.0), 99.0):.0f} %"
