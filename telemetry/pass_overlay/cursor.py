"""Values of the passes at one place of the abscissa, and the differences of their sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.pass_overlay.align import AlignedPass
from telemetry.setup import ItemChange, SetupSheet, item_changes


@dataclass(frozen=True, slots=True)
class CursorReading:
    """A quantity of one pass at one place, in its SI unit; ``u95`` is half its 95 % interval."""

    value: float
    u95: float | None


def read_at(one: AlignedPass, quantity: str, x: float) -> CursorReading | None:
    """Interpolate a quantity of an aligned pass at a place of the abscissa.

    Parameters
    ----------
    one : AlignedPass
    quantity : str
        A key of :data:`~telemetry.pass_overlay.quantities.QUANTITIES`.
    x : float
        Place on the abscissa [m or s].

    Returns
    -------
    Reading or None
        Linear between the two samples on either side, at the pass's first crossing of ``x``; None if it does
        not reach ``x``, or one of the two samples is unknown.
    """
    signal = one.curves.signals.get(quantity)
    if signal is None:
        return None
    at = one.at(signal.t_s)
    passed = np.flatnonzero((at[:-1] - x) * (at[1:] - x) <= 0.0)
    if passed.size == 0:
        return None
    k = int(passed[0])
    step = at[k + 1] - at[k]
    share = (x - at[k]) / step if step else 0.0

    def between(values: np.ndarray) -> float:
        return float(values[k] + share * (values[k + 1] - values[k]))

    value = between(signal.value)
    half = None if signal.u95 is None else between(signal.u95)
    if np.isnan(value):
        return None
    return CursorReading(value, None if half is None or np.isnan(half) else half)


@dataclass(frozen=True)
class SheetGroup:
    """Passes with the same setup sheet.

    Attributes
    ----------
    sheet : SetupSheet or None
        None if no sheet is recorded.
    members : tuple of int
        Indices of the passes, in order.
    changes : tuple of ItemChange
        Differences from the first sheet; empty for the first sheet and without a sheet.
    """

    sheet: SetupSheet | None
    members: tuple[int, ...]
    changes: tuple[ItemChange, ...]


def sheet_groups(sheets: Sequence[SetupSheet | None]) -> tuple[SheetGroup, ...]:
    """Group passes by their sheets, in order of first appearance.

    Parameters
    ----------
    sheets : sequence of SetupSheet or None
        One for each pass. Sheets of equal content are one sheet, whatever their names.
    """
    members: dict[str, list[int]] = {}
    for k, sheet in enumerate(sheets):
        members.setdefault("" if sheet is None else sheet.sheet_id, []).append(k)
    first = next((sheet for sheet in sheets if sheet is not None), None)
    groups = []
    for some in members.values():
        sheet = sheets[some[0]]
        differs = () if sheet is None or first is None else item_changes(first, sheet)
        groups.append(SheetGroup(sheet, tuple(some), differs))
    return tuple(groups)
