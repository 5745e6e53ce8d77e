"""Speed over time: as logged, as smoothed, excluded samples, and the passes."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import plotly.graph_objects as go

from dashboard.features.corrections.figures import cut_by_hand, cut_shades
from dashboard.ui.base_figure import blank_figure, empty_figure, pass_shade
from dashboard.ui.direction import arrow, by_direction
from dashboard.ui.downsample import RESAMPLED, Window, resample, thin
from dashboard.ui.palette import LIGHT, Palette, with_alpha
from dashboard.ui.time_axis import TimeAxis, time_axis
from telemetry.analysis import Analysis, SpeedLog
from telemetry.cleaning.corrections import CUT
from telemetry.core.frames import FloatArray
from telemetry.core.units import Unit
from telemetry.passes.find import Pass
from telemetry.twoway.mean import TwoWay

LINE_POINTS: Final = 3000
CUT_POINTS: Final = 600
_LABELS_SIDE_BY_SIDE: Final = 12
_DOTS_UP_TO: Final = 1500  # beyond this many, raw samples are drawn as one path: a phone moves it more easily


def speed_time(
    analysis: Analysis,
    chosen: TwoWay | None,
    unit: Unit,
    palette: Palette = LIGHT,
    *,
    coarse: bool = False,
    window: Window | None = None,
) -> go.Figure:
    """Draw speed over time.

    Parameters
    ----------
    analysis : Analysis
        What to draw; its speed logs share one time axis.
    chosen : TwoWay or None
        The two-way whose measured distance is marked in both passes.
    unit : Unit
        Speed unit of the axis.
    palette : Palette
        Colours for the page's surroundings.
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    window : (float, float), optional
        The visible part of the time axis, which then shows true samples as far as they fit.
    """
    if not analysis.speed_logs:
        return empty_figure("No speed log yet", palette)
    axis = time_axis(analysis)
    top = _top_speed_mps(analysis) * 1.18
    figure = blank_figure(palette, coarse=coarse)
    for number, log in enumerate(analysis.speed_logs):
        figure.add_traces(_raw(log, number, axis, unit, palette, window))
        figure.add_trace(_smoothed(log, number, axis, unit, palette, window))
    figure.add_traces(_passes(analysis, axis, unit, palette, window))
    figure.update_layout(
        shapes=[*_shades(analysis, axis, palette), *cut_shades(analysis, axis, palette)],
        annotations=_labels(analysis, axis, palette),
    )
    if chosen is not None:
        figure.add_traces(_measured(chosen, analysis, axis, unit, palette))
    for number, log in enumerate(analysis.speed_logs):
        figure.add_traces(_cut(log, number, axis, unit, palette, top))
        figure.add_traces(cut_by_hand(log, number, axis, unit, palette, top))
    figure.update_yaxes(title_text=f"Speed [{unit.name}]", range=[0.0, unit.from_si(top)])
    if axis.dated:
        figure.update_xaxes(type="date", title_text="Time of day (UTC)", tickformat="%H:%M:%S\n%-d %b %Y")
        figure.update_xaxes(rangebreaks=[{"bounds": [_iso(a), _iso(b)]} for a, b in axis.pauses])
    else:
        figure.update_xaxes(title_text="Time from the log's first sample [s]")
    return figure


def _iso(ms: float) -> str:
    return str(np.datetime64(round(ms), "ms"))


def _top_speed_mps(analysis: Analysis) -> float:
    tops = [np.nanmax(log.motion.speed_mps) for log in analysis.speed_logs if _any(log.motion.speed_mps)]
    return float(max(tops, default=1.0)) or 1.0


def _any(values: FloatArray) -> bool:
    return bool(np.isfinite(values).any())


def _smoothed(
    log: SpeedLog, number: int, axis: TimeAxis, unit: Unit, palette: Palette, window: Window | None
) -> go.Scatter:
    t_s, speed = broken(log)
    x = axis.at(number, t_s)
    kept = resample(x, speed, LINE_POINTS, window)
    return go.Scatter(
        x=x[kept],
        y=unit.from_si(speed[kept]),
        name="smoothed",
        meta=RESAMPLED,
        mode="lines",
        line={"color": palette.ink, "width": 1.6},
        hovertemplate=f"%{{y:.{unit.decimals}f}} {unit.name}<extra>smoothed</extra>",
    )


def broken(log: SpeedLog) -> tuple[FloatArray, FloatArray]:
    """Return times and smoothed speeds with a NaN between stretches, so that no line crosses a break."""
    ends = np.array([stop for _, stop in log.cleaned.stretches[:-1]], dtype=np.int64)
    t_s, speed_mps = log.motion.t_s, log.motion.speed_mps
    return np.insert(t_s, ends, t_s[ends]), np.insert(speed_mps, ends, np.nan)


def _raw(
    log: SpeedLog, number: int, axis: TimeAxis, unit: Unit, palette: Palette, window: Window | None
) -> list[go.Scatter]:
    logged = log.cleaned.track.column("speed_mps")
    if logged is None:
        return []
    shown = np.where(log.cleaned.speed_ok, logged, np.nan)  # the others appear as crosses
    x = axis.at(number, log.cleaned.track.t_s)
    kept = resample(x, shown, LINE_POINTS, window)
    seen = kept.size if window is None else np.count_nonzero((x[kept] >= window[0]) & (x[kept] <= window[1]))
    dots = seen <= _DOTS_UP_TO
    return [
        go.Scatter(
            x=x[kept],
            y=unit.from_si(shown[kept]),
            name="as logged",
            meta=RESAMPLED,
            mode="markers" if dots else "lines",
            marker={"color": palette.raw, "size": 4},
            line={"color": palette.raw, "width": 1},
            hovertemplate=f"%{{y:.{unit.decimals}f}} {unit.name}<extra>as logged</extra>",
        )
    ]


def _passes(
    analysis: Analysis, axis: TimeAxis, unit: Unit, palette: Palette, window: Window | None
) -> list[go.Scatter]:
    """One line for all passes out and one for all back, and the same for their take-offs."""
    traces = []
    for direction, passes in by_direction(analysis.passes).items():
        colour = palette.of(direction)
        lines = [(p.id, p.log, p.start_s, p.end_s) for p in passes]
        traces.append(
            go.Scatter(
                **_joined(analysis, lines, axis, unit, window),
                name=f"passes {direction}",
                meta=RESAMPLED,
                mode="lines",
                line={"color": colour, "width": 3},
                hovertemplate=f"%{{text}} %{{y:.{unit.decimals}f}} {unit.name}<extra></extra>",
            )
        )
        traces.append(_takeoffs(analysis, passes, axis, unit, colour, f"take-offs {direction}"))
    return traces


def _takeoffs(
    analysis: Analysis, passes: list[Pass], axis: TimeAxis, unit: Unit, colour: str, name: str
) -> go.Scatter:
    """Hatch the area under each take-off; a fill ignores breaks, so each piece begins and ends at zero."""
    x, y = [np.empty(0)], [np.empty(0)]
    for one in passes:
        if one.takeoff is None:
            continue
        motion = analysis.speed_logs[one.log].motion
        inside = (motion.t_s >= one.takeoff.start_s) & (motion.t_s <= one.takeoff.end_s)
        t_s = motion.t_s[inside]
        if t_s.size:
            x.append(axis.at(one.log, np.r_[t_s[:1], t_s, t_s[-1:]]))
            y.append(np.r_[0.0, unit.from_si(motion.speed_mps[inside]), 0.0])
    return go.Scatter(
        x=np.concatenate(x),
        y=np.concatenate(y),
        name=name,
        mode="none",
        fill="tozeroy",
        fillpattern={"shape": "/", "fgcolor": colour, "bgcolor": with_alpha(colour, 0.06), "size": 7},
        hoverinfo="skip",
    )


def _joined(
    analysis: Analysis,
    lines: list[tuple[str, int, float, float]],
    axis: TimeAxis,
    unit: Unit,
    window: Window | None,
) -> dict[str, Any]:
    """Join pieces of smoothed speed into one line with a break after each; ``text`` names each piece."""
    x: list[FloatArray] = [np.empty(0)]
    y: list[FloatArray] = [np.empty(0)]
    text: list[str] = []
    for name, number, start_s, end_s in lines:
        motion = analysis.speed_logs[number].motion
        inside = (motion.t_s >= start_s) & (motion.t_s <= end_s)
        x += [axis.at(number, motion.t_s[inside]), np.array([axis.at(number, end_s)])]
        y += [unit.from_si(motion.speed_mps[inside]), np.array([np.nan])]
        text += [name] * (np.count_nonzero(inside) + 1)
    at, speed = np.concatenate(x), np.concatenate(y)
    kept = resample(at, speed, LINE_POINTS, window)
    return {"x": at[kept], "y": speed[kept], "text": [text[k] for k in kept]}


def _shades(analysis: Analysis, axis: TimeAxis, palette: Palette) -> list[dict[str, Any]]:
    shades = []
    for direction, passes in by_direction(analysis.passes).items():
        for one in passes:
            x0, x1 = axis.at(one.log, [one.start_s, one.end_s])
            shades.append(pass_shade(x0, x1, palette.of(direction), "y domain"))
    return shades


def _labels(analysis: Analysis, axis: TimeAxis, palette: Palette) -> list[dict[str, Any]]:
    few = len(analysis.passes) <= _LABELS_SIDE_BY_SIDE
    return [
        {
            "x": float(axis.at(one.log, (one.start_s + one.end_s) / 2)),
            "y": 1.0,
            "yref": "y domain",
            "yanchor": "bottom",
            "text": f"<b>{one.id}</b> {arrow(one.heading_deg)}" if few else one.id,
            "showarrow": False,
            "font": {"size": 14 if few else 10, "color": palette.ink},
        }
        for one in analysis.passes
    ]


def _measured(
    chosen: TwoWay, analysis: Analysis, axis: TimeAxis, unit: Unit, palette: Palette
) -> list[go.Scatter]:
    """Draw bars at each pass's average, as long as the measured distance took."""
    logs = {p.id: p.log for p in analysis.passes}
    traces = []
    for name, speed, crossing in zip(chosen.passes, chosen.speeds_mps, chosen.crossings_s, strict=True):
        shown = unit.from_si(speed)
        traces.append(
            go.Scatter(
                x=axis.at(logs[name], crossing),
                y=[shown, shown],
                name=f"{chosen.id} measured distance",
                mode="lines+markers",
                line={"color": palette.ink, "width": 4},
                marker={
                    "symbol": "line-ns",
                    "size": 22,
                    "color": palette.ink,
                    "line": {"width": 3, "color": palette.ink},
                },
                hovertemplate=f"{name} over the measured distance: %{{y:.{unit.decimals}f}} {unit.name}"
                f"<extra>{chosen.id}</extra>",
            )
        )
    return traces


