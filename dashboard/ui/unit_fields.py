"""Convert a page's number fields when the reader changes the units."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from dash import Dash, Input, Output, State, dcc, no_update

from dashboard.ui.fields import Chosen, Field, reworded
from dashboard.ui.units_bar import CHOSEN


def chosen(kind: type[Input] | type[State] = State) -> dict[str, Any]:
    """Pass a callback the units, as keyword arguments of :class:`Chosen`."""
    return {name: kind(part, "value") for name, part in CHOSEN.items()}


def memory(form: str) -> dcc.Store:
    """Store the units in which a form's fields are."""
    return dcc.Store(id=f"{form}-units")


def follow_units(app: Dash, form: str, fields: Iterable[Field]) -> None:
    """Relabel a form's fields in the chosen units, and convert their values when the units change."""
    following = [field for field in fields if field.kind]
    hinting = [field for field in following if field.usual is not None]

    @app.callback(
        output=(
            [Output(field.part, "label") for field in following],
            [Output(field.part, "placeholder") for field in hinting],
            [Output(field.part, "value", allow_duplicate=True) for field in following],
            Output(f"{form}-units", "data"),
        ),
        inputs={"now": chosen(Input)},
        state={
            "values": [State(field.part, "value") for field in following],
            "before": State(f"{form}-units", "data"),
        },
        prevent_initial_call="initial_duplicate",
    )
    def follow_the_units(
        now: dict[str, str], values: list[Any], before: dict[str, str] | None
    ) -> tuple[Any, ...]:
        units = Chosen(**now)
        labels = [field.label(units) for field in following]
        hints = [field.hint(units) for field in hinting]
        if before is None:  # the form is new, and what fills it knows the units
            return labels, hints, [no_update] * len(following), now
        was = Chosen(**before)
        said = [reworded(field, value, was, units) for field, value in zip(following, values, strict=True)]
        return labels, hints, said, now
