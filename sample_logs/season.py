"""A season of one invented boat: outings on a few setup sheets, for a logbook to be filled with.

Only the strut depth changes from sheet to sheet. A lower strut drags more; one too high lets the propeller
lose its grip, so that the best lies between. Every outing has a pack, a wind and a hull that is a little
different from the last one's, as outings have.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
import pandas as pd

from sample_logs.boats import CATAMARAN, Boat
from sample_logs.outing import simulate_outing
from sample_logs.receiver import Receiver
from sample_logs.scripts import Water
from sample_logs.writers import motor_to_csv, to_csv
from telemetry.setup import Reading, SetupSheet

LAKE: Final = "Lake Ombrevel"
SEASON_BOAT: Final = replace(CATAMARAN, name="Bramblin")
DEPTHS_MM: Final = (3.0, 2.5, 2.0)
"""Strut depth of each sheet, in the order in which they are tried."""
BEST_DEPTH_MM: Final = 1.8
_DRAG_AT_BEST: Final = 1.9e-5  # drag area of strut, rudder and wet surfaces [m²]
_DRAG_A_MM2: Final = 5.5e-6  # and its growth with the square of the distance from the best depth [m²/mm²]
_OUTING_SPREAD: Final = 0.02  # relative standard deviation of a day's drag (common practice, no source)
_FIRST_UTC: Final = datetime(2025, 5, 3, 8, 30, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class SeasonOuting:
    """One outing of a season.

    Attributes
    ----------
    sheet : SetupSheet
        The tune it was run on.
    start_utc : datetime
        When the first fix was logged.
    files : dict of str to bytes
        A speed log and a motor log by name.
    wind_mps, air_c, water_c : float
        What the driver would write down.
    pack : str
    """

    sheet: SetupSheet
    start_utc: datetime
    files: dict[str, bytes]
    wind_mps: float
    air_c: float
    water_c: float
    pack: str


def boat_at(depth_mm: float, boat: Boat = SEASON_BOAT) -> Boat:
    """Give the boat the drag that a strut depth makes."""
    return replace(boat, appendage_m2=_DRAG_AT_BEST + _DRAG_A_MM2 * (depth_mm - BEST_DEPTH_MM) ** 2)


def sheets(boat: Boat = SEASON_BOAT) -> tuple[SetupSheet, ...]:
    """Make the season's sheets, each the next one's parent."""
    first = SetupSheet(
        boat.name,
        {
            "strut_depth_mm": Reading(DEPTHS_MM[0]),
            "strut_angle_deg": Reading(1.5),
            "tab_gap_left_outer_mm": Reading(4.0),
            "tab_gap_right_outer_mm": Reading(4.0),
            "prop_diameter_mm": Reading(boat.diameter_mm),
            "prop_pitch_mm": Reading(boat.pitch_mm),
            "cells": Reading(float(boat.cells)),
            "kv_rpm_per_v": Reading(boat.kv_rpm_per_v),
            "pole_pairs": Reading(float(boat.pole_pairs)),
            "pack_place_mm": Reading(180.0),
        },
        name=_name(DEPTHS_MM[0]),
        made_utc=_FIRST_UTC - timedelta(days=1),
    )
    line = [first]
    for k, depth_mm in enumerate(DEPTHS_MM[1:], 1):
        made = _FIRST_UTC + timedelta(days=21 * k - 1)
        line.append(line[-1].edit({"strut_depth_mm": Reading(depth_mm)}, name=_name(depth_mm), made_utc=made))
    return tuple(line)


def _name(depth_mm: float) -> str:
    return f"Strut {depth_mm:.1f} mm"


def season(
    *, seed: int = 5, outings: int = 2, passes: int = 4, boat: Boat = SEASON_BOAT, rate_hz: float = 10.0
) -> Iterator[SeasonOuting]:
    """Simulate the outings of a season, one by one.

    Parameters
    ----------
    seed : int
        Of all random numbers.
    outings : int
        On each sheet.
    passes : int
        In each outing, to and fro.
    boat : Boat
        Whose sheets they are.
    rate_hz : float
        Of the speed log.

    Yields
    ------
    SeasonOuting
        In order of time.
    """
    for k, (sheet, depth_mm) in enumerate(zip(sheets(boat), DEPTHS_MM, strict=True)):
        for n in range(outings):
            rng = np.random.default_rng([seed, k, n])
            wind_mps, from_deg = float(rng.uniform(0.3, 2.5)), rng.uniform(0.0, 2.0 * np.pi)
            start = _FIRST_UTC + timedelta(days=21 * k + 7 * n, minutes=int(rng.integers(0, 90)))
            today = boat_at(depth_mm, boat)
            outing = simulate_outing(
                int(rng.integers(1 << 30)),
                boat=replace(
                    today, appendage_m2=today.appendage_m2 * (1.0 + rng.normal(0.0, _OUTING_SPREAD))
                ),
                receiver=Receiver(rate_hz=rate_hz, lag_s=0.03, shared_scale=1e-4),
                water=Water(
                    *rng.uniform(-0.1, 0.1, 2), wind_mps * np.sin(from_deg), wind_mps * np.cos(from_deg)
                ),
                passes=passes,
                course_heading_deg=75.0,
                motor_rate_hz=20.0,
                start_utc=pd.Timestamp(start),
            )
            day = start.strftime("%Y-%m-%d")
            yield SeasonOuting(
                sheet=sheet,
                start_utc=start,
                files={
                    f"{day}.csv": to_csv(outing.track),
                    f"{day}_motor.csv": motor_to_csv(outing.motor, "brackets", outing.boat.pole_pairs),
                },
                wind_mps=round(wind_mps, 1),
                air_c=round(float(rng.uniform(14.0, 24.0)), 0),
                water_c=round(float(rng.uniform(12.0, 20.0)), 0),
                pack=f"pack {'AB'[n % 2]}",
            )
