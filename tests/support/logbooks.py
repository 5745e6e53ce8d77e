"""What the logbook's tests share: a fresh logbook on each database, and small logs."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import psycopg
import pytest
from made_tracks import OUT_AND_BACK, START, made_track
from sqlalchemy import select

from sample_logs.writers import to_csv
from telemetry.logbook import Boat, Conditions, Imported, Logbook, NamedLog, open_logbook
from telemetry.logbook.importing import open_document, unpacked
from telemetry.logbook.tables import Base
from telemetry.setup import Reading, SetupSheet

POSTGRES = "RECIPROCAL_TEST_POSTGRES"
BOAT = "Kittiwake"
OTHER_BOAT = "Ünruh"
SHEET = SetupSheet(BOAT, {"prop_pitch_mm": Reading(63.0), "pole_pairs": Reading(2.0)}, name="flat water")
OTHER_SHEET = SetupSheet(OTHER_BOAT, name="first")


@pytest.fixture(scope="session")
def postgres_server() -> str:
    """URL of a PostgreSQL whose user may make databases."""
    url = os.environ.get(POSTGRES)
    if not url:
        reason = f"no PostgreSQL named in {POSTGRES}; `.ci/postgresql start FOLDER` starts one"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return url


@pytest.fixture
def postgres_url(postgres_server: str) -> Iterator[str]:
    """A database of its own, gone afterwards."""
    with new_database(postgres_server) as url:
        yield url


@contextmanager
def new_database(postgres_server: str) -> Iterator[str]:
    """Make a database and drop it afterwards."""
    name = f"logbook_{secrets.token_hex(6)}"
    with psycopg.connect(postgres_server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield f"{postgres_server.rpartition('/')[0]}/{name}"
    with psycopg.connect(postgres_server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def logbook_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new logbook may be, on each database."""
    if request.param == "sqlite":
        return str(tmp_path / "lake.sqlite")
    url: str = request.getfixturevalue("postgres_url")
    return url


@pytest.fixture
def logbook(logbook_url: str) -> Iterator[Logbook]:
    """An empty logbook on each database."""
    with open_logbook(logbook_url) as opened:
        yield opened


@pytest.fixture
def fleet(logbook: Logbook) -> Logbook:
    """The same with two boats, a sheet each."""
    return with_fleet(logbook)


def with_fleet(logbook: Logbook) -> Logbook:
    logbook.add_boat(Boat(BOAT, hull_kind="catamaran", length_m=0.8))
    logbook.add_boat(OTHER_BOAT)
    logbook.add_sheet(SHEET)
    logbook.add_sheet(OTHER_SHEET)
    return logbook


@cache
def small_log(hour: int = 0, *, top_mps: float = 25.0) -> NamedLog:
    """A pass out and a pass back; each hour gives another log."""
    corners = [(t, v * top_mps / 25.0) for t, v in OUT_AND_BACK]
    track = made_track(corners, start_utc=START + pd.Timedelta(hours=hour))
    return NamedLog(f"outing_{hour}.csv", to_csv(track))


def undated_log() -> NamedLog:
    """The same in a table that counts seconds from its start."""
    frame = made_track().frame.reset_index()
    names = {"t_s": "time (s)", "lat_deg": "latitude", "lon_deg": "longitude", "speed_mps": "speed (m/s)"}
    return NamedLog("undated.csv", frame[list(names)].rename(columns=names).to_csv(index=False).encode())


def add(logbook: Logbook, hour: int = 0, **rest: Any) -> Imported:
    """Add one small outing."""
    conditions = Conditions(place="Long Lake", wind_mps=1.5, water="flat", pack="blue 6s")
    return logbook.import_outing(
        [small_log(hour)], rest.pop("boat", BOAT), rest.pop("sheet", SHEET.name), conditions, **rest
    )


def everything(logbook: Logbook) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table in the order of its keys, a log's and an analysis' bytes unpacked."""
    with logbook._reading() as session:
        told = {}
        for table in Base.metadata.sorted_tables:
            rows = session.execute(select(table).order_by(*table.primary_key.columns)).mappings()
            told[table.name] = [_plain(table.name, dict(row)) for row in rows]
    return told


def _plain(table: str, row: dict[str, Any]) -> tuple[Any, ...]:
    if table == "logs":
        row["content"] = unpacked(row["packing"], row["content"], row["sha256"])
    if table == "analyses":
        row["document"] = open_document(row["document"])
    return tuple(row.items())
