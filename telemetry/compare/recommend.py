"""One item and one step worth trying next, or that the history holds too little to advise.

Only sheets that differ from the best one by a single item speak about that item. Their means are answered by
a Gaussian process; one step from the best sheet is worth trying where it may gain enough over it. A step is
held back where ripple, heat or current stand in its way, and never lies outside the range tried by more than
itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import norm

from telemetry.compare.advice import Advice, Stops, Trial
from telemetry.compare.evidence import Evidence
from telemetry.compare.gp_response import Prediction, expected_gain, predict
from telemetry.compare.history import Level, barred_among, best_level, levels
from telemetry.compare.measures import MEASURES
from telemetry.compare.rules_of_thumb import ADVISED, ALWAYS, CAUTIONS, LOADING_UP, TRIES, Symptom
from telemetry.errors import CallError
from telemetry.setup import Item, OwnItem, SetupSheet, changes

LEAST_VALUES: Final = 3
LEAST_OUTINGS: Final = 4
LEAST_TWO_WAYS: Final = 6
LEAST_TEXT: Final = (
    f"{LEAST_VALUES} values of one item with nothing else changed, over {LEAST_OUTINGS} outings and "
    f"{LEAST_TWO_WAYS} two-ways"
)
_WORTH = 0.1  # least expected gain, in differences that matter
# Values in an item's unit nearer than this are one: steps added up miss what was typed by rounding.
_SAME: Final = 1e-9
_CURVE_POINTS: Final = 41  # of the answer that is drawn
_SPEED, _RIPPLE = MEASURES["two_way_mps"], MEASURES["ripple_mps"]


@dataclass(frozen=True)
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
            len(self.values) >= LEAST_VALUES
            and self.outings >= LEAST_OUTINGS
            and self.count >= LEAST_TWO_WAYS
            and all(level.found is not None for _, level in self.members)
        )

    @property
    def step(self) -> float:
        """The smallest step between values tried, and no less than matters of the item."""
        return max(float(np.diff(self.values).min()), self.item.matters or 0.0)

    def predict(self, at: Sequence[float], care: float) -> Prediction:
        """Answer the means by a Gaussian process."""
        x = np.array([value for value, _ in self.members])
        y = np.array([level.mean for _, level in self.members])
        # Half the t-interval over 1.96: with few degrees of freedom more than the standard error.
        u = np.array([(level.u95 or 0.0) / 1.96 for _, level in self.members])
        return predict(x, y, np.maximum(u, 1e-3 * care), np.array(at), care)

    def text(self) -> str:
        """Say what it holds."""
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
    """Advise one item and one step, or say that there is too little to advise.

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
        raise CallError("nothing is no difference that matters", place="care", mend="give one above nothing")
    known = [e for e in evidence if e.sheet_id in sheets]
    found = levels(_SPEED, known, barred_among(sheets, known))
    best = best_level(_SPEED, found)
    if best is None:
        symptom = _symptom(known, stops)
        why = "no sheet has been run often enough to say how fast it is"
        return Advice(
            "too little to advise", f"{why}; needed: {LEAST_TEXT}", None, None, symptom, TRIES[symptom], stops
        )
    of_best = [e for e in known if e.sheet_id == best.sheet_id]
    symptom = _symptom(of_best, stops)
    if symptom == "ripple":
        why = "the best sheet ripples beyond your threshold: calm it before looking for speed"
        return Advice("stay", why, best.sheet_id, None, symptom, TRIES[symptom], stops)
    families = _families(found, sheets, best)
    enough = [family for family in families if family.is_enough]
    if not enough:
        most = max(families, key=lambda f: (len(f.values), f.outings), default=None)
        has = "no item was tried at two values with nothing else changed" if most is None else most.text()
        return Advice(
            "too little to advise",
            f"{has}; needed: {LEAST_TEXT}",
            best.sheet_id,
            None,
            symptom,
            TRIES[symptom],
            stops,
        )
    return _choose(enough, known, of_best, best, stops, care, symptom, sheets)


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
    mine = sheets[best.sheet_id]
    members: dict[str, list[tuple[float, Level]]] = {}
    for level in found:
        differing = changes(mine, sheets[level.sheet_id])
        if len(differing) != 1:
            continue
        item = differing[0].item
        value = sheets[level.sheet_id].value(item.name)
        if (item.name in ADVISED or isinstance(item, OwnItem)) and value is not None:
            members.setdefault(item.name, []).append((value, level))
    families = []
    for name, others in members.items():
        start = mine.value(name)
        if start is not None:
            families.append(Family(mine.item(name), start, ((start, best), *others)))
    return families


def _choose(
    families: Sequence[Family],
    known: Sequence[Evidence],
    of_best: Sequence[Evidence],
    best: Level,
    stops: Stops,
    care: float,
    symptom: Symptom,
    sheets: Mapping[str, SetupSheet],
) -> Advice:
    """Weigh one step either way of every item, and take what may gain most."""
    held_back: list[str] = []
    ranked: list[tuple[float, Trial]] = []
    for family in families:
        for way in (-1, 1):
            value = family.start + way * family.step
            if not family.item.low <= value <= family.item.high:
                continue
            gain, trial = _weigh(family, value, care)
            if gain < _WORTH * care:
                continue
            why = _what_forbids(family, value, way, known, of_best, stops, sheets)
            if why:
                held_back.append(
                    f"{family.item.title.lower()} {value:g} {family.item.unit} is not advised: {why}"
                )
            else:
                ranked.append((gain, trial))
    if not ranked:
        reason = "no single step on what was tried is likely to gain anything that matters"
        if held_back:
            reason = "the steps that may gain speed are held back"
        return Advice(
            "stay",
            f"{reason}; another outing on the best sheet tells more",
            best.sheet_id,
            None,
            symptom,
            (),
            stops,
            tuple(held_back),
        )
    trial = max(ranked, key=lambda r: r[0])[1]
    where = "beyond what was tried, by this one step" if trial.beyond else "within what was tried"
    reason = f"it may gain most of the steps that the history speaks about, and lies {where}"
    return Advice("try", reason, best.sheet_id, trial, symptom, (), stops, tuple(held_back))


def _weigh(family: Family, value: float, care: float) -> tuple[float, Trial]:
    """Reckon what a value may gain over the best sheet's."""
    tried = family.values
    over = np.linspace(min(tried[0], value), max(tried[-1], value), _CURVE_POINTS)
    answer = family.predict([family.start, value, *over], care)
    toward = np.array([-1.0, 1.0])
    both = answer.covariance[:2, :2]
    gained = Prediction(np.array([toward @ answer.mean[:2]]), np.array([[toward @ both @ toward]]))
    half = answer.half_width()
    way = 1 if value > family.start else -1
    caution = CAUTIONS.get((family.item.name, way))
    return float(expected_gain(gained)[0]), Trial(
        item=family.item,
        start=family.start,
        value=value,
        step=family.step,
        expected=float(answer.mean[1]),
        u95=float(half[1]),
        best=float(answer.mean[0]),
        best_u95=float(half[0]),
        chance=float(norm.cdf(gained.mean[0] / max(float(gained.sd[0]), 1e-12))),
        beyond=not tried[0] - _SAME <= value <= tried[-1] + _SAME,
        tried=tuple(sorted((v, level.mean, level.u95 or 0.0, level.count) for v, level in family.members)),
        cautions=(*ALWAYS, *((caution,) if caution else ())),
        curve=tuple(zip(over.tolist(), answer.mean[2:].tolist(), half[2:].tolist(), strict=True)),
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
    """Say what stands in the way of a step; empty where nothing does."""
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
