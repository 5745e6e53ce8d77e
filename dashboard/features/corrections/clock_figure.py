"""A motor log drawn over the speed around one pass, by its present clock."""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.features.run.speed_figure import broken
from dashboard.ui.base_figure import blank_figure, empty_figure
from dashboard.ui.palette import LIGHT, Palette
from dashboard.ui.time_axis import TimeAxis, time_axis
from telemetry.analysis import Analysis
from telemetry.core.units import Unit
from telemetry.motor.sync.assign import MotorAssignment
from telemetry.motor.sync.drive_signal import PROXIES
from telemetry.passes.find import Pass

_BEFORE_S, _AFTER_S = 3.0, 5.0


def clock_view(
    analysis: Analysis,
    joined: MotorAssignment,
    offset_s: float,
    one: Pass | None,
    unit: Unit,
    palette: Palette = LIGHT,
    *,
    coarse: bool = False,
) -> go.Figure:
    """Draw a motor log over the speed around one pass, by its present clock.

    Parameters
    ----------
    analysis : Analysis
    joined : MotorAssignment
    offset_s : float
        Where the motor log begins on the speed log's clock [s].
    one : Pass or None
        The pass to show.
    unit : Unit
        Speed unit of the axis.
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    proxy = next((p for p in PROXIES if joined.log.column(p.column) is not None), None)
    if one is None or proxy is None:
        lacks = "no pass to look at" if proxy else "the motor log has neither rpm, current nor throttle"
        return empty_figure(lacks.capitalize(), palette)
    start_s = (one.takeoff.start_s if one.takeoff else one.start_s) - _BEFORE_S
    span = start_s, one.end_s + _AFTER_S
    axis = time_axis(analysis)
    figure = blank_figure(palette, coarse=coarse)
    log = analysis.speed_logs[one.log]
    logged = log.cleaned.track.column("speed_mps")
    if logged is not None:
        shown = np.where(log.cleaned.speed_ok, logged, np.nan)
        figure.add_trace(
            _line(axis, one.log, log.cleaned.track.t_s, unit.from_si(shown), span, "speed as logged")
            | {"mode": "markers", "marker": {"color": palette.raw, "size": 5}}
        )
    t_s, speed = broken(log)
    figure.add_trace(
        _line(axis, one.log, t_s, unit.from_si(speed), span, "speed")
        | {"mode": "lines", "line": {"color": palette.ink, "width": 2}}
    )
    drift = 1.0 + (0.0 if np.isnan(joined.clock.drift_ppm) else joined.clock.drift_ppm) * 1e-6
    at_s = joined.log.t_s * drift + offset_s
    values = joined.log.column(proxy.column)
    assert values is not None
    top = float(np.nanmax(speed[(t_s >= span[0]) & (t_s <= span[1])], initial=1.0))
    within = values[(at_s >= span[0]) & (at_s <= span[1])]
    most = float(np.nanmax(within, initial=0.0)) or float(np.nanmax(values)) or 1.0
    figure.add_trace(
        _line(axis, one.log, at_s, unit.from_si(values * (top / most)), span, f"{proxy.name}, scaled")
        | {"mode": "lines", "line": {"color": palette.back, "width": 2, "dash": "dash"}}
    )
    figure.update_yaxes(title_text=f"Speed [{unit.name}]; dashed: {proxy.name}, scaled", rangemode="tozero")
    figure.update_layout(uirevision=f"{one.id} {joined.log.meta.file}")
    if axis.dated:
        figure.update_xaxes(type="date", title_text="Time of day (UTC)", tickformat="%H:%M:%S")
    else:
        figure.update_xaxes(title_text="Time from the log's first sample [s]")
    figure.update_xaxes(range=axis.at(one.log, span).tolist())
    return figure


def _line(
    axis: TimeAxis, log: int, t_s: Any, values: Any, span: tuple[float, float], name: str
) -> dict[str, Any]:
    shown = (t_s >= span[0]) & (t_s <= span[1])
    return {
        "type": "scatter",
        "x": axis.at(log, t_s[shown]),
        "y": values[shown],
        "name": name,
        "hovertemplate": f"%{{y:.1f}}<extra>{name}</extra>",
    }
