"""The list of two-ways: one line each, with all details when opened."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import html

from dashboard.features.run.request_form import gates_text
from dashboard.features.statement.view import kept_statement
from dashboard.ui.badges import heading_text, icon, pass_mark, sentence, speed_value, verdict_mark
from dashboard.ui.cautions import ESTIMATE
from dashboard.ui.direction import Direction
from telemetry.core.units import distance_text
from telemetry.passes.find import Pass
from telemetry.twoway.mean import Check, TwoWay


def two_way_items(
    two_ways: tuple[TwoWay, ...],
    passes: tuple[Pass, ...],
    unit: str,
    ways: dict[str, Direction],
    opened: str | None,
    statement: str | None = None,
) -> list[dmc.AccordionItem]:
    """Build the accordion's items in the order given: the best by the rule first.

    A long day has thousands of pairs: only the opened one is written out in full, with links to its statement
    by the name under which that is kept.
    """
    by_id = {p.id: p for p in passes}
    items = []
    for t in two_ways:
        pair = (by_id[t.passes[0]], by_id[t.passes[1]])
        body = _body(t, pair, unit, ways, statement) if opened == t.id else None
        items.append(_item(t, pair, unit, ways, body))
    return items


def _item(
    t: TwoWay, pair: tuple[Pass, Pass], unit: str, ways: dict[str, Direction], body: html.Div | None
) -> dmc.AccordionItem:
    title = html.Div(
        [
            html.Span([html.Strong(t.id), html.Span("best", className="best") if t.best else None]),
            html.Span([pass_mark(pair[0], ways[pair[0].id]), " ", pass_mark(pair[1], ways[pair[1].id])]),
            speed_value(t.average_mps, unit, t.u95_mps),
            verdict_mark(t.verdict),
        ],
        className="two-way-title",
    )
    return dmc.AccordionItem([dmc.AccordionControl(title), dmc.AccordionPanel(body)], value=t.id)


def _body(
    t: TwoWay, pair: tuple[Pass, Pass], unit: str, ways: dict[str, Direction], statement: str | None
) -> html.Div:
    figures = [
        _each_way(t, pair, unit, ways),
        html.P(
            [
                f"Over {distance_text(t.distance_m)}, mean {t.mean}, rule {t.rule}: ",
                speed_value(t.average_mps, unit, t.u95_mps),
                f". Rounded by the rule: {t.official_text}.",
            ]
        ),
        html.P(
            [
                "Standard uncertainty: ",
                speed_value(t.u_independent_mps, unit),
                " is independent for each pass, ",
                speed_value(t.u_shared_mps, unit),
                " is shared by both.",
            ]
        ),
        _gates(t),
        kept_statement(statement) if statement else None,
        html.P(ESTIMATE, className="aside"),
    ]
    return html.Div([html.Div(figures), check_list(t.checks)], className="two-way-body")


def _each_way(t: TwoWay, pair: tuple[Pass, Pass], unit: str, ways: dict[str, Direction]) -> dmc.Table:
    rows = [
        dmc.TableTr(
            [
                dmc.TableTd(pass_mark(one, ways[one.id])),
                dmc.TableTd(speed_value(speed, unit, u95)),
                dmc.TableTd(f"{time_s:.3f} s"),
                dmc.TableTd(heading_text(one.heading_deg)),
            ]
        )
        for one, speed, u95, time_s in zip(pair, t.speeds_mps, t.speed_u95_mps, t.times_s, strict=True)
    ]
    head = dmc.TableTr([dmc.TableTh(text) for text in ("Way", "Speed", "Time", "Heading")])
    return dmc.Table([dmc.TableThead(head), dmc.TableTbody(rows)], className="each-way")


def check_list(checks: tuple[Check, ...]) -> html.Ul:
    """Show every condition with its result and evidence."""
    return html.Ul(
        [
            html.Li(
                [
                    verdict_mark(check.result),
                    html.Div([html.Strong(sentence(check.name)[:-1]), html.Span(sentence(check.detail))]),
                ]
            )
            for check in checks
        ],
        className="checks",
    )


def _gates(t: TwoWay) -> html.Div:
    text = gates_text(((t.gates[0].lat_deg, t.gates[0].lon_deg), (t.gates[1].lat_deg, t.gates[1].lon_deg)))
    placed = "given by you" if t.gates_given else "placed automatically along the fitted course line"
    return html.Div(
        [
            html.P([html.Strong("Gates A and B"), f", {placed}:"]),
            html.Code(
                [
                    html.Span(f"{name} {gate.lat_deg:.7f}, {gate.lon_deg:.7f}")
                    for name, gate in zip("AB", t.gates, strict=True)
                ],
                className="gates",
            ),
            html.Div(
                [
                    dmc.CopyButton(
                        "Copy gates",
                        value=text,
                        copiedChildren="Copied",
                        variant="default",
                    ),
                    None
                    if t.gates_given
                    else dmc.Button(
                        "Use these gates",
                        id={"type": "take-gates", "two_way": t.id},
                        variant="default",
                        leftSection=icon("gate"),
                    ),
                ],
                className="row",
            ),
        ],
        className="gates-box",
    )
