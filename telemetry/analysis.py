"""The one entry point: logs in, a whole analysis out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from telemetry.cleaning import Cleaned
from telemetry.errors import LogError
from telemetry.frames import Log, MotorLog
from telemetry.motion import Motion
from telemetry.passes import Pass
from telemetry.readers.base import ReadOptions
from telemetry.twoway import TwoWay

SCHEMA = "reciprocal-analysis/1"


@dataclass(frozen=True, slots=True)
class Request:
    """What the user asks of an analysis.

    Attributes
    ----------
    rule : str
        Name of a shipped rule or path of the user's own TOML file.
    distance_m : float or None
        Measured distance for the two-way when the rule leaves it open or the user overrides it.
    gates : ((lat, lon), (lat, lon)) or None
        Given gates [deg]; they set the measured distance.
    distances_m : tuple of float
        Measured distances to report for each pass, beside the usual ones.
    """

    rule: str = "water"
    distance_m: float | None = None
    gates: tuple[tuple[float, float], tuple[float, float]] | None = None
    distances_m: tuple[float, ...] = ()


@dataclass(frozen=True)
class SpeedLog:
    """A speed log with everything found out about it on the way."""

    cleaned: Cleaned
    motion: Motion


@dataclass(frozen=True)
class Analysis:
    """Everything one analysis found; ``to_dict`` is the JSON contract.

    Attributes
    ----------
    request : Request
        What was asked.
    speed_logs : tuple of SpeedLog
        In order of time; ``Pass.log`` counts in it.
    motor_logs : tuple of MotorLog
        As read.
    passes : tuple of Pass
        In order of time.
    two_ways : tuple of TwoWay
        The best by the rule first.
    notes : tuple of str
        What the whole analysis cannot tell, and why.
    errors : tuple of LogError
        Inputs that could not be used.
    """

    request: Request
    speed_logs: tuple[SpeedLog, ...]
    motor_logs: tuple[MotorLog, ...]
    passes: tuple[Pass, ...]
    two_ways: tuple[TwoWay, ...]
    notes: tuple[str, ...]
    errors: tuple[LogError, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract ``reciprocal-analysis/1``: plain types, SI, UTC as ISO 8601."""
        raise NotImplementedError


def read_and_analyse(
    files: Sequence[Path],
    request: Request | None = None,
    options: ReadOptions | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Analysis:
    """Read log files and analyse them; a file that cannot be used is named in ``errors``."""
    raise NotImplementedError


def analyse(
    logs: Sequence[Log],
    request: Request | None = None,
    errors: Sequence[LogError] = (),
    progress: Callable[[str, float], None] | None = None,
) -> Analysis:
    """Analyse logs already read."""
    raise NotImplementedError
