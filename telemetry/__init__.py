"""Run analyser and logbook for fast electric radio-controlled boats.

No web code lives here; everything can be used from a notebook:

>>> from telemetry import Request, analyse, read_logs

The names below are loaded on first use (PEP 562), so that a command that needs none of them starts
without numpy and pandas.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from telemetry.analysis import Analysis, Request, analyse, read_and_analyse, rejudge
    from telemetry.core.errors import LogbookError, LogError, ReciprocalError
    from telemetry.core.frames import Finding, MotorLog, Track
    from telemetry.logbook import Logbook, open_logbook
    from telemetry.motor.power import Limits, PowerOptions
    from telemetry.passes.find import Pass
    from telemetry.passes.speed_log import SpeedLog
    from telemetry.readers import ReadOptions, read_log, read_logs
    from telemetry.ride.judge import RideEvent
    from telemetry.setup import SetupSheet
    from telemetry.twoway.mean import TwoWay
    from telemetry.twoway.rules import Rule, load_rule

__version__ = "0.1.0"

_HOME: Final = {
    "Analysis": "telemetry.analysis",
    "Finding": "telemetry.core.frames",
    "Limits": "telemetry.motor.power",
    "LogError": "telemetry.core.errors",
    "Logbook": "telemetry.logbook",
    "LogbookError": "telemetry.core.errors",
    "MotorLog": "telemetry.core.frames",
    "Pass": "telemetry.passes.find",
    "PowerOptions": "telemetry.motor.power",
    "ReadOptions": "telemetry.readers",
    "ReciprocalError": "telemetry.core.errors",
    "Request": "telemetry.analysis",
    "RideEvent": "telemetry.ride.judge",
    "Rule": "telemetry.twoway.rules",
    "SetupSheet": "telemetry.setup",
    "SpeedLog": "telemetry.passes.speed_log",
    "Track": "telemetry.core.frames",
    "TwoWay": "telemetry.twoway.mean",
    "analyse": "telemetry.analysis",
    "load_rule": "telemetry.twoway.rules",
    "open_logbook": "telemetry.logbook",
    "read_and_analyse": "telemetry.analysis",
    "read_log": "telemetry.readers",
    "read_logs": "telemetry.readers",
    "rejudge": "telemetry.analysis",
}
"""Where each public name is defined."""

__all__ = [
    "Analysis",
    "Finding",
    "Limits",
    "LogError",
    "Logbook",
    "LogbookError",
    "MotorLog",
    "Pass",
    "PowerOptions",
    "ReadOptions",
    "ReciprocalError",
    "Request",
    "RideEvent",
    "Rule",
    "SetupSheet",
    "SpeedLog",
    "Track",
    "TwoWay",
    "__version__",
    "analyse",
    "load_rule",
    "open_logbook",
    "read_and_analyse",
    "read_log",
    "read_logs",
    "rejudge",
]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used."""
    if name not in _HOME:
        raise AttributeError(f"module 'telemetry' has no attribute '{name}'")
    value = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the public names."""
    return sorted({*globals(), *__all__})
