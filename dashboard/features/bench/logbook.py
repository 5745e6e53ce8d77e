"""The bench page's access to the logbook: one connection a request."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from telemetry.core.errors import LogbookError
from telemetry.logbook import Boat, Logbook, open_logbook
from telemetry.setup import (
    OWN_INTERVAL,
    Due,
    FoundMeasure,
    OwnItem,
    SetupSheet,
    tasks_for,
)


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a list to choose from."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class BenchClient:
    """A logbook by its address; None is the user's own."""

    url: str | None = None

    def boats(self) -> tuple[Choice, ...]:
        """List the boats."""
        with open_logbook(self.url) as book:
            return tuple(Choice(boat.name, boat.name) for boat in book.boats())

    def last_set(self) -> str | None:
        """Return the boat whose sheet is the newest, else the first boat."""
        with open_logbook(self.url) as book:
            boats = [boat.name for boat in book.boats()]
            newest = [(sheets[-1].made_utc, name) for name in boats if (sheets := book.sheets(name))]
            return max(newest)[1] if newest else next(iter(boats), None)

    def sheets(self, boat: str | None) -> tuple[Choice, ...]:
        """List a boat's sheets, the latest first; empty if the logbook does not know it."""
        with open_logbook(self.url) as book:
            if boat is None or not knows(book, boat):
                return ()
            return tuple(
                Choice(one.sheet_id, f"{one.name} ({one.made_utc:%Y-%m-%d}, {one.sheet_id[:6]})")
                for one in reversed(book.sheets(boat))
            )

    def sheet(self, sheet_id: str | None) -> SetupSheet | None:
        """Find a sheet by its id."""
        if not sheet_id:
            return None
        with open_logbook(self.url) as book:
            return book.sheet(sheet_id)

    def own_items(self, boat: str) -> tuple[OwnItem, ...]:
        """List the items that only this boat has."""
        with open_logbook(self.url) as book:
            return book.boat(boat).own_items if knows(book, boat) else ()

    def add_own_item(self, boat: str, item: OwnItem) -> None:
        """Add an own item to a boat of the logbook."""
        with open_logbook(self.url) as book:
            known = _boat(book, boat)
            others = tuple(o for o in known.own_items if o.name != item.name)
            book.edit_boat(boat, replace(known, own_items=(*others, item)))

    def keep_sheet(self, sheet: SetupSheet, before: SetupSheet) -> SetupSheet:
        """Save a sheet in the logbook, with its boat and its parent sheet if these are new there."""
        with open_logbook(self.url) as book:
            _boat(book, sheet.boat)
            if sheet.parent == before.sheet_id:
                # The time it was made is unknown: before its child, in any case.
                earlier = (sheet.made_utc or datetime.now(UTC)) - timedelta(microseconds=1)
                book.add_sheet(replace(before, parent=None, made_utc=before.made_utc or earlier))
            return book.add_sheet(sheet)

    def keep_found(self, found: FoundMeasure) -> None:
        """Save a boat as found in the logbook."""
        with open_logbook(self.url) as book:
            _boat(book, found.boat)
            book.add_found(found)

    def service(self, boat: str | None) -> tuple[Due, ...]:
        """List what is due; "cannot tell" for a boat that the logbook does not know."""
        with open_logbook(self.url) as book:
            if boat is not None and knows(book, boat):
                return book.service(boat)
        return tuple(
            Due(task, "cannot tell", None, "no boat of the logbook is chosen") for task in tasks_for()
        )

    def set_task(
        self, boat: str, name: str, runs: float | None, hours: float | None, days: float | None
    ) -> None:
        """Set a boat's own interval for one task; the others are unchanged."""
        with open_logbook(self.url) as book:
            usual, tasks = tasks_for(), book.service_tasks(boat)
            task = next(t for t in tasks if t.name == name)
            own = replace(task, every_runs=runs, every_hours=hours, every_days=days, source=OWN_INTERVAL)
            book.set_service_tasks(boat, [*(t for t in tasks if t not in usual and t.name != name), own])

    def done(self, boat: str, task: str) -> None:
        """Record that a task was done on a boat, now."""
        with open_logbook(self.url) as book:
            book.service_done(boat, task)


def knows(book: Logbook, boat: str) -> bool:
    """Whether a logbook has a boat."""
    return any(known.name == boat for known in book.boats())


def _boat(book: Logbook, name: str) -> Boat:
    """Find a boat, or add it."""
    try:
        return book.boat(name)
    except LogbookError:
        return book.add_boat(name)
