"""A search finds what a look at every outing would find, in the order that sorting them would give."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from club import fill
from logbooks import new_database

from telemetry.logbook import Logbook, Outing, OutingSearch, open_logbook

FIRST = datetime(2024, 3, 1, 9, tzinfo=UTC)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def club(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Logbook]:
    """One club's logbook on each database, which these tests only read."""
    with ExitStack() as stack:
        url = str(tmp_path_factory.mktemp("club") / "lake.sqlite")
        if request.param == "postgresql":
            url = stack.enter_context(new_database(request.getfixturevalue("postgres_server")))
        logbook = stack.enter_context(open_logbook(url))
        fill(logbook, outings=60, boats=4)
        yield logbook


def text_of(outing: Outing) -> str:
    c = outing.conditions
    return " ".join((c.place, outing.boat, outing.sheet_name, c.pack, c.note)).casefold()


CASES: list[tuple[OutingSearch, Callable[[Outing], bool]]] = [
    (OutingSearch(), lambda o: True),
    (OutingSearch(text="LONG"), lambda o: "long" in text_of(o)),
    (OutingSearch(text="see kittiwake"), lambda o: "see" in text_of(o) and "kittiwake" in text_of(o)),
    (OutingSearch(text="100%"), lambda o: "100%" in text_of(o)),
    (OutingSearch(text="_"), lambda o: "_" in text_of(o)),
    (OutingSearch(place="süßer  SEE"), lambda o: o.conditions.place == "Süßer See"),
    (OutingSearch(boat="boat 2"), lambda o: o.boat == "Boat 2"),
    (
        OutingSearch(since=FIRST + timedelta(days=20), until=FIRST + timedelta(days=40)),
        lambda o: o.start_utc is not None and timedelta(days=20) <= o.start_utc - FIRST < timedelta(days=40),
    ),
    (
        OutingSearch(two_way_mps=(30.0, 33.0)),
        lambda o: o.best_two_way_mps is not None and 30.0 <= o.best_two_way_mps <= 33.0,
    ),
    (
        OutingSearch(peak_mps=(None, 35.5), boat="Boat 2"),
        lambda o: o.best_peak_mps is not None and o.best_peak_mps <= 35.5 and o.boat == "Boat 2",
    ),
]


@pytest.mark.parametrize(("search", "wanted"), CASES, ids=[str(k) for k in range(len(CASES))])
def test_a_search_finds_what_a_look_at_every_outing_finds(
    club: Logbook, search: OutingSearch, wanted: Callable[[Outing], bool]
) -> None:
    everything = club.outings()
    assert len(everything) == 60
    hits = {o.id for o in everything if wanted(o)}
    assert hits, "a search that finds nothing shows nothing"
    assert {o.id for o in club.outings(search)} == hits
    assert club.count_outings(search) == len(hits)


KEYS: dict[str, Callable[[Outing], Any]] = {
    "date": lambda o: o.start_utc or o.added_utc,
    "two-way": lambda o: o.best_two_way_mps,
    "peak": lambda o: o.best_peak_mps,
}


@pytest.mark.parametrize("descending", [False, True])
@pytest.mark.parametrize("sort", KEYS)
def test_outings_are_sorted_and_those_without_the_value_come_last(
    club: Logbook, sort: Any, descending: bool
) -> None:
    found = club.outings(OutingSearch(sort=sort, descending=descending))
    values = [KEYS[sort](o) for o in found]
    known = [v for v in values if v is not None]
    assert (None in values) == (sort != "date")
    assert values == sorted(known, reverse=descending) + [None] * (len(values) - len(known))


@pytest.mark.parametrize(
    ("sort", "key"), [("place", lambda o: o.conditions.place.casefold()), ("boat", lambda o: o.boat)]
)
def test_outings_are_sorted_by_words(club: Logbook, sort: Any, key: Callable[[Outing], str]) -> None:
    names = [key(o) for o in club.outings(OutingSearch(sort=sort, descending=False))]
    assert names == sorted(names)
    assert len(set(names)) > 2


def test_pages_of_a_search_are_its_parts_without_gap_or_overlap(club: Logbook) -> None:
    whole = club.outings(OutingSearch(sort="two-way"))
    pages = [club.outings(OutingSearch(sort="two-way", limit=7, offset=k)) for k in range(0, 63, 7)]
    assert [o for page in pages for o in page] == list(whole)


def test_places_are_listed_once(club: Logbook) -> None:
    assert set(club.places()) == {o.conditions.place for o in club.outings()}
    assert len(club.places()) == len(set(club.places()))


def test_the_simulated_club_is_what_it_says(club: Logbook) -> None:
    speeds = [o.best_two_way_mps for o in club.outings() if o.best_two_way_mps is not None]
    assert 20.0 < np.mean(speeds) < 45.0
