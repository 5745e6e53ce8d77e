"""Components of the page "History"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import dash_mantine_components as dmc
from dash import html

from dashboard.features.history.service import AsFound, Past, Tune
from dashboard.features.logbook.service import OutingsPage
from dashboard.features.logbook.view import outing_table
from dashboard.features.statement.view import outing_statement
from dashboard.ui.badges import icon, sentence, speed_value
from dashboard.ui.fields import Chosen
from dashboard.ui.links import bench_address, compare_address, logbook_address, outing_address
from telemetry.compare import Units
from telemetry.compare.summary import history_summary
from telemetry.compare.wording import best_text, change_text, value_text
from telemetry.core.units import distance_text
from telemetry.logbook import SavedIncident, SavedTwoWay
from telemetry.setup import BenchDisplay, Due
from telemetry.text.logbook import moment_text

_VERDICT_ICONS: Final = {"counts": "check", "does not count": "cross", "cannot tell": "question"}
_ROWS: Final = 50


def best_told(past: Past, units: Chosen) -> list[Any]:
    """Show the best two-way, with a link to its statement."""
    if past.best is None:
        return [html.P("No two-way of this boat is in the logbook yet.")]
    outing, unit = past.outing(past.best.outing_id), units.speed
    parts: list[Any] = [
        html.P(
            speed_value(past.best.average_mps, unit, past.best.u95_mps, large=True), id="history-best-figure"
        ),
        html.P(_verdict(past.best.verdict)),
        html.P(
            [
                f"Best two-way over {distance_text(past.best.distance_m)} by the rule {past.best.rule}, ",
                html.A(moment_text(outing.start_utc), href=outing_address(outing.id)),
                f" UTC, sheet {outing.sheet_name} ({past.letters[outing.sheet_id]}).",
            ]
        ),
        outing_statement(outing.id, units),
    ]
    if past.best_counting is not None and past.best_counting != past.best:
        parts.append(html.P(_counting(past, past.best_counting, unit)))
    return parts


def _counting(past: Past, two_way: SavedTwoWay, unit: str) -> list[Any]:
    outing = past.outing(two_way.outing_id)
    return [
        "Best that counts: ",
        speed_value(two_way.average_mps, unit, two_way.u95_mps),
        ", ",
        html.A(moment_text(outing.start_utc), href=outing_address(outing.id)),
        f" UTC, {outing.sheet_name}.",
    ]


def _verdict(verdict: str) -> html.Span:
    kind = _VERDICT_ICONS[verdict]
    return html.Span([icon(kind), verdict], className=f"verdict verdict-{kind}")


def outings_told(past: Past, unit: str) -> list[Any]:
    """Show the plot's numbers: the outings as the logbook lists them."""
    latest = tuple(reversed(past.outings))[:_ROWS]
    table = html.Details(
        [
            html.Summary("The outings in numbers"),
            outing_table(OutingsPage(latest, len(past.outings), 1), unit),
        ],
        className="findings",
    )
    every = html.A("All of them in the logbook", href=logbook_address(past.boat))
    return [table, html.P(every)]


def sheets_told(past: Past, units: Units) -> list[Any]:
    """List the sheets that were run, each with its mean, and name the best one."""
    by_sheet = past.sheets
    if not by_sheet.points:
        return [html.P("No two-way of this boat is in the logbook yet.")]
    heads = ("", "Setup sheet", "Mean (95 %)", "From")
    rows = []
    for point in by_sheet.points:
        level = point.level
        cells = (
            html.Strong(past.letters[level.sheet_id]),
            html.A(point.sheet, href=bench_address(past.boat, level.sheet_id)),
            value_text(by_sheet.measure, level.mean, units, level.u95),
            f"{_plural(level.count, 'two-way')} in {_plural(level.outings, 'outing')}",
        )
        rows.append(
            dmc.TableTr(
                [dmc.TableTd(cell, **{"data-head": head}) for head, cell in zip(heads, cells, strict=True)]
            )
        )
    head = dmc.TableThead(dmc.TableTr([dmc.TableTh(head) for head in heads]))
    table = dmc.Table([head, dmc.TableTbody(rows)], className="passes history-sheets")
    first = html.P(history_summary(by_sheet, units), id="history-summary")
    return [first, table, html.P(best_text(by_sheet, units), id="history-best-sheet")]


