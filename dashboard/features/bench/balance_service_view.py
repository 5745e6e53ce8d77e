"""The rest of the bench page: balance, after a crash, service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import dash_mantine_components as dmc
from dash import html

from dashboard.features.bench.balance_service import FIELDS, Weighed
from dashboard.ui.badges import icon, sentence
from telemetry.setup import COMMON_PRACTICE, CRASH_LIST, BenchDisplay, Due

PART: Final = "part"
SERVICE_DONE: Final = "service-done"
_DUE_ICONS: Final = {"due": "cross", "soon": "gate", "cannot tell": "question", "not due": "check"}


def part_rows(rows: Sequence[Mapping[str, str]], showing: BenchDisplay) -> list[html.Div]:
    """Build the table of masses, each with its place, its range and its what-if."""
    labels = {
        "name": "Part",
        "mass": f"Mass [{showing.mass}]",
        "place": f"Place [{showing.length}]",
        "low": "May go from",
        "high": "to",
        "then_mass": "What if: mass",
        "then_place": "What if: place",
    }
    return [
        html.Div(
            [
                dmc.TextInput(
                    id={"type": PART, "row": number, "field": field},
                    label=labels[field],
                    value=row.get(field, ""),
                    debounce=400,
                    **{"aria-label": f"{labels[field]}, {row.get('name') or f'part {number + 1}'}"},
                )
                for field in FIELDS
            ],
            className="part-row",
        )
        for number, row in enumerate(rows)
    ]


def weighed(result: Weighed) -> list[Any]:
    """Show the balance, and the effect of a change."""
    if result.error:
        return [
            html.P([icon("question"), " ", sentence(result.error)], className="field-error", role="alert")
        ]
    if not result.sentences:
        return [
            html.P(
                "Enter mass and place of every part to see the centre of gravity here.",
                className="quiet",
            )
        ]
    return [html.P(text) for text in result.sentences]


def crash_list() -> list[Any]:
    """Build the after-crash list with a box to tick each."""
    return [
        html.P(f"In this order. {sentence(COMMON_PRACTICE)}", className="quiet"),
        *(
            dmc.Checkbox(
                label=f"{check.title}: {check.look}", description=sentence(check.why), className="step"
            )
            for check in CRASH_LIST
        ),
    ]


def service_rows(rows: Sequence[Due], *, known: bool) -> list[Any]:
    """Build the service list, with a button to record a task as done."""
    return [_service_row(row, known=known) for row in rows]


def _service_row(row: Due, *, known: bool) -> html.Div:
    kind = _DUE_ICONS[row.verdict]
    last = "" if row.last_utc is None else f" Last done {row.last_utc:%Y-%m-%d}."
    return html.Div(
        [
            html.Div(
                [
                    html.Strong(row.task.title),
                    html.P(sentence(row.task.look)) if row.task.look else None,
                    html.P(
                        f"{sentence(row.task.interval_text())} Source: {row.task.source}.", className="quiet"
                    ),
                ]
            ),
            html.Div(
                [
                    html.Span([icon(kind), row.verdict], className=f"verdict verdict-{kind}"),
                    html.Span(f"{sentence(row.why)}{last}", className="quiet"),
                ],
                className="found-verdict",
            ),
            dmc.Button(
                "Done now",
                id={"type": SERVICE_DONE, "task": row.task.name},
                variant="default",
                disabled=not known,
                **{"aria-label": f"{row.task.title}: done now"},
            ),
        ],
        className="service-row",
    )
