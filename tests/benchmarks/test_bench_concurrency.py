"""What concurrent use costs a logbook: acknowledged writes counted one by one, with a dashboard at work."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from logbooks import with_fleet
from stress_study import Write, add_boat, add_outing, stress

from telemetry.logbook import open_logbook

ROUNDS = int(os.environ.get("RECIPROCAL_STRESS_ROUNDS", "10"))


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A new logbook with two boats and a sheet each."""
    named = (
        str(tmp_path / "lake.sqlite")
        if request.param == "sqlite"
        else request.getfixturevalue("postgres_url")
    )
    with open_logbook(named) as logbook:
        with_fleet(logbook)
    return named


CASES: dict[str, tuple[int, int, int, int, Write]] = {
    # writers, threads, writes of each thread, kills, what is written
    "6 processes x 2 threads x 500 boats": (6, 2, 500, 0, add_boat),
    "5 000 boats over 3 processes": (3, 1, 1667, 0, add_boat),
    "6 processes x 2 threads x 500 boats, 12 SIGKILLs": (6, 2, 500, 12, add_boat),
    "3 processes x 4 threads x 17 outings": (3, 4, 17, 0, add_outing),
    "3 processes x 4 threads x 17 outings, 6 SIGKILLs": (3, 4, 17, 6, add_outing),
}


@pytest.mark.study
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("number", range(ROUNDS))
def test_no_acknowledged_write_is_lost_and_none_is_refused(
    url: str, tmp_path: Path, case: str, number: int
) -> None:
    """Every write opens the logbook for itself, while three tabs of a served dashboard are busy."""
    writers, threads, writes, kills, write = CASES[case]
    outcome = stress(
        url,
        tmp_path / "notes",
        writers=writers,
        threads=threads,
        writes=writes,
        kills=kills,
        tabs=3,
        rng=random.Random(number),
        write=write,
    )
    print(f"\n{url.partition(':')[0][-8:]:>8}  {case}: {outcome}")
    assert (outcome.lost, outcome.refused, outcome.integrity) == ((), (), "ok"), outcome.refused[:3]
    assert outcome.kills == kills
    assert outcome.acknowledged >= writers * threads * writes
    assert outcome.reads > 0
