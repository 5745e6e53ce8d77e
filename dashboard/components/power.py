"""What the power train did: how each motor log was joined, its pack, and every pass."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import html

from dashboard.components.marks import sentence
from telemetry.explain import POWER_HEADS, clock_text, pack_text, power_notes, power_rows
from telemetry.joining import JoinedMotor
from telemetry.power import PassPower

_FACTS = (("pitch-mm", "Pitch [mm]"), ("kv", "Motor constant [rpm/V]"), ("cells", "Cells in series"))


def power_facts() -> html.Div:
    """Ask for what the logs do not say."""
    inputs = [
        dmc.NumberInput(id=name, label=label, min=0, debounce=True, hideControls=True)
        for name, label in _FACTS
    ]
    return html.Div(inputs, className="facts")


def power_told(motors: tuple[JoinedMotor, ...]) -> list[html.Div | html.P]:
    """Tell every motor log."""
    if not motors:
        return [html.P("No motor log given beside a speed log.")]
    return [_told(j) for j in motors]


def _told(joined: JoinedMotor) -> html.Div:
    power = joined.power
    parts = [html.P(html.Strong(joined.log.meta.file)), html.P(sentence(clock_text(joined.clock)))]
    if power.pack is not None:
        parts.append(html.P(sentence(pack_text(power.pack))))
    if power.passes:
        parts.append(_table(power.passes))
    return html.Div([*parts, *(html.P(sentence(note)) for note in power_notes(power))])


def _table(passes: tuple[PassPower, ...]) -> dmc.Table:
    rows = [
        dmc.TableTr(
            [dmc.TableTd(cell, **{"data-head": head}) for head, cell in zip(POWER_HEADS, row, strict=True)]
        )
        for row in power_rows(passes)[1:]
    ]
    head = dmc.TableTr([dmc.TableTh(text) for text in POWER_HEADS])
    return dmc.Table(
        [dmc.TableThead(head), dmc.TableTbody(rows)], className="passes many-figures", verticalSpacing="sm"
    )
