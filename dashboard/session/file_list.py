"""The logs: the drop area, what was read from each, and the form for a table without clear headings."""

from __future__ import annotations

from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.session.findings import finding_lines
from dashboard.session.uploads import LARGEST_BYTES, MAX_FILES_A_DROP, FileView, column_choices
from dashboard.ui.badges import icon

FINDINGS_BOX: Final = "findings-box"
FINDINGS_COUNT: Final = "findings-count"
FINDINGS_ROWS: Final = "findings-rows"


def upload_card(under_way: html.Div) -> html.Div:
    """Build the drop area, the list of jobs, and a button that loads sample logs."""
    hint = (
        f"Speed and motor logs in any order: GPX, FIT, NMEA 0183, CSV, also packed in .zip or .gz. Up to "
        f"{MAX_FILES_A_DROP} files at once, {LARGEST_BYTES // 1_000_000} MB each. They stay on this machine."
    )
    drop = drop_area("drop", "Drop logs here", hint)
    samples = dmc.Button("Try the sample logs", id="samples", variant="default", className="samples")
    return html.Div(
        [drop, samples, under_way, html.Div(id="turned-away", role="alert")],
        className="upload-card",
    )


def drop_area(name: str, words: str, hint: str = "") -> html.Label:
    """Build a place to drop files; the label around it opens the chooser and names it for screen readers."""
    parts = [
        icon("drop"),
        html.Span([html.Strong(words), " or ", html.U("choose files")], className="drop-text"),
        html.Span(hint, className="quiet") if hint else None,
    ]
    return html.Label(
        dcc.Upload(
            html.Div(parts, className="drop-inside"),
            id=name,
            className="drop",
            className_active="drop drop-active",
            style={},
            style_active={},
            style_reject={},
            multiple=True,
            disable_click=True,
        )
    )


def file_list(files: tuple[FileView, ...]) -> list[html.Li]:
    """One entry a file: its logs and findings, or its error."""
    return [_file(view) for view in files]


def _file(view: FileView) -> html.Li:
    head = html.Div(
        [
            html.Strong(view.name, className="file-name"),
            dmc.ActionIcon(
                icon("cross"),
                id={"type": "remove", "key": view.key},
                variant="subtle",
                color="gray",
                **{"aria-label": f"Remove {view.name}"},
            ),
        ],
        className="file-head",
    )
    parts: list[Any] = [head, *(_summary(parts) for parts in view.summaries)]
    if view.error:
        parts.append(html.P([icon("cross"), view.error], className="file-error", role="alert"))
    parts.append(_findings(view))
    if view.needs_headings:
        parts.append(_form(view, html.P("Say what its columns are:"), _names(view), _motor(view)))
    elif view.is_table:
        parts.append(_details(view))
    return html.Li(parts, className="file")


def _summary(parts: tuple[str, ...]) -> html.P:
    return html.P([html.Span(part) for part in parts], className="quiet summary")


def _findings(view: FileView) -> html.Details:
    """Fold the findings; those of the cleaning are added later to the same fold, which stays open."""
    lines = finding_lines(view.findings)
    parts = [
        html.Summary(findings_count(lines), id={"type": FINDINGS_COUNT, "key": view.key}),
        html.Ul(findings_rows(lines), id={"type": FINDINGS_ROWS, "key": view.key}),
    ]
    box = {"type": FINDINGS_BOX, "key": view.key}
    return html.Details(parts, id=box, className="findings", hidden=not lines)


def findings_count(lines: list[str]) -> str:
    """Count the findings."""
    return f"{len(lines)} finding{'' if len(lines) == 1 else 's'}"


def findings_rows(lines: list[str]) -> list[html.Li]:
    """List the findings."""
    return [html.Li(line) for line in lines]


def _details(view: FileView) -> html.Details:
    """Ask for the pole pairs if they are needed; else offer to change how the table is read."""
    names = html.Details([html.Summary("Name its columns"), _names(view)]) if view.headings else None
    form = _form(view, _motor(view), names)
    said = "Say the motor's pole pairs" if view.needs_poles else "How its columns are read"
    return html.Details([html.Summary(said), form], open=view.needs_poles)


def _form(view: FileView, *parts: Any) -> html.Div:
    kept = html.P("Saved for every table with these headings.", className="quiet")
    again = dmc.Button("Read it again", id={"type": "read-again", "key": view.key}, variant="default")
    return html.Div([*parts, again, kept], className="heading-form")


def _names(view: FileView) -> html.Div:
    """Offer a meaning for each heading."""
    rows = []
    for number, heading in enumerate(view.headings):
        mapped, understood = view.mapped.get(heading), view.understood.get(heading)
        rows.append(
            dmc.Select(
                id={"type": "heading", "key": view.key, "heading": number},
                label=heading,
                data=_choices(mapped),
                value=mapped,
                placeholder=f"read as {understood}" if understood else "not used",
                clearable=True,
                searchable=True,
            )
        )
    return html.Div(rows, className="heading-names")


def _choices(mapped: str | None) -> list[dict[str, str]]:
    """List the meanings of a heading; one given elsewhere stays a choice."""
    choices = [{"value": value, "label": label} for value, label in column_choices()]
    known = mapped is None or any(choice["value"] == mapped for choice in choices)
    return choices if known else [*choices, {"value": mapped, "label": mapped}]


def _motor(view: FileView) -> html.Div:
    poles = dmc.NumberInput(
        id={"type": "poles", "key": view.key},
        label="Pole pairs of the motor",
        description="Turns electrical rpm into motor rpm",
        value=view.pole_pairs if view.pole_pairs is not None else "",
        min=1,
        max=50,
        allowDecimal=False,
    )
    gear = dmc.NumberInput(
        id={"type": "gear", "key": view.key},
        label="Gear ratio",
        description="Motor turns per turn of the shaft. Empty: 1",
        value=view.gear_ratio if view.gear_ratio is not None else "",
        min=0.01,
        max=100,
        hideControls=True,
    )
    return html.Div([poles, gear], className="heading-names")
