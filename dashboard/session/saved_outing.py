"""What a form put into the logbook."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.core.errors import LogError
from telemetry.logbook import Outing


@dataclass(frozen=True, slots=True)
class SavedOuting:
    """An outing that was put into the logbook from a form, and the logs that could not be used for it."""

    form: str
    outing: Outing
    unused: tuple[LogError, ...]
