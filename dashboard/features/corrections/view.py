"""Corrections by hand: the form for a stretch, the list, and the motor log's clock."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.corrections.service import Aside, ClockNow, Done, InLogbook
from dashboard.ui.badges import icon, sentence
from telemetry.motor.sync.assign import MotorAssignment

STEPS_S: Final = (-1.0, -0.05, 0.05, 1.0)
_UNDO: Final = {"cut": "Restore", "restored": "Undo", "clock": "Back to automatic"}
_HINT: Final = (
    "Mark a stretch on the plot, or type its start and end as on the time axis. Nothing is deleted, "
    "and every result names the corrections that affect it."
)


def by_hand_form() -> html.Details:
    """Build the form for a stretch and its correction; folded away until it is needed."""
    fields = [
        dmc.Select(id="hand-log", label="Of log", data=[], value=None, allowDeselect=False),
        dmc.TextInput(id="hand-start", label="From", placeholder="09:31:07.5"),
        dmc.TextInput(id="hand-end", label="To", placeholder="09:31:12"),
        dmc.TextInput(id="hand-why", label="Reason (optional)", inputProps={"maxLength": 300}),
        dmc.TextInput(
            id="hand-who",
            label="Your name",
            inputProps={"maxLength": 80},
            persistence=True,
            persistence_type="local",
        ),
    ]
    buttons = [
        dmc.Button("Mark on the plot", id="hand-mark", variant="default"),
        dmc.Button("Cut out", id="hand-cut"),
        dmc.Button("Restore: it was real", id="hand-restore", variant="default"),
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
                    dmc.Button("Save to the outing", id="hand-keep", variant="default"),
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
    """List the corrections, each with an undo button."""
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
    """Show whether the logbook's outing has these corrections; empty if the logs are in none."""
    if found is None:
        return ""
    if found.in_step:
        return f"Outing {found.outing_id} in the logbook has these corrections."
    return f"Outing {found.outing_id} in the logbook does not have these corrections yet."


def aside_list(rows: tuple[Aside, ...], count: int) -> list[Any]:
    """List what the program excluded, each run with a button to restore it."""
    if not rows:
        return []
    items = [
        _item(
            sentence(row.what),
            "Restore: it was real",
            {"type": "hand-real", "log": row.log, "start": row.start_s, "end": row.end_s},
        )
        for row in rows
    ]
    more = count - len(rows)
    rest = html.P(f"{more} more: mark them on the plot.", className="quiet") if more else None
    title = f"Excluded by the program ({count})"
    return [html.Details([html.Summary(title), html.Ul(items, className="hand-list"), rest])]


def _item(text: str, button: str, name: dict[str, Any]) -> html.Li:
    press = dmc.Button(button, id=name, variant="default", **{"aria-label": f"{button}: {text}"})
    return html.Li([html.Span(text), press])


def clock_form() -> html.Div:
    """Build the controls of a motor log's clock: a field, step buttons, and the way back."""
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
    back = dmc.Button("Back to automatic", id="clock-back", variant="default")
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
    """Show whether the clock is automatic or set by hand, the automatic one, and its findings."""
    whose = "Set by hand." if now.by_hand else "Automatic."
    clock = joined.clock
    if clock.trusted:
        head = f"{whose} {clock.offset_s:+.2f} ± {clock.u95_s:.2f} s."
    else:
        head = "Not matched: move the dashed line onto the speed by hand; ride and power then use it."
    parts = [html.P(html.Strong(head))]
    if now.by_hand or not clock.trusted:
        parts.append(html.P(f"{now.own} {now.apart}".strip()))
    parts += [
        html.P([icon("question"), " ", sentence(f.message)], className="hand-doubt") for f in joined.findings
    ]
    return parts
