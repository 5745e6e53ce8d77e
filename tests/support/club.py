"""A club's history, simulated as rows: far more outings than logs could be analysed for, in the same tables.

The figures are plausible draws, not measurements; logs and analyses are small stand-ins, so that what is
measured on such a logbook is how it finds things, not how much it holds.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import insert, text

from telemetry import __version__
from telemetry.core.units import SIXTEENTH_MILE_M
from telemetry.logbook import Conditions, Logbook
from telemetry.logbook.importing import packed, press_document
from telemetry.logbook.queries import conditions_to_columns, words_of
from telemetry.logbook.restore import count_on
from telemetry.logbook.tables import (
    AnalysisRow,
    Base,
    LogRow,
    OutingLogRow,
    OutingRow,
    PassRow,
    TwoWayRow,
)
from telemetry.setup import Reading, SetupSheet

FIRST = datetime(2024, 3, 1, 9, tzinfo=UTC)
PLACES = ("Long Lake", "Süßer See", "North Basin", "the_quarry")
PACKS = ("blue 6s", "red 6s 100%", "")
PASSES = 8
SHEETS = 5


def fill(logbook: Logbook, outings: int, boats: int, rng_seed: int = 1) -> None:
    """Add boats with five sheets each and outings of eight passes, spread over boats, sheets and places."""
    rng = np.random.default_rng(rng_seed)
    sheets = [_boat(logbook, f"Boat {k + 1}" if k else "Kittiwake") for k in range(boats)]
    rows: dict[Any, list[dict[str, Any]]] = {
        table: [] for table in (OutingRow, LogRow, OutingLogRow, AnalysisRow, PassRow, TwoWayRow)
    }
    stand_in = press_document({"schema": "reciprocal-analysis/1", "notes": ["a stand-in"]})
    for k in range(outings):
        _outing(rows, k + 1, k % boats, sheets[k % boats][k // boats % SHEETS], rng, stand_in)
    with logbook._writing() as session:
        for table, its_rows in rows.items():
            session.execute(insert(table), its_rows)
        if session.connection().dialect.name == "postgresql":
            count_on(session.connection(), Base.metadata.tables["outings"])
            session.execute(text("ANALYZE"))  # as the server does by itself within a minute of such growth


def _boat(logbook: Logbook, name: str) -> list[SetupSheet]:
    logbook.add_boat(name)
    sheets = [SetupSheet(name, {"strut_depth_mm": Reading(2.0)}, name="sheet 1")]
    for k in range(1, SHEETS):
        sheets.append(sheets[-1].edit({"strut_depth_mm": Reading(2.0 + k)}, name=f"sheet {k + 1}"))
    return [logbook.add_sheet(sheet) for sheet in sheets]


def _outing(
    rows: dict[Any, list[dict[str, Any]]],
    outing_id: int,
    boat: int,
    sheet: SetupSheet,
    rng: np.random.Generator,
    stand_in: bytes,
) -> None:
    start = (
        None if outing_id % 17 == 0 else FIRST + timedelta(days=outing_id - 1, minutes=int(rng.integers(600)))
    )
    place = PLACES[int(rng.integers(len(PLACES)))]
    conditions = Conditions(place, float(rng.uniform(0, 5)), water="flat", pack=PACKS[outing_id % len(PACKS)])
    speeds = rng.normal(32.0 + 0.3 * boat, 1.5, PASSES)
    pairs = [(a, a + 1) for a in range(0, PASSES, 2)] if outing_id % 11 else []
    averages = [float(np.mean(speeds[list(pair)])) for pair in pairs]
    rows[OutingRow].append(
        {
            "id": outing_id,
            "boat_id": boat + 1,
            "sheet_id": sheet.sheet_id,
            "start_utc": start,
            "when_utc": start or FIRST + timedelta(days=outing_id),
            "words": words_of(sheet.boat, sheet.name, conditions),
            "added_utc": FIRST + timedelta(days=outing_id),
            "program_version": __version__,
            "pass_count": PASSES if outing_id % 23 else 0,
            "two_way_count": len(pairs),
            "best_two_way_mps": max(averages, default=None),
            "best_two_way_u95_mps": 0.05 if pairs else None,
            "best_verdict": "counts" if pairs else None,
            "best_peak_mps": float(max(speeds)) + 0.3 if outing_id % 23 else None,
            "best_peak_u95_mps": 0.1 if outing_id % 23 else None,
            "under_way_s": 300.0,
            **conditions_to_columns(conditions),
        }
    )
    data = f"stand-in {outing_id}".encode()
    sha256 = hashlib.sha256(data).hexdigest()
    packing, content = packed(data)
    rows[LogRow].append({"sha256": sha256, "size_bytes": len(data), "packing": packing, "content": content})
    rows[OutingLogRow].append(
        {"sha256": sha256, "outing_id": outing_id, "position": 0, "file": "stand-in.gpx"}
    )
    rows[AnalysisRow].append(
        {
            "outing_id": outing_id,
            "program_version": __version__,
            "made_utc": FIRST,
            "request": {},
            "document": stand_in,
        }
    )
    rows[PassRow] += [_pass(outing_id, k, start, float(v)) for k, v in enumerate(speeds)]
    rows[TwoWayRow] += [
        {
            "outing_id": outing_id,
            "position": k,
            "two_way_id": f"T{k + 1}",
            "first_position": a,
            "second_position": b,
            "rule": "water",
            "mean": "of speeds",
            "distance_m": SIXTEENTH_MILE_M,
            "average_mps": averages[k],
            "u95_mps": 0.05,
            "u_independent_mps": 0.02,
            "u_shared_mps": 0.01,
            "verdict": "counts",
            "apart": True,
        }
        for k, (a, b) in enumerate(pairs)
    ]


def _pass(outing_id: int, k: int, start: datetime | None, speed_mps: float) -> dict[str, Any]:
    return {
        "outing_id": outing_id,
        "position": k,
        "pass_id": f"P{k + 1}",
        "start_utc": start and start + timedelta(minutes=2 * k),
        "heading_deg": 70.0 + 180.0 * (k % 2),
        "way": "back" if k % 2 else "out",
        "length_m": 200.0,
        "peak_mps": speed_mps + 0.3,
        "peak_u95_mps": 0.1,
        "held_1s_mps": speed_mps + 0.1,
        "held_1s_u95_mps": 0.08,
        "distances": [[SIXTEENTH_MILE_M, speed_mps, 0.06], [100.0, speed_mps, 0.06]],
        "ripple_mps": None,
        "slip": 0.15,
        "slip_u95": 0.01,
        "peak_current_a": 140.0,
        "motor_temp_c": 55.0,
        "esc_temp_c": 48.0,
        "rest_voltage_v": 25.0 - 0.1 * k,
    }