def cut_reasons(log: SpeedLog) -> list[str]:
    """Return for each excluded sample the reason, from the finding that covers it."""
    reasons = []
    for t_s, code in zip(log.cleaned.cut["t_s"], log.cleaned.cut["code"], strict=True):
        match = [f.message for f in log.cleaned.findings if f.code == code and f.touches(t_s, t_s)]
        reasons.append(match[0] if match else str(code).replace("-", " "))
    return reasons


def _cut(
    log: SpeedLog, number: int, axis: TimeAxis, unit: Unit, palette: Palette, top_mps: float
) -> list[go.Scatter]:
    speed = log.cleaned.cut["speed_mps"].to_numpy(dtype=np.float64)
    by_hand = log.cleaned.cut["code"].to_numpy() == CUT  # these are shaded whole
    have = np.flatnonzero(np.isfinite(speed) & ~by_hand)
    if have.size == 0:
        return []
    have = have[thin(log.cleaned.cut["t_s"].to_numpy(dtype=np.float64)[have], speed[have], CUT_POINTS)]
    speed = speed[have]
    over = speed > top_mps
    all_reasons = cut_reasons(log)
    return [
        go.Scatter(
            x=axis.at(number, log.cleaned.cut["t_s"].to_numpy(dtype=np.float64)[have]),
            # A false spike of 150 m/s would squeeze everything else flat: it is pinned to the upper edge.
            y=unit.from_si(np.minimum(speed, top_mps * 0.97)),
            name="cut out",
            mode="markers",
            marker={
                "symbol": np.where(over, "triangle-up", "x").tolist(),
                "size": np.where(over, 13, 9).tolist(),
                "color": palette.ink,
                "line": {"width": 1, "color": palette.paper},
            },
            customdata=[
                [f"{unit.from_si(v):.{unit.decimals}f} {unit.name}", all_reasons[i]]
                for v, i in zip(speed, have, strict=True)
            ],
            hovertemplate="cut out: %{customdata[0]}<br>%{customdata[1]}<extra></extra>",
            cliponaxis=False,
        )
    ]
