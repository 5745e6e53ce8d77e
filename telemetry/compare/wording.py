"""Comparisons, histories and advice in the user's units and in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import fill
from typing import Final

from telemetry.compare.advice import Advice, Trial
from telemetry.compare.comparison import Comparison
from telemetry.compare.display import Units, difference_text, value_text
from telemetry.compare.history import History, Point, TuneStep
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.planning import Plan
from telemetry.compare.rules_of_thumb import SOURCE, SYMPTOMS
from telemetry.compare.summary import advice_summary, comparison_summary, history_summary, plan_words
from telemetry.compare.verdicts import CANNOT_TELL, NOT_ENOUGH, Effect
from telemetry.core.text_table import text_table
from telemetry.setup import BenchDisplay, Item, ItemChange, Reading

__all__ = ["Units", "difference_text", "value_text"]

WIDTH: Final = 110

_REASONS: Final = {
    "called": "the 99 % interval leaves out zero",
    "called-small": "the 99 % interval leaves out zero, though the difference is less than matters to you",
    "within-care": "the whole interval lies within what matters to you",
    "one-day": "each sheet was run on a day of its own: the two days may differ by more",
    "one-outing": "each sheet was run in one outing of the day: the two outings may differ by more",
    "place": "each sheet was run at a place of its own: the places may differ by more",
    "time": "one sheet was run before the other, and the season may have changed by as much",
    "days": "the difference is large against two-ways, but so few days may differ by as much",
    "early": "the 95 % interval leaves out zero, the 99 % interval does not: looked at after every outing, "
    "that happens by chance as well",
    "zero-inside": "the interval holds zero, and differences that matter to you",
    "one-outing-each": "each side was run in one outing: what an outing shares (water, wind, pack) cannot be "
    "told from the change",
    "no-scatter": "the figures do not scatter at all, as no measured ones do",
    "too-few": "there are too few figures and outings to judge their scatter",
}


def reason_text(effect: Effect) -> str:
    """Write why a verdict was given, in a sentence without a full stop."""
    unit = "two-way" if effect.measure.kind == "two-way" else "pass with this figure"
    if effect.reason in ("missing-before", "missing-after"):
        return f"there is no {unit} {effect.reason.removeprefix('missing-')}"
    if effect.reason == "nothing-seen":
        return f"no {effect.measure.title.lower()} was seen on either side"
    return _REASONS[effect.reason]


def reading_text(item: Item, reading: Reading | None, showing: BenchDisplay | None = None) -> str:
    """Write a reading of a sheet, as a user reads the bench or in the item's own unit."""
    return "not stated" if reading is None else (showing or BenchDisplay()).text(item, reading)


def change_text(change: ItemChange, showing: BenchDisplay | None = None) -> str:
    """Write one changed item, as a user reads the bench or in its own unit."""
    before, after = (reading_text(change.item, r, showing) for r in (change.before, change.after))
    told = f"{change.item.title}: {before} → {after}"
    return f"{told} (within what the gauges can tell)" if change.beyond_gauges is False else told


def answer_text(effect: Effect, units: Units) -> str:
    """Write what a change did to one measure in a sentence."""
    title = effect.measure.title
    if effect.difference is None:
        return f"{title}: {effect.verdict}. {_sentence(reason_text(effect))}"
    told = difference_text(effect.measure, effect.difference, units, effect.u95)
    if effect.u95 is None:
        return f"{title}: {effect.verdict}, {told} between the two. {_sentence(reason_text(effect))}"
    return f"{title}: {effect.verdict}, {told} (95 %). {_sentence(reason_text(effect))}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def evidence_text(effect: Effect) -> str:
    """Count what stands behind an effect."""
    unit = "two-way" if effect.measure.kind == "two-way" else "pass"
    sides = (
        f"{_count(g.count, unit)} in {_count(g.outings, 'outing')} {name}"
        for g, name in ((effect.before, "before"), (effect.after, "after"))
    )
    return ", ".join(sides)


def _count(n: int, what: str) -> str:
    plural = {"pass": "passes"}.get(what, f"{what}s")
    return f"{n} {what if n == 1 else plural}"


def basis_texts(effect: Effect, units: Units) -> list[str]:
    """Write what an effect was adjusted for and where its scatter comes from."""
    found = effect.found
    if found is None:
        return []
    told = []
    for a in found.adjusted:
        name = a.covariate.title
        slope = ""
        if a.slope is not None:
            shown = units.of_covariate(a.covariate.unit)
            each, unit = (1.0, a.covariate.unit) if shown is None else (shown.factor_si, shown.name)
            half = None if a.slope_u95 is None else a.slope_u95 * each
            slope = f" ({difference_text(effect.measure, a.slope * each, units, half)} for each {_one(unit)})"
        shift = difference_text(effect.measure, -a.shift, units)
        told.append(f"Adjusted for {name}{slope}: {shift} on the difference.")
    if found.history_outings:
        told.append(
            f"{found.history_outings} outings on the boat's other sheets help to judge how days, the season "
            "and volts act on this boat."
        )
    if found.day_difference is not None:
        size = difference_text(effect.measure, found.day_difference, units).lstrip("+")
        told.append(f"Two days of this boat on one sheet typically differ by {size}.")
    if found.measurement_bound:
        told.append(
            "The interval is what the measuring of the speeds itself allows; the figures agree better."
        )
    return told


