"""The masses in the hull, to scale along it, and their centre of gravity."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure
from dashboard.ui.palette import Palette, with_alpha
from telemetry.core.units import convert
from telemetry.setup import Balance, BenchDisplay, Estimate, Move, Part, Restoration, length_text, mass_text

_HEIGHTS: Final = {1.0: "middle right", 1.5: "top center", 0.55: "middle left"}
"""Neighbours stand at different heights, so that none hides another, with their names on different sides."""
_LANE: Final = 2.25  # of the first arrow; each further one stands higher
_HULL: Final = ((0.0, 0.15), (0.9, 0.15), (1.0, 1.9), (0.0, 1.75))  # shares of its length, and heights
_LARGEST_PX: Final = 46.0
_ROOM: Final = 0.04  # of the drawn length, at both ends


def balance_drawing(
    before: Sequence[Part],
    after: Sequence[Part],
    now: Balance,
    then: Balance,
    as_set_mm: Estimate | None,
    hull_length_mm: float | None,
    restoration: Restoration | None,
    palette: Palette,
    showing: BenchDisplay,
) -> go.Figure:
    """Draw the boat from the side, transom at the left.

    A disc's area is its mass, and its place along the hull is true; its height has no meaning. Lines mark the
    centre of gravity as set, as found and after the what-if; an arrow is the move that restores it.

    Parameters
    ----------
    before, after : sequence of Part
        The same parts in the same order, as they are and after the what-if.
    now, then : Balance
        The balance of each.
    as_set_mm : Estimate or None
        The sheet's centre of gravity [mm].
    hull_length_mm : float or None
        Without it neither hull nor percent are drawn.
    restoration : Restoration or None
    palette : Palette
    showing : BenchDisplay
    """
    figure = blank_figure(palette)
    figure.update_layout(margin={"l": 16, "r": 16, "t": 44, "b": 46}, dragmode=False)
    rank = sorted(range(len(after)), key=lambda i: after[i].place_mm.value)
    levels = list(_HEIGHTS)
    heights = {after[i].name: levels[k % len(levels)] for k, i in enumerate(rank)}
    if hull_length_mm is not None:
        _hull(figure, hull_length_mm, palette, showing)
    _discs(figure, after, heights, palette, showing)
    _ghosts(figure, before, after, heights, palette, showing)
    _centres(figure, now, then, as_set_mm, palette, showing)
    moves = () if restoration is None else restoration.together
    for k, move in enumerate(moves):
        _arrow(figure, move, _LANE + 0.35 * k, heights[move.name], palette, showing)
    low, high = _reach(before, after, hull_length_mm, restoration)
    ends = [convert(end, "mm", showing.length) for end in (low, high)]
    figure.update_yaxes(visible=False, range=[-1.15, _LANE + 0.35 * len(moves)], fixedrange=True)
    figure.update_xaxes(
        title={"text": f"ahead of the transom [{showing.length}]"}, fixedrange=True, range=ends
    )
    if hull_length_mm is not None:
        _percent(figure, low / hull_length_mm, high / hull_length_mm)
    return figure


def _at(length_mm: float, showing: BenchDisplay) -> float:
    return convert(length_mm, "mm", showing.length)


def _reach(
    before: Sequence[Part],
    after: Sequence[Part],
    hull_length_mm: float | None,
    restoration: Restoration | None,
) -> tuple[float, float]:
    """Find the length to draw: the hull, and everything beyond it."""
    places = [part.place_mm.value for part in (*before, *after)]
    places += [] if restoration is None else [move.to_mm for move in restoration.together]
    low, high = min(0.0, *places), max(hull_length_mm or 0.0, *places)
    room = _ROOM * (high - low or 1.0)
    return low - room, high + room


def _hull(figure: go.Figure, length_mm: float, palette: Palette, showing: BenchDisplay) -> None:
    corners = [(_at(share * length_mm, showing), height) for share, height in (*_HULL, _HULL[0])]
    x, y = zip(*corners, strict=True)
    figure.add_scatter(
        x=x, y=y, mode="lines", fill="toself", fillcolor=with_alpha(palette.raw, 0.12),
        line={"color": palette.quiet, "width": 2}, hoverinfo="skip", name="hull",
    )  # fmt: skip


def _discs(
    figure: go.Figure,
    parts: Sequence[Part],
    heights: dict[str, float],
    palette: Palette,
    showing: BenchDisplay,
) -> None:
    masses = [part.mass_kg.value for part in parts]
    figure.add_scatter(
        x=[_at(part.place_mm.value, showing) for part in parts],
        y=[heights[part.name] for part in parts],
        mode="markers+text",
        text=[part.name for part in parts],
        textposition=[_HEIGHTS[heights[part.name]] for part in parts],
        textfont={"size": 13, "color": palette.ink},
        marker={
            "size": masses,
            "sizemode": "area",
            "sizeref": 2.0 * max(masses) / _LARGEST_PX**2,  # plotly's own rule for discs by area
            "sizemin": 3,
            "color": with_alpha(palette.raw, 0.6),
            "line": {"color": palette.ink, "width": 2},
        },
        hovertext=[
            f"{part.name}: {mass_text(part.mass_kg.value, showing)} at "
            f"{length_text(part.place_mm.value, showing)}"
            for part in parts
        ],
        hoverinfo="text",
        name="masses",
        cliponaxis=False,
    )


def _ghosts(
    figure: go.Figure,
    before: Sequence[Part],
    after: Sequence[Part],
    heights: dict[str, float],
    palette: Palette,
    showing: BenchDisplay,
) -> None:
    """Mark where parts stood that what if moves."""
    went = [a for a, b in zip(before, after, strict=True) if a.place_mm.value != b.place_mm.value]
    if went:
        figure.add_scatter(
            x=[_at(part.place_mm.value, showing) for part in went],
            y=[heights[part.name] for part in went],
            mode="markers",
            marker={"size": 16, "symbol": "circle-open-dot", "color": palette.quiet},
            hoverinfo="skip",
            name="before",
        )


def _centres(
    figure: go.Figure,
    now: Balance,
    then: Balance,
    as_set_mm: Estimate | None,
    palette: Palette,
    showing: BenchDisplay,
) -> None:
    """Mark the centres of gravity by colour, line style and label."""
    marks = [("as found", now.cog_mm.value, palette.out, "solid")]
    if abs(then.cog_mm.value - now.cog_mm.value) > 1e-6:
        marks.append(("what if", then.cog_mm.value, palette.back, "dash"))
    if as_set_mm is not None:  # last, so that its dots are seen on a line at the same place
        marks.append(("as set", as_set_mm.value, palette.ink, "dot"))
    for row, (word, place_mm, colour, dash) in enumerate(marks):
        x, y = _at(place_mm, showing), -0.1 - 0.36 * row
        figure.add_scatter(
            x=[x, x], y=[y, 2.1], mode="lines", line={"color": colour, "width": 3, "dash": dash},
            hoverinfo="skip", name=word,
        )  # fmt: skip
        figure.add_annotation(
            x=x, y=y, text=f" {word} {length_text(place_mm, showing)}", showarrow=False, xanchor="left",
            yanchor="middle", font={"color": colour, "size": 14},
        )  # fmt: skip


def _arrow(
    figure: go.Figure, move: Move, lane: float, height: float, palette: Palette, showing: BenchDisplay
) -> None:
    """Draw a move above the deck, with a thin line down to its part."""
    start, end = _at(move.from_mm, showing), _at(move.to_mm, showing)
    way = "forward" if move.to_mm > move.from_mm else "back"
    figure.add_scatter(
        x=[start, start], y=[height, lane], mode="lines",
        line={"color": palette.ink, "width": 1, "dash": "dot"}, hoverinfo="skip", name="move",
    )  # fmt: skip
    figure.add_annotation(
        x=end, y=lane, ax=start, ay=lane, xref="x", yref="y", axref="x", ayref="y", text="",
        showarrow=True, arrowhead=2, arrowsize=1.0, arrowwidth=3, arrowcolor=palette.ink,
    )  # fmt: skip
    figure.add_annotation(
        x=max(start, end), y=lane, xanchor="left", xshift=8, showarrow=False,
        text=f"<b>{move.name} {way} {length_text(abs(move.to_mm - move.from_mm), showing)}</b>",
        font={"size": 13, "color": palette.ink},
    )  # fmt: skip


def _percent(figure: go.Figure, low: float, high: float) -> None:
    """Draw a second axis in percent of the hull above; an axis is drawn only if something uses it."""
    figure.add_scatter(x=[0.0, 100.0], y=[None, None], xaxis="x2", hoverinfo="skip", name="percent")
    figure.update_layout(
        xaxis2={
            "overlaying": "x", "side": "top", "range": [100.0 * low, 100.0 * high], "fixedrange": True,
            "ticksuffix": " %", "dtick": 20, "tickangle": 0, "ticks": "outside", "showgrid": False,
            "zeroline": False, "tickfont": {"size": 12},
        }
    )  # fmt: skip
