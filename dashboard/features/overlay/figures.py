"""Overlaid passes: a row for each quantity on one abscissa, and the course from above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import plotly.graph_objects as go

from dashboard.features.overlay.line_styles import Look
from dashboard.ui.base_figure import blank_figure, empty_figure
from dashboard.ui.direction import Direction, arrow
from dashboard.ui.downsample import RESAMPLED, Window, resample
from dashboard.ui.palette import LIGHT, Palette, with_alpha
from telemetry.core.units import Unit
from telemetry.pass_overlay import ANCHORS, QUANTITIES, SPEED, AlignedPass, Overlay, Signal, in_one_frame

OVERLAY_LINE_POINTS: Final = 1200
_FIRST_PX, _ROW_PX, _EDGE_PX = 320, 120, 96
_GAP_PX: Final = 18
_TOGETHER_M: Final = 40.0  # on the drawing only: starts that share a name
_DAY_MS: Final = 1000.0


@dataclass(frozen=True, slots=True)
class PlotRow:
    """One quantity of an overlay: its name, axis, title and unit as shown."""

    quantity: str
    axis: str
    title: str
    unit: Unit


def plot_rows(overlay: Overlay, speed_unit: Unit) -> tuple[PlotRow, ...]:
    """List the quantities that any of the passes has, in order."""
    there = [q for q in QUANTITIES if any(q in one.curves.signals for one in overlay.laid)]
    return tuple(
        PlotRow(
            name,
            "y" if k == 0 else f"y{k + 1}",
            QUANTITIES[name].title,
            speed_unit if name == SPEED else QUANTITIES[name].unit,
        )
        for k, name in enumerate(there)
    )


def abscissa_title(overlay: Overlay) -> str:
    """Describe the abscissa and its origin."""
    if overlay.abscissa == "day":
        return "Time of day (UTC)"
    if overlay.anchor == "course":
        return f"Along {ANCHORS['course']} [m]"
    what, unit = ("Along the course", "m") if overlay.abscissa == "distance" else ("Time", "s")
    return f"{what} from {ANCHORS[overlay.anchor]} [{unit}]"


def overlay_figure(
    overlay: Overlay,
    looked: Sequence[Look],
    speed_unit: Unit,
    palette: Palette = LIGHT,
    *,
    coarse: bool = False,
    window: Window | None = None,
) -> go.Figure:
    """Draw overlaid passes.

    Parameters
    ----------
    overlay : Overlay
    looked : sequence of Look
        Of all passes that were given to be aligned, by ``AlignedPass.index``.
    speed_unit : Unit
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    window : (float, float), optional
        The visible part of the abscissa, in units of the plot's axis.
    """
    if not overlay.laid:
        return empty_figure("No pass to draw on this abscissa", palette)
    rows = plot_rows(overlay, speed_unit)
    figure = blank_figure(palette, coarse=coarse)
    height = _FIRST_PX + (_ROW_PX + _GAP_PX) * (len(rows) - 1)
    figure.update_layout(_axes(rows, height, palette))
    lines = [(row, one) for row in rows for one in overlay.laid if row.quantity in one.curves.signals]
    banded = [(row, one) for row, one in lines if one.curves.signals[row.quantity].u95 is not None]
    figure.add_traces([_band(row, one, looked[one.index], overlay, palette, window) for row, one in banded])
    figure.add_traces([_line(row, one, looked[one.index], overlay, palette, window) for row, one in lines])
    figure.update_xaxes(anchor=rows[-1].axis, title_text=abscissa_title(overlay))
    if overlay.abscissa == "day":
        figure.update_xaxes(type="date", tickformat="%H:%M:%S")
    else:
        figure.add_shape(**_nought(palette))
    figure.update_layout(
        height=height + _EDGE_PX,
        margin={"t": 28},
        uirevision=f"{overlay.abscissa} {overlay.anchor}",
        hovermode="x",
        hoverdistance=-1,
        annotations=[_name(one, looked[one.index], k, overlay, speed_unit, palette)
                     for k, one in enumerate(overlay.laid)],
    )  # fmt: skip
    return figure


def on_axis(overlay: Overlay, x: Any) -> Any:
    """Convert values of the abscissa to the plot's axis, which counts a day in milliseconds."""
    return np.asarray(x) * (_DAY_MS if overlay.abscissa == "day" else 1.0)


