"""What the logbook page shows: lists of outings, a boat at a glance, one outing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html

from dashboard.features.logbook.backup_service import Restored
from dashboard.features.logbook.service import BoatStory, OutingsPage
from dashboard.features.overlay.view import passes_beside
from dashboard.features.statement.view import outing_statement
from dashboard.session.uploads import FileView
from dashboard.ui.badges import icon, speed_value, verdict_mark
from dashboard.ui.fields import Chosen
from dashboard.ui.links import history_address, outing_address
from telemetry.logbook import Boat, Outing, RollingCopy
from telemetry.text.logbook import conditions_text, moment_text

_HEADS = ("Began, UTC", "Boat", "Setup sheet", "Place", "Passes", "Peak", "Best two-way", "Verdict")


def outing_table(page: OutingsPage, unit: str) -> dmc.Table | html.P:
    """List outings, each with a link to its page."""
    if not page.outings:
        return html.P("No outing found.")
    rows = [
        dmc.TableTr(
            [
                dmc.TableTd(cell, **{"data-head": head})
                for head, cell in zip(_HEADS, _cells(outing, unit), strict=True)
            ]
        )
        for outing in page.outings
    ]
    return dmc.Table(
        [dmc.TableThead(dmc.TableTr([dmc.TableTh(head) for head in _HEADS])), dmc.TableTbody(rows)],
        className="passes outings",
        verticalSpacing="sm",
    )


def _cells(outing: Outing, unit: str) -> list[Any]:
    return [
        html.A(moment_text(outing.start_utc), href=outing_address(outing.id)),
        outing.boat,
        outing.sheet_name,
        outing.conditions.place or "not said",
        str(outing.passes),
        _speed(outing.best_peak_mps, outing.best_peak_u95_mps, unit),
        _speed(outing.best_two_way_mps, outing.best_two_way_u95_mps, unit),
        verdict_mark(outing.best_verdict) if outing.best_verdict else "no two-way",
    ]


def _speed(speed_mps: float | None, u95_mps: float | None, unit: str) -> html.Span | str:
    return "none" if speed_mps is None else speed_value(speed_mps, unit, u95_mps)


def count_text(page: OutingsPage) -> str:
    """Say how many outings were found.

    Examples
    --------
    >>> count_text(OutingsPage((), 1, 1))
    '1 outing'
    """
    return _plural(page.count, "outing")


def fleet_list(fleet: Sequence[tuple[Boat, int]], units: Chosen) -> list[Any]:
    """List the boats, where none is chosen."""
    if not fleet:
        return [html.P("No boat yet: it comes with its first outing, below.")]
    return [html.P([html.Strong(boat.name), f": {_about(boat, outings, units)}"]) for boat, outings in fleet]


def _about(boat: Boat, outings: int, units: Chosen) -> str:
    length = ""
    if boat.length_m is not None:
        length = f"{units.shown('length', 1000.0 * boat.length_m):.4g} {units.name('length')}"
    return ", ".join(part for part in (boat.hull_kind, length, _plural(outings, "outing")) if part)


def boat_story(story: BoatStory, units: Chosen) -> list[Any]:
    """Tell a boat at a glance."""
    boat = story.boat
    about = f"{_about(boat, story.outings, units)}, {_plural(story.sheets, 'setup sheet')}"
    parts: list[Any] = [html.P([html.Strong(boat.name), f": {about}"])]
    if boat.note:
        parts.append(html.P(boat.note))
    if story.best is not None and story.best.best_two_way_mps is not None:
        best = speed_value(story.best.best_two_way_mps, units.speed, story.best.best_two_way_u95_mps)
        parts.append(
            html.P(["Best two-way: ", best, " on ", _link(story.best), f", {story.best.sheet_name}"])
        )
    if story.latest is not None:
        parts.append(html.P(["Latest outing: ", _link(story.latest), f", {story.latest.sheet_name}"]))
    due = [f"{row.task.title} ({row.verdict}: {row.why})" for row in story.due]
    parts.append(html.P(f"To look after: {'; '.join(due)}" if due else "Nothing is due."))
    parts.append(html.P(html.A("Its whole history", href=history_address(boat.name))))
    return parts


def _plural(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"


def _link(outing: Outing) -> html.A:
    return html.A(moment_text(outing.start_utc), href=outing_address(outing.id))


def outing_facts(outing: Outing, units: Chosen) -> list[Any]:
    """Tell one outing: its figures, its conditions, its logs."""
    unit = units.speed
    conditions = conditions_text(outing.conditions, unit, units.temperature)
    told = [
        ("Boat", outing.boat),
        ("Setup sheet", f"{outing.sheet_name} ({outing.sheet_id[:6]})"),
        ("Began", f"{moment_text(outing.start_utc)} UTC" if outing.start_utc else "day not stated"),
        *((name.capitalize(), said) for name, said in conditions.items()),
        ("Passes", str(outing.passes)),
    ]
    figures = [
        ("Peak", _speed(outing.best_peak_mps, outing.best_peak_u95_mps, unit)),
        ("Best two-way", _speed(outing.best_two_way_mps, outing.best_two_way_u95_mps, unit)),
        ("Verdict", verdict_mark(outing.best_verdict) if outing.best_verdict else "no two-way"),
    ]
    logs = [
        html.Li(f"{log.file}, {log.size_bytes / 1000:.0f} kB, kept byte for byte ({log.sha256[:12]})")
        for log in outing.logs
    ]
    return [
        html.H2(f"Outing {outing.id}"),
        html.Dl(
            list(_terms([*figures, *((name, value) for name, value in told if value)])),
            className="facts-list",
        ),
        outing_statement(outing.id, units),
        passes_beside(outing.id, outing.passes),
        html.Ul(logs, className="kept-logs"),
        html.P(f"Analysed by version {outing.program_version}.", className="quiet"),
    ]


def copies_told(copies: Sequence[RollingCopy], *, paths: bool) -> str:
    """Say when the last rolling copy was made and where; ``paths`` only at the serving machine."""
    if not copies:
        return "No copy has been made by itself yet: one is made after each outing added to a logbook file."
    last = copies[0]
    beside = "a folder beside the logbook, on the machine that serves this page"
    return (
        f"Last copy made by itself: {last.made_utc:%Y-%m-%d %H:%M} UTC, in "
        f"{last.file.parent if paths else beside} ({_plural(len(copies), 'day')} kept). "
        "It is on the same disk: save a backup onto a stick too."
    )


def restored_told(told: Restored, *, paths: bool) -> list[html.P]:
    """Say what a restore took in, and where what was there before is kept."""
    rows = told.taken.rows
    counts = f"{_plural(rows['boats'], 'boat')}, {_plural(rows['outings'], 'outing')}"
    parts = [html.P(f"Taken in: {counts}, of {told.taken.made_utc:%Y-%m-%d %H:%M} UTC.")]
    if told.saved is not None:
        parts.append(html.P(f"What was here before is kept in {told.saved if paths else told.saved.name}."))
    return parts


def _terms(rows: Iterable[tuple[str, Any]]) -> Iterable[Any]:
    for name, value in rows:
        yield html.Div([html.Dt(name), html.Dd(value)])


def waiting_logs(views: Iterable[FileView]) -> list[html.Li]:
    """List the logs that wait to be added, with a way to take each off again."""
    return [_waiting(view) for view in views]


def _waiting(view: FileView) -> html.Li:
    remove = dmc.ActionIcon(
        icon("cross"),
        id={"type": "book-take-off", "key": view.key},
        variant="subtle",
        color="gray",
        **{"aria-label": f"Remove {view.name}"},
    )
    head = html.Div([html.Strong(view.name, className="file-name"), remove], className="file-head")
    told = [
        html.P([html.Span(part) for part in parts], className="quiet summary") for parts in view.summaries
    ]
    if view.error:
        told.append(html.P([icon("cross"), view.error], className="file-error", role="alert"))
    if view.needs_headings or view.needs_poles:
        ask = html.A("say it there", href="/")
        told.append(html.P(['"After the water" asks what this table leaves open: ', ask, "."]))
    return html.Li([head, *told], className="file")
