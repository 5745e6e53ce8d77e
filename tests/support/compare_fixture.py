"""Small made histories for tests of comparison."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from telemetry.compare import Evidence
from telemetry.setup import Reading, SetupSheet

BOAT = "Sanderling"
START = datetime(2031, 4, 5, 9, 0, tzinfo=UTC)
BASE = SetupSheet(
    BOAT,
    {
        "strut_depth_mm": Reading(3.0),
        "strut_angle_deg": Reading(1.5),
        "prop_pitch_mm": Reading(60.0),
        "cells": Reading(6.0),
    },
    name="base",
)


def sheet(name: str, **values: float) -> SetupSheet:
    """The base with other values."""
    return BASE.edit({key: Reading(value) for key, value in values.items()}, name=name)


def outing(
    of: SetupSheet | str, number: int, speeds: Sequence[float], *, u95: float = 0.05, **covariates: Any
) -> list[Evidence]:
    """One outing's two-ways; a covariate that is a list gives each its own."""
    return [
        Evidence(
            boat=BOAT,
            sheet_id=of if isinstance(of, str) else of.sheet_id,
            outing_id=number,
            outing_utc=START + timedelta(days=7 * number),
            order=k,
            kind="two-way",
            values={"two_way_mps": speed},
            u95={"two_way_mps": u95},
            covariates={key: v[k] if isinstance(v, list) else v for key, v in covariates.items()},
        )
        for k, speed in enumerate(speeds)
    ]


def passes(of: SetupSheet, number: int, **values: float | list[float]) -> list[Evidence]:
    """One outing's passes, out and back in turn, each figure the same for all or one for each."""
    count = max((len(v) for v in values.values() if isinstance(v, list)), default=4)
    return [
        Evidence(
            boat=BOAT,
            sheet_id=of.sheet_id,
            outing_id=number,
            outing_utc=START + timedelta(days=7 * number),
            order=k,
            kind="pass",
            values={key: v[k] if isinstance(v, list) else v for key, v in values.items()},
            covariates={"way": "out" if k % 2 == 0 else "back"},
        )
        for k in range(count)
    ]