def _axes(rows: Sequence[PlotRow], height: int, palette: Palette) -> dict[str, Any]:
    axes: dict[str, Any] = {}
    top = 1.0
    for k, row in enumerate(rows):
        bottom = max(top - (_FIRST_PX if k == 0 else _ROW_PX) / height, 0.0)
        axes[f"yaxis{row.axis[1:]}"] = {
            "domain": [bottom, top],
            "title": {"text": _axis_title(row), "font": {"size": 12, "color": palette.quiet}},
            "gridcolor": palette.grid,
            "linecolor": palette.quiet,
            "showline": True,
            "zeroline": row.quantity.startswith("ripple"),
            "zerolinecolor": palette.grid,
            "nticks": 6 if k == 0 else 4,
        }
        top = bottom - _GAP_PX / height
    return axes


def _axis_title(row: PlotRow) -> str:
    """Format an axis' title, a long one on two lines."""
    first, _, rest = row.title.partition(" of the ")
    return f"{first} of<br>the {rest} [{row.unit.name}]" if rest else f"{row.title} [{row.unit.name}]"


def _thinned(
    row: PlotRow, one: AlignedPass, overlay: Overlay, window: Window | None
) -> tuple[Any, Any, Signal]:
    """Return the samples of a line that are drawn: place on the axis, value shown, and the signal itself."""
    signal = one.curves.signals[row.quantity]
    x = on_axis(overlay, one.at(signal.t_s))
    kept = resample(x, signal.value, OVERLAY_LINE_POINTS, window)
    u95 = None if signal.u95 is None else signal.u95[kept]
    return x[kept], row.unit.from_si(signal.value[kept]), Signal(signal.t_s[kept], signal.value[kept], u95)


def _line(
    row: PlotRow, one: AlignedPass, look: Look, overlay: Overlay, palette: Palette, window: Window | None
) -> go.Scatter:
    x, shown, _ = _thinned(row, one, overlay, window)
    return go.Scatter(
        x=x,
        y=shown,
        name=look.mark,
        yaxis=row.axis,
        mode="lines",
        line={"color": palette.of(look.direction), "width": 2.2, "dash": look.dash},
        hoverinfo="none",
        meta=RESAMPLED,
    )


def _band(
    row: PlotRow, one: AlignedPass, look: Look, overlay: Overlay, palette: Palette, window: Window | None
) -> go.Scatter:
    """Fill the 95 % band of a line, as far as it is known."""
    x, shown, signal = _thinned(row, one, overlay, window)
    half = np.full(x.size, np.nan) if signal.u95 is None else signal.u95 / row.unit.factor_si
    known = np.isfinite(half + shown)
    x, shown, half = x[known], shown[known], half[known]
    return go.Scatter(
        x=np.r_[x, x[::-1]],
        y=np.r_[shown + half, (shown - half)[::-1]],
        name=f"{look.mark} 95 %",
        yaxis=row.axis,
        mode="lines",
        line={"width": 0},
        fill="toself",
        fillcolor=with_alpha(palette.of(look.direction), 0.22),
        hoverinfo="skip",
        meta=RESAMPLED,
    )


def _nought(palette: Palette) -> dict[str, Any]:
    line = {"color": palette.quiet, "width": 1, "dash": "dot"}
    return {
        "type": "line",
        "x0": 0,
        "x1": 0,
        "y0": 0,
        "y1": 1,
        "yref": "paper",
        "line": line,
        "layer": "below",
    }


