"""The map: the water from above in metres east and north, with the passes and the gates."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import plotly.graph_objects as go

from dashboard.ui.base_figure import blank_figure, empty_figure
from dashboard.ui.direction import arrow, by_direction
from dashboard.ui.downsample import thin
from dashboard.ui.palette import LIGHT, Palette
from telemetry.analysis import Analysis, SpeedLog
from telemetry.core.frames import FloatArray
from telemetry.core.geo import LocalFrame
from telemetry.passes.find import Pass
from telemetry.twoway.mean import TwoWay

MAP_LINE_POINTS: Final = 3000
MAP_CUT_POINTS: Final = 300
# Drawing only: how far a gate's line reaches to each side, and when two starts share one name tag.
_GATE_HALF_M: Final = 18.0
_TOGETHER_M: Final = 25.0
# Passes lie on one another: the way out shows on both sides of the way back.
_WIDTHS: Final = {"out": 6.5, "back": 2.5}
_BEHIND: Final = (
    "bottom center",
    "bottom left",
    "middle left",
    "top left",
    "top center",
    "top right",
    "middle right",
    "bottom right",
)

Points = tuple[FloatArray, FloatArray]


def plan(
    analysis: Analysis,
    chosen: TwoWay | None,
    palette: Palette = LIGHT,
    *,
    picked: tuple[tuple[float, float], ...] = (),
    coarse: bool = False,
) -> go.Figure:
    """Draw the plan view.

    Parameters
    ----------
    analysis : Analysis
        What to draw; all its logs share the metres of the first log with positions.
    chosen : TwoWay or None
        The two-way whose gates are drawn.
    palette : Palette
        Colours for the page's surroundings.
    picked : tuple of (latitude, longitude)
        Points the user has picked so far as gates [deg].
    coarse : bool
        True for a finger: dragging then scrolls the page instead of zooming.
    """
    placed = [log for log in analysis.speed_logs if log.motion.has_positions]
    if not placed:
        return empty_figure("No positions in these logs: no plan view", palette)
    frame = placed[0].motion.frame
    figure = blank_figure(palette, coarse=coarse)
    for number, log in enumerate(analysis.speed_logs):
        if log.motion.has_positions:
            spans = [(p.start_s, p.end_s) for p in analysis.passes if p.log == number]
            figure.add_trace(_track(log, frame, spans, palette))
    figure.add_traces(_passes(analysis, frame, palette))
    figure.add_traces(_names(analysis, frame, palette))
    outside = 0
    for log in placed:
        traces, missed = _cut(log, frame, palette)
        figure.add_traces(traces)
        outside += missed
    if chosen is not None:
        _gates(figure, chosen, analysis, frame, palette)
    if picked:
        figure.add_trace(_picked(picked, frame, palette))
    if outside:
        figure.add_annotation(
            text=f"{outside} cut-out position{'s' if outside > 1 else ''} beyond this view",
            x=0,
            y=1.0,
            xref="paper",
            yref="paper",
            xanchor="left",
            yanchor="bottom",
            showarrow=False,
            font={"size": 13, "color": palette.quiet},
        )
    figure.update_xaxes(title_text="East [m]", constrain="domain")
    figure.update_yaxes(title_text="North [m]", scaleanchor="x", scaleratio=1, constrain="domain")
    return figure


def place_at(analysis: Analysis, east_m: float, north_m: float) -> tuple[float, float] | None:
    """Convert a place on the map to latitude and longitude [deg]; None without a map."""
    placed = next((log for log in analysis.speed_logs if log.motion.has_positions), None)
    if placed is None:
        return None
    lat, lon = placed.motion.frame.to_geodetic(east_m, north_m)
    return float(lat), float(lon)


def aspect(analysis: Analysis) -> float:
    """Width over height of the water the logs cover, kept between 0.6 and 2.6 for a readable plot."""
    placed = [log for log in analysis.speed_logs if log.motion.has_positions]
    if not placed:
        return 2.6
    points = [in_frame(log, placed[0].motion.frame, log.motion.east_m, log.motion.north_m) for log in placed]
    east_m, north_m = (np.concatenate(values) for values in zip(*points, strict=True))
    width, height = np.ptp(east_m[np.isfinite(east_m)]), np.ptp(north_m[np.isfinite(north_m)])
    return float(np.clip((width + 40.0) / (height + 40.0), 0.6, 2.6))


def in_frame(log: SpeedLog, frame: LocalFrame, east_m: FloatArray, north_m: FloatArray) -> Points:
    """Bring points from a log's own metres into another log's, any shape [m]."""
    if log.motion.frame == frame:
        return east_m, north_m
    return frame.to_local(*log.motion.frame.to_geodetic(east_m, north_m))


def _track(
    log: SpeedLog, frame: LocalFrame, spans: list[tuple[float, float]], palette: Palette
) -> go.Scatter:
    motion = log.motion
    east_m, north_m = in_frame(log, frame, motion.east_m, motion.north_m)
    kept = thin(motion.t_s, motion.speed_mps, MAP_LINE_POINTS, spans)
    return go.Scatter(
        x=east_m[kept],
        y=north_m[kept],
        name="track",
        mode="lines",
        line={"color": palette.raw, "width": 1.2},
        hovertemplate="%{x:.1f} m east, %{y:.1f} m north<extra></extra>",
    )


def _passes(analysis: Analysis, frame: LocalFrame, palette: Palette) -> list[go.Scatter]:
    """One line for all passes out and one for all back, each pass with an arrow at its start."""
    traces = []
    for direction, passes in by_direction(analysis.passes).items():
        pieces = [(p, *_piece(p, analysis, frame)) for p in passes]
        pieces = [piece for piece in pieces if piece[1].size]
        if not pieces:
            continue
        gap = np.array([np.nan])
        traces += [
            go.Scatter(
                x=np.concatenate([part for _, east_m, _ in pieces for part in (east_m, gap)]),
                y=np.concatenate([part for _, _, north_m in pieces for part in (north_m, gap)]),
                text=[p.id for p, east_m, _ in pieces for _ in range(east_m.size + 1)],
                name=f"passes {direction}",
                mode="lines",
                line={"color": palette.of(direction), "width": _WIDTHS[direction]},
                hovertemplate="%{text}: %{x:.1f} m east, %{y:.1f} m north<extra></extra>",
            ),
            go.Scatter(
                x=[east_m[0] for _, east_m, _ in pieces],
                y=[north_m[0] for _, _, north_m in pieces],
                text=[f"{p.id} starts {arrow(p.heading_deg)}" for p, *_ in pieces],
                name=f"starts {direction}",
                mode="markers",
                marker={
                    "symbol": "arrow",
                    "angle": [0.0 if math.isnan(p.heading_deg) else p.heading_deg for p, *_ in pieces],
                    "size": 17,
                    "color": palette.of(direction),
                    "line": {"width": 1.5, "color": palette.paper},
                },
                hovertemplate="%{text}<extra></extra>",
            ),
        ]
    return traces


def _piece(one: Pass, analysis: Analysis, frame: LocalFrame) -> Points:
    motion = analysis.speed_logs[one.log].motion
    inside = (motion.t_s >= one.start_s) & (motion.t_s <= one.end_s) & np.isfinite(motion.east_m)
    if not motion.has_positions:
        inside[:] = False
    return in_frame(analysis.speed_logs[one.log], frame, motion.east_m[inside], motion.north_m[inside])


def _names(analysis: Analysis, frame: LocalFrame, palette: Palette) -> list[go.Scatter]:
    """Label the passes behind their starts; passes that start together share one label."""
    groups: list[tuple[float, float, float, list[str]]] = []
    for one in analysis.passes:
        log = analysis.speed_logs[one.log]
        if not log.motion.has_positions:
            continue
        first = int(np.searchsorted(log.motion.t_s, one.start_s))
        here = slice(first, first + 1)
        points = in_frame(log, frame, log.motion.east_m[here], log.motion.north_m[here])
        east, north = (float(values[0]) for values in points)
        near = next((g for g in groups if math.hypot(g[0] - east, g[1] - north) < _TOGETHER_M), None)
        if near is None:
            groups.append((east, north, one.heading_deg, [one.id]))
        else:
            near[3].append(one.id)
    return [
        go.Scatter(
            x=[east],
            y=[north],
            name="names",
            mode="markers+text",
            marker={"size": 28, "opacity": 0},  # keeps the name clear of the arrow
            text=[f"<b>{' '.join(names)}</b>"],
            textposition=_behind(heading_deg),
            textfont={"size": 14, "color": palette.ink},
            hoverinfo="skip",
        )
        for east, north, heading_deg, names in groups
    ]


def _behind(heading_deg: float) -> str:
    """Return the side of a start that is behind a boat of this heading."""
    return "top center" if math.isnan(heading_deg) else _BEHIND[round(heading_deg / 45.0) % 8]


def _gates(
    figure: go.Figure, chosen: TwoWay, analysis: Analysis, frame: LocalFrame, palette: Palette
) -> None:
    first = next(p for p in analysis.passes if p.id == chosen.passes[0])
    log = analysis.speed_logs[first.log]
    for name, gate in zip("AB", chosen.gates, strict=True):
        along, across = chosen.course.along_across(gate.east_m, gate.north_m)
        # Both ends of the line, and a little further out the place of its name.
        sides_m = (-_GATE_HALF_M, _GATE_HALF_M, _GATE_HALF_M * 1.4)
        ends = [chosen.course.point(float(along), float(across) + side) for side in sides_m]
        east_m, north_m = in_frame(log, frame, *(np.array(v) for v in zip(*ends, strict=True)))
        figure.add_trace(
            go.Scatter(
                x=east_m[:2],
                y=north_m[:2],
                name=f"gate {name}",
                mode="lines",
                line={
                    "color": palette.ink,
                    "width": 2.5,
                    "dash": "solid" if chosen.gates_given else "5px,3px",
                },
                hovertemplate=f"gate {name}: {gate.lat_deg:.7f}, {gate.lon_deg:.7f}<extra></extra>",
            )
        )
        figure.add_trace(
            go.Scatter(
                x=east_m[2:],
                y=north_m[2:],
                name=f"name of gate {name}",
                mode="text",
                text=[f"<b>{name}</b>"],
                textfont={"size": 15, "color": palette.ink},
                hoverinfo="skip",
            )
        )


def _cut(log: SpeedLog, frame: LocalFrame, palette: Palette) -> tuple[list[go.Scatter], int]:
    """Crosses where positions were cut out, and how many lie too far away to show."""
    cut = log.cleaned.cut
    lat, lon = (cut[name].to_numpy(dtype=np.float64) for name in ("lat_deg", "lon_deg"))
    have = np.isfinite(lat) & np.isfinite(lon)
    if not have.any():
        return [], 0
    east_m, north_m = frame.to_local(lat[have], lon[have])
    good_east, good_north = in_frame(log, frame, log.motion.east_m, log.motion.north_m)
    near = np.ones(east_m.size, dtype=bool)
    for values, good in ((east_m, good_east), (north_m, good_north)):
        low, high = np.nanmin(good), np.nanmax(good)
        room = 0.15 * (high - low) + 20.0
        near &= (values > low - room) & (values < high + room)
    shown = np.flatnonzero(near)
    shown = shown[:: max(1, shown.size // MAP_CUT_POINTS)]
    codes = cut["code"].to_numpy()[have][shown]
    trace = go.Scatter(
        x=east_m[shown],
        y=north_m[shown],
        name="cut out",
        mode="markers",
        marker={"symbol": "x", "size": 8, "color": palette.ink, "line": {"width": 1, "color": palette.paper}},
        customdata=[str(code).replace("-", " ") for code in codes],
        hovertemplate="cut out: %{customdata}<extra></extra>",
    )
    return ([trace] if shown.size else []), int(np.count_nonzero(~near))


def _picked(picked: tuple[tuple[float, float], ...], frame: LocalFrame, palette: Palette) -> go.Scatter:
    lat, lon = zip(*picked, strict=True)
    east_m, north_m = frame.to_local(lat, lon)
    return go.Scatter(
        x=east_m,
        y=north_m,
        name="picked",
        mode="markers",
        marker={"symbol": "circle-open", "size": 20, "line": {"width": 3, "color": palette.ink}},
        hoverinfo="skip",
    )
