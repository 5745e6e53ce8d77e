"""What is advised next, and where a trial has to end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

from telemetry.compare.display import Units
from telemetry.compare.rules_of_thumb import SOURCE, SYMPTOMS, Symptom, Try
from telemetry.compare.summary import advice_summary
from telemetry.setup import Item

ADVICE_SCHEMA: Final = "reciprocal-next/1"
_HEAT_MARGIN_C = 10.0
_CURRENT_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Stops:
    """Where a trial has to end; None where the user gave none.

    Attributes
    ----------
    ripple_mps : float or None
        Swing of the speed at which the user calls the ride bad [m/s].
    motor_temp_c, esc_temp_c : float or None
        Limits [°C].
    peak_current_a : float or None
        Limit [A].
    """

    ripple_mps: float | None = None
    motor_temp_c: float | None = 90.0
    esc_temp_c: float | None = 90.0
    peak_current_a: float | None = None

    def margin(self, key: str) -> float | None:
        """Give the value from which a measure counts as near its limit."""
        limit: float | None = getattr(self, key)
        if limit is None or key == "ripple_mps":
            return limit
        return limit * _CURRENT_SHARE if key == "peak_current_a" else limit - _HEAT_MARGIN_C


STOPPED_BY: Final = ("ripple_mps", "motor_temp_c", "esc_temp_c", "peak_current_a")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One step worth trying.

    Attributes
    ----------
    item : Item
    start, value, step : float
        The best sheet's value, the one to try, and the size of a step, in the item's unit.
    expected, u95 : float
        Two-way average there, and half the 95 % interval of it [m/s].
    best, best_u95 : float
        The same at the best sheet's value.
    gain, gain_u95 : float
        Expected difference to the best sheet, and half its 95 % interval [m/s].
    worth : float
        Improvement of the best known tune that one outing there is expected to bring, less its cost [m/s].
    chance : float
        That it is faster than the best sheet at all, 0 to 1.
    beyond : bool
        Whether the value lies outside the range tried, by this one step.
    tried : tuple of (float, float, float, int)
        The evidence: value, mean and half interval [m/s], two-ways.
    cautions : tuple of str
    curve : tuple of (float, float, float)
        The answer over the values tried and as far as the step: value, mean and half the 95 % interval
        [m/s], in order of the value.
    """

    item: Item
    start: float
    value: float
    step: float
    expected: float
    u95: float
    best: float
    best_u95: float
    gain: float
    gain_u95: float
    worth: float
    chance: float
    beyond: bool
    tried: tuple[tuple[float, float, float, int], ...]
    cautions: tuple[str, ...]
    curve: tuple[tuple[float, float, float], ...]

    @property
    def tells(self) -> tuple[str, str, str]:
        """What the trial would tell: when it comes out faster, slower, and neither."""
        name = self.item.title.lower()
        way = "more" if self.value > self.start else "less"
        return (
            f"faster: the best {name} lies this way, and the next step is {way} again",
            f"slower: the best {name} lies near what the best sheet has",
            f"no clear difference: {name} hardly matters here; leave it and go on to another item",
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain types, SI and the item's unit."""
        plain = {name: getattr(self, name) for name in self.__slots__ if name != "item"}
        return {"item": self.item.name, "unit": self.item.unit, "tells": self.tells} | plain


@dataclass(frozen=True)
class Advice:
    """What to try next.

    Attributes
    ----------
    verdict : {"try", "run the best again", "leave it", "too little to advise"}
    reason : str
        Why, in a sentence without a full stop.
    best_sheet : str or None
        ``sheet_id`` that the trial starts from.
    trial : Trial or None
    symptom : str
        A key of :data:`~telemetry.compare.rules_of_thumb.SYMPTOMS`.
    tries : tuple of Try
        What practitioners try for it, where the history is too little.
    stops : Stops
        When to end the trial.
    held_back : tuple of str
        Steps that looked fast and are not advised, with why.
    """

    verdict: Literal["try", "run the best again", "leave it", "too little to advise"]
    reason: str
    best_sheet: str | None
    trial: Trial | None
    symptom: Symptom
    tries: tuple[Try, ...]
    stops: Stops
    held_back: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the contract ``reciprocal-next/1``: plain types, SI."""
        return {
            "schema": ADVICE_SCHEMA,
            "summary": advice_summary(self, Units("m/s")),
            "verdict": self.verdict,
            "reason": self.reason,
            "best_sheet": self.best_sheet,
            "trial": self.trial and self.trial.to_dict(),
            "symptom": self.symptom,
            "symptom_text": SYMPTOMS[self.symptom],
            "tries": [{"item": t.item, "text": t.text, "caution": t.caution} for t in self.tries],
            "tries_source": SOURCE if self.tries else None,
            "stop": {key: getattr(self.stops, key) for key in STOPPED_BY},
            "held_back": list(self.held_back),
        }