def _name(
    one: AlignedPass, look: Look, k: int, overlay: Overlay, speed_unit: Unit, palette: Palette
) -> dict[str, Any]:
    """Label a line along it, each at another place, so that labels of similar passes do not overlap."""
    signal = one.curves.signals[SPEED]
    inside = np.flatnonzero((signal.t_s >= one.curves.one.start_s) & (signal.t_s <= one.curves.one.end_s))
    at = inside[int((k + 0.5) / len(overlay.laid) * inside.size)]
    return {
        "x": float(on_axis(overlay, one.at(signal.t_s[at]))),
        "y": float(speed_unit.from_si(signal.value[at])),
        "text": f"<b>{look.mark}</b>",
        "showarrow": False,
        "font": {"size": 13, "color": palette.ink},
        "bgcolor": palette.paper,
        "bordercolor": palette.of(look.direction),
        "borderwidth": 2,
        "borderpad": 2,
    }


def overlay_plan(
    overlay: Overlay, looked: Sequence[Look], palette: Palette = LIGHT, *, coarse: bool = False
) -> go.Figure:
    """Draw the passes from above, in metres east and north of one origin.

    Each point's ``customdata`` is its place on the abscissa.
    """
    places = in_one_frame([one.curves for one in overlay.laid])
    if not any(place is not None for place in places):
        return empty_figure("No positions: no plan view", palette)
    figure = blank_figure(palette, coarse=coarse)
    for one, place in zip(overlay.laid, places, strict=True):
        if place is None:
            continue
        look, (east_m, north_m) = looked[one.index], place
        kept = resample(one.curves.t_s, one.curves.signals[SPEED].value, OVERLAY_LINE_POINTS)
        figure.add_trace(
            go.Scatter(
                x=east_m[kept],
                y=north_m[kept],
                customdata=one.x[kept].tolist(),
                name=look.mark,
                mode="lines",
                line={"color": palette.of(look.direction), "width": 2.2, "dash": look.dash},
                hoverinfo="none",
            )
        )
    figure.update_layout(annotations=_starts(overlay, places, looked, palette), margin={"t": 20})
    figure.update_xaxes(title_text="East [m]", constrain="domain")
    figure.update_yaxes(title_text="North [m]", scaleanchor="x", scaleratio=1, constrain="domain")
    return figure


def _starts(
    overlay: Overlay, places: Sequence[Any], looked: Sequence[Look], palette: Palette
) -> list[dict[str, Any]]:
    """Label the passes at their starts; those that start together share a label."""
    groups: list[tuple[float, float, list[str], Direction]] = []
    for one, place in zip(overlay.laid, places, strict=True):
        if place is None:
            continue
        east_m, north_m = (float(np.interp(one.curves.one.start_s, one.curves.t_s, p)) for p in place)
        look = looked[one.index]
        for east, north, marks, direction in groups:
            if direction == look.direction and np.hypot(east - east_m, north - north_m) < _TOGETHER_M:
                marks.append(look.mark)
                break
        else:
            groups.append((east_m, north_m, [f"{arrow(look.heading_deg)} {look.mark}"], look.direction))
    return [
        {
            "x": east_m,
            "y": north_m,
            "text": f"<b>{' '.join(marks)}</b>",
            "showarrow": True,
            "arrowcolor": palette.quiet,
            "arrowhead": 0,
            "ax": 0,
            "ay": -26 if direction == "out" else 26,
            "bgcolor": palette.paper,
            "bordercolor": palette.of(direction),
            "borderwidth": 2,
            "borderpad": 2,
            "font": {"size": 13, "color": palette.ink},
        }
        for east_m, north_m, marks, direction in groups
    ]


def plan_aspect(overlay: Overlay) -> float:
    """Width over height of the area that the passes cover, kept readable."""
    places = [place for place in in_one_frame([one.curves for one in overlay.laid]) if place is not None]
    if not places:
        return 2.6
    east_m, north_m = (np.concatenate(values) for values in zip(*places, strict=True))
    return float(np.clip((np.ptp(east_m) + 40.0) / (np.ptp(north_m) + 40.0), 0.6, 2.6))
