"""The answer, large: the best two-way with its verdict, or why there is none."""

from __future__ import annotations

from dash import html

from dashboard.features.run.request_form import Headline
from dashboard.ui.badges import pass_mark, sentence, speed_value, verdict_mark
from dashboard.ui.direction import Direction
from telemetry.passes.find import Pass


def answer(headline: Headline, unit: str, ways: dict[str, Direction]) -> list[html.Div]:
    """Show the headline in the user's unit."""
    top = _two_way(headline, unit) if headline.two_way else _single(headline, unit, ways)
    reasons = html.Ul([html.Li(sentence(r)) for r in headline.reasons], className="reasons")
    rule = html.P(
        ["Rule: ", html.Strong(headline.rule.name), f". {sentence(headline.rule.title)}"], className="aside"
    )
    blocks = [html.Div([*top, reasons if headline.reasons else None, rule], className="answer-figure")]
    if headline.two_way:
        blocks.append(_opposed(headline, unit, ways))
    return blocks


def _two_way(headline: Headline, unit: str) -> list[html.P]:
    best = headline.two_way
    assert best is not None
    return [
        html.P(speed_value(best.average_mps, unit, best.u95_mps, large=True), id="two-way-figure"),
        html.P(verdict_mark(headline.verdict), id="two-way-verdict"),
        html.P(
            [
                headline.sentence,
                " ± is half the 95 % interval. Rounded by the rule: ",
                html.Strong(best.official_text),
                ".",
            ]
        ),
    ]


def _single(headline: Headline, unit: str, ways: dict[str, Direction]) -> list[html.P]:
    shown = [html.P([verdict_mark(headline.verdict), " ", headline.sentence], id="two-way-verdict")]
    one = headline.best_pass
    if one is None:
        return shown
    peak = speed_value(one.peak_mps, unit, one.peak_u95_mps, large=True)
    held = speed_value(one.held_1s_mps, unit, one.held_1s_u95_mps)
    return [
        html.P(peak, id="two-way-figure"),
        html.P(["Peak of ", pass_mark(one, ways[one.id]), ", the fastest single pass. Held for 1 s: ", held]),
        *shown,
    ]


def _opposed(headline: Headline, unit: str, ways: dict[str, Direction]) -> html.Div:
    """Draw the two passes as opposed arrows, their length in proportion to speed."""
    best = headline.two_way
    assert best is not None
    fastest = max(best.speeds_mps)
    rows = [
        _way(one, speed, u95, time_s, speed / fastest, unit, ways[one.id])
        for one, speed, u95, time_s in zip(
            headline.ways, best.speeds_mps, best.speed_u95_mps, best.times_s, strict=True
        )
    ]
    return html.Div(rows, className="opposed")


def _way(
    one: Pass, speed: float, u95: float, time_s: float, share: float, unit: str, direction: Direction
) -> html.Div:
    label = [pass_mark(one, direction), " ", speed_value(speed, unit, u95), html.Span(f"{time_s:.3f} s")]
    # The arrow points as the map does, east to the right; its colour tells out from back as everywhere.
    side = "left" if one.heading_deg > 180.0 else "right"
    return html.Div(
        html.Div(label, className=f"way way-{direction} way-{side}", style={"width": f"{100 * share:.2f}%"}),
        className=f"way-row way-row-{side}",
    )
