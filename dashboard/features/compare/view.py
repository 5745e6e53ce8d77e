"""Pieces of the page "Before and after"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.ui.badges import icon, sentence
from telemetry.compare import SYMPTOMS, Advice, Comparison, Effect, History, Units
from telemetry.compare.rules_of_thumb import SOURCE
from telemetry.compare.summary import advice_summary, comparison_summary, history_summary
from telemetry.compare.verdicts import CANNOT_TELL, NO_DIFFERENCE, NOT_ENOUGH
from telemetry.compare.wording import (
    basis_texts,
    best_text,
    change_text,
    difference_text,
    evidence_text,
    more_texts,
    reason_text,
    step_text,
    stop_texts,
    trial_text,
    value_text,
)
from telemetry.setup import Item

_ICONS = {NO_DIFFERENCE: "cross", NOT_ENOUGH: "question", CANNOT_TELL: "question"}


def verdict(effect: Effect) -> html.Span:
    """Write a comparison's verdict as icon and word."""
    kind = _ICONS.get(effect.verdict, "check")
    return html.Span([icon(kind), effect.verdict], className=f"verdict verdict-{kind}")


def comparison_answer(told: Comparison, units: Units) -> list[Any]:
    """Show the verdict on the two-way average with what it rests on."""
    head = told.headline
    parts: list[Any] = [html.P(comparison_summary(told, units), id="compare-summary")]
    if head.difference is not None:
        parts.append(html.P(_large(head, units), id="compare-figure"))
    parts.append(html.P(verdict(head), id="compare-verdict"))
    parts.append(html.P(f"{sentence(reason_text(head))} Two-way average on {evidence_text(head)}."))
    parts += [html.P(text, className="aside") for text in basis_texts(head, units)]
    if head.verdict in (NOT_ENOUGH, CANNOT_TELL):
        parts += _more(head, units, told.sooner)
    return parts


def _large(head: Effect, units: Units) -> html.Span:
    text = difference_text(head.measure, head.difference or 0.0, units, head.u95)
    value, _, half = text.removesuffix(f" {units.speed}").partition(" ± ")
    interval = [html.Span(f"± {half}", className="u95"), " "] if half else []
    return html.Span(
        [
            html.Span(value, className="value"),
            " ",
            *interval,
            html.Span(units.speed, className="unit"),
        ],
        className="speed speed-large",
    )


def _more(head: Effect, units: Units, sooner: str) -> list[Any]:
    return [
        html.H3("What more would tell"),
        html.Ul(
            [html.Li(sentence(text)) for text in more_texts(head, units, sooner)],
            className="reasons",
            id="compare-more",
        ),
    ]


def changed(told: Comparison) -> Any:
    """List what differs between the two sheets."""
    if told.changes is None:
        return html.P("A side holds more than one sheet.", className="quiet")
    if not told.changes:
        return html.P("Nothing on the sheets.", className="quiet")
    return html.Ul([html.Li(change_text(change)) for change in told.changes], className="told")


def remarks(told: Comparison, units: Units) -> Any:
    """List what has to be borne in mind."""
    if not told.remarks:
        return html.P("Nothing else was found to differ.", className="quiet")
    return html.Ul([html.Li(r.told_in(units.covariate_text)) for r in told.remarks], className="told")


def effects_table(told: Comparison, units: Units) -> html.Details:
    """Give the figure's numbers as a table."""
    head = html.Thead(
        html.Tr([html.Th(name) for name in ("", "Before", "After", "Difference (95 %)", "Verdict")])
    )
    rows = []
    for e in told.effects:
        apart = "–" if e.difference is None else difference_text(e.measure, e.difference, units, e.u95)
        means = [value_text(e.measure, group.mean, units) for group in (e.before, e.after)]
        cells = [html.Td(text) for text in (*means, apart, e.verdict)]
        rows.append(html.Tr([html.Th(e.measure.title, scope="row"), *cells]))
    table = html.Table([head, html.Tbody(rows)], className="compare-table")
    missing = f"Not measured on either side: {', '.join(told.unmeasured).lower()}." if told.unmeasured else ""
    return html.Details(
        [
            html.Summary("The same in numbers"),
            html.Div(table, className="wide", tabIndex=0, role="region", **{"aria-label": "All measures"}),
            html.P(missing, className="quiet"),
        ],
        className="findings",
    )


def story(told: History, item: Item | None, units: Units) -> list[Any]:
    """Name the best sheet, and tell how the tune went."""
    lines = [html.Li(sentence(step_text(step, item))) for step in told.steps]
    tune = html.Details([html.Summary("How the tune went"), html.Ul(lines)], className="findings")
    summary = html.P(history_summary(told, units), id="compare-history-summary")
    return [summary, html.P(best_text(told, units), id="compare-best"), tune]


def advice(told: Advice, best_sheet: str, units: Units) -> list[Any]:
    """Show the next trial, or why there is none and what practitioners try."""
    kind = {"try": "check", "run the best again": "gate", "leave it": "cross"}.get(told.verdict, "question")
    parts: list[Any] = [
        html.P(advice_summary(told, units, best_sheet), id="next-summary"),
        html.P(html.Span([icon(kind), told.verdict], className=f"verdict verdict-{kind}"), id="next-verdict"),
        html.P(sentence(told.reason)),
    ]
    if best_sheet:
        parts.append(html.P(["Best sheet so far: ", html.Strong(best_sheet), "."]))
    if told.trial is not None:
        first, *rest = trial_text(told.trial, units)
        parts += [html.P(html.Strong(first)), *(html.P(text) for text in rest)]
        parts += _list("Cautions", told.trial.cautions)
        parts += _list("Stop as soon as", stop_texts(told, units))
    if told.held_back:
        parts += _list("Held back", told.held_back)
    if told.tries:
        title = f"What practitioners try where {SYMPTOMS[told.symptom]} ({SOURCE}), one at a time"
        parts += _list(title, [t.text + (f" ({t.caution})" if t.caution else "") for t in told.tries])
    return parts


def _list(title: str, texts: Sequence[str]) -> list[Any]:
    return [html.H3(title), html.Ul([html.Li(sentence(text)) for text in texts], className="told")]
