"""The empty figure on which all others are built."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from dashboard.ui.palette import FONT, Palette, with_alpha


def blank_figure(palette: Palette, *, coarse: bool = False) -> go.Figure:
    """Return a figure with axes, type and colours set and no data."""
    axis = {
        "gridcolor": palette.grid,
        "linecolor": palette.quiet,
        "tickcolor": palette.quiet,
        "showline": True,
        "ticks": "outside",
        "zeroline": False,
        "title": {"font": {"size": 13, "color": palette.quiet}, "standoff": 8},
    }
    layout = {
        "template": "none",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 13, "color": palette.ink},
        "margin": {"l": 52, "r": 12, "t": 46, "b": 48},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": palette.paper,
            "bordercolor": palette.ink,
            "font": {"family": FONT, "size": 14, "color": palette.ink},
            "align": "left",
        },
        "dragmode": False if coarse else "zoom",
        "modebar": {"bgcolor": "rgba(0,0,0,0)", "color": palette.quiet, "activecolor": palette.ink},
        "uirevision": "keep",
        "xaxis": axis,
        "yaxis": axis,
    }
    return go.Figure(layout=layout)  # at once: piece by piece, plotly takes ten times as long


def pass_shade(x0: Any, x1: Any, colour: str, yref: str) -> dict[str, Any]:
    """Return the shape that shades a pass in its direction's colour, over all of ``yref``."""
    return {
        "type": "rect",
        "x0": x0,
        "x1": x1,
        "y0": 0,
        "y1": 1,
        "yref": yref,
        "fillcolor": with_alpha(colour, 0.13),
        "line": {"width": 0},
        "layer": "below",
    }


def empty_figure(text: str, palette: Palette) -> go.Figure:
    """Return a figure that says why it is empty."""
    figure = blank_figure(palette)
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    figure.add_annotation(
        text=text, x=0.5, y=0.5, xref="paper", yref="paper", showarrow=False, font={"size": 15}
    )
    return figure


def error_bars(halves: Sequence[float], colour: str) -> dict[str, Any]:
    """Return the bars of 95 % intervals, each half as long as given, in the axis' unit."""
    return {"type": "data", "array": list(halves), "thickness": 2, "width": 5, "color": colour}
