"""Passes and take-offs; peak, held and measured-distance speeds with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from telemetry.frames import Finding


@dataclass(frozen=True, slots=True)
class DistanceSpeed:
    """Best average over one measured distance anywhere in a pass; times on the log's clock."""

    distance_m: float
    speed_mps: float
    u95_mps: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class TakeOff:
    """From leaving displacement speed to riding on plane, on the log's clock [s]."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Pass:
    """One straight flat-out stretch.

    Attributes
    ----------
    id : str
        ``P1``, ``P2`` ... in order of time over the whole analysis.
    log : int
        Which speed log of the analysis it is in.
    start_s, end_s : float
        On that log's clock [s].
    start_utc, end_utc : pandas.Timestamp or None
        None when the log does not say which day it was.
    heading_deg : float
        Direction of the fitted line through the pass [deg].
    length_m : float
        Straight distance from start to end [m].
    peak_mps, peak_u95_mps, peak_s : float
        Estimated highest speed over ground, half its 95 % interval, and when.
    held_1s_mps, held_1s_u95_mps : float
        Best mean over one second.
    distances : tuple of DistanceSpeed
        One for each asked distance that fits into the pass.
    takeoff : TakeOff or None
        None when the log does not show one (it began at speed, or the run-up is cut).
    findings : tuple of Finding
        Those of the log that touch the pass.
    """

    id: str
    log: int
    start_s: float
    end_s: float
    start_utc: pd.Timestamp | None
    end_utc: pd.Timestamp | None
    heading_deg: float
    length_m: float
    peak_mps: float
    peak_u95_mps: float
    peak_s: float
    held_1s_mps: float
    held_1s_u95_mps: float
    distances: tuple[DistanceSpeed, ...]
    takeoff: TakeOff | None
    findings: tuple[Finding, ...]
