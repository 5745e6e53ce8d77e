"""Components of the page "Overlay"."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any, Final

import dash_mantine_components as dmc
from dash import html

from dashboard.features.overlay.figures import PlotRow
from dashboard.features.overlay.line_styles import Look
from dashboard.features.overlay.service import MOST, ChosenPasses, Offer
from dashboard.ui.badges import sentence
from dashboard.ui.direction import arrow
from dashboard.ui.links import overlay_address
from telemetry.compare.wording import change_text
from telemetry.core.units import speed_text
from telemetry.pass_overlay import ANCHORS, Abscissa, Anchor, Overlay, SheetGroup

CELL: Final = "overlay-cell"
_NOT_KNOWN: Final = "–"


def offer_groups(offers: Sequence[Offer], unit: str, chosen: Sequence[str]) -> list[dict[str, Any]]:
    """Group passes by outing for a list of choices.

    A chosen pass stays a choice, even if too old for the list or unknown: the page says which.
    """
    groups = [
        {
            "group": group,
            "items": [{"value": one.key, "label": f"{one.words}: {_short(one, unit)}"} for one in some],
        }
        for group, some in groupby(offers, key=lambda one: one.group)
    ]
    listed = {one.key for one in offers}
    others = [{"value": key, "label": key} for key in dict.fromkeys(chosen) if key not in listed]
    return [*groups, {"group": "From the address", "items": others}] if others else groups


def _short(one: Offer, unit: str) -> str:
    way = "" if one.heading_deg is None else f" {arrow(one.heading_deg)}"
    return f"peak {speed_text(one.peak_mps, unit)}{way}"


def origins(over: Abscissa, chosen: Anchor) -> tuple[list[dict[str, str]], Anchor]:
    """List the origins of an abscissa, and choose another if the present one is not among them."""
    data = [
        {"value": anchor, "label": label}
        for anchor, label in ANCHORS.items()
        if anchor != "course" or over == "distance"
    ]
    return data, "start" if over == "time" and chosen == "course" else chosen


def look_mark(look: Look) -> html.Span:
    """Format a pass's letter with its arrow, in its direction's colour."""
    return html.Span(f"{look.mark} {arrow(look.heading_deg)}", className=f"pass-mark {look.direction}")


def reading_table(
    chosen: Sequence[ChosenPasses], looked: Sequence[Look], rows: Sequence[PlotRow]
) -> html.Table | None:
    """Build the cursor's table: a row for each pass, a column for each quantity."""
    if not chosen:
        return None
    heads = ["Pass", *(f"{row.title} [{row.unit.name}]" for row in rows)]
    lines = [
        html.Tr(
            [
                html.Th([look_mark(look), " ", html.Span(_named(one), className="quiet")], scope="row"),
                *(html.Td(_NOT_KNOWN, id={"type": CELL, "pass": look.mark, "row": r.quantity}) for r in rows),
            ]
        )
        for one, look in zip(chosen, looked, strict=True)
    ]
    head = html.Thead(html.Tr([html.Th(text, scope="col") for text in heads]))
    return html.Table([head, html.Tbody(lines)], className="overlay-readings")


def _named(one: ChosenPasses) -> str:
    return f"{one.curves.one.id}, {one.origin}"


def overlay_remarks(
    overlay: Overlay, chosen: Sequence[ChosenPasses], looked: Sequence[Look], refused: Sequence[str]
) -> Any:
    """List the passes that cannot be aligned, remarks on the abscissa, and what each pass lacks."""
    out = [
        html.Li([look_mark(looked[k]), f" {_named(chosen[k])} is left out: {why}."])
        for k, why in overlay.left_out
    ]
    items = [html.Li(sentence(note)) for note in overlay.notes]
    lacking: dict[str, list[Look]] = {}
    for one, look in zip(chosen, looked, strict=True):
        for note in one.curves.notes:
            lacking.setdefault(note, []).append(look)
    lacks = [html.Li(f"{', '.join(look.mark for look in some)}: {note}.") for note, some in lacking.items()]
    return html.Ul([*(html.Li(text) for text in refused), *out, *items, *lacks], className="told")


def sheets(groups: Sequence[SheetGroup], chosen: Sequence[ChosenPasses], looked: Sequence[Look]) -> list[Any]:
    """Describe the differences between the sheets of the chosen passes."""
    if not groups:
        return []
    if len(groups) == 1 and len(chosen) > 1:
        (group,) = groups
        if group.sheet is None:
            return [html.P("No sheet recorded for any of them.")]
        return [html.P(["Same sheet: ", html.Strong(group.sheet.name), f" of {group.sheet.boat}."])]
    first = next((group for group in groups if group.sheet is not None), None)
    return [_sheet(group, first, looked) for group in groups]


def _sheet(group: SheetGroup, first: SheetGroup | None, looked: Sequence[Look]) -> html.Div:
    marks = [part for k in group.members for part in (look_mark(looked[k]), " ")]
    if group.sheet is None:
        return html.Div([html.H3([*marks, "no sheet recorded"])], className="overlay-sheet")
    head = html.H3([*marks, f"{group.sheet.name}, {group.sheet.boat}"])
    if group is first or first is None or first.sheet is None:
        content: Any = html.P("The other sheets are compared with this one.", className="quiet")
    elif not group.changes:
        content = html.P("No differences.", className="quiet")
    else:
        other = group.sheet.boat != first.sheet.boat
        content = html.Ul([html.Li(change_text(change)) for change in group.changes], className="told")
        content = html.Div([html.P("Another boat.", className="quiet"), content]) if other else content
    return html.Div([head, content], className="overlay-sheet")


def list_told(listed: int, left_out: int) -> str:
    """Explain where passes come from if there is none, and how many the list leaves out."""
    if left_out:
        return f"{left_out} older passes are not in this list; open them from their outing's page."
    return "" if listed else 'No pass yet: drop logs on "After the water", or add an outing to the logbook.'


def key() -> dmc.Text:
    """Explain how to read the lines."""
    return dmc.Text(
        "Each pass has its own letter and dash pattern; the colour is its direction, that of the first pass "
        "or the opposite. The band around a speed is its 95 % interval; outside the pass there is none.",
        className="quiet",
    )


def passes_beside(outing_id: int, count: int) -> html.P:
    """Link from an outing to its passes, together or each alone."""
    keys = [f"{outing_id}.P{k + 1}" for k in range(count)]
    links: list[Any] = [html.A(key.partition(".")[2], href=overlay_address([key])) for key in keys]
    if count > 1:
        some = keys[:MOST]
        whole = "all of them" if len(some) == count else f"the first {MOST}"
        links.append(html.A(f"{whole} together", href=overlay_address(some)))
    return html.P(["Overlay: ", *links] if links else [], className="beside")
