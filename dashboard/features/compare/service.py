"""The page "Before and after": its way to the logbook, a connection a request, and what it shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dashboard.features.bench.logbook import Choice, knows
from telemetry.compare import (
    MEASURES,
    Advice,
    Comparison,
    Evidence,
    History,
    Stops,
    boat_history,
    compare,
    next_trial,
    side_of,
)
from telemetry.logbook import Logbook, open_logbook
from telemetry.setup import Item, SetupSheet


@dataclass(frozen=True, slots=True)
class Lists:
    """What can be chosen of a boat.

    Attributes
    ----------
    sheets : tuple of Choice
        Those that were run, in order of their first outing.
    outings : tuple of Choice
        In order of time.
    items : tuple of Choice
        Those that the sheets give a number for, what changed most often first.
    measures : tuple of Choice
        Those that the boat's outings have.
    """

    sheets: tuple[Choice, ...] = ()
    outings: tuple[Choice, ...] = ()
    items: tuple[Choice, ...] = ()
    measures: tuple[Choice, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the user wants on one side: a sheet, outings, or some outings of a sheet."""

    sheet_id: str | None = None
    outings: tuple[int, ...] = ()

    @property
    def is_something(self) -> bool:
        """Whether anything is wanted at all."""
        return self.sheet_id is not None or bool(self.outings)


@dataclass(frozen=True, slots=True)
class ItemHistory:
    """A history with the item that it lies against."""

    told: History
    item: Item | None


@dataclass(frozen=True, slots=True)
class NextTrial:
    """Advice with the name of the sheet that it starts from."""

    told: Advice
    best_sheet: str


@dataclass(frozen=True, slots=True)
class CompareClient:
    """A logbook by its address; None is the user's own."""

    url: str | None = None

    def boats(self) -> tuple[Choice, ...]:
        """List the boats."""
        with open_logbook(self.url) as book:
            return tuple(Choice(boat.name, boat.name) for boat in book.boats())

    def lists(self, boat: str | None) -> Lists:
        """List what can be chosen of a boat; nothing where the logbook does not know it."""
        with open_logbook(self.url) as book:
            if boat is None or not knows(book, boat):
                return Lists()
            evidence, sheets = _known(book, boat)
        counts = Counter(sheet_id for sheet_id, _ in {(e.sheet_id, e.outing_id) for e in evidence})
        run = [sheets[s] for s in dict.fromkeys(e.sheet_id for e in evidence) if s in sheets]
        return Lists(
            tuple(Choice(s.sheet_id, f"{s.name} ({_outings(counts[s.sheet_id])})") for s in run),
            _outing_choices(evidence, sheets),
            _items(run),
            tuple(Choice(key, m.title) for key, m in MEASURES.items() if any(e.has(key) for e in evidence)),
        )

    def compare(self, boat: str, before: Wanted, after: Wanted, care_mps: float | None) -> Comparison:
        """Compare two sheets of a boat, or two groups of its outings."""
        with open_logbook(self.url) as book:
            evidence, sheets = _known(book, boat)
        first, second = (
            side_of(evidence, sheets, wanted.sheet_id, wanted.outings) for wanted in (before, after)
        )
        return compare(
            first.evidence,
            second.evidence,
            before_sheet=first.sheet,
            after_sheet=second.sheet,
            names=(first.name, second.name),
            care=care_mps,
            history=evidence,
        )

    def history(self, boat: str, item: str | None, measure: str) -> ItemHistory:
        """Lay a measure against an item."""
        with open_logbook(self.url) as book:
            evidence, sheets = _known(book, boat)
        told = boat_history(evidence, sheets, item, measure)
        found = next((s.item(item) for s in sheets.values() if item in s.tune), None) if item else None
        return ItemHistory(told, found)

    def advise(self, boat: str, ripple_mps: float | None, care_mps: float | None) -> NextTrial:
        """Advise the next trial, with the boat's own limits."""
        with open_logbook(self.url) as book:
            evidence, sheets = _known(book, boat)
            limits = book.boat(boat).limits
        stops = Stops(ripple_mps, limits.motor_temp_c, limits.esc_temp_c, limits.current_a)
        told = next_trial(evidence, sheets, stops=stops, care=care_mps)
        return NextTrial(told, sheets[told.best_sheet].name if told.best_sheet else "")


def _known(book: Logbook, boat: str) -> tuple[tuple[Evidence, ...], dict[str, SetupSheet]]:
    return book.evidence(boat), {sheet.sheet_id: sheet for sheet in book.sheets(boat)}


def _outings(n: int) -> str:
    return f"{n} outing" if n == 1 else f"{n} outings"


def _outing_choices(evidence: Sequence[Evidence], sheets: Mapping[str, SetupSheet]) -> tuple[Choice, ...]:
    """List the outings with number, day and sheet."""
    firsts = {e.outing_id: e for e in reversed(evidence)}
    told = []
    for outing_id, e in reversed(firsts.items()):
        day = "no date" if e.outing_utc is None else f"{e.outing_utc:%Y-%m-%d}"
        sheet = sheets[e.sheet_id].name if e.sheet_id in sheets else ""
        told.append(Choice(str(outing_id), f"{outing_id}: {day}, {sheet}"))
    return tuple(told)


def _items(sheets: Sequence[SetupSheet]) -> tuple[Choice, ...]:
    """List the items with numbers, those with the most values first."""
    values: dict[str, set[float]] = {}
    titles: dict[str, str] = {}
    for sheet in sheets:
        for name in sheet.tune:
            value = sheet.value(name)
            if value is not None:
                values.setdefault(name, set()).add(value)
                titles[name] = sheet.item(name).title
    ordered = sorted(values, key=lambda name: -len(values[name]))
    return tuple(Choice(name, titles[name]) for name in ordered)
