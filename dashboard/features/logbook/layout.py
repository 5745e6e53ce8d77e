"""The page "Logbook": what every boat has done, and adding what it did today."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.logbook.backup_service import LARGEST_BACKUP_BYTES, WORD
from dashboard.features.logbook.service import SORTS
from dashboard.features.run.power_view import number_field
from dashboard.features.save.form import hull_length
from dashboard.features.save.view import conditions_fields, outing_form
from dashboard.session.file_list import drop_area
from dashboard.session.job_list import jobs_area
from dashboard.session.uploads import LARGEST_BYTES, MAX_BYTES_A_DROP, MAX_FILES_A_DROP
from dashboard.ui.fields import LIMITS
from dashboard.ui.links import BACKUP, EXPORT, LOGBOOK
from dashboard.ui.unit_fields import memory

PATH: Final = LOGBOOK
NAME: Final = "Logbook"
PAGE: Final = "book"
"""What the ids of its parts begin with that other pages have too."""
QUESTION: Final = "What has each boat done so far?"
ADDING: Final = "add"
EDITING: Final = "edit"
BOAT: Final = {
    "length_mm": hull_length("boat"),
    **{name: replace(field, part=f"boat-{name}", usual=None) for name, field in LIMITS.items()},
}
"""The number fields for what is said of a boat."""


def layout(boat: str | None = None, **_query: str) -> html.Main:
    """Build the page, empty; which outing it shows, or which boat's, stands in its address."""
    return html.Main(
        [
            html.H1(QUESTION),
            html.P(html.A("Add an outing", href="#book-adding")),
            html.Section(_outing(), id="book-outing", className="book-outing", hidden=True),
            html.Section([html.H2("Outings"), *_search()], className="book-outings"),
            html.Section([html.H2("Add an outing"), *_adding()], id="book-adding", className="book-adding"),
            html.Section([html.H2("Keep it safe"), *_safety()], className="book-safety"),
            dcc.Store(id="book-limits", data=[LARGEST_BYTES, MAX_BYTES_A_DROP, MAX_FILES_A_DROP]),
            dcc.Store(id="book-dropped"),
            dcc.Store(id="book-asked", data=boat),
            dcc.Store(id="book-address", data=["boat"]),
            dcc.Store(id="book-revision", data=0),
            dcc.Store(id="book-waiting", data=0),
            dcc.Store(id="book-shown"),
            memory(EDITING),
            memory("boat"),
        ],
        id="logbook",
        className="page plain logbook",
    )


def _outing() -> list[Any]:
    remove = dcc.ConfirmDialogProvider(
        dmc.Button("Remove it", variant="default"),
        id="book-remove",
        message="Take this outing out of the logbook, with its logs?",
    )
    correct = html.Details(
        [
            html.Summary("Correct what is said of it"),
            html.Div(
                [
                    dmc.Select(id="edit-sheet", label="Setup sheet", data=[]),
                    *conditions_fields(EDITING),
                    dmc.Button("Keep the correction", id="edit-keep", variant="default"),
                ],
                className="book-form",
            ),
        ],
        className="findings",
    )
    buttons = html.Div(
        [dmc.Button("Open its analysis", id="book-open"), remove, html.A("Close", href=PATH)], className="row"
    )
    return [html.Div(id="book-facts"), buttons, correct]


def _search() -> list[Any]:
    fields = html.Div(
        [
            dmc.TextInput(
                id="book-text", label="Words", placeholder="place, boat, sheet, pack", debounce=300
            ),
            dmc.Select(id="book-boat", label="Boat", data=[], clearable=True, placeholder="all"),
            dmc.Select(
                id="book-sort",
                label="Sorted by",
                data=[{"value": value, "label": label} for value, label in SORTS],
                value="date",
                allowDeselect=False,
            ),
            dmc.Switch(id="book-ascending", label="Lowest or earliest first", checked=False),
        ],
        className="book-fields",
    )
    return [
        fields,
        html.Div(id="book-story", className="book-story"),
        html.Details(
            [html.Summary("Correct what is said of this boat"), _boat()], id="boat-details", hidden=True
        ),
        html.P(id="book-count", className="quiet", role="status"),
        html.Div(id="book-table"),
        dmc.Pagination(id="book-page", total=1, value=1, hideWithOnePage=True, withEdges=True),
    ]


def _boat() -> html.Div:
    length, *limits = (number_field(field) for field in BOAT.values())
    return html.Div(
        [
            dmc.TextInput(id="boat-kind", label="Hull", placeholder="catamaran, outrigger, deep-V"),
            length,
            dmc.TextInput(id="boat-note", label="Note"),
            *limits,
            dmc.Button("Keep it", id="boat-keep", variant="default"),
        ],
        className="book-form",
    )


def _adding() -> list[Any]:
    return [
        drop_area("book-drop", "Drop its logs here"),
        jobs_area(PAGE),
        html.Div(id="book-turned-away", role="alert", className="field-error"),
        html.Ul(id="book-logs", className="files"),
        *outing_form(ADDING, "Add it to the logbook"),
    ]


def _safety() -> list[Any]:
    out = [
        html.A("Save a backup", href=BACKUP, className="as-button"),
        html.A("Save tables for other programs", href=EXPORT, className="as-button"),
    ]
    take = html.Details(
        [
            html.Summary("Take a backup in"),
            html.P(
                "Into an empty logbook as it is. One that holds something is only replaced where you write "
                f"the word {WORD}, and is saved first on the machine that serves this page.",
                className="quiet",
            ),
            html.Label(
                dcc.Upload(
                    html.U("Choose the backup's file"),
                    id="restore-file",
                    className="own-rule",
                    accept=".zip",
                    disable_click=True,  # the label opens the browser's chooser
                )
            ),
            html.P(id="restore-name", role="status"),
            html.Div(
                [
                    dmc.TextInput(id="restore-word", label=f"Write {WORD} to lose what is there"),
                    dmc.Button("Take it in", id="restore-take", variant="default"),
                ],
                className="book-form",
            ),
            html.P("Taking it in…", id="restore-working", className="reading", hidden=True, role="status"),
            html.Div(id="restore-said", role="status"),
            html.P(id="restore-error", className="field-error", role="alert"),
            dcc.Store(id="restore-waiting"),
            dcc.Store(id="restore-limit", data=LARGEST_BACKUP_BYTES),
        ],
        className="findings",
    )
    return [
        html.Div(out, className="row"),
        html.P(
            "A backup is one file with everything, logs byte for byte, for this or another machine. The "
            "tables are CSV, with one JSON document; they cannot be taken in again.",
            className="quiet",
        ),
        take,
    ]
