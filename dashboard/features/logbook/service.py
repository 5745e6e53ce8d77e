"""The logbook page's way to the logbook: a connection a request."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final

from dashboard.features.bench.service import OnBench
from dashboard.features.run.request_form import begun_with
from dashboard.features.save.form import bench_of
from dashboard.session.intake import bring_in
from dashboard.session.sessions import Session
from telemetry.logbook import Boat, Conditions, Logbook, Outing, OutingSearch, open_logbook
from telemetry.logbook.records import Sort
from telemetry.setup import Due

OUTINGS_A_PAGE: Final = 20
SORTS: Final[tuple[tuple[Sort, str], ...]] = (
    ("date", "Date"),
    ("two-way", "Best two-way"),
    ("peak", "Peak"),
    ("place", "Place"),
    ("boat", "Boat"),
)


@dataclass(frozen=True, slots=True)
class BoatStory:
    """A boat at a glance: how much is kept of it, its best and its latest outing, what is due."""

    boat: Boat
    sheets: int
    outings: int
    best: Outing | None
    latest: Outing | None
    due: tuple[Due, ...]


@dataclass(frozen=True, slots=True)
class OutingsPage:
    """One page of a list of outings, and how many outings and pages there are."""

    outings: tuple[Outing, ...]
    count: int
    pages: int


@dataclass(frozen=True, slots=True)
class LogbookClient:
    """A logbook by its address; None is the user's own."""

    url: str | None = None

    @contextmanager
    def _open(self) -> Iterator[Logbook]:
        with open_logbook(self.url) as logbook:
            yield logbook

    def boats(self) -> list[str]:
        """List the boats' names."""
        with self._open() as logbook:
            return [boat.name for boat in logbook.boats()]

    def fleet(self) -> tuple[tuple[Boat, int], ...]:
        """List the boats with how many outings each has."""
        with self._open() as logbook:
            return tuple(
                (boat, logbook.count_outings(OutingSearch(boat=boat.name))) for boat in logbook.boats()
            )

    def places(self) -> list[str]:
        """List the places that outings name."""
        with self._open() as logbook:
            return list(logbook.places())

    def sheets(self, boat: str | None) -> list[tuple[str, str]]:
        """List a boat's sheets as id and words, the latest first."""
        if not boat:
            return []
        with self._open() as logbook:
            return [
                (sheet.sheet_id, f"{sheet.name} ({sheet.sheet_id[:6]})")
                for sheet in reversed(logbook.sheets(boat))
            ]

    def search(
        self, text: str | None, boat: str | None, sort: Sort, *, ascending: bool, page: int
    ) -> OutingsPage:
        """Find outings, one page of them."""
        search = OutingSearch(
            text=text or "",
            boat=boat or "",
            sort=sort,
            descending=not ascending,
            limit=OUTINGS_A_PAGE,
            offset=(page - 1) * OUTINGS_A_PAGE,
        )
        with self._open() as logbook:
            count = logbook.count_outings(search)
            return OutingsPage(logbook.outings(search), count, max(1, -(-count // OUTINGS_A_PAGE)))

    def story(self, boat: str) -> BoatStory:
        """Tell a boat at a glance."""
        with self._open() as logbook:
            best = logbook.outings(OutingSearch(boat=boat, sort="two-way", limit=1))
            latest = logbook.outings(OutingSearch(boat=boat, limit=1))
            return BoatStory(
                logbook.boat(boat),
                len(logbook.sheets(boat)),
                logbook.count_outings(OutingSearch(boat=boat)),
                next((o for o in best if o.best_two_way_mps is not None), None),
                next(iter(latest), None),
                tuple(row for row in logbook.service(boat) if row.verdict in ("due", "soon")),
            )

    def boat(self, name: str) -> Boat:
        """Return one boat.

        Raises
        ------
        LogbookError
            If there is none of that name.
        """
        with self._open() as logbook:
            return logbook.boat(name)

    def edit_boat(
        self, name: str, kind: str, length_m: float | None, note: str, limits: Mapping[str, float | None]
    ) -> None:
        """Correct what is said of a boat; a limit that differs from what it was is its owner's own.

        Raises
        ------
        LogbookError
            If there is no such boat.
        """
        with self._open() as logbook:
            before = logbook.boat(name)
            changed = [limit for limit, value in limits.items() if value != getattr(before.limits, limit)]
            own = tuple({*before.limits.own, *changed})
            told = replace(before.limits, **limits, own=own)
            boat = replace(before, hull_kind=kind, length_m=length_m, note=note, limits=told)
            logbook.edit_boat(name, boat)

    def outing(self, outing_id: int) -> Outing:
        """Return one outing.

        Raises
        ------
        LogbookError
            If there is none of that number.
        """
        with self._open() as logbook:
            return logbook.outing(outing_id)

    def bench(self, boat: str, sheet: str) -> OnBench | None:
        """Put a boat's sheet on the bench, or a blank one; None where nobody says which boat."""
        with self._open() as logbook:
            return bench_of(logbook, boat, sheet)

    def correct(self, outing_id: int, conditions: Conditions, sheet: str) -> None:
        """Correct what is said of an outing.

        Raises
        ------
        LogbookError
            If there is no such outing or sheet.
        """
        with self._open() as logbook:
            logbook.edit_outing(outing_id, conditions=conditions, sheet=sheet)

    def remove(self, outing_id: int) -> None:
        """Take an outing out.

        Raises
        ------
        LogbookError
            If there is none of that number.
        """
        with self._open() as logbook:
            logbook.remove_outing(outing_id)

    def lay_open(self, session: Session, outing_id: int) -> None:
        """Load an outing's logs into the session, in the place of what is there, with what was asked of them.

        Raises
        ------
        LogbookError
            If there is no such outing.
        """
        with self._open() as logbook:
            logs = logbook.logs(outing_id)
            request, options = logbook.asked(outing_id)
        for key in list(session.uploads):
            session.remove(key)
        session.asked = begun_with(session, request)
        session.correct(request.by_hand)
        bring_in(session, logs, options)


def outing_of(query: str | None) -> int | None:
    """Read which outing an address asks for.

    Examples
    --------
    >>> outing_of("?outing=12"), outing_of("?outing=x"), outing_of("")
    (12, None, None)
    """
    number = (query or "").removeprefix("?outing=")
    return int(number) if number.isdecimal() and len(number) < 10 else None
