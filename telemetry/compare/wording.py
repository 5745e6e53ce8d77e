"""Comparisons, histories and advice in the user's units and in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import fill
from typing import Final

from telemetry.compare.advice import Advice, Trial
from telemetry.compare.comparison import Comparison
from telemetry.compare.history import History, Point, TuneStep
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.planning import Plan
from telemetry.compare.rules_of_thumb import SOURCE, SYMPTOMS
from telemetry.compare.verdicts import NOT_ENOUGH, Effect
from telemetry.setup import Change, Item, Reading, Showing
from telemetry.texttable import text_table
from telemetry.units import CELSIUS, SPEED_UNITS, TEMPERATURE_UNITS, Unit

WIDTH: Final = 110


@dataclass(frozen=True, slots=True)
class Units:
    """What the reader sees speeds and temperatures in."""

    speed: str = "mph"
    temperature: str = CELSIUS

    def name(self, measure: Measure) -> str:
        """Name the unit of a measure."""
        return {
            "speed": self.speed,
            "temperature": self.temperature,
            "current": "A",
            "share": "%",
        }[measure.quantity]

    def scale(self, measure: Measure) -> float:
        """Give the SI size of one of the reader's units."""
        return {
            "speed": SPEED_UNITS[self.speed].factor_si,
            "temperature": TEMPERATURE_UNITS[self.temperature].factor_si,
            "current": 1.0,
            "share": 0.01,
        }[measure.quantity]

    def shown(self, measure: Measure, value: float) -> float:
        """Convert a value, not a difference, from SI."""
        if measure.quantity == "temperature":
            return TEMPERATURE_UNITS[self.temperature].from_si(value)
        return value / self.scale(measure)

    def of_covariate(self, unit: str) -> Unit | None:
        """Find what the reader sees a covariate in; None where it stays in its own unit."""
        return {"m/s": SPEED_UNITS[self.speed], CELSIUS: TEMPERATURE_UNITS[self.temperature]}.get(unit)

    def covariate_text(self, unit: str, value: float) -> str:
        """Write a covariate's value, not a difference, given in its SI unit."""
        shown = self.of_covariate(unit)
        return f"{value:.2f} {unit}" if shown is None else f"{shown.from_si(value):.2f} {shown.name}"

    def decimals(self, measure: Measure) -> int:
        """Tell how many decimals are written."""
        return SPEED_UNITS[self.speed].decimals if measure.quantity == "speed" else 1


def value_text(measure: Measure, value: float | None, units: Units, u95: float | None = None) -> str:
    """Write a value of a measure, with half its 95 % interval where there is one."""
    if value is None:
        return "–"
    digits = units.decimals(measure)
    half = "" if u95 is None else f" ± {u95 / units.scale(measure):.{digits}f}"
    return f"{units.shown(measure, value):.{digits}f}{half} {units.name(measure)}"


def difference_text(measure: Measure, value: float, units: Units, u95: float | None = None) -> str:
    """Write a difference of a measure, with its sign.

    Examples
    --------
    >>> difference_text(MEASURES["two_way_mps"], 0.2235, Units("mph"), 0.1)
    '+0.50 ± 0.22 mph'
    """
    digits = units.decimals(measure)
    scale = units.scale(measure)
    half = "" if u95 is None else f" ± {u95 / scale:.{digits}f}"
    return f"{value / scale:+.{digits}f}{half} {units.name(measure)}"


def reading_text(item: Item, reading: Reading | None, showing: Showing | None = None) -> str:
    """Write a reading of a sheet, as a user reads the bench or in the item's own unit."""
    return "not stated" if reading is None else (showing or Showing()).text(item, reading)


def change_text(change: Change, showing: Showing | None = None) -> str:
    """Write one changed item, as a user reads the bench or in its own unit."""
    before, after = (reading_text(change.item, r, showing) for r in (change.before, change.after))
    told = f"{change.item.title}: {before} → {after}"
    return f"{told} (within what the gauges can tell)" if change.beyond_gauges is False else told


def answer_text(effect: Effect, units: Units) -> str:
    """Write what a change did to one measure in a sentence.

    Speeds that are not clearly apart are told with what is missing.
    """
    title = effect.measure.title
    if effect.difference is None:
        return f"{title}: {effect.verdict}. {_sentence(effect.reason)}"
    told = difference_text(effect.measure, effect.difference, units, effect.u95)
    return f"{title}: {effect.verdict}, {told} (95 %). {_sentence(effect.reason)}"


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
    """Say what an effect was adjusted for and where its scatter comes from."""
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
            slope = f" ({difference_text(effect.measure, a.slope * each, units)} for each {_one(unit)})"
        shift = difference_text(effect.measure, -a.shift, units)
        told.append(f"Adjusted for {name}{slope}: {shift} on the difference.")
    if found.history_outings:
        told.append(
            "The two sheets alone hold too few outings to judge how outings scatter: "
            f"{found.history_outings} outings on the boat's other sheets are taken to scatter alike."
        )
    if found.within_only:
        told.append("Both sheets were run within the same outings; only differences within them are used.")
    if found.measurement_bound:
        told.append(
            "The interval is what the measuring of the speeds itself allows; the figures agree better."
        )
    return told


