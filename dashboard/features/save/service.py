"""Save an outing in the logbook, in the background: all of it or nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from dashboard.features.run.request_form import begun_with
from dashboard.features.save.form import OutingEntry, settled
from dashboard.session.column_maps import remembered
from dashboard.session.jobs import Job
from dashboard.session.saved_outing import SavedOuting
from dashboard.session.sessions import Session
from telemetry.analysis import Request
from telemetry.core.errors import CallError
from telemetry.logbook import NamedLog, open_logbook
from telemetry.setup import BenchDisplay, SetupSheet

_ON_A_SHEET: Final = {
    "pitch_mm": "prop_pitch_mm",
    "diameter_mm": "prop_diameter_mm",
    "kv_rpm_per_v": "kv_rpm_per_v",
    "cells": "cells",
    "motor_resistance_ohm": "motor_resistance_ohm",
    "no_load_current_a": "no_load_current_a",
}
"""Facts of :class:`telemetry.motor.power.PowerOptions`, by the items of a sheet that hold them."""


def save_outing(
    url: str | None,
    session: Session,
    form: str,
    entry: OutingEntry,
    showing: BenchDisplay,
    request: Request | None = None,
    *,
    take_off: bool = False,
) -> None:
    """Save the session's logs in the logbook as one outing.

    The result is in ``session.kept``, or in the job's message.

    Parameters
    ----------
    url : str or None
        The logbook's file or URL; None is the user's own.
    session : Session
    form : str
        Which form on which page.
    entry : OutingEntry
    showing : BenchDisplay
        Units and signs of the changed values.
    request : Request, optional
        The page's request. The sheet's facts of the power train take precedence.
    take_off : bool
        Whether the logs are removed from the session then.

    Raises
    ------
    ReciprocalError
        If no log is there, or the form cannot be used.
    """
    usable = {key: up for key, up in session.uploads.items() if up.logs and up.data is not None}
    if not usable:
        raise CallError("there is no log to add", hint="drop the logs of the outing first")
    with open_logbook(url) as book:
        boat, sheet = settled(book, entry, showing)
    logs = [NamedLog(upload.name, upload.data) for upload in usable.values() if upload.data is not None]
    asked = _by_the_sheet(request or Request(by_hand=session.by_hand), sheet)

    def work(job: Job) -> None:
        def step(name: str, _share: float) -> None:
            if name == "writing":
                job.conclude()

        with open_logbook(url) as book:
            imported = book.import_outing(
                logs,
                boat,
                sheet,
                entry.conditions,
                request=asked,
                options=remembered()[0],
                progress=step,
                who=session.who,
            )
            request_kept, _ = book.asked(imported.outing.id)
        for key in usable if take_off else ():
            session.remove(key)
        begins = {} if take_off else begun_with(session, request_kept)
        session.keep(SavedOuting(form, imported.outing, imported.unused), begins)

    session.queue.cancel_all("keeping")
    session.queue.add(Job("keeping", entry.boat_name, work))


def _by_the_sheet(request: Request, sheet: SetupSheet) -> Request:
    """Leave the facts of the power train to the sheet."""
    power = request.power
    stated = {name: None for name, item in _ON_A_SHEET.items() if sheet.value(item) is not None}
    return replace(request, power=replace(power, **stated))
