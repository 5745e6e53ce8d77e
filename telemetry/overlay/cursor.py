"""What passes have in common at one place of the abscissa, and on their sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.overlay.align import AlignedPass
from telemetry.setup import ItemChange, SetupSheet, item_changes


@dataclass(frozen=True, slots=True)
class CursorReading:
    """A quantity of one pass at one place, in its SI unit; ``u95`` is half its 95 % interval."""

    value: float
    u95: float | None


def read_at(one: AlignedPass, quantity: str, x: float) -> CursorReading | None:
    """Read a quantity of a laid pass at a place of the abscissa.

    Parameters
    ----------
    one : AlignedPass
    quantity : str
        A key of :data:`~telemetry.overlay.quantities.QUANTITIES`.
    x : float
        Place on the abscissa [m or s].

    Returns
    -------
    Reading or None
        On the straight line between the two samples on either side, where the pass first comes by; None where
        it does not, or where one of the two is not known.
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
    """Passes that were run on one setup sheet.

    Attributes
    ----------
    sheet : SetupSheet or None
        None where no sheet is recorded.
    members : tuple of int
        Of the passes, in order.
    changes : tuple of ItemChange
        What differs from the first sheet of all; empty for that one and where there is no sheet.
    """

    sheet: SetupSheet | None
    members: tuple[int, ...]
    changes: tuple[ItemChange, ...]


def sheet_groups(sheets: Sequence[SetupSheet | None]) -> tuple[SheetGroup, ...]:
    """Group passes by their sheets, in the order in which the sheets first come.

    Parameters
    ----------
    sheets : sequence of SetupSheet or None
        One for each pass. Sheets of one content are one sheet, whatever they are called.
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
