"""Compute the what-if of the page's fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dashboard.features.run.request_form import count_in
from dashboard.ui.fields import USUAL, WHAT_IF, Chosen, Value, read_all
from telemetry.analysis import Analysis
from telemetry.motor.what_if import PowerTrainChange, WhatIf
from telemetry.motor.what_if_start import start_pass, what_if_from


@dataclass(frozen=True, slots=True)
class Supposed:
    """A what-if as shown.

    Attributes
    ----------
    pass_id : str
        The pass it starts from.
    answer : WhatIf or None
        None while nothing is changed.
    """

    pass_id: str
    answer: WhatIf | None


def supposed(
    analysis: Analysis, pass_id: str | None, wanted: Mapping[str, Value], units: Chosen = USUAL
) -> Supposed | None:
    """Estimate the change of the page's fields; None without a pass to start from.

    Parameters
    ----------
    analysis : Analysis
    pass_id : str or None
        If it is None or unknown, the fastest pass that a motor log covers is used.
    wanted : mapping of str to number or str or None
        The fields of :class:`telemetry.motor.what_if.PowerTrainChange` as they stand on the page.
    units : Chosen
        The units of the fields.
    """
    if not analysis.passes:
        return None
    known = pass_id if any(p.id == pass_id for p in analysis.passes) else None
    start = start_pass(analysis.passes, analysis.motors, known)
    figures = {
        name: value or None for name, value in read_all(WHAT_IF, wanted, units).items() if name != "cells"
    }
    change = PowerTrainChange(**figures, cells=count_in(wanted.get("cells")))
    if change == PowerTrainChange():
        return Supposed(start.id, None)
    return Supposed(start.id, what_if_from(start, analysis.motors, analysis.request.power, change))
