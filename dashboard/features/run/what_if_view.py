"""What if: the fields for the changes, and the estimate next to the measured values."""

from __future__ import annotations

from typing import Final

import dash_mantine_components as dmc
from dash import html

from dashboard.features.run.power_view import number_field
from dashboard.features.run.what_if_service import Supposed
from dashboard.ui.badges import icon, sentence
from dashboard.ui.fields import WHAT_IF
from telemetry.motor.what_if import NO_LOAD_SPEED_RANGE, SIZE_RANGE
from telemetry.text.ride_power import what_if_rows

_HINT: Final = (
    "Enter what would change; all else stays the same. The estimate starts from this boat's measured "
    f"pass, and is refused too far from it: a propeller beyond {100 * SIZE_RANGE[0]:.0f} to "
    f"{100 * SIZE_RANGE[1]:.0f} % of the measured size, or volts times motor constant beyond "
    f"{100 * NO_LOAD_SPEED_RANGE[0]:.0f} to {100 * NO_LOAD_SPEED_RANGE[1]:.0f} %."
)
_CARE: Final = "An estimate. Make changes in steps, and watch the current."


def what_if_form() -> html.Div:
    """Build the fields for the start pass and the changes."""
    chooser = dmc.Select(
        id="what-if-pass",
        label="Start from pass",
        data=[],
        value=None,
        allowDeselect=False,
        className="short",
    )
    inputs = [number_field(field) for field in WHAT_IF.values()]
    return html.Div([html.P(_HINT, className="quiet"), chooser, html.Div(inputs, className="facts")])


def what_if_told(supposed: Supposed | None, unit: str) -> list[html.P | html.Ul | dmc.Table]:
    """Show the estimate with its interval next to the measured values, or why there is none."""
    if supposed is None:
        return [html.P("No pass to start from.")]
    answer = supposed.answer
    if answer is None:
        return []
    if answer.refused:
        refusal = [
            html.Span([icon("question"), "cannot tell"], className="verdict"),
            " ",
            sentence(answer.refused),
        ]
        return [html.P(refusal, className="refusal")]
    head, *rows = what_if_rows(answer, unit)
    heads = [f"Best second of {supposed.pass_id}", *head[1:]]
    table = dmc.Table(
        [
            dmc.TableThead(dmc.TableTr([dmc.TableTh(text) for text in heads])),
            dmc.TableTbody([dmc.TableTr([dmc.TableTd(cell) for cell in row]) for row in rows]),
        ],
        className="what-if",
        verticalSpacing="sm",
    )
    granted = html.Ul([html.Li(sentence(text)) for text in answer.assumptions])
    return [table, html.P("± is half the 95 % interval. Assumptions:"), granted, html.P(_CARE)]
