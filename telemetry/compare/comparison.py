"""Before and after: two sheets, or two groups of outings, compared measure by measure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from telemetry.compare.confounders import Remark, of_conditions, of_model, of_tune
from telemetry.compare.covariates import barred_by
from telemetry.compare.display import Units
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import MEASURES
from telemetry.compare.summary import comparison_summary
from telemetry.compare.verdicts import CANNOT_TELL, NOT_ENOUGH, Effect, effect
from telemetry.core.errors import CallError
from telemetry.setup import ItemChange, SetupSheet, item_changes

COMPARISON_SCHEMA: Final = "reciprocal-comparison/1"


@dataclass(frozen=True)
class Comparison:
    """What changed, what it did, and what speaks against saying so.

    Attributes
    ----------
    before, after : str
        What the two sides are called.
    changes : tuple of ItemChange or None
        Item by item; None where a side has no sheet of its own.
    effects : tuple of Effect
        One for each measure that either side has, the two-way first.
    remarks : tuple of Remark
    unmeasured : tuple of str
        Titles of the measures that neither side has.
    """

    before: str
    after: str
    changes: tuple[ItemChange, ...] | None
    effects: tuple[Effect, ...]
    remarks: tuple[Remark, ...]
    unmeasured: tuple[str, ...] = ()

    @property
    def headline(self) -> Effect:
        """The effect on the two-way average, which speed is judged by."""
        return self.effects[0]

    def effect(self, key: str) -> Effect | None:
        """Find the effect on one measure; None where neither side has it."""
        return next((e for e in self.effects if e.measure.key == key), None)

    @property
    def sooner(self) -> str:
        """Title of a measure that already has a verdict while the two-way has none; empty without one."""
        head = self.headline
        if head.verdict not in (NOT_ENOUGH, CANNOT_TELL):
            return ""
        settled = (e for e in self.effects[1:] if e.verdict not in (NOT_ENOUGH, CANNOT_TELL))
        return next((e.measure.title for e in settled), "")

    def to_dict(self) -> dict[str, Any]:
        """Return the contract ``reciprocal-comparison/1``: plain types, SI."""
        return {
            "schema": COMPARISON_SCHEMA,
            "before": self.before,
            "after": self.after,
            "changes": None if self.changes is None else [_change(c) for c in self.changes],
            "summary": comparison_summary(self, Units("m/s")),
            "verdict": self.headline.verdict,
            "effects": [e.to_dict() for e in self.effects],
            "remarks": [r.to_dict() for r in self.remarks],
            "unmeasured": list(self.unmeasured),
        }


def _change(change: ItemChange) -> dict[str, Any]:
    return {
        "item": change.item.name,
        "title": change.item.title,
        "unit": change.item.unit,
        "before": None if change.before is None else change.before.value,
        "after": None if change.after is None else change.after.value,
        "difference": change.difference,
        "beyond_gauges": change.beyond_gauges,
    }


def compare(
    before: Sequence[Evidence],
    after: Sequence[Evidence],
    *,
    before_sheet: SetupSheet | None = None,
    after_sheet: SetupSheet | None = None,
    names: tuple[str, str] | None = None,
    care: Mapping[str, float] | float | None = None,
    history: Sequence[Evidence] = (),
    plan: bool = True,
) -> Comparison:
    """Compare two sheets, or two groups of outings.

    Parameters
    ----------
    before, after : sequence of Evidence
        Two-ways and passes of each side.
    before_sheet, after_sheet : SetupSheet, optional
        The tune of each side, where it has one; without both, what changed stays unknown.
    names : (str, str), optional
        What to call the sides; the sheets' names where not given.
    care : float or mapping of str to float, optional
        Smallest difference that matters to the user [m/s], for all speeds; or by measure, SI. What is not
        given is taken as :data:`~telemetry.compare.measures.MEASURES` has it.
    history : sequence of Evidence
        All evidence of the boat: its days, drift, places and slopes are taken to be the same ones, and how
        many other outings took part is said.
    plan : bool
        Whether to work out what further running would tell.

    Returns
    -------
    Comparison

    Raises
    ------
    CallError
        If a difference that matters is not positive or names no measure, or one piece of evidence stands on
        both sides.
    """
    cares = _cares(care)
    if not {e.key for e in before}.isdisjoint(e.key for e in after):
        raise CallError(
            "the same two-ways stand on both sides", place="before, after", hint="choose two different groups"
        )
    found = None if before_sheet is None or after_sheet is None else item_changes(before_sheet, after_sheet)
    barred = barred_by([c.item.name for c in found or ()])
    effects = []
    unmeasured = []
    for key, measure in MEASURES.items():
        if key != "two_way_mps" and not any(e.has(key) and e.kind == measure.kind for e in (*before, *after)):
            unmeasured.append(measure.title)
            continue
        effects.append(
            effect(
                measure,
                before,
                after,
                care=cares.get(key),
                barred=barred,
                history=history,
                plan=plan and key == "two_way_mps",
            )
        )
    head = effects[0]
    kind = "two-way" if head.before.count and head.after.count else "pass"
    sides = [[e for e in side if e.kind == kind] for side in (before, after)]
    adjusted = head.found.adjusted if head.found is not None else ()
    remarks = of_tune(found)
    if sides[0] and sides[1]:
        remarks += of_conditions(sides[0], sides[1], adjusted, barred) + of_model(head)
    called = names or tuple(s.name if s is not None else "" for s in (before_sheet, after_sheet))
    return Comparison(
        called[0] or "before", called[1] or "after", found, tuple(effects), tuple(remarks), tuple(unmeasured)
    )


def _cares(care: Mapping[str, float] | float | None) -> Mapping[str, float]:
    if care is None:
        return {}
    if not isinstance(care, Mapping):
        care = {key: care for key, m in MEASURES.items() if m.up == "faster"}
    for key, value in care.items():
        if key not in MEASURES:
            raise CallError(f"{key} is not a measure", place="care", hint=f"one of {', '.join(MEASURES)}")
        if not value > 0.0:
            raise CallError(
                f"a difference of {value:g} cannot be the smallest that matters",
                place="care",
                hint="give one greater than zero",
            )
    return care