def _plural(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"


def tune_told(boat: str, tune: Tune, showing: BenchDisplay) -> list[Any]:
    """Show the differences between the latest sheet and the best one, with a link to the bench."""
    if tune.latest is None:
        return [html.P("This boat has no setup sheet yet.")]
    last = html.P(["Last set to: ", html.Strong(tune.latest.name), "."])
    if tune.best is None:
        return [last, html.P("No best sheet yet: days and outings are too few to say how far they differ.")]
    if tune.best == tune.latest:
        return [last, html.P("That is its best sheet.", id="history-on-best")]
    return [
        last,
        html.P(["Its best sheet is ", html.Strong(tune.best.name), ". From the one to the other:"]),
        html.Ul([html.Li(change_text(change, showing)) for change in tune.changes], className="told"),
        html.P(
            html.A(
                "Effect of the difference",
                href=compare_address(boat, tune.latest.sheet_id, tune.best.sheet_id),
            )
        ),
        html.H3("Steps back to the best"),
        html.Ol([html.Li(step.text(showing)) for step in tune.steps], className="told", id="history-steps"),
        html.P(
            "For a boat set as the latest sheet says. Measure it first: parts move.",
            className="quiet",
        ),
        html.Div(
            html.A(
                "Set the best setup at the bench",
                href=bench_address(boat, tune.latest.sheet_id, tune.best.sheet_id),
                className="as-button",
            ),
            className="row",
        ),
    ]


def due_told(boat: str, due: Sequence[Due]) -> list[Any]:
    """List the service that is due or soon will be, with a link to the bench."""
    pressing = [row for row in due if row.verdict in ("due", "soon")]
    kinds = {"due": "cross", "soon": "gate"}
    rows = [
        html.Li(
            [
                html.Span(
                    [icon(kinds[row.verdict]), row.verdict], className=f"verdict verdict-{kinds[row.verdict]}"
                ),
                html.Strong(row.task.title),
                f": {row.why}",
            ]
        )
        for row in pressing
    ]
    unknown = sum(row.verdict == "cannot tell" for row in due)
    return [
        html.Ul(rows, className="history-rows") if rows else html.P("Nothing is due."),
        html.P(f"{_plural(unknown, 'more task')}: cannot tell.") if unknown else None,
        html.P(html.A("All service tasks, at the bench", href=f"{bench_address(boat)}#service")),
    ]


def events_told(past: Past) -> list[Any]:
    """List what went wrong on the water, and how the boat was found at the bench."""
    if not past.upsets and not past.founds:
        return [html.P("The logbook has no blow-over, no veer and no measuring as found.")]
    parts: list[Any] = []
    if past.upsets:
        parts.append(html.Ul([_upset(past, one) for one in past.upsets], className="history-rows"))
    if past.founds:
        found = html.Ul([_found(one) for one in past.founds], className="history-rows", id="history-founds")
        parts += [html.H3("As found at the bench"), found]
    return parts


def _upset(past: Past, upset: SavedIncident) -> html.Li:
    outing = past.outing(upset.outing_id)
    kind = "cross" if upset.verdict == "shown" else "question"
    return html.Li(
        [
            html.Span([icon(kind), upset.verdict], className=f"verdict verdict-{kind}"),
            html.Strong(upset.kind),
            f" in {upset.pass_id}, ",
            html.A(moment_text(outing.start_utc), href=outing_address(outing.id)),
            f" UTC, {outing.sheet_name}. {sentence(upset.why)}",
        ]
    )


def _found(one: AsFound) -> html.Li:
    when = "no date" if one.found.found_utc is None else f"{one.found.found_utc:%Y-%m-%d}"
    note = f" {sentence(one.found.note)}" if one.found.note else ""
    names = ", ".join(row.item.title.lower() for row in one.moved) or "nothing measured"
    since = f"moved since {one.sheet}: {names}" if one.sheet else "no sheet to compare it with"
    return html.Li([html.Strong(when), f": {since}.{note}"])
