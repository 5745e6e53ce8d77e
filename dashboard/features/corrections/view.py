"""What is corrected by hand: the form for a stretch, what was corrected, and the motor log's clock."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.corrections.service import Aside, ClockNow, Done, InLogbook
from dashboard.ui.badges import icon, sentence
from telemetry.motor.sync.assign import MotorAssignment

STEPS_S: Final = (-1.0, -0.05, 0.05, 1.0)
_UNDO: Final = {"cut": "Restore", "restored": "Take back", "clock": "Back to the program's own"}
_HINT: Final = (
    "Mark a stretch on the plot, or write its start and end as the time axis shows them. Nothing is deleted, "
    "and every correction is named where it touches a result."
)


def by_hand_form() -> html.Details:
    """Ask for a stretch and what is to be done with it; folded away until somebody needs it."""
    fields = [
        dmc.Select(id="hand-log", label="Of log", data=[], value=None, allowDeselect=False),
        dmc.TextInput(id="hand-start", label="From", placeholder="09:31:07.5"),
        dmc.TextInput(id="hand-end", label="To", placeholder="09:31:12"),
        dmc.TextInput(id="hand-why", label="Why (if you like)", inputProps={"maxLength": 300}),
        dmc.TextInput(
            id="hand-who",
            label="Who says so",
            inputProps={"maxLength": 80},
            persistence=True,
            persistence_type="local",
        ),
    ]
    buttons = [
        dmc.Button("Mark on the plot", id="hand-mark", variant="default"),
        dmc.Button("Cut out", id="hand-cut"),
        dmc.Button("It was real: restore", id="hand-restore", variant="default"),
    ]
    return html.Details(
        [
            html.Summary("Correct by hand"),
            html.P(_HINT, className="quiet"),
            html.Div(fields, className="facts hand-fields"),
            html.Div(buttons, className="row"),
            html.P(id="hand-said", className="field-error", role="alert"),
            html.Div(id="hand-done", **{"aria-live": "polite"}),
            html.Div(
                [
                    html.Span(id="hand-kept", role="status"),
                    dmc.Button("Record this with the outing", id="hand-keep", variant="default"),
                ],
                id="hand-keeping",
                className="row",
                style={"display": "none"},
            ),
            html.Div(id="hand-asides"),
            *(dcc.Store(id=f"hand-{name}") for name in ("begun", "marked", "ended")),
        ],
        className="by-hand",
        id="by-hand",
    )


def done_list(rows: tuple[Done, ...]) -> list[Any]:
    """List what holds, each with its way back."""
    if not rows:
        return []
    items = [
        _item(
            f"{row.what}{f': {row.why}' if row.why else ''}",
            _UNDO[row.kind],
            {"type": "hand-back", "key": row.key},
        )
        for row in rows
    ]
    return [html.H3("Corrected by hand"), html.Ul(items, className="hand-list")]


def in_logbook_told(found: InLogbook | None) -> str:
    """Return whether the logbook's outing has these corrections; nothing where the logs are in none."""
    if found is None:
        return ""
    if found.in_step:
        return f"Outing {found.outing_id} in the logbook is corrected like this."
    return f"Outing {found.outing_id} in the logbook is not corrected like this yet."


def aside_list(rows: tuple[Aside, ...], count: int) -> list[Any]:
    """List what the program set aside by itself, each with the word that it was real."""
    if not rows:
        return []
    items = [
        _item(
            sentence(row.what),
            "It was real: restore",
            {"type": "hand-real", "log": row.log, "start": row.start_s, "end": row.end_s},
        )
        for row in rows
    ]
    more = count - len(rows)
    rest = html.P(f"{more} more: mark them on the plot.", className="quiet") if more else None
    title = f"What the program set aside ({count})"
    return [html.Details([html.Summary(title), html.Ul(items, className="hand-list"), rest])]


def _item(text: str, button: str, name: dict[str, Any]) -> html.Li:
    press = dmc.Button(button, id=name, variant="default", **{"aria-label": f"{button}: {text}"})
    return html.Li([html.Span(text), press])


def clock_form() -> html.Div:
    """Ask for a motor log's clock: a field, steps next to it, and the way back."""
    steps = [
        dmc.Button(
            f"{step_s:+g} s".replace("-", "−"),
            id={"type": "clock-step", "step": step_s},
            variant="default",
            **{"aria-label": f"Move the motor log {abs(step_s):g} s {'later' if step_s > 0 else 'earlier'}"},
        )
        for step_s in STEPS_S
    ]
    offset = dmc.NumberInput(
        id="clock-offset", label="Motor log begins, s after the speed log", decimalScale=3, hideControls=True
    )
    back = dmc.Button("Back to the program's own", id="clock-back", variant="default")
    choosers = [
        dmc.Select(id="clock-motor", label="Motor log", data=[], value=None, allowDeselect=False),
        dmc.Select(id="clock-pass", label="Around pass", data=[], value=None, allowDeselect=False),
    ]
    return html.Div(
        [
            html.Div(choosers, className="row"),
            html.Div(id="clock-told", **{"aria-live": "polite"}),
            html.Div([offset, dmc.Button("Set", id="clock-set")], className="row clock-set"),
            html.Div([*steps, back], className="row"),
            html.P(id="clock-said", className="field-error", role="alert"),
        ],
        className="clock-form",
    )


def clock_told(joined: MotorAssignment, now: ClockNow) -> list[html.P]:
    """Say whose clock it is, the program's own next to it, and what speaks against it."""
    whose = "Set by hand." if now.by_hand else "The program's own."
    clock = joined.clock
    if clock.trusted:
        head = f"{whose} {clock.offset_s:+.2f} ± {clock.u95_s:.2f} s."
    else:
        head = "Not joined: lay the dashed line over the speed by hand, and ride and power follow."
    parts = [html.P(html.Strong(head))]
    if now.by_hand or not clock.trusted:
        parts.append(html.P(f"{now.own} {now.apart}".strip()))
    parts += [
        html.P([icon("question"), " ", sentence(f.message)], className="hand-doubt") for f in joined.findings
    ]
    return parts
