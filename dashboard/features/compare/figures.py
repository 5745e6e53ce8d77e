"""What a change did, measure by measure, and a measure against an item of the setup: pure figures."""

from __future__ import annotations

from typing import Any, Final

import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure, empty_figure
from dashboard.ui.palette import LIGHT, Palette
from telemetry.compare import Comparison, Effect, History, Point, Units
from telemetry.compare.wording import difference_text, reading_text, value_text
from telemetry.setup import Item

ROW_PX: Final = 62
_EDGE_PX: Final = 96
_WIDEST: Final = 8.0  # differences that matter; what reaches further is cut off and says so in words


def effects_figure(
    comparison: Comparison, units: Units, palette: Palette = LIGHT, *, coarse: bool = False
) -> go.Figure:
    """Draw every measure's difference with its 95 % interval on one axis.

    Measures have different units, so the axis counts in differences that matter: within the shaded band, from
    -1 to +1, nothing matters to the user. The figures themselves stand in words over each bar.

    Parameters
    ----------
    comparison : Comparison
    units : Units
        What the words are in.
    palette : Palette
    coarse : bool
        True for a finger: then a drag scrolls the page instead of zooming.
    """
    rows = [e for e in comparison.effects if e.u95 is not None]
    if not rows:
        return empty_figure("No measure has a difference with an interval yet.", palette)
    figure = blank_figure(palette, coarse=coarse)
    reach = 1.6
    for place, e in enumerate(rows):
        middle, half = _in_cares(e)
        reach = max(reach, min(abs(middle) + half, _WIDEST))
        figure.add_trace(
            go.Scatter(
                x=[middle],
                y=[place],
                error_x={"type": "data", "array": [half], "thickness": 3, "width": 9, "color": palette.ink},
                mode="markers",
                marker={"size": 11, "color": palette.ink, "symbol": _symbol(e)},
                hovertemplate=f"{e.measure.title}<br>{_words(e, units)}<extra></extra>",
            )
        )
        figure.add_annotation(
            text=f"<b>{e.measure.title}</b>  {_words(e, units)}",
            x=0.0,
            xref="paper",
            xanchor="left",
            y=place - 0.40,
            yanchor="middle",
            showarrow=False,
            font={"size": 13},
        )
    figure.add_shape(
        type="rect", x0=-1, x1=1, y0=0, y1=1, yref="paper", line={"width": 0}, layer="below",
        fillcolor=palette.grid,
    )  # fmt: skip
    figure.add_shape(
        type="line", x0=0, x1=0, y0=0, y1=1, yref="paper", line={"width": 1.5, "color": palette.quiet}
    )
    figure.update_xaxes(
        range=[-1.08 * reach, 1.08 * reach], title={"text": "after less before, in differences that matter"}
    )
    figure.update_yaxes(range=[len(rows) - 0.55, -0.75], visible=False)
    figure.update_layout(height=ROW_PX * len(rows) + _EDGE_PX, margin={"l": 12, "r": 12, "t": 8, "b": 52})
    return figure


def _in_cares(effect: Effect) -> tuple[float, float]:
    return (effect.difference or 0.0) / effect.care, (effect.u95 or 0.0) / effect.care


def _symbol(effect: Effect) -> str:
    """Tell the verdict by shape as well as in words."""
    shapes = {effect.measure.up: "triangle-right", effect.measure.down: "triangle-left"}
    return shapes.get(effect.verdict, "circle-open")


def _words(effect: Effect, units: Units) -> str:
    told = difference_text(effect.measure, effect.difference or 0.0, units, effect.u95)
    return f"{told}, {effect.verdict}"


def history_figure(
    told: History, item: Item | None, units: Units, palette: Palette = LIGHT, *, coarse: bool = False
) -> go.Figure:
    """Draw each sheet's mean with its 95 % interval against one item, or in order of time.

    Filled points differ from the best sheet by the item alone, open ones by other items as well. A ring marks
    the best sheet.

    Parameters
    ----------
    told : History
    item : Item or None
        What the points lie against.
    units : Units
    palette : Palette
    coarse : bool
        True for a finger: then a drag scrolls the page instead of zooming.
    """
    points = [p for p in told.points if told.item is None or p.reading is not None]
    if not points:
        return empty_figure("No outing has this figure together with this item.", palette)
    figure = blank_figure(palette, coarse=coarse)
    x = [_place(p, told) for p in points]
    scale = units.scale(told.measure)
    figure.add_trace(
        go.Scatter(
            x=x,
            y=[units.shown(told.measure, p.level.mean) for p in points],
            error_y={
                "type": "data",
                "array": [(p.level.u95 or 0.0) / scale for p in points],
                "thickness": 2.5,
                "width": 8,
                "color": palette.ink,
            },
            error_x=_gauge_bars(points, told, palette),
            mode="markers+text",
            text=[f"  {p.level.count}" for p in points],
            textposition="top right",
            textfont={"size": 12, "color": palette.quiet},
            marker={
                "size": 12,
                "color": palette.ink,
                "line": {"width": 2, "color": palette.ink},
                "symbol": ["circle-open" if p.also else "circle" for p in points],
            },
            hovertext=[_point_words(p, told, item, units) for p in points],
            hoverinfo="text",
            cliponaxis=False,
        )
    )
    if told.best in points:
        best = points.index(told.best)
        figure.add_trace(
            go.Scatter(
                x=[x[best]],
                y=[units.shown(told.measure, told.best.level.mean)],
                mode="markers",
                marker={"size": 24, "symbol": "circle-open", "color": palette.out, "line": {"width": 3}},
                hoverinfo="skip",
            )
        )
    title = "outing" if item is None else item.title + ("" if item.unit == "1" else f", {item.unit}")
    figure.update_xaxes(title={"text": title})
    figure.update_yaxes(title={"text": f"{told.measure.title}, {units.name(told.measure)}"})
    figure.update_layout(margin={"l": 64, "r": 24, "t": 16, "b": 56})
    return figure


def _place(point: Point, told: History) -> Any:
    """Say where a point lies: at the item's value, or at the sheet's first day."""
    if told.item is None:
        return point.level.first_utc if point.level.first_utc is not None else point.sheet
    return None if point.reading is None else point.reading.value


def _gauge_bars(points: list[Point], told: History, palette: Palette) -> dict[str, Any] | None:
    """Draw how far the gauge can tell, where the item is measured."""
    halves = [1.96 * (p.reading_u or 0.0) for p in points]
    if told.item is None or not any(halves):
        return None
    return {"type": "data", "array": halves, "thickness": 1, "width": 0, "color": palette.quiet}


def _point_words(point: Point, told: History, item: Item | None, units: Units) -> str:
    value = "" if item is None else f"{item.title}: {reading_text(item, point.reading)}<br>"
    mean = value_text(told.measure, point.level.mean, units, point.level.u95)
    also = f"<br>also differs: {', '.join(point.also).lower()}" if point.also else ""
    return f"{point.sheet}<br>{value}{mean}<br>{point.level.count} in {point.level.outings} outings{also}"
