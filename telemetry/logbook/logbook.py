"""The logbook as one object."""

from __future__ import annotations

from telemetry.logbook.outings import Outings


class Logbook(Outings):
    """Everything that is kept: see the classes it is made of."""