def _one(unit: str) -> str:
    return "place later" if unit == "places" else unit


def plan_text(plan: Plan, effect: Effect, units: Units, care: float) -> str:
    """Write what a plan is and what it would show."""
    unit = "two-way" if effect.measure.kind == "two-way" else "pass"
    size = difference_text(effect.measure, care, units).lstrip("+")
    return (
        f"{plan_words(plan)}, {_count(plan.per_outing, unit)} each: {100 * plan.power:.0f} % chance "
        f"to show {size}"
    )


def _wrapped(lines: Iterable[str]) -> str:
    """Fill sentences to the width of a terminal; rows of tables, which begin with blanks, stay whole."""
    told = []
    for line in lines:
        bullet = line.startswith("  - ")
        whole = len(line) <= WIDTH or (line.startswith(" ") and not bullet)
        told.append(line if whole else fill(line, WIDTH, subsequent_indent="    " if bullet else ""))
    return "\n".join(told)


def more_texts(effect: Effect, units: Units, sooner: str = "") -> list[str]:
    """Write what more running would tell where it is not enough.

    Parameters
    ----------
    effect : Effect
    units : Units
    sooner : str
        Title of a measure that already tells more; empty where there is none.
    """
    plans = effect.plans
    if plans is None:
        return [
            "Run both sheets on one day, in turn (A B B A): how far days and outings differ is not known yet."
        ]
    told = [plan_text(plan, effect, units, plans.care) for plan in plans.offered]
    if plans.too_long:
        size = difference_text(effect.measure, plans.care, units).lstrip("+")
        told.append(f"To show {size} with four chances in five takes more than six outings.")
        if plans.coarser is not None:
            coarse = plan_text(plans.coarser, effect, units, 2.0 * plans.care)
            told.append(f"A coarser step tells sooner. {_sentence(coarse)[:-1]}")
        told.append(
            f"{sooner} already tells more than the two-way does"
            if sooner
            else "Slip, rpm at a speed or the held speed at equal volts scatter less and may tell sooner"
        )
    return told


def comparison_text(comparison: Comparison, units: Units) -> str:
    """Write a comparison for a reader at a terminal or on paper."""
    head = comparison.headline
    lines = [
        comparison_summary(comparison, units),
        "",
        f"Before: {comparison.before}",
        f"After:  {comparison.after}",
        "",
        answer_text(head, units),
        f"Rests on {evidence_text(head)}.",
        *basis_texts(head, units),
    ]
    if comparison.changes is not None:
        lines += ["", "What changed", *(f"  {change_text(c)}" for c in comparison.changes)]
        if not comparison.changes:
            lines.append("  nothing on the sheets")
    rows = [["measure", "before", "after", "difference (95 %)", "verdict"]]
    for e in comparison.effects:
        apart = "–" if e.difference is None else difference_text(e.measure, e.difference, units, e.u95)
        before, after = (value_text(e.measure, g.mean, units) for g in (e.before, e.after))
        rows.append([e.measure.title, before, after, apart, e.verdict])
    lines += ["", "All measures", *text_table(rows, right=(1, 2, 3))]
    if comparison.unmeasured:
        lines.append(f"  Not measured on either side: {', '.join(comparison.unmeasured).lower()}.")
    if comparison.remarks:
        lines += ["", "Bear in mind", *(f"  - {r.told_in(units.covariate_text)}" for r in comparison.remarks)]
    if head.verdict in (NOT_ENOUGH, CANNOT_TELL):
        lines += ["", "What more would tell"]
        lines += [f"  - {text}" for text in more_texts(head, units, comparison.sooner)]
    return _wrapped(lines)


def _row(point: Point, item: Item | None, measure: Measure, units: Units) -> list[str]:
    level = point.level
    return [
        "" if item is None else reading_text(item, point.reading),
        point.sheet,
        value_text(measure, level.mean, units, level.u95),
        f"{level.count} in {_count(level.outings, 'outing')}",
        ", ".join(point.also).lower() or "nothing else",
    ]


