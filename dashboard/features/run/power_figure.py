"""Speed and motor on one time axis: a row for each logged quantity, passes shaded through all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import plotly.graph_objects as go

from dashboard.features.run.speed_figure import broken
from dashboard.ui.base_figure import blank_figure, empty_figure, pass_shade
from dashboard.ui.direction import arrow, directions
from dashboard.ui.downsample import thin
from dashboard.ui.palette import LIGHT, Palette
from dashboard.ui.time_axis import TimeAxis, time_axis
from telemetry.analysis import Analysis
from telemetry.core.frames import FloatArray
from telemetry.core.units import Unit
from telemetry.motor.channels import Channels
from telemetry.motor.sync.clock import MotorClock

ROW_POINTS: Final = 2500
_ROW_GAP: Final = 0.035
_ROW_PX: Final = 130
_EDGE_PX: Final = 110


@dataclass(frozen=True)
class _Line:
    """One curve of a row: its name, dash pattern, times on the speed log's clock and values as shown."""

    name: str
    dash: str
    t_s: FloatArray
    values: FloatArray


@dataclass(frozen=True)
class _Row:
    """One quantity: axis title, decimals of its hover text, and its curves."""

    title: str
    decimals: int
    lines: tuple[_Line, ...]


def power_time(
    analysis: Analysis,
    log: int,
    motor: Channels,
    clock: MotorClock,
    speed_unit: Unit,
    temperature_unit: Unit,
    palette: Palette = LIGHT,
    *,
    coarse: bool = False,
) -> go.Figure:
    """Draw speed, shaft speed, current, volts and temperatures over time.

    Parameters
    ----------
    analysis : Analysis
        Whose passes are shaded.
    log : int
        The speed log that the motor log is matched to.
    motor : Channels
        Of the motor log.
    clock : MotorClock
        Its relation to that speed log; without a trusted clock the figure gives the reason.
    speed_unit, temperature_unit : Unit
    palette : Palette
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    if not clock.trusted:
        return empty_figure(f"Motor log and speed log are not matched:<br>{clock.why}", palette)
    spans = [(p.start_s, p.end_s) for p in analysis.passes if p.log == log]
    rows = _rows(analysis, log, motor, clock, speed_unit, temperature_unit)
    axis = time_axis(analysis)
    figure = blank_figure(palette, coarse=coarse)
    height = (1.0 - _ROW_GAP * (len(rows) - 1)) / len(rows)
    for number, row in enumerate(rows):
        suffix = "" if number == 0 else str(number + 1)
        top = 1.0 - number * (height + _ROW_GAP)
        figure.update_layout(
            {
                f"yaxis{suffix}": {
                    "domain": [max(top - height, 0.0), top],
                    "title": {"text": row.title, "font": {"size": 12, "color": palette.quiet}},
                    "gridcolor": palette.grid,
                    "linecolor": palette.quiet,
                    "showline": True,
                    "zeroline": False,
                }
            }
        )
        figure.add_traces([_trace(line, row, f"y{suffix}", log, axis, spans, palette) for line in row.lines])
    bottom = "y" if len(rows) == 1 else f"y{len(rows)}"
    figure.update_xaxes(anchor=bottom, showspikes=True, spikemode="across", spikethickness=1, spikedash="dot")
    if axis.dated:
        figure.update_xaxes(type="date", title_text="Time of day (UTC)", tickformat="%H:%M:%S\n%-d %b %Y")
    else:
        figure.update_xaxes(title_text="Time from the log's first sample [s]")
    figure.update_layout(
        height=_ROW_PX * len(rows) + _EDGE_PX,
        hovermode="x unified",
        shapes=_shades(analysis, log, axis, palette),
        annotations=_labels(analysis, log, axis, palette),
    )
    return figure


def _rows(
    analysis: Analysis, log: int, motor: Channels, clock: MotorClock, speed_unit: Unit, temperature_unit: Unit
) -> list[_Row]:
    speed_t_s, speed = broken(analysis.speed_logs[log])
    line = _Line("speed", "solid", speed_t_s, speed_unit.from_si(speed))
    rows = [_Row(f"Speed [{speed_unit.name}]", speed_unit.decimals, (line,))]
    at_s = clock.to_speed_log(motor.t_s)

    def curve(name: str, values: FloatArray | None, dash: str = "solid") -> tuple[_Line, ...]:
        return () if values is None or not np.isfinite(values).any() else (_Line(name, dash, at_s, values),)

    def degrees(values: FloatArray | None) -> FloatArray | None:
        return None if values is None else temperature_unit.from_si(values)

    rows.append(
        _Row("Shaft [1000 rpm]", 2, curve("shaft", None if motor.rpm is None else motor.rpm / 1000.0))
    )
    rows.append(_Row("Current [A]", 1, curve("current", motor.current_a)))
    rows.append(_Row("Volts [V]", 2, curve("pack", motor.voltage_v)))
    warm = curve("motor", degrees(motor.motor_temp_c)) + curve("controller", degrees(motor.esc_temp_c), "dot")
    rows.append(_Row(f"Temperature [{temperature_unit.name}]", 0, warm))
    return [row for row in rows if row.lines]


def _trace(
    line: _Line,
    row: _Row,
    yaxis: str,
    log: int,
    axis: TimeAxis,
    spans: list[tuple[float, float]],
    palette: Palette,
) -> go.Scatter:
    kept = thin(line.t_s, line.values, ROW_POINTS, spans)
    unit = row.title[row.title.index("[") + 1 : -1]
    return go.Scatter(
        x=axis.at(log, line.t_s[kept]),
        y=line.values[kept],
        name=line.name,
        yaxis=yaxis,
        mode="lines",
        line={"color": palette.ink, "width": 1.6, "dash": line.dash},
        hovertemplate=f"%{{y:.{row.decimals}f}} {unit}<extra>{line.name}</extra>",
    )


def _shades(analysis: Analysis, log: int, axis: TimeAxis, palette: Palette) -> list[dict[str, Any]]:
    way = directions(analysis.passes)
    shades = []
    for one in (p for p in analysis.passes if p.log == log):
        x0, x1 = axis.at(log, [one.start_s, one.end_s])
        shades.append(pass_shade(x0, x1, palette.of(way[one.id]), "paper"))
    return shades


def _labels(analysis: Analysis, log: int, axis: TimeAxis, palette: Palette) -> list[dict[str, Any]]:
    return [
        {
            "x": float(axis.at(log, (one.start_s + one.end_s) / 2)),
            "y": 1.0,
            "yref": "paper",
            "yanchor": "bottom",
            "text": f"<b>{one.id}</b> {arrow(one.heading_deg)}",
            "showarrow": False,
            "font": {"size": 14, "color": palette.ink},
        }
        for one in analysis.passes
        if one.log == log
    ]
