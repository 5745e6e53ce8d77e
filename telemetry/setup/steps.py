"""The steps at the bench, in order, that bring a boat back to a sheet.

Readings of bent or loose parts mean nothing, so straightening and tightening come first. The plate and the
balance follow, since every height is measured from the ride surfaces and trim depends on the balance; then
the strut, which sets where the thrust acts, the tabs, which trim the rest, and the rudder (common practice,
no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from telemetry.setup.changes import items_of
from telemetry.setup.display_units import BenchDisplay
from telemetry.setup.gauges import Reading
from telemetry.setup.inspection import FoundItem, FoundMeasure, compare_found, judged
from telemetry.setup.items import GROUPS, Item
from telemetry.setup.sheet import SetupSheet

StepKind = Literal["straighten", "set", "measure", "check"]
_HARDWARE: Final = {
    "plate": "the hull",
    "balance": "the mounts",
    "strut": "strut and bracket",
    "tabs": "tabs and hinges",
    "rudder": "rudder and bracket",
    "fins": "turn fins",
}
_PAIRS: Final = {
    "strut": "Measure strut depth and angle again: setting one moves the other.",
    "tabs": "Measure all tab gaps again, both sides alike: one screw moves two edges.",
    "balance": "Weigh and balance again: every moved part counts.",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One step at the bench.

    Attributes
    ----------
    kind : {"straighten", "set", "measure", "check"}
    group : str
        A key of :data:`~telemetry.setup.items.GROUPS`, or empty for what comes first.
    item : Item or None
        What is set or measured.
    now, target : Reading or None
        From and to.
    words : str
        What to do if there is no item.
    verdict : FoundItem or None
        The evidence for the step.
    """

    kind: StepKind
    group: str
    item: Item | None = None
    now: Reading | None = None
    target: Reading | None = None
    words: str = ""
    verdict: FoundItem | None = None

    def text(self, showing: BenchDisplay | None = None) -> str:
        """Format the step as a sentence: item, from, to, direction, gauge."""
        item, show = self.item, showing or BenchDisplay()
        if item is None:
            return self.words
        gauge = "" if not item.is_measured or self.target is None else item.gauge_of(self.target).name
        with_gauge = f" ({gauge})" if gauge and gauge != "count" else ""
        if self.kind == "measure":
            why = f", since {self.verdict.why(show)}" if self.verdict and self.now is not None else ""
            do = "measure it" if item.is_measured else "look"
            return f"{item.title}: {do}{why}. The sheet says {show.text(item, self.target)}{with_gauge}."
        there = f"from {show.text(item, self.now)} to {show.text(item, self.target)}"
        return f"{item.title}: {there}{with_gauge}. {self.direction(show)}"

    def direction(self, showing: BenchDisplay | None = None) -> str:
        """Describe the direction and the amount."""
        item, show = self.item, showing or BenchDisplay()
        if item is None:
            return self.words
        if self.now is None or self.target is None:
            return ""
        if not item.is_measured:
            return f"Make it {show.text(item, self.target)}."
        by = float(self.target.value) - float(self.now.value)
        words = item.more if by > 0.0 else item.less
        return f"{words[:1].upper()}{words[1:]}, by {show.amount(item, by)}."


def steps_back(target: SetupSheet, found: FoundMeasure, last: SetupSheet | None = None) -> tuple[Step, ...]:
    """List the steps that bring a boat as found to a sheet.

    Parameters
    ----------
    target : SetupSheet
        Any sheet of the boat.
    found : FoundMeasure
        As measured.
    last : SetupSheet, optional
        The sheet it was last set to; supplies items that a crash cannot move and that were not measured, such
        as the propeller.

    Returns
    -------
    tuple of Step
        Empty if everything measured matches the sheet and nothing is left to measure. Items that cannot be
        distinguished from the sheet are steps to measure, with the reason.

    Raises
    ------
    SetupError
        If they are of two boats.
    """
    found.hold_same_boat(target)
    rows = [
        judged(item, target.tune[item.name], _now(item, found, last))
        for item in items_of(target)
        if item.at_bench or item.name in found.tune or last is not None
    ]
    told = [_step(row) for row in rows if row.verdict != "as set"]
    off = [step.group for step in told if step.kind == "set"]
    steps: list[Step] = []
    moved = {row.item.group for row in compare_found(last or target, found) if row.verdict == "moved"}
    hardware = [words for group, words in _HARDWARE.items() if group in moved]
    if hardware:
        steps.append(
            Step(
                "straighten",
                "",
                words=f"Straighten and tighten first: {', '.join(hardware)}. Then measure again what was "
                "bent or loose; its old reading means nothing.",
            )
        )
    for group in GROUPS:
        of_group = [step for step in told if step.group == group]
        steps += of_group
        if group in _PAIRS and group in off:
            steps.append(Step("check", group, words=_PAIRS[group]))
    return tuple(steps)


def _now(item: Item, found: FoundMeasure, last: SetupSheet | None) -> Reading | None:
    if item.name in found.tune or item.at_bench or last is None:
        return found.tune.get(item.name)
    return last.tune.get(item.name)


def _step(row: FoundItem) -> Step:
    kind: StepKind = "set" if row.verdict == "moved" else "measure"
    return Step(kind, row.item.group, row.item, row.change.after, row.change.before, verdict=row)
