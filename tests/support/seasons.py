"""A logbook that holds a simulated season."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from sample_logs.season import LAKE, SEASON_BOAT, season
from telemetry.logbook import Boat, Conditions, NamedLog, open_logbook

BOAT: Final = SEASON_BOAT.name


@pytest.fixture(scope="session")
def season_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A season's logbook, to be read only."""
    return season_logbook(tmp_path_factory.mktemp("season"))


def season_logbook(folder: Path) -> str:
    """Fill a new logbook with the season and return its address."""
    url = str(folder / "season.sqlite")
    with open_logbook(url) as book:
        book.add_boat(Boat(BOAT, hull_kind="catamaran", length_m=SEASON_BOAT.length_m))
        for one in season():
            conditions = Conditions(
                place=LAKE,
                wind_mps=one.wind_mps,
                water="flat",
                air_c=one.air_c,
                water_c=one.water_c,
                pack=one.pack,
            )
            logs = [NamedLog(name, content) for name, content in one.files.items()]
            book.import_outing(logs, BOAT, one.sheet, conditions)
    return url