def step_text(step: TuneStep, item: Item | None) -> str:
    """Write one outing in the story of a tune."""
    day = "no date" if step.outing_utc is None else f"{step.outing_utc:%Y-%m-%d}"
    value = "" if item is None else f", {reading_text(item, step.reading)}"
    changed = f"; changed: {', '.join(step.changed).lower()}" if step.changed else ""
    return f"{day}: {step.sheet}{value}{changed}"


def history_text(told: History, item: Item | None, units: Units) -> str:
    """Write a history against an item for a reader at a terminal."""
    measure = told.measure
    if not told.points:
        return f"No outing of this boat has a figure for: {measure.title.lower()}."
    against = "" if item is None else f" against {item.title.lower()}"
    rows = [
        ["" if item is None else "value", "sheet", "mean (95 %)", "evidence", "also differs from the best"]
    ]
    rows += [_row(p, item, measure, units) for p in told.points]
    lines = [history_summary(told, units), "", f"{measure.title}{against}", *text_table(rows, right=(0, 2))]
    lines += ["", best_text(told, units), "", "How the tune went"]
    lines += [f"  {step_text(step, item)}" for step in told.steps]
    return _wrapped(lines)


def best_text(told: History, units: Units) -> str:
    """Name the best sheet, with what it is chosen by."""
    if told.best is None:
        return "No best sheet yet: days and outings are too few to say how far they differ."
    level = told.best.level
    end = "lower end highest" if told.measure.up == "faster" else "upper end lowest"
    mean = value_text(told.measure, level.mean, units, level.u95)
    chance = (
        ""
        if level.chance_best is None
        else f" It is the best of all with {_percent(level.chance_best)} chance."
    )
    return (
        f"Best sheet: {told.best.sheet}, {mean} (of all sheets' intervals the {end}). The figure allows for "
        f"its being the best of several.{chance}"
    )


def _percent(chance: float) -> str:
    """Write a probability without false certainty."""
    return f"{min(max(100.0 * chance, 1.0), 99.0):.0f} %"


def trial_text(trial: Trial, units: Units) -> list[str]:
    """Write a trial: what to set, what is expected, what it would tell."""
    speed, unit = MEASURES["two_way_mps"], "" if trial.item.unit == "1" else f" {trial.item.unit}"
    way = trial.item.more if trial.value > trial.start else trial.item.less
    return [
        f"Try {trial.item.title.lower()} {trial.value:g}{unit}: {way}. "
        f"The best sheet has {trial.start:g}{unit}.",
        f"Expected there: {value_text(speed, trial.expected, units, trial.u95)}; at the best sheet's value "
        f"{value_text(speed, trial.best, units, trial.best_u95)}. "
        f"Difference: {difference_text(speed, trial.gain, units, trial.gain_u95)}. "
        f"Chance that it is faster at all: {_percent(trial.chance)}.",
        *(f"If it comes out {text}." for text in trial.tells),
    ]


def stop_texts(advice: Advice, units: Units) -> list[str]:
    """Say when a trial has to end."""
    stops = advice.stops
    told = []
    if stops.ripple_mps is not None:
        limit = value_text(MEASURES["ripple_mps"], stops.ripple_mps, units)
        told.append(f"the speed swings by more than {limit}, or the boat porpoises to the eye")
    else:
        told.append("the boat porpoises, or lifts its bow")
    for key in ("motor_temp_c", "esc_temp_c", "peak_current_a"):
        margin = stops.margin(key)
        if margin is not None:
            told.append(f"{MEASURES[key].title.lower()} reaches {value_text(MEASURES[key], margin, units)}")
    return told


def advice_text(advice: Advice, units: Units, best_sheet: str = "") -> str:
    """Write advice for a reader at a terminal or on paper."""
    lines = [advice_summary(advice, units, best_sheet), "", f"{_sentence(advice.reason)}"]
    if best_sheet:
        lines.append(f"Best sheet so far: {best_sheet}.")
    if advice.trial is not None:
        lines += ["", *trial_text(advice.trial, units)]
        rows = [["tried", "two-way average (95 %)", "two-ways"]]
        for value, mean, u95, count in advice.trial.tried:
            rows.append([f"{value:g}", value_text(MEASURES["two_way_mps"], mean, units, u95), str(count)])
        lines += ["", "Evidence", *text_table(rows, right=(0, 1, 2))]
        lines += ["", "Cautions", *(f"  - {c}" for c in advice.trial.cautions)]
        lines += ["", "Stop as soon as", *(f"  - {s}" for s in stop_texts(advice, units))]
    if advice.held_back:
        lines += ["", "Held back", *(f"  - {h}" for h in advice.held_back)]
    if advice.tries:
        lines += ["", f"What practitioners try where {SYMPTOMS[advice.symptom]} ({SOURCE}), one at a time"]
        lines += [f"  - {t.text}" + (f" ({t.caution})" if t.caution else "") for t in advice.tries]
    return _wrapped(lines)
