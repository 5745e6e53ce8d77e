"""The controls of the judgement: rule, distance and gates."""

from __future__ import annotations

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.run.request_form import DISTANCES, RULES_OWN
from dashboard.ui.badges import icon
from telemetry.twoway.rules import Rule


def controls(rules: tuple[Rule, ...]) -> list[html.Fieldset]:
    """Build the three controls."""
    return [_rule(rules), _distance(), _gates()]


def rule_choices(rules: tuple[Rule, ...]) -> list[dmc.Radio]:
    """One radio a rule, told apart by name and title."""
    return [dmc.Radio(label=rule.name, value=rule.name, description=rule.title) for rule in rules]


def rule_notes(rule: Rule) -> list[html.P]:
    """Show where a rule comes from and its notes."""
    return [html.P(rule.notes) if rule.notes else None, html.P(["Source: ", rule.source])]


def _rule(rules: tuple[Rule, ...]) -> html.Fieldset:
    own = dcc.Upload(
        html.U("Add a rule of your own (TOML)"),
        id="own-rule",
        className="own-rule",
        max_size=200_000,
        disable_click=True,
    )
    return html.Fieldset(
        [
            html.Legend("Rule"),
            dmc.RadioGroup(
                rule_choices(rules),
                id="rule",
                value=rules[0].name,
                **{"aria-label": "Rule"},
                className="radios",
            ),
            html.Details(
                [html.Summary("Source of this rule"), html.Div(id="rule-notes")], className="findings"
            ),
            dmc.NumberInput(
                id="window",
                label="Time window of your rule book, minutes",
                description="Empty: from the rule",
                min=1,
                max=1440,
                debounce=True,
            ),
            html.Label(own),
            html.P(id="rule-error", className="field-error", role="alert"),
        ]
    )


def _distance() -> html.Fieldset:
    return html.Fieldset(
        [
            html.Legend("Measured distance"),
            dmc.Select(
                id="distance",
                data=[{"value": value, "label": label} for value, label in DISTANCES],
                value=RULES_OWN,
                allowDeselect=False,
                **{"aria-label": "Measured distance"},
            ),
            dmc.TextInput(
                id="own-distance",
                label="My own distance",
                placeholder="200 ft, 75 m or 1/10 mi",
                debounce=True,
                style={"display": "none"},
            ),
            html.P(id="distance-hint", className="quiet"),
        ]
    )


def _gates() -> html.Fieldset:
    return html.Fieldset(
        [
            html.Legend("Gates"),
            dmc.TextInput(
                id="gates",
                label="The two ends of the measured distance",
                description="LAT1,LON1,LAT2,LON2 in degrees. Empty: placed automatically.",
                debounce=True,
            ),
            html.Div(
                [
                    dmc.Button(
                        "Pick on the plan view", id="pick", variant="default", leftSection=icon("gate")
                    ),
                    dmc.Button("Place them automatically", id="clear-gates", variant="default"),
                ],
                className="row",
            ),
            html.P(id="pick-hint", className="quiet", role="status"),
        ]
    )