def _one(unit: str) -> str:
    return "place later" if unit == "places" else unit


def plan_text(plan: Plan, effect: Effect, units: Units) -> str:
    """Write how much more running would show a difference that matters."""
    unit = "two-way" if effect.measure.kind == "two-way" else "pass"
    care = difference_text(effect.measure, effect.care, units).lstrip("+")
    chance = f"{100 * plan.power:.0f} % chance to show {care}"
    all_told = _count(plan.two_ways, unit)
    if plan.kind == "alternating":
        outings = (
            f"{_count(plan.outings_before, 'outing')} with both sheets in turn, {plan.per_outing} on each"
        )
        return f"{all_told} more, in {outings}, if the change can be made at the water: {chance}"
    sides = [
        f"{_count(n, 'outing')} on the {name} sheet"
        for n, name in ((plan.outings_before, "first"), (plan.outings_after, "second"))
        if n
    ]
    return f"{all_told} more, {plan.per_outing} in each of {' and '.join(sides)}: {chance}"


def _wrapped(lines: Iterable[str]) -> str:
    """Fill sentences to the width of a terminal; rows of tables, which begin with blanks, stay whole."""
    told = []
    for line in lines:
        bullet = line.startswith("  - ")
        whole = len(line) <= WIDTH or (line.startswith(" ") and not bullet)
        told.append(line if whole else fill(line, WIDTH, subsequent_indent="    " if bullet else ""))
    return "\n".join(told)


def more_texts(effect: Effect, units: Units) -> list[str]:
    """Write what more running would tell where it is not enough."""
    if effect.plans:
        return [plan_text(plan, effect, units) for plan in effect.plans]
    if effect.found is None:
        return ["At least one more outing on each sheet: how outings scatter is not known yet."]
    care = difference_text(effect.measure, effect.care, units).lstrip("+")
    return [f"More outings than anybody makes: the outings so far scatter too far to show {care}."]


def comparison_text(comparison: Comparison, units: Units) -> str:
    """Write a comparison for a reader at a terminal or on paper."""
    head = comparison.headline
    lines = [
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
    if head.verdict == NOT_ENOUGH:
        lines += ["", "What more would tell"]
        lines += [f"  - {text}" for text in more_texts(head, units)]
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
    lines = [f"{measure.title}{against}", *text_table(rows, right=(0, 2))]
    lines += ["", best_text(told, units), "", "How the tune went"]
    lines += [f"  {step_text(step, item)}" for step in told.steps]
    return _wrapped(lines)


def best_text(told: History, units: Units) -> str:
    """Name the best sheet, with what it is chosen by."""
    if told.best is None:
        return "No best sheet yet: outings are too few to say how far they scatter."
    level = told.best.level
    end = "lower end highest" if told.measure.up == "faster" else "upper end lowest"
    mean = value_text(told.measure, level.mean, units, level.u95)
    return (
        f"Best sheet: {told.best.sheet}, {mean} (of all sheets' intervals the {end}). "
        "Chosen as the best of several, it may be a little less good when run again."
    )


def trial_text(trial: Trial, units: Units) -> list[str]:
    """Write a trial: what to set, what is expected, what it would tell."""
    speed, unit = MEASURES["two_way_mps"], "" if trial.item.unit == "1" else f" {trial.item.unit}"
    way = trial.item.more if trial.value > trial.start else trial.item.less
    return [
        f"Try {trial.item.title.lower()} {trial.value:g}{unit}: {way}. "
        f"The best sheet has {trial.start:g}{unit}.",
        f"Expected there: {value_text(speed, trial.expected, units, trial.u95)}; at the best sheet's value "
        f"{value_text(speed, trial.best, units, trial.best_u95)}. "
        f"Chance that it is faster at all: {100 * trial.chance:.0f} %.",
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
    lines = [f"{_sentence(advice.verdict)[:-1]}: {advice.reason}."]
    if best_sheet:
        lines.append(f"Best sheet so far: {best_sheet}.")
    if advice.trial is not None:
        lines += ["", *trial_text(advice.trial, units)]
        rows = [["tried", "two-way average (95 %)", "two-ways"]]
        for value, mean, u95, count in advice.trial.tried:
            rows.append([f"{value:g}", value_text(MEASURES["two_way_mps"], mean, units, u95), str(count)])
        lines += ["", "Evidence", *text_table(rows, right=(0, 1, 2))]
        lines += ["", "Mind", *(f"  - {c}" for c in advice.trial.cautions)]
        lines += ["", "Stop as soon as", *(f"  - {s}" for s in stop_texts(advice, units))]
    if advice.held_back:
        lines += ["", "Held back", *(f"  - {h}" for h in advice.held_back)]
    if advice.tries:
        lines += ["", f"What practitioners try where {SYMPTOMS[advice.symptom]} ({SOURCE}), one at a time"]
        lines += [f"  - {t.text}" + (f" ({t.caution})" if t.caution else "") for t in advice.tries]
    return _wrapped(lines)
