"""What one step may bring: the values of an item that were tried, and the one to try next."""

from __future__ import annotations

import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure, empty_figure, error_bars
from dashboard.ui.palette import LIGHT, Palette, with_alpha
from telemetry.compare import MEASURES, Trial, Units
from telemetry.compare.wording import value_text

_SPEED = MEASURES["two_way_mps"]


def trial_figure(
    trial: Trial | None, units: Units, palette: Palette = LIGHT, *, coarse: bool = False
) -> go.Figure:
    """Draw the two-way average against the item that a trial would change.

    Parameters
    ----------
    trial : Trial or None
        Without one the figure says so in words.
    units : Units
    palette : Palette
    coarse : bool
        True for a finger: then a drag scrolls the page instead of zooming.
    """
    if trial is None:
        return empty_figure("No step is advised, so there is nothing to draw.", palette)
    figure = blank_figure(palette, coarse=coarse)
    shown, scale = units.shown, units.scale(_SPEED)
    values = [value for value, _, _ in trial.curve]
    middle = [shown(_SPEED, mean) for _, mean, _ in trial.curve]
    half = [width / scale for _, _, width in trial.curve]
    band = {"color": "rgba(0,0,0,0)", "width": 0}
    edges = [m - h for m, h in zip(middle, half, strict=True)]
    figure.add_scatter(x=values, y=edges, mode="lines", line=band, hoverinfo="skip")
    figure.add_scatter(
        x=values, y=[m + h for m, h in zip(middle, half, strict=True)], mode="lines", line=band,
        fill="tonexty", fillcolor=with_alpha(palette.raw, 0.3), hoverinfo="skip",
    )  # fmt: skip
    figure.add_scatter(
        x=values, y=middle, mode="lines", line={"color": palette.quiet, "width": 2}, hoverinfo="skip"
    )
    unit = "" if trial.item.unit == "1" else f" {trial.item.unit}"
    figure.add_scatter(
        x=[value for value, _, _, _ in trial.tried],
        y=[shown(_SPEED, mean) for _, mean, _, _ in trial.tried],
        error_y=error_bars([u95 / scale for _, _, u95, _ in trial.tried], palette.ink),
        mode="markers",
        marker={"size": 12, "color": palette.ink},
        hovertext=[
            f"tried: {value:g}{unit}<br>{value_text(_SPEED, mean, units, u95)}<br>{count} two-ways"
            for value, mean, u95, count in trial.tried
        ],
        hoverinfo="text",
        name="tried",
    )
    figure.add_scatter(
        x=[trial.value],
        y=[shown(_SPEED, trial.expected)],
        error_y=error_bars([trial.u95 / scale], palette.back),
        mode="markers+text",
        text=["  to try"],
        textposition="middle right" if trial.value < trial.start else "middle left",
        textfont={"size": 14, "color": palette.ink},
        marker={"size": 15, "symbol": "diamond-open", "color": palette.back, "line": {"width": 3}},
        hovertext=[
            f"to try: {trial.value:g}{unit}<br>{value_text(_SPEED, trial.expected, units, trial.u95)}"
        ],
        hoverinfo="text",
        name="to try",
        cliponaxis=False,
    )
    figure.update_xaxes(title={"text": f"{trial.item.title}{unit and ','}{unit}"})
    figure.update_yaxes(title={"text": f"{_SPEED.title}, {units.name(_SPEED)}"})
    figure.update_layout(margin={"l": 64, "r": 24, "t": 16, "b": 56})
    return figure
