"""Statements that were opened: plain facts under names that cannot be guessed, up to a limit."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from datetime import UTC, datetime

from dashboard.ui.fields import Chosen
from telemetry.analysis import Analysis
from telemetry.core.errors import CallError
from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS
from telemetry.logbook import open_logbook
from telemetry.setup import BenchDisplay
from telemetry.statement import Statement, build_statement
from telemetry.text.logbook import conditions_text


class Statements:
    """The statements of one server.

    A statement is built when its two-way is opened and does not change afterwards.

    Parameters
    ----------
    logbook : str or None
        The logbook's file or URL; None is the user's own.
    limit : int
        How many to store; the one used longest ago is dropped first.
    """

    def __init__(self, logbook: str | None = None, limit: int = 500) -> None:
        self._logbook = logbook
        self._limit = limit
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Statement] = OrderedDict()

    def keep(self, analysis: Analysis, two_way_id: str | None, unit: str) -> str | None:
        """Build a statement and return its name; None if there is no such two-way."""
        if all(two_way_id != t.id for t in analysis.two_ways):
            return None
        made = build_statement(analysis, two_way_id, unit=unit, made_utc=datetime.now(UTC))
        name = secrets.token_urlsafe(32)
        with self._lock:
            self._kept[name] = made
            while len(self._kept) > self._limit:
                self._kept.popitem(last=False)
        return name

    def find(self, name: str) -> Statement | None:
        """Return a stored statement."""
        with self._lock:
            if name in self._kept:
                self._kept.move_to_end(name)
            return self._kept.get(name)

    def of_outing(self, outing_id: int, units: Chosen) -> Statement:
        """Build a statement of an outing's best two-way, with its sheet and conditions.

        Raises
        ------
        LogbookError
            If there is no such outing.
        CallError, SetupError
            If there is no such unit.
        """
        for kind, name, known in (
            ("speed", units.speed, SPEED_UNITS),
            ("temperature", units.temperature, TEMPERATURE_UNITS),
        ):
            if name not in known:
                raise CallError(f"no {kind} unit '{name}'", hint=f"one of {', '.join(known)}")
        with open_logbook(self._logbook) as logbook:
            outing = logbook.outing(outing_id)
            analysis = logbook.analysed(outing_id)
            sheet = logbook.sheet(outing.sheet_id, outing.boat)
        conditions = conditions_text(outing.conditions, units.speed, units.temperature)
        return build_statement(
            analysis,
            unit=units.speed,
            sheet=sheet,
            showing=BenchDisplay(units.length, units.mass),
            conditions=conditions,
            made_utc=datetime.now(UTC),
        )
