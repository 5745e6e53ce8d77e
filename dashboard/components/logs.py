"""The logs: where to drop them, what was read from each, and the form for a table that explains nothing."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.components.findings import finding_lines
from dashboard.components.marks import icon
from dashboard.services.uploads import LARGEST_BYTES, MOST_FILES_A_DROP, FileView, column_choices


def upload_card() -> html.Div:
    """Build the place to drop logs, and the way in for someone who has none at hand."""
    drop = dcc.Upload(
        html.Div(
            [
                icon("drop"),
                html.Span(
                    [html.Strong("Drop logs here"), " or ", html.U("choose files")], className="drop-text"
                ),
                html.Span(
                    f"Speed and motor logs in any order: GPX, FIT, NMEA 0183, CSV. Up to {MOST_FILES_A_DROP} "
                    f"files at once, {LARGEST_BYTES // 1_000_000} MB each. They stay on this machine.",
                    className="quiet",
                ),
            ],
            className="drop-inside",
        ),
        id="drop",
        className="drop",
        className_active="drop drop-active",
        style={},
        style_active={},
        style_reject={},
        multiple=True,
        disable_click=True,  # the label around it opens the chooser, and names it for a screen reader
    )
    samples = dmc.Button("Show me with sample logs", id="samples", variant="default", className="samples")
    reading = html.P("Reading…", id="reading", className="reading", hidden=True, role="status")
    return html.Div(
        [html.Label(drop), samples, reading, html.Div(id="turned-away", role="alert")],
        className="upload-card",
    )


def file_list(files: tuple[FileView, ...]) -> list[html.Li]:
    """One entry a file: what was read, what was found, or its own error."""
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
    if view.findings:
        parts.append(_findings(view))
    if view.headings:
        parts.append(_heading_form(view))
    elif view.needs_poles or view.pole_pairs is not None:
        parts.append(_pole_form(view))
    return html.Li(parts, className="file")


def _summary(parts: tuple[str, ...]) -> html.P:
    return html.P([html.Span(part) for part in parts], className="quiet summary")


def _findings(view: FileView) -> html.Details:
    count = len(view.findings)
    rows = [html.Li(line) for line in finding_lines(view.findings)]
    return html.Details(
        [html.Summary(f"{count} finding{'s' if count > 1 else ''}"), html.Ul(rows)], className="findings"
    )


def _heading_form(view: FileView) -> html.Div:
    choices = [{"value": value, "label": label} for value, label in column_choices()]
    rows = [
        dmc.Select(
            id={"type": "heading", "key": view.key, "heading": number},
            label=heading,
            data=choices,
            value=view.mapped.get(heading),
            placeholder="not used",
            clearable=True,
            searchable=True,
        )
        for number, heading in enumerate(view.headings)
    ]
    return html.Div(
        [html.P("Say what its columns are:"), *rows, _poles(view), _again(view)],
        className="heading-form",
    )


def _pole_form(view: FileView) -> html.Details:
    said = f"Pole pairs: {view.pole_pairs}" if view.pole_pairs else "Say the motor's pole pairs"
    form = html.Div([_poles(view), _again(view)], className="heading-form")
    return html.Details([html.Summary(said), form], open=view.needs_poles)


def _poles(view: FileView) -> dmc.NumberInput:
    return dmc.NumberInput(
        id={"type": "poles", "key": view.key},
        label="Pole pairs of the motor",
        description="Turns electrical rpm into motor rpm",
        value=view.pole_pairs if view.pole_pairs is not None else "",
        min=1,
        max=50,
        allowDecimal=False,
    )


def _again(view: FileView) -> dmc.Button:
    return dmc.Button("Read it again", id={"type": "read-again", "key": view.key}, variant="default")
