"""A boat's outings in order: every two-way and the best peak, with the sheet of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any, Final

import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure, empty_figure, error_bars
from dashboard.ui.palette import LIGHT, Palette
from telemetry.core.units import SPEED_UNITS, distance_text, speed_text
from telemetry.logbook import Outing, SavedTwoWay
from telemetry.text.logbook import moment_text

SYMBOLS: Final = {"counts": "circle", "does not count": "x-thin", "cannot tell": "diamond-open"}
"""The marker of each verdict."""
_SPREAD: Final = 0.3  # of an outing's two-ways about its place, in outings
_PEAK_AT: Final = 0.42
_DAYS_SHOWN: Final = 8
_LETTERS_SHOWN: Final = 40


def verdict_colour(verdict: str, palette: Palette) -> str:
    """Return a verdict's colour; its marker says the same."""
    return {"counts": palette.out, "cannot tell": palette.back}.get(verdict, palette.ink)


def outings_figure(
    outings: Sequence[Outing],
    two_ways: Sequence[SavedTwoWay],
    letters: Mapping[str, str],
    best: SavedTwoWay | None,
    unit: str,
    palette: Palette = LIGHT,
    *,
    coarse: bool = False,
) -> go.Figure:
    """Draw every two-way of a boat and each outing's best peak, with their 95 % intervals.

    Parameters
    ----------
    outings : sequence of Outing
        Of one boat, in order of time.
    two_ways : sequence of SavedTwoWay
        In order of time; within an outing they stand side by side.
    letters : mapping of str to str
        The letter of each sheet, by its id.
    best : SavedTwoWay or None
        The one with a ring around it.
    unit : str
        Of speeds.
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    if not outings:
        return empty_figure("No outing of this boat is in the logbook yet.", palette)
    figure = blank_figure(palette, coarse=coarse)
    number = {outing.id: k for k, outing in enumerate(outings)}
    places = _places(two_ways, number)
    for verdict, symbol in SYMBOLS.items():
        mine = [w for w in two_ways if w.verdict == verdict]
        if mine:
            colour = verdict_colour(verdict, palette)
            figure.add_trace(_points(mine, places, outings, number, unit, colour, symbol))
    figure.add_trace(_peaks(outings, unit, palette))
    if best is not None:
        figure.add_scatter(
            x=[places[best.outing_id, best.two_way_id]],
            y=[SPEED_UNITS[unit].from_si(best.average_mps)],
            mode="markers",
            marker={"size": 26, "symbol": "circle-open", "color": palette.ink, "line": {"width": 3}},
            hoverinfo="skip",
            name="best",
        )
    _sheets(figure, outings, letters, palette, _LETTERS_SHOWN // 2 if coarse else _LETTERS_SHOWN)
    every = max(1, -(-len(outings) // (_DAYS_SHOWN // 2 if coarse else _DAYS_SHOWN)))
    shown = range(0, len(outings), every)
    figure.update_xaxes(
        range=[-0.6, len(outings) - 0.4],
        tickvals=list(shown),
        ticktext=[_day(outings[k]) for k in shown],
        title={"text": "outings in order of time"},
        automargin=True,  # dates stand slanted where there is little room
    )
    figure.update_yaxes(title={"text": f"speed, {unit}"})
    figure.update_layout(margin={"l": 60, "r": 16, "t": 34, "b": 56})
    return figure


def _places(two_ways: Sequence[SavedTwoWay], number: Mapping[int, int]) -> dict[tuple[int, str], float]:
    """Place an outing's two-ways side by side around the outing's position."""
    places = {}
    for outing_id, group in groupby(two_ways, key=lambda w: w.outing_id):
        mine = list(group)
        for k, w in enumerate(mine):
            share = 0.0 if len(mine) == 1 else 2.0 * k / (len(mine) - 1) - 1.0
            places[outing_id, w.two_way_id] = number[outing_id] + _SPREAD * share
    return places


def _points(
    mine: Sequence[SavedTwoWay],
    places: Mapping[tuple[int, str], float],
    outings: Sequence[Outing],
    number: Mapping[int, int],
    unit: str,
    colour: str,
    symbol: str,
) -> go.Scatter:
    speed = SPEED_UNITS[unit]
    words = [
        f"{moment_text(w.start_utc)}, {outings[number[w.outing_id]].sheet_name}<br>{w.two_way_id}: "
        f"{speed_text(w.average_mps, unit, w.u95_mps)} over {distance_text(w.distance_m)}<br>{w.verdict}"
        for w in mine
    ]
    return go.Scatter(
        x=[places[w.outing_id, w.two_way_id] for w in mine],
        y=[speed.from_si(w.average_mps) for w in mine],
        error_y=error_bars([w.u95_mps / speed.factor_si for w in mine], colour),
        mode="markers",
        marker={"size": 10, "color": colour, "symbol": symbol, "line": {"width": 2.5, "color": colour}},
        hovertext=words,
        hoverinfo="text",
        name=mine[0].verdict,
    )


def _peaks(outings: Sequence[Outing], unit: str, palette: Palette) -> go.Scatter:
    speed = SPEED_UNITS[unit]
    peaks = [
        (k, o, o.best_peak_mps, o.best_peak_u95_mps or 0.0)
        for k, o in enumerate(outings)
        if o.best_peak_mps is not None
    ]
    return go.Scatter(
        x=[k + _PEAK_AT for k, _, _, _ in peaks],
        y=[speed.from_si(peak) for _, _, peak, _ in peaks],
        error_y=error_bars([half / speed.factor_si for _, _, _, half in peaks], palette.quiet),
        mode="markers",
        marker={"size": 11, "color": palette.quiet, "symbol": "triangle-up-open", "line": {"width": 2}},
        hovertext=[
            f"{moment_text(o.start_utc)}, {o.sheet_name}<br>best peak {speed_text(peak, unit, half)}"
            for _, o, peak, half in peaks
        ],
        hoverinfo="text",
        name="peak",
    )


def _sheets(
    figure: go.Figure, outings: Sequence[Outing], letters: Mapping[str, str], palette: Palette, most: int
) -> None:
    """Shade every other run of one sheet, with its letter above if there is room for so many."""
    shades: list[dict[str, Any]] = []
    words: list[dict[str, Any]] = []
    start = 0
    for k, (sheet_id, run) in enumerate(groupby(outings, key=lambda o: o.sheet_id)):
        stop = start + len(list(run))
        if k % 2:
            edges = {"x0": start - 0.5, "x1": stop - 0.5, "y0": 0, "y1": 1, "yref": "paper"}
            look = {"fillcolor": palette.grid, "line": {"width": 0}, "opacity": 0.6, "layer": "below"}
            shades.append({"type": "rect", **edges, **look})
        words.append(
            {
                "text": f"<b>{letters.get(sheet_id, '')}</b>",
                "x": (start + stop - 1) / 2,
                "y": 1.0,
                "yref": "paper",
                "yanchor": "bottom",
                "showarrow": False,
                "font": {"size": 15, "color": palette.ink},
            }
        )
        start = stop
    # All at once: plotly checks all existing shapes for each one that is added.
    figure.update_layout(shapes=shades, annotations=words if len(words) <= most else [])


def _day(outing: Outing) -> str:
    return "no date" if outing.start_utc is None else f"{outing.start_utc:%Y-%m-%d}"
