"""What the power train did: how each motor log was joined, its pack, and every pass."""

from __future__ import annotations

from typing import Final

import dash_mantine_components as dmc
from dash import html

from dashboard.components.marks import sentence
from telemetry.explain import clock_text, pack_text, power_notes, power_rows
from telemetry.joining import JoinedMotor
from telemetry.power import PassPower
from telemetry.units import CELSIUS, TEMPERATURE_UNITS

FACTS: Final = {
    "pitch_mm": ("pitch-mm", "Pitch [mm]"),
    "diameter_mm": ("diameter-mm", "Diameter [mm]"),
    "kv_rpm_per_v": ("kv", "Motor constant [rpm/V]"),
    "cells": ("cells", "Cells in series"),
    "motor_resistance_mohm": ("motor-resistance", "Motor resistance [mΩ]"),
    "no_load_current_a": ("no-load-current", "No-load current [A]"),
}


def power_facts() -> html.Div:
    """Ask for what the logs do not say, and in which unit temperatures are shown."""
    inputs = [
        dmc.NumberInput(id=name, label=label, min=0, debounce=True, hideControls=True)
        for name, label in FACTS.values()
    ]
    units = dmc.SegmentedControl(
        id="temperature-unit",
        data=list(TEMPERATURE_UNITS),
        value=CELSIUS,
        persistence=True,
        persistence_type="local",
        **{"aria-label": "Temperature unit"},
    )
    return html.Div([html.Div(inputs, className="facts"), units])


def power_told(motors: tuple[JoinedMotor, ...], temperature_unit: str = CELSIUS) -> list[html.Div | html.P]:
    """Tell every motor log."""
    if not motors:
        return [html.P("No motor log given beside a speed log.")]
    return [_told(j, temperature_unit) for j in motors]


def _told(joined: JoinedMotor, temperature_unit: str) -> html.Div:
    power = joined.power
    parts = [html.P(html.Strong(joined.log.meta.file)), html.P(sentence(clock_text(joined.clock)))]
    if power.pack is not None:
        parts.append(html.P(sentence(pack_text(power.pack))))
    if power.passes:
        parts.append(_table(power.passes, temperature_unit))
    notes = power_notes(power, temperature_unit)
    return html.Div([*parts, *(html.P(sentence(note)) for note in notes)])


def _table(passes: tuple[PassPower, ...], temperature_unit: str) -> dmc.Table:
    heads, *cells = power_rows(passes, temperature_unit)
    rows = [
        dmc.TableTr([dmc.TableTd(cell, **{"data-head": head}) for head, cell in zip(heads, row, strict=True)])
        for row in cells
    ]
    head = dmc.TableTr([dmc.TableTh(text) for text in heads])
    return dmc.Table(
        [dmc.TableThead(head), dmc.TableTbody(rows)], className="passes many-figures", verticalSpacing="sm"
    )
