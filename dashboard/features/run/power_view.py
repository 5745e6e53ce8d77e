"""The power train: how each motor log was matched, its pack, and every pass."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.ui.badges import sentence
from dashboard.ui.fields import FACTS, LIMITS, USUAL, Field
from telemetry.core.units import CELSIUS
from telemetry.motor.power import PassPower
from telemetry.motor.sync.assign import MotorAssignment
from telemetry.text.ride_power import clock_text, pack_text, power_notes, power_rows


def power_facts() -> html.Div:
    """Build the fields for facts of the power train, and for its limits."""
    facts = [number_field(field) for field in FACTS.values()]
    limits = [number_field(field, placeholder=field.hint(USUAL)) for field in LIMITS.values()]
    own = html.Details(
        [
            html.Summary("Your own limits"),
            html.Div(limits, className="facts"),
            html.P(
                "Empty: the usual limit (common practice), or no limit if there is none.",
                className="quiet",
            ),
        ],
        className="findings",
    )
    return html.Div([html.Div(facts, className="facts"), own])


def number_field(field: Field, **more: Any) -> dmc.NumberInput:
    """Build a field for a number above zero, in the reader's unit."""
    return dmc.NumberInput(
        **{"id": field.part, "label": field.label(USUAL), "min": 0, "debounce": True, "hideControls": True}
        | more
    )


def power_told(
    motors: tuple[MotorAssignment, ...], temperature_unit: str = CELSIUS
) -> list[html.Div | html.P]:
    """Show every motor log."""
    if not motors:
        return [html.P("No motor log given with a speed log.")]
    return [_told(j, temperature_unit) for j in motors]


def _told(joined: MotorAssignment, temperature_unit: str) -> html.Div:
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
