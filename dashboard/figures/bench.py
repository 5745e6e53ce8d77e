"""Drawings of the bench: how strut and tab count, and where the masses lie."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import plotly.graph_objects as go

from dashboard.figures.frame import blank_figure
from dashboard.figures.palette import Palette, with_alpha
from telemetry.setup import Balance, Part, Restoration, Showing
from telemetry.units import convert

_STERN_X: Final = 3.0
_HEIGHTS: Final = (1.0, 1.4, 0.6)


def _bare(palette: Palette) -> go.Figure:
    figure = blank_figure(palette)
    figure.update_layout(margin={"l": 4, "r": 4, "t": 4, "b": 4}, dragmode=False, hovermode=False)
    figure.update_xaxes(visible=False, fixedrange=True)
    figure.update_yaxes(visible=False, fixedrange=True, scaleanchor="x")
    return figure


def _line(
    figure: go.Figure, points: Sequence[tuple[float, float]], colour: str, width: float = 2.0, **rest: Any
) -> None:
    x, y = zip(*points, strict=True)
    figure.add_scatter(
        x=x, y=y, mode="lines", line={"color": colour, "width": width, **rest}, hoverinfo="skip"
    )


def _arrow(figure: go.Figure, start: tuple[float, float], end: tuple[float, float], colour: str) -> None:
    figure.add_annotation(
        x=end[0], y=end[1], ax=start[0], ay=start[1], xref="x", yref="y", axref="x", ayref="y", text="",
        showarrow=True, arrowhead=2, arrowsize=1.2, arrowwidth=3, arrowcolor=colour,
    )  # fmt: skip


def _word(figure: go.Figure, x: float, y: float, text: str, colour: str, size: int = 14, **rest: Any) -> None:
    figure.add_annotation(x=x, y=y, text=text, showarrow=False, font={"size": size, "color": colour}, **rest)


def _hull(figure: go.Figure, palette: Palette) -> None:
    """Draw the stern over the plate, bow to the right, ride surface on the plate."""
    figure.add_scatter(
        x=[_STERN_X, 8.0, 8.0, _STERN_X, _STERN_X], y=[0.0, 0.0, 2.4, 2.0, 0.0],
        mode="lines", fill="toself",
        line={"color": palette.ink, "width": 2}, fillcolor=with_alpha(palette.raw, 0.25), hoverinfo="skip",
    )  # fmt: skip
    _line(figure, [(-3.2, 0.0), (8.0, 0.0)], palette.quiet, 2, dash="dash")
    _word(figure, 7.9, -0.45, "plate", palette.quiet, 13, xanchor="right")
    _word(figure, 7.8, 1.1, "hull, bow →", palette.ink, 13, xanchor="right")


def strut_drawing(palette: Palette, showing: Showing) -> go.Figure:
    """Draw what a positive strut depth and a positive strut angle mean to this user."""
    figure = _bare(palette)
    _hull(figure, palette)
    tilt = 0.12 if "strut-angle" not in showing.turned else -0.12
    rear, front = (-1.0, -1.5 + tilt * 4.0), (3.0, -1.5)
    _line(figure, [front, rear], palette.ink, 9)
    _line(figure, [(1.5, -1.5 + tilt * 1.5), (2.2, 0.9), (_STERN_X, 0.9)], palette.ink, 4)
    blade = (rear[0] - 0.25, rear[1])
    _line(figure, [(blade[0], blade[1] - 0.6), (blade[0], blade[1] + 0.6)], palette.ink, 6)
    _line(figure, [front, (-2.6, -1.5)], palette.quiet, 1, dash="dot")
    down = "strut-depth" not in showing.turned
    start, end = ((-0.6, 0.0), (-0.6, rear[1])) if down else ((-0.6, rear[1]), (-0.6, 0.0))
    _arrow(figure, start, end, palette.out)
    _word(figure, -0.3, -0.42, "+ depth", palette.out, 15, xanchor="left")
    at = (-2.1, -1.5)
    _arrow(figure, at, (-2.1, -1.5 + math.copysign(0.9, tilt)), palette.back)
    _word(figure, -2.3, -1.5 + math.copysign(1.05, tilt), "+ angle", palette.back, 15, xanchor="right")
    figure.update_xaxes(range=[-4.8, 8.3])
    figure.update_yaxes(range=[-3.0, 2.6])
    return figure


def tab_drawing(palette: Palette, showing: Showing) -> go.Figure:
    """Draw what a positive tab gap means to this user."""
    figure = _bare(palette)
    _hull(figure, palette)
    above = "tab-gap" not in showing.turned
    edge = (-1.2, 0.8 if above else -0.8)
    _line(figure, [(_STERN_X, 0.06), edge], palette.ink, 6)
    _word(figure, 1.0, 1.0 if above else -1.0, "tab", palette.ink, 13)
    _arrow(figure, (edge[0], 0.0), edge, palette.out)
    _word(figure, edge[0] - 0.5, edge[1] / 2.0, "+ gap", palette.out, 15, xanchor="right")
    figure.update_xaxes(range=[-4.8, 8.3])
    figure.update_yaxes(range=[-1.6, 2.6])
    return figure


def balance_drawing(
    parts: Sequence[Part],
    now: Balance,
    then: Balance,
    hull_length_mm: float | None,
    restoration: Restoration | None,
    palette: Palette,
    showing: Showing,
) -> go.Figure:
    """Draw the masses along the hull, and the centre of gravity before and after."""
    figure = blank_figure(palette)
    figure.update_layout(margin={"l": 16, "r": 16, "t": 12, "b": 46}, dragmode=False)
    heaviest = max(part.mass_kg.value for part in parts)
    places = [convert(part.place_mm.value, "mm", showing.length) for part in parts]
    # Neighbours stand at different heights, so that none hides another.
    rank = sorted(range(len(parts)), key=places.__getitem__)
    heights = [_HEIGHTS[rank.index(i) % len(_HEIGHTS)] for i in range(len(parts))]
    figure.add_scatter(
        x=places, y=heights, mode="markers+text", text=[part.name for part in parts],
        textposition="middle right",
        marker={
            "size": [10.0 + 22.0 * math.sqrt(part.mass_kg.value / heaviest) for part in parts],
            "color": with_alpha(palette.raw, 0.55), "line": {"color": palette.ink, "width": 2},
        },
    )  # fmt: skip
    marks = [(now, "now", palette.out)]
    if abs(then.cog_mm.value - now.cog_mm.value) > 1e-6:
        marks.append((then, "then", palette.back))
    leftmost = min(told.cog_mm.value for told, _, _ in marks)
    for told, word, colour in marks:
        x = convert(told.cog_mm.value, "mm", showing.length)
        dash = "solid" if word == "now" else "dash"
        figure.add_vline(x=x, line={"color": colour, "width": 3, "dash": dash})
        is_left = len(marks) > 1 and told.cog_mm.value == leftmost
        figure.add_annotation(
            x=x, y=0.0, yref="paper", yanchor="bottom", text=f" {word} {x:.4g} ", showarrow=False,
            xanchor="right" if is_left else "left", font={"color": colour, "size": 14},
        )  # fmt: skip
    if restoration is not None:
        x = convert(restoration.wanted_mm, "mm", showing.length)
        figure.add_vline(x=x, line={"color": palette.ink, "width": 1, "dash": "dot"})
        figure.add_annotation(
            x=x, y=1.0, yref="paper", yanchor="top", text="wanted", showarrow=False, xanchor="left"
        )
    if hull_length_mm is not None:
        figure.add_shape(
            type="rect", x0=0.0, x1=convert(hull_length_mm, "mm", showing.length), y0=0.35, y1=1.65,
            layer="below",
            line={"color": palette.quiet, "width": 2}, fillcolor="rgba(0,0,0,0)",
        )  # fmt: skip
    figure.update_yaxes(visible=False, range=[-0.2, 2.2], fixedrange=True)
    figure.update_xaxes(
        title={"text": f"ahead of the transom [{showing.length}]"}, fixedrange=True, rangemode="tozero"
    )
    return figure
