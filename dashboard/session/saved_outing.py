"""An outing that a form saved in the logbook."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.core.errors import LogError
from telemetry.logbook import Outing


@dataclass(frozen=True, slots=True)
class SavedOuting:
    """An outing that was saved in the logbook from a form, and the logs that could not be used for it."""

    form: str
    outing: Outing
    unused: tuple[LogError, ...]
