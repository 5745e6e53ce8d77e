"""The table of passes; on a phone each row becomes a card."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import html

from dashboard.features.overlay.service import TAB
from dashboard.session.findings import finding_lines
from dashboard.ui.badges import heading_text, pass_mark, speed_value
from dashboard.ui.direction import Direction
from dashboard.ui.links import overlay_address
from telemetry.core.units import distance_text
from telemetry.passes.find import Pass


def pass_table(passes: tuple[Pass, ...], unit: str, ways: dict[str, Direction]) -> dmc.Table | html.P:
    """Show every pass with its speeds, its take-off and the findings that affect it."""
    if not passes:
        return html.P("No pass found in these logs.")
    heads = ["Pass", "Starts", "Heading", "Peak", "Held 1 s", "Best over a distance", "Take-off", "Findings"]
    rows = [dmc.TableTr(_cells(p, unit, ways[p.id], heads)) for p in passes]
    return dmc.Table(
        [dmc.TableThead(dmc.TableTr([dmc.TableTh(h) for h in heads])), dmc.TableTbody(rows)],
        className="passes",
        verticalSpacing="sm",
    )


def _cells(p: Pass, unit: str, direction: Direction, heads: list[str]) -> list[dmc.TableTd]:
    starts = f"{p.start_utc:%H:%M:%S} UTC" if p.start_utc is not None else f"{p.start_s:.1f} s"
    distances = [
        part
        for d in p.distances
        for part in (
            html.Span(distance_text(d.distance_m), className="quiet"),
            speed_value(d.speed_mps, unit, d.u95_mps),
        )
    ]
    takeoff = f"{p.takeoff.end_s - p.takeoff.start_s:.1f} s" if p.takeoff else "not in the log"
    findings = [html.Div(line) for line in finding_lines(p.findings)] or "none"
    beside = html.A("overlay", href=overlay_address([f"{TAB}.{p.id}"]))
    cells = [
        html.Div([pass_mark(p, direction), beside], className="pass-cell"),
        starts,
        heading_text(p.heading_deg),
        speed_value(p.peak_mps, unit, p.peak_u95_mps),
        speed_value(p.held_1s_mps, unit, p.held_1s_u95_mps),
        html.Div(distances, className="distances") if distances else "none fits",
        takeoff,
        html.Div(findings),
    ]
    return [dmc.TableTd(cell, **{"data-head": head}) for head, cell in zip(heads, cells, strict=True)]
