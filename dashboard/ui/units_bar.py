"""The units, chosen once at the top of every page and stored by the browser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import dash_mantine_components as dmc
from dash import html

from telemetry.core.units import SPEED_UNITS, TEMPERATURE_UNITS
from telemetry.setup import BENCH_LENGTHS, BENCH_MASSES

CHOSEN: Final = {
    "speed": "unit",
    "length": "length-unit",
    "temperature": "temperature-unit",
    "mass": "mass-unit",
}
"""The ids of the controls, by the names of :class:`dashboard.ui.fields.Chosen`."""


def speed_choice() -> dmc.SegmentedControl:
    """Build the control for the unit of speeds, which every page shows."""
    return _choice(CHOSEN["speed"], tuple(SPEED_UNITS), "Speed unit")


def other_choices() -> html.Details:
    """Build the controls for the other units, folded away."""
    rows = [
        ("Temperatures", _choice(CHOSEN["temperature"], tuple(TEMPERATURE_UNITS), "Temperature unit")),
        ("Lengths", _choice(CHOSEN["length"], BENCH_LENGTHS, "Length unit")),
        ("Masses", _choice(CHOSEN["mass"], BENCH_MASSES, "Mass unit")),
    ]
    return html.Details(
        [
            html.Summary("Units"),
            html.Div(
                [html.Div([html.Span(title), control]) for title, control in rows], className="units-more"
            ),
        ],
        className="units",
    )


def _choice(name: str, units: Sequence[str], label: str) -> dmc.SegmentedControl:
    return dmc.SegmentedControl(
        id=name,
        data=list(units),
        value=units[0],
        persistence=True,
        persistence_type="local",
        **{"aria-label": label},
    )
