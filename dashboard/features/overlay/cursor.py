"""Data for a cursor through several plots that moves in the browser, without asking the server."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from dashboard.features.overlay.figures import on_axis, plot_rows
from dashboard.features.overlay.line_styles import Look
from dashboard.ui.palette import Palette
from telemetry.core.frames import FloatArray
from telemetry.core.units import Unit
from telemetry.pass_overlay import AlignedPass, Overlay, in_one_frame

_MORE_DIGITS: Final = 2  # more than shown, so that interpolated values have every shown digit right


def cursor_data(
    overlay: Overlay, looked: Sequence[Look], speed_unit: Unit, palette: Palette
) -> dict[str, Any]:
    """Collect every drawn sample, in the units shown.

    Returns
    -------
    dict
        ``abscissa``: its kind, unit and span. ``rows``: name, axis, unit and decimals of each. ``passes``:
        mark, colour, the abscissa ``x`` with the place ``east`` and ``north``, and of each row ``x``, ``y``
        and ``u95``. ``ink`` and ``paper``: colours.
    """
    rows = plot_rows(overlay, speed_unit)
    places = in_one_frame([one.curves for one in overlay.laid])
    passes = []
    for one, place in zip(overlay.laid, places, strict=True):
        look = looked[one.index]
        entry: dict[str, Any] = {"mark": look.mark, "colour": palette.of(look.direction), "rows": {}}
        entry["x"] = _plain(one.x, 4)
        if place is not None:
            entry["east"], entry["north"] = (_plain(values, 2) for values in place)
        for row in rows:
            if row.quantity in one.curves.signals:
                entry["rows"][row.quantity] = _row(one, row.quantity, row.unit)
        passes.append(entry)
    low, high = overlay.span
    return {
        "abscissa": {
            "kind": overlay.abscissa,
            "unit": "m" if overlay.abscissa == "distance" else "s",
            "low": low,
            "high": high,
            "scale": float(on_axis(overlay, 1.0)),
        },
        "rows": [
            {"name": r.quantity, "axis": r.axis, "unit": r.unit.name, "decimals": r.unit.decimals}
            for r in rows
        ],
        "passes": passes,
        "ink": palette.ink,
        "paper": palette.paper,
    }


def _row(one: AlignedPass, quantity: str, unit: Unit) -> dict[str, Any]:
    signal = one.curves.signals[quantity]
    digits = unit.decimals + _MORE_DIGITS
    entry = {"x": _plain(one.at(signal.t_s), 4), "y": _plain(unit.from_si(signal.value), digits)}
    if signal.u95 is not None:
        entry["u95"] = _plain(signal.u95 / unit.factor_si, digits)
    return entry


def _plain(values: FloatArray, digits: int) -> list[float | None]:
    """Convert numbers to JSON's; unknown values are None."""
    rounded = np.round(values, digits)
    return [
        value if known else None for value, known in zip(rounded.tolist(), np.isfinite(values), strict=True)
    ]
