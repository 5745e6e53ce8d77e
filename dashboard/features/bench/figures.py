"""Drawings of the bench: the positive direction of each measure that has a sign."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure
from dashboard.ui.palette import Palette, with_alpha
from telemetry.setup import BenchDisplay

_STERN_X: Final = 3.0


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


def strut_drawing(palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw a positive strut depth and a positive strut angle for this user."""
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


def tab_drawing(palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw a positive tab gap for this user."""
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


def _from_above(palette: Palette) -> go.Figure:
    """Draw the hull from above, bow to the right, with its keel line."""
    figure = _bare(palette)
    figure.add_scatter(
        x=[_STERN_X, 8.0, 8.0, _STERN_X, _STERN_X], y=[-1.7, -1.7, 1.7, 1.7, -1.7],
        mode="lines", fill="toself",
        line={"color": palette.ink, "width": 2}, fillcolor=with_alpha(palette.raw, 0.25), hoverinfo="skip",
    )  # fmt: skip
    _line(figure, [(-4.0, 0.0), (8.0, 0.0)], palette.quiet, 2, dash="dash")
    _word(figure, 7.8, 0.35, "keel line, bow →", palette.ink, 13, xanchor="right")
    _word(figure, -4.6, 2.1, "port", palette.quiet, 13, xanchor="left")
    _word(figure, -4.6, -2.1, "starboard", palette.quiet, 13, xanchor="left")
    figure.update_xaxes(range=[-4.8, 8.3])
    figure.update_yaxes(range=[-2.6, 2.6])
    return figure


def rudder_drawing(palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw a positive rudder toe for this user, from above."""
    figure = _from_above(palette)
    side = -1.0 if "rudder-toe" not in showing.turned else 1.0
    edge = (-2.4, side * 1.1)
    _line(figure, [(2.6, 0.0), (1.2, 0.0)], palette.ink, 4)
    _line(figure, [(1.2, 0.0), edge], palette.ink, 7)
    _arrow(figure, (edge[0], 0.0), edge, palette.out)
    _word(figure, edge[0] - 0.3, side * 0.6, "+ toe", palette.out, 15, xanchor="right")
    _word(figure, 0.6, side * 1.25, "rudder", palette.ink, 13)
    return figure


def plumb_drawing(palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw a positive lean of the rudder for this user, from astern."""
    figure = _bare(palette)
    figure.add_scatter(
        x=[-3.4, -3.4, 3.4, 3.4, -3.4], y=[0.2, 2.2, 2.2, 0.2, 0.2], mode="lines", fill="toself",
        line={"color": palette.ink, "width": 2}, fillcolor=with_alpha(palette.raw, 0.25), hoverinfo="skip",
    )  # fmt: skip
    side = 1.0 if "rudder-plumb" not in showing.turned else -1.0
    tip = (side * 1.1, -2.2)
    _line(figure, [(0.0, 2.2), (0.0, -2.4)], palette.quiet, 2, dash="dash")
    _line(figure, [(0.0, 1.2), tip], palette.ink, 7)
    _arrow(figure, (0.0, tip[1]), tip, palette.out)
    _word(figure, side * 1.4, tip[1], "+ lean", palette.out, 15, xanchor="left" if side > 0 else "right")
    _word(figure, -3.6, -1.0, "port", palette.quiet, 13, xanchor="right")
    _word(figure, 3.6, -1.0, "starboard", palette.quiet, 13, xanchor="left")
    _word(figure, -3.2, 1.8, "from astern", palette.ink, 13, xanchor="left")
    figure.update_xaxes(range=[-6.5, 6.5])
    figure.update_yaxes(range=[-2.7, 2.5])
    return figure


def fin_drawing(palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw a positive toe of a turn fin for this user, from above."""
    figure = _from_above(palette)
    inwards = "fin-toe" not in showing.turned
    lead = 1.0 if inwards else 2.2
    for side in (1.0, -1.0):
        _line(figure, [(3.2, side * 1.6), (6.4, side * 1.6)], palette.quiet, 1, dash="dot")
        _line(figure, [(3.2, side * 1.6), (6.4, side * lead)], palette.ink, 7)
    _arrow(figure, (6.4, 1.6), (6.4, lead), palette.out)
    _word(figure, 6.6, lead, "+ toe", palette.out, 15, xanchor="left")
    _word(figure, 2.7, 1.6, "turn fin", palette.ink, 13, xanchor="right")
    return figure


SIGN_DRAWINGS: Final[Mapping[str, Callable[[Palette, BenchDisplay], go.Figure]]] = MappingProxyType(
    {
        "strut": strut_drawing,
        "tab": tab_drawing,
        "rudder": rudder_drawing,
        "plumb": plumb_drawing,
        "fin": fin_drawing,
    }
)
"""The drawings of the signs, in the order of the page."""
_OF_SIGN: Final = {
    "strut-depth": "strut",
    "strut-angle": "strut",
    "tab-gap": "tab",
    "rudder-toe": "rudder",
    "rudder-plumb": "plumb",
    "fin-toe": "fin",
}


def sign_drawing(sign: str, palette: Palette, showing: BenchDisplay) -> go.Figure:
    """Draw one of :data:`~telemetry.setup.display_units.SIGNS`."""
    return SIGN_DRAWINGS[_OF_SIGN[sign]](palette, showing)
