"""How the passes rode: events with their figures, then what was not seen and what cannot be told."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import html

from dashboard.ui.badges import icon, sentence
from telemetry.passes.find import Pass
from telemetry.ride.judge import RideEvent
from telemetry.text.ride_power import event_facts, event_title, seen_events, unseen_lines


def ride_list(events: tuple[RideEvent, ...], unit: str) -> list[html.Ul | html.P]:
    """Show the events, worst first in full, and the rest in a line each."""
    if not events:
        return [html.P("No pass to check the ride of.")]
    items = [
        html.Li(
            [
                html.Span(
                    [icon("cross" if e.verdict == "shown" else "question"), e.verdict], className="verdict"
                ),
                html.Div(
                    [
                        html.Strong(sentence(event_title(e))[:-1]),
                        html.Span(sentence(event_facts(e, unit))) if event_facts(e, unit) else None,
                        html.Span(sentence(e.why)),
                    ]
                ),
            ]
        )
        for e in seen_events(events)
    ]
    rest = [html.P(sentence(line)) for line in unseen_lines(events)]
    return [html.Ul(items, className="checks") if items else html.P("No warning signs seen."), *rest]


def pass_choices(passes: tuple[Pass, ...]) -> list[dict[str, str]]:
    """Offer each pass to look at."""
    return [{"value": p.id, "label": p.id} for p in passes]


def pass_chooser() -> dmc.Select:
    """Build the choice of the pass whose ripple is drawn."""
    return dmc.Select(
        id="ride-pass", label="Ripple of pass", data=[], value=None, allowDeselect=False, className="short"
    )
