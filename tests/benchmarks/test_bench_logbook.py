"""What a logbook of years costs to open and to search, and what 200 killed imports leave of it."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from club import fill
from crash_study import kill_imports
from logbooks import BOAT, new_database
from timing import least

from telemetry.logbook import Logbook, OutingSearch, open_logbook

FEW, MANY = 50, 5000
MOST = 5.0  # times as long as for a season, says the promise
KILLS = 200
ROUNDS = 60  # of a few milliseconds each: the smallest of many is what a busy machine can show


def history(logbook: Logbook) -> int:
    return len(logbook.evidence(BOAT))


def first_page(logbook: Logbook) -> int:
    return len(logbook.outings(OutingSearch(boat=BOAT, limit=FEW)))


def search(logbook: Logbook) -> int:
    return len(logbook.outings(OutingSearch("long", sort="two-way", limit=FEW)))


def speeds(logbook: Logbook) -> int:
    return len(logbook.outings(OutingSearch(two_way_mps=(30.0, 40.0), sort="peak", limit=FEW)))


@pytest.fixture(params=["sqlite", "postgresql"])
def places(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[str], str]]:
    """Name a new place for a logbook on each database."""
    with ExitStack() as stack:
        if request.param == "sqlite":
            yield lambda name: str(tmp_path / f"{name}.sqlite")
        else:
            server = request.getfixturevalue("postgres_server")
            yield lambda _name: stack.enter_context(new_database(server))


@pytest.mark.benchmark
def test_years_of_outings_open_and_answer_nearly_as_quickly_as_a_season(places: Callable[[str], str]) -> None:
    """5 000 outings of 100 boats and 5 000 of one boat, each against 50 outings of one boat."""
    urls = {name: places(name) for name in ("season", "club", "one boat")}
    for name, outings, boats in (("season", FEW, 1), ("club", MANY, MANY // FEW), ("one boat", MANY, 1)):
        with open_logbook(urls[name]) as logbook:
            fill(logbook, outings, boats)

    def opened(name: str) -> None:
        with open_logbook(urls[name]) as logbook:
            logbook.boats()

    acts: list[tuple[str, str, Callable[[Logbook], int] | None]] = [
        ("opening", "club", None),
        ("opening", "one boat", None),
        ("a search by words, fastest first", "club", search),
        ("a search by words, fastest first", "one boat", search),
        ("a search by speed", "club", speeds),
        ("a boat's history of 50 outings, 400 passes", "club", history),
        ("the latest 50 outings of a boat", "one boat", first_page),
    ]
    rows = []
    for what, name, act in acts:
        if act is None:
            few, many = least(lambda: opened("season"), lambda n=name: opened(n), ROUNDS)
        else:
            with open_logbook(urls["season"]) as season, open_logbook(urls[name]) as years:
                assert act(years) > 0
                few, many = least(lambda a=act: a(season), lambda a=act: a(years), ROUNDS)
        rows.append((what, name, many / few))
    print()
    for what, name, ratio in rows:
        # Told, not asserted: how busy the machine is must fail nobody's change.
        over = "" if ratio < MOST else f", more than {MOST:g}"
        print(f"{what:<44} {name:>9}  {ratio:5.2f} times the time for {FEW} outings{over}")


@pytest.mark.study
def test_two_hundred_killed_imports_lose_nothing_and_half_import_nothing(
    fleet: Logbook, logbook_url: str
) -> None:
    tally = kill_imports(fleet, logbook_url, range(10, 10 + KILLS), random.Random(20261125))
    print(f"\n{logbook_url.partition(':')[0]}: {tally}")
    assert tally.kills == tally.whole + tally.none == KILLS
    assert tally.none > KILLS / 4
    assert tally.whole > KILLS / 20
