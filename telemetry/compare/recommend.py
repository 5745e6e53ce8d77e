"""One item and one value worth trying next, the best sheet again, or leaving it.

All sheets stand in one model: a Gaussian process over the items that were varied, with days, drift and volts
in it. What one more outing is worth is the expected improvement of the best known tune by it (knowledge
gradient [1]_), less its cost: the speed that a wrong step loses on that outing, shared among the outings of a
season's rest. Running the best sheet again is weighed like any other step. A step is held back where ripple,
heat or current stand in its way, and never lies outside the range tried by more than one step.

References
----------
.. [1] P. Frazier, W. Powell, S. Dayanik, INFORMS J. Computing 21 (2009) 599, doi:10.1287/ijoc.1080.0314.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import norm

from telemetry.compare.advice import Advice, Stops, Trial
from telemetry.compare.evidence import Evidence, of_measure
from telemetry.compare.gp_response import ItemResponse
from telemetry.compare.history import Level, barred_among, best_level, levels
from telemetry.compare.measures import MEASURES
from telemetry.compare.model import Fit, fit
from telemetry.compare.rules_of_thumb import ADVISED, ALWAYS, CAUTIONS, LOADING_UP, TRIES, Symptom
from telemetry.core.errors import CallError
from telemetry.core.frames import FloatArray
from telemetry.setup import Item, OwnItem, SetupSheet, item_changes

MIN_VALUES: Final = 3
MIN_OUTINGS: Final = 4
MIN_TWO_WAYS: Final = 6
MIN_TEXT: Final = (
    f"{MIN_VALUES} values of one item with nothing else changed, over {MIN_OUTINGS} outings and "
    f"{MIN_TWO_WAYS} two-ways"
)
WORTH: Final = 0.02  # least improvement by one outing that is worth it, in differences that matter
SEASON: Final = 10  # outings over which a gain is used (common practice, no source)
_USUAL_TWO_WAYS: Final = 3
_SPLIT: Final = 4  # parts of a step that values within the range tried are offered in
# Values in an item's unit nearer than this are one: steps added up miss what was typed by rounding.
_SAME: Final = 1e-9
_CURVE_POINTS: Final = 41  # of the answer that is drawn
_NODES: Final = norm.ppf((np.arange(64) + 0.5) / 64)
_SPEED, _RIPPLE = MEASURES["two_way_mps"], MEASURES["ripple_mps"]


@dataclass(frozen=True, kw_only=True)
class Family:
    """The best sheet and those that differ from it by one item only.

    Attributes
    ----------
    item : Item
    start : float
        The best sheet's value.
    members : tuple of (float, Level)
        Value and mean of each sheet, the best one among them.
    """

    item: Item
    start: float
    members: tuple[tuple[float, Level], ...]

    @property
    def values(self) -> list[float]:
        """The distinct values tried, in order."""
        return sorted({value for value, _ in self.members})

    @property
    def outings(self) -> int:
        """How many outings stand behind it."""
        return sum(level.outings for _, level in self.members)

    @property
    def count(self) -> int:
        """How many two-ways stand behind it."""
        return sum(level.count for _, level in self.members)

    @property
    def is_enough(self) -> bool:
        """Whether it holds the stated amount of evidence."""
        return (
            len(self.values) >= MIN_VALUES
            and self.outings >= MIN_OUTINGS
            and self.count >= MIN_TWO_WAYS
            and all(level.found is not None for _, level in self.members)
        )

    @property
    def step(self) -> float:
        """The usual step between values tried, and no less than matters of the item."""
        return max(float(np.median(np.diff(self.values))), self.item.matters or 0.0)

    @property
    def candidates(self) -> list[float]:
        """Values to weigh: those tried, parts of a step between them, and one step beyond either end."""
        tried, step = self.values, self.step
        fine = max(step / _SPLIT, self.item.matters or 0.0)
        low, high = max(tried[0] - step, self.item.low), min(tried[-1] + step, self.item.high)
        first = int(np.ceil((low - self.start) / fine - _SAME))
        last = int(np.floor((high - self.start) / fine + _SAME))
        between = [round(self.start + k * fine, 9) for k in range(first, last + 1)]
        ends = [v for v in (round(tried[0] - step, 9), round(tried[-1] + step, 9)) if low <= v <= high]
        told: list[float] = []
        for value in sorted([*tried, *between, *ends], key=lambda v: (v not in tried, v)):
            if all(abs(value - other) >= min(0.5 * fine, 0.5 * step) for other in told):
                told.append(value)
        return sorted(told)

    def text(self) -> str:
        """Write what it holds."""
        return (
            f"{self.item.title.lower()}: {len(self.values)} values, {self.outings} outings, "
            f"{self.count} two-ways"
        )


def next_trial(
    evidence: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet],
    *,
    stops: Stops | None = None,
    care: float | None = None,
) -> Advice:
    """Advise the next outing: a value to try, the best sheet again, or leaving it.

    Parameters
    ----------
    evidence : sequence of Evidence
        Of one boat.
    sheets : mapping of str to SetupSheet
        By ``sheet_id``.
    stops : Stops, optional
        The user's threshold of ripple, and limits.
    care : float, optional
        Smallest difference in speed that matters [m/s].

    Returns
    -------
    Advice

    Raises
    ------
    CallError
        If ``care`` is not positive.
    """
    stops = stops or Stops()
    care = _SPEED.care if care is None else care
    if not care > 0.0:
        raise CallError(
            "the difference that matters must be greater than zero", place="care", hint="give a positive one"
        )
    known = [e for e in evidence if e.sheet_id in sheets]
    barred = barred_among(sheets, known)
    found = levels(_SPEED, known, sheets, barred, chances=False).of_sheets
    best = best_level(_SPEED, found)
    if best is None:
        symptom = _symptom(known, stops)
        why = "no sheet has been run often enough to say how fast it is"
        return _too_little(f"{why}; needed: {MIN_TEXT}", None, symptom, stops)
    of_best = [e for e in known if e.sheet_id == best.sheet_id]
    symptom = _symptom(of_best, stops)
    if symptom == "ripple":
        why = "the best sheet ripples beyond your threshold: calm it before looking for speed"
        return Advice("leave it", why, best.sheet_id, None, symptom, TRIES[symptom], stops)
    families = _families(found, sheets, best)
    enough = [family for family in families if family.is_enough]
    if not enough:
        most = max(families, key=lambda f: (len(f.values), f.outings), default=None)
        has = "no item was tried at two values with nothing else changed" if most is None else most.text()
        return _too_little(f"{has}; needed: {MIN_TEXT}", best.sheet_id, symptom, stops)
    weighed = _weigh(enough, known, sheets, best, barred)
    return _choose(weighed, known, of_best, best, stops, care, symptom, sheets)


def _too_little(reason: str, best: str | None, symptom: Symptom, stops: Stops) -> Advice:
    return Advice("too little to advise", reason, best, None, symptom, TRIES[symptom], stops)


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """The candidates of one item with what the model says of them.

    Attributes
    ----------
    family : Family
    values : tuple of float
    worth : ndarray, shape (values,)
        Improvement that one more outing there is expected to bring, less its cost [m/s].
    fit : Fit
    rows : ndarray, shape (values, p)
        Combination of the coefficients that is the speed at each value.
    best_row : ndarray, shape (p,)
        The same of the best sheet.
    curve : tuple of (float, ndarray)
        Values between and as far as the step, with their combinations.
    """

    family: Family
    values: tuple[float, ...]
    worth: FloatArray
    fit: Fit
    rows: FloatArray
    best_row: FloatArray
    curve: tuple[tuple[float, FloatArray], ...]


def _weigh(
    families: Sequence[Family],
    known: Sequence[Evidence],
    sheets: Mapping[str, SetupSheet],
    best: Level,
    barred: frozenset[str],
) -> list[Weighed]:
    """Weigh all candidates of all items in one model."""
    rows = of_measure(known, _SPEED.key, _SPEED.kind)
    ids = list(dict.fromkeys(e.sheet_id for e in rows))
    response = ItemResponse.of([sheets[one] for one in ids])
    asked = [(family, family.candidates, _curve_values(family)) for family in families]
    extra = np.vstack(
        [
            response.place(sheets[best.sheet_id], family.item.name, [*values, *curve])
            for family, values, curve in asked
        ]
    )
    prior = response.prior(extra, peaked=True)
    found = fit(_SPEED, rows, [e.sheet_id for e in rows], barred=barred, sheet_prior=prior)
    best_row = found.sheet_root[ids.index(best.sheet_id)]
    told, start = [], len(ids)
    for family, values, curve in asked:
        middle, end = start + len(values), start + len(values) + len(curve)
        told.append((family, values, found.sheet_root[start:middle], curve, found.sheet_root[middle:end]))
        start = end
    everything = np.vstack([found.sheet_root[: len(ids)], *(rows for _, _, rows, _, _ in told)])
    worth = outing_worth(found, everything, best_row)[len(ids) :]
    weighed, at = [], 0
    for family, values, of_values, curve, of_curve in told:
        weighed.append(
            Weighed(
                family=family,
                values=tuple(values),
                worth=worth[at : at + len(values)],
                fit=found,
                rows=of_values,
                best_row=best_row,
                curve=tuple(zip(curve, of_curve, strict=True)),
            )
        )
        at += len(values)
    return weighed


def _curve_values(family: Family) -> list[float]:
    values = family.candidates
    return [float(v) for v in np.linspace(values[0], values[-1], _CURVE_POINTS)]


def outing_worth(found: Fit, points: FloatArray, best: FloatArray) -> FloatArray:
    """Compute what one more outing at each of some tunes is worth.

    Parameters
    ----------
    found : Fit
    points : ndarray, shape (tunes, p)
        Combinations of the coefficients that are the tunes' speeds.
    best : ndarray, shape (p,)
        The same of the best sheet.

    Returns
    -------
    ndarray, shape (tunes,)
        Expected rise of the highest expected speed, less the expected loss on that outing shared among the
        outings that a gain is used for [m/s].
    """
    mean, covariance = found.moments(np.vstack([points, best[None]]))
    gain = mean[:-1] - mean[-1]
    noise = found.outing_variance(_USUAL_TWO_WAYS)
    between = covariance[:-1, :-1]
    spread = np.sqrt(np.maximum(np.diag(between) + noise, 1e-300))
    slope = (between - covariance[-1:, :-1]) / spread[None, :]  # of each gain over an outing at each tune
    at_best = 0.0 - np.zeros_like(spread)
    told = np.empty(gain.size)
    top = max(float(gain.max()), 0.0)
    for k in range(gain.size):
        after = np.maximum((gain[:, None] + slope[:, k, None] * _NODES).max(axis=0), at_best[k])
        told[k] = float(after.mean()) - top
    variance = np.diag(between) + covariance[-1, -1] - 2.0 * covariance[-1, :-1]
    sd = np.sqrt(np.maximum(variance, 1e-18))
    loss = sd * norm.pdf(gain / sd) - gain * norm.cdf(-gain / sd)
    return np.asarray(told - loss / SEASON)


def _symptom(evidence: Sequence[Evidence], stops: Stops) -> Symptom:
    """Name what stands out of some passes: ripple, then heat, else the wish for speed."""
    ripple = _typical(evidence, "ripple_mps")
    if stops.ripple_mps is not None and ripple is not None and ripple > stops.ripple_mps:
        return "ripple"
    return "heat" if any(_near(evidence, key, stops) for key in ("motor_temp_c", "esc_temp_c")) else "speed"


def _typical(evidence: Sequence[Evidence], key: str) -> float | None:
    values = [v for e in evidence if (v := e.values.get(key)) is not None]
    return float(np.median(values)) if values else None


def _near(evidence: Sequence[Evidence], key: str, stops: Stops) -> bool | None:
    """Whether a measure came near its limit; None where either is not known."""
    values = [v for e in evidence if (v := e.values.get(key)) is not None]
    margin = stops.margin(key)
    return max(values) >= margin if values and margin is not None else None


def _families(found: Sequence[Level], sheets: Mapping[str, SetupSheet], best: Level) -> list[Family]:
    """Group the sheets that differ from the best one by one item that is tuned."""
    own = sheets[best.sheet_id]
    members: dict[str, list[tuple[float, Level]]] = {}
    for level in found:
        differing = item_changes(own, sheets[level.sheet_id])
        if len(differing) != 1:
            continue
        item = differing[0].item
        value = sheets[level.sheet_id].value(item.name)
        if (item.name in ADVISED or isinstance(item, OwnItem)) and value is not None:
            members.setdefault(item.name, []).append((value, level))
    families = []
    for name, others in members.items():
        start = own.value(name)
        if start is not None:
            families.append(Family(item=own.item(name), start=start, members=((start, best), *others)))
    return families


def _choose(
    weighed: Sequence[Weighed],
    known: Sequence[Evidence],
    of_best: Sequence[Evidence],
    best: Level,
    stops: Stops,
    care: float,
    symptom: Symptom,
    sheets: Mapping[str, SetupSheet],
) -> Advice:
    """Take the outing that is worth most, of those that nothing forbids."""
    held_back: list[str] = []
    ranked: list[tuple[float, Weighed, int]] = []
    again = 0.0
    for one in weighed:
        for k, value in enumerate(one.values):
            worth, family = float(one.worth[k]), one.family
            if abs(value - family.start) < _SAME:
                again = max(again, worth)
                continue
            if worth < WORTH * care:
                continue
            way = 1 if value > family.start else -1
            why = _what_forbids(family, value, way, known, of_best, stops, sheets)
            if why:
                held_back.append(
                    f"{family.item.title.lower()} {value:g} {family.item.unit} is not advised: {why}"
                )
            else:
                ranked.append((worth, one, k))
    held = tuple(_shortened(held_back))
    top = max(ranked, key=lambda r: r[0], default=None)
    if top is not None and top[0] >= again:
        trial = _trial(top[1], top[2], sheets)
        where = "beyond what was tried, by one step" if trial.beyond else "within what was tried"
        reason = f"one outing there is expected to improve the best tune most, and it lies {where}"
        return Advice("try", reason, best.sheet_id, trial, symptom, (), stops, held)
    if again >= WORTH * care:
        reason = "which tune is best is less sure than what another value would bring"
        return Advice("run the best again", reason, best.sheet_id, None, symptom, (), stops, held)
    reason = "no single step on what was tried is likely to gain anything that matters"
    if held:
        reason = "the steps that may gain speed are held back"
    return Advice("leave it", reason, best.sheet_id, None, symptom, (), stops, held)


def _shortened(held_back: Sequence[str]) -> list[str]:
    """Keep one sentence for each reason: neighbouring values are held back for the same one."""
    told: dict[str, str] = {}
    for text in held_back:
        told.setdefault(text.partition(": ")[2], text)
    return list(told.values())


def _trial(one: Weighed, k: int, sheets: Mapping[str, SetupSheet]) -> Trial:
    """Describe one candidate."""
    family, value, found = one.family, one.values[k], one.fit
    there, best = found.combination(one.rows[k]), found.combination(one.best_row)
    gain = found.combination(one.rows[k] - one.best_row)
    tried = family.values
    way = 1 if value > family.start else -1
    caution = CAUTIONS.get((family.item.name, way))
    middle, covariance = found.moments(np.array([row for _, row in one.curve]))
    half = 1.959964 * np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return Trial(
        item=family.item,
        start=family.start,
        value=value,
        step=family.step,
        expected=found.offset + there.mean,
        u95=there.half_width(),
        best=found.offset + best.mean,
        best_u95=best.half_width(),
        gain=gain.mean,
        gain_u95=gain.half_width(),
        worth=float(one.worth[k]),
        chance=1.0 - gain.below(0.0),
        beyond=not tried[0] - _SAME <= value <= tried[-1] + _SAME,
        tried=tuple(sorted((v, level.mean, level.u95 or 0.0, level.count) for v, level in family.members)),
        cautions=(*ALWAYS, *((caution,) if caution else ())),
        curve=tuple(
            (v, found.offset + float(m), float(h))
            for (v, _), m, h in zip(one.curve, middle, half, strict=True)
        ),
    )


def _what_forbids(
    family: Family,
    value: float,
    way: int,
    known: Sequence[Evidence],
    of_best: Sequence[Evidence],
    stops: Stops,
    sheets: Mapping[str, SetupSheet],
) -> str:
    """Return what stands in the way of a step; empty where nothing does."""
    if family.item.name in LOADING_UP and way > 0:
        near = [_near(of_best, key, stops) for key in ("motor_temp_c", "esc_temp_c", "peak_current_a")]
        if any(near):
            return "heat or current is near its limit already"
        if all(n is None for n in near):
            return "it loads the motor more, and neither heat nor current is known"
    if stops.ripple_mps is None:
        return ""
    # What was run on this side of the best sheet, as far as the step goes and a step further.
    reach = value + way * family.step
    for tried, level in family.members:
        if way * (tried - family.start) > 0.0 and way * (reach - tried) >= -_SAME:
            ripple = _typical([e for e in known if e.sheet_id == level.sheet_id], "ripple_mps")
            if ripple is not None and ripple > stops.ripple_mps:
                return f"sheet {sheets[level.sheet_id].name} that way rippled beyond your threshold"
    return ""
