"""The page "History": all that the logbook holds of one boat."""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dashboard.features.bench.logbook import BenchClient, Choice, knows
from dashboard.features.compare.service import CompareClient, NextTrial
from telemetry.compare import History, boat_history
from telemetry.logbook import Logbook, Outing, OutingSearch, SavedIncident, SavedTwoWay, open_logbook
from telemetry.setup import (
    Due,
    FoundItem,
    FoundMeasure,
    ItemChange,
    SetupSheet,
    Step,
    compare_found,
    item_changes,
    steps_back,
)


@dataclass(frozen=True, slots=True)
class AsFound:
    """A boat as found at the bench, with what had moved since the sheet before.

    Attributes
    ----------
    found : FoundMeasure
    sheet : str
        Name of the sheet it is compared with: the last one made before; empty if there is none.
    moved : tuple of FoundItem
    """

    found: FoundMeasure
    sheet: str
    moved: tuple[FoundItem, ...]


@dataclass(frozen=True, slots=True)
class Tune:
    """The sheet that a boat was last set to, its best one, and the steps from the one to the other.

    Attributes
    ----------
    latest, best : SetupSheet or None
    changes : tuple of ItemChange
        From the latest to the best.
    steps : tuple of Step
        For a boat that is set as the latest sheet says.
    """

    latest: SetupSheet | None = None
    best: SetupSheet | None = None
    changes: tuple[ItemChange, ...] = ()
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """All that is known of a boat.

    Attributes
    ----------
    boat : str
    outings : tuple of Outing
        In order of time.
    two_ways : tuple of SavedTwoWay
        In order of time.
    best, best_counting : SavedTwoWay or None
        The highest of the outings' best by their rule, and of those the highest that counts.
    letters : mapping of str to str
        A letter for each sheet that was run, by its id.
    sheets : History
        The mean of each sheet.
    tune : Tune
    due : tuple of Due
    upsets : tuple of SavedIncident
        The latest first.
    founds : tuple of AsFound
        The latest first.
    """

    boat: str
    outings: tuple[Outing, ...]
    two_ways: tuple[SavedTwoWay, ...]
    best: SavedTwoWay | None
    best_counting: SavedTwoWay | None
    letters: Mapping[str, str]
    sheets: History
    tune: Tune
    due: tuple[Due, ...]
    upsets: tuple[SavedIncident, ...]
    founds: tuple[AsFound, ...]

    def outing(self, outing_id: int) -> Outing:
        """Find one of the outings."""
        return next(one for one in self.outings if one.id == outing_id)


@dataclass(frozen=True, slots=True)
class HistoryClient:
    """A logbook by its address; None is the user's own."""

    url: str | None = None

    def boats(self) -> tuple[Choice, ...]:
        """List the boats."""
        return BenchClient(self.url).boats()

    def last_set(self) -> str | None:
        """Name the boat whose sheet is the newest."""
        return BenchClient(self.url).last_set()

    def past(self, boat: str | None) -> Past | None:
        """Collect what is known of a boat; None where the logbook does not know it."""
        with open_logbook(self.url) as book:
            if boat is None or not knows(book, boat):
                return None
            evidence = book.evidence(boat)  # first: it updates analyses of an older version
            outings = book.outings(OutingSearch(boat=boat, descending=False))
            two_ways, sheets = book.two_ways(boat), book.sheets(boat)
            by_id = {sheet.sheet_id: sheet for sheet in sheets}
            by_sheet = boat_history(evidence, by_id)
            return Past(
                boat=boat,
                outings=outings,
                two_ways=two_ways,
                best=_best(outings, two_ways),
                best_counting=_best([o for o in outings if o.best_verdict == "counts"], two_ways),
                letters=_letters(outings),
                sheets=by_sheet,
                tune=_tune(sheets, by_id[by_sheet.best.level.sheet_id] if by_sheet.best else None),
                due=book.service(boat),
                upsets=tuple(reversed(book.upsets(boat))),
                founds=_founds(book, boat, sheets),
            )

    def advise(self, boat: str, ripple_mps: float | None, care_mps: float | None) -> NextTrial:
        """Suggest the next trial, as the page "Before and after" does."""
        return CompareClient(self.url).advise(boat, ripple_mps, care_mps)


def _best(outings: Sequence[Outing], two_ways: Sequence[SavedTwoWay]) -> SavedTwoWay | None:
    """Find the highest of the outings' best two-ways, the same as their list sorted by two-way."""
    speeds = [
        (outing.best_two_way_mps, outing.id) for outing in outings if outing.best_two_way_mps is not None
    ]
    if not speeds:
        return None
    _, outing_id = max(speeds, key=lambda one: one[0])
    return next(w for w in two_ways if w.outing_id == outing_id)  # the best stands first in its outing


def _letters(outings: Sequence[Outing]) -> dict[str, str]:
    """Assign letters to the sheets in the order in which they were first run; numbers when these run out."""
    run = dict.fromkeys(outing.sheet_id for outing in outings)
    letters = string.ascii_uppercase
    return {s: letters[k] if k < len(letters) else str(k + 1) for k, s in enumerate(run)}


def _tune(sheets: Sequence[SetupSheet], best: SetupSheet | None) -> Tune:
    """Find the steps from the latest sheet to the best one."""
    latest = sheets[-1] if sheets else None
    if latest is None or best is None or latest == best:
        return Tune(latest, best)
    differing = item_changes(latest, best)
    names = {change.item.name for change in differing}
    as_set = FoundMeasure(latest.boat, latest.readings, latest.own)
    steps = steps_back(best, as_set, latest)
    return Tune(latest, best, differing, tuple(s for s in steps if s.item is None or s.item.name in names))


def _founds(book: Logbook, boat: str, sheets: Sequence[SetupSheet]) -> tuple[AsFound, ...]:
    told = []
    for found in reversed(book.founds(boat)):
        before = [
            sheet
            for sheet in sheets
            if sheet.made_utc is None or found.found_utc is None or sheet.made_utc <= found.found_utc
        ]
        rows = compare_found(before[-1], found) if before else ()
        moved = tuple(row for row in rows if row.verdict == "moved")
        told.append(AsFound(found, before[-1].name if before else "", moved))
    return tuple(told)
