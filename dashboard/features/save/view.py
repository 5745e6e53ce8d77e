"""The form of an outing, on every page that saves one: boat, sheet, conditions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard.features.bench.service import OnBench
from dashboard.features.save.form import hull_length, number_fields
from dashboard.session.saved_outing import SavedOuting
from dashboard.ui.fields import USUAL, Field
from dashboard.ui.links import outing_address
from telemetry.setup import BenchDisplay

WATERS: Final = ("flat", "ripples", "chop")
_LIMITS: Final[dict[str, tuple[float, float]]] = {
    "wind_mps": (0, 200),
    "wind_from_deg": (0, 360),
    "air_c": (-80, 140),
    "water_c": (-5, 120),
}


def outing_form(form: str, button: str) -> list[Any]:
    """Build the form; the ids of its parts begin with its name."""
    return [
        html.Div(_boat(form), className="book-form"),
        html.Div(_sheet(form), className="book-form"),
        _changes(form),
        html.Div(conditions_fields(form), className="book-form"),
        html.Div(dmc.Button(button, id=f"{form}-keep"), className="row"),
        html.Ul(id=f"{form}-jobs", className="jobs"),
        html.Div(id=f"{form}-said", className="said", role="status"),
        html.P(id=f"{form}-error", className="field-error", role="alert"),
        dcc.Store(id=f"{form}-kept"),
        dcc.Store(id=f"{form}-units"),
    ]


def _boat(form: str) -> list[Any]:
    return [
        dmc.Select(id=f"{form}-boat", label="Boat", data=[], clearable=True, placeholder="none chosen"),
        dmc.TextInput(id=f"{form}-new-boat", label="or a new boat", placeholder="its name"),
        dmc.TextInput(
            id=f"{form}-new-kind", label="Its hull", placeholder="catamaran, outrigger, deep-V", disabled=True
        ),
        _number(hull_length(form), 0, 10_000, disabled=True),
    ]


def _sheet(form: str) -> list[Any]:
    return [
        dmc.Select(
            id=f"{form}-sheet", label="Setup sheet", data=[], clearable=True, placeholder="none chosen"
        ),
        dmc.TextInput(id=f"{form}-new-sheet", label="or a new sheet", placeholder="its name"),
    ]


def _changes(form: str) -> html.Details:
    items = dmc.MultiSelect(
        id=f"{form}-changed",
        label="What changed",
        description="Changes from the chosen sheet; without one, the values of the first sheet.",
        data=[],
        value=[],
        searchable=True,
        clearable=True,
        placeholder="propeller, strut, pack …",
    )
    parts = [items, html.Div(id=f"{form}-changed-rows", className="book-form")]
    return html.Details([html.Summary("What changed since that sheet"), *parts], className="findings")


def conditions_fields(form: str) -> list[Any]:
    """Build the fields of the conditions; the ids begin with the form's name."""
    wind, wind_from, air, water = (
        _number(field, *_LIMITS[name]) for name, field in number_fields(form).items()
    )
    return [
        dmc.Autocomplete(id=f"{form}-place", label="Place", data=[]),
        wind,
        wind_from,
        dmc.Autocomplete(id=f"{form}-water", label="Water", data=list(WATERS)),
        air,
        water,
        dmc.TextInput(id=f"{form}-pack", label="Pack"),
        dmc.TextInput(id=f"{form}-note", label="Note"),
    ]


def _number(field: Field, low: float, high: float, **more: Any) -> dmc.NumberInput:
    return dmc.NumberInput(
        id=field.part, label=field.label(USUAL), min=low, max=high, hideControls=True, **more
    )


def changed_rows(
    form: str, bench: OnBench | None, names: Sequence[str], typed: dict[str, str], showing: BenchDisplay
) -> list[dmc.TextInput]:
    """Build a field for each changed item, with the chosen sheet's value."""
    rows = []
    for name in names if bench else ():
        assert bench is not None
        item = bench.item(name)
        unit = showing.unit(item)
        was = showing.text(item, bench.sheet.readings.get(name))
        rows.append(
            dmc.TextInput(
                id={"type": "changed-value", "form": form, "item": name},
                label=f"{item.title} [{unit}]" if unit else item.title,
                description=showing.sign(item) or None,
                value=typed.get(name, ""),
                placeholder=f"was {was}" if bench.sheet.readings.get(name) else None,
            )
        )
    return rows


def kept_told(kept: SavedOuting) -> list[Any]:
    """Show what was saved, with its link, and which logs were not."""
    outing = kept.outing
    logs = ", ".join(log.file for log in outing.logs)
    link = html.A(f"outing {outing.id}", href=outing_address(outing.id))
    paragraphs = [html.P(["Added: ", link, f" of {outing.boat}. Setup sheet {outing.sheet_name}; {logs}."])]
    return [*paragraphs, *(html.P(f"Not saved: {error}") for error in kept.unused)]
