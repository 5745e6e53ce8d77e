"""Stretches cut by hand, in grey on the speed over time."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import plotly.graph_objects as go

from dashboard.ui.downsample import thin
from dashboard.ui.palette import Palette, with_alpha
from dashboard.ui.time_axis import TimeAxis
from telemetry.analysis import Analysis, SpeedLog
from telemetry.cleaning.corrections import CUT, log_key
from telemetry.core.units import Unit

CUT_POINTS_DRAWN: Final = 1500
_LABELLED_SHARE: Final = 0.05  # of the log: a narrower shade has no room for a label


def cut_by_hand(
    log: SpeedLog, number: int, axis: TimeAxis, unit: Unit, palette: Palette, top_mps: float
) -> list[go.Scatter]:
    """Draw in grey the logged speed where a stretch is cut by hand."""
    cut = log.cleaned.cut[log.cleaned.cut["code"] == CUT]
    t_s, speed = (cut[name].to_numpy(dtype=np.float64) for name in ("t_s", "speed_mps"))
    if not np.isfinite(speed).any():
        return []
    kept = thin(t_s, speed, CUT_POINTS_DRAWN)
    return [
        go.Scatter(
            x=axis.at(number, t_s[kept]),
            y=unit.from_si(np.minimum(speed[kept], top_mps)),
            name="cut by hand",
            mode="markers",
            marker={"symbol": "circle-open", "size": 5, "color": palette.quiet},
            hovertemplate=f"%{{y:.{unit.decimals}f}} {unit.name}<extra>cut by hand</extra>",
        )
    ]


def cut_shades(analysis: Analysis, axis: TimeAxis, palette: Palette) -> list[dict[str, Any]]:
    """Shade in grey the stretches that are cut by hand, with a dashed edge and a label."""
    keys = [log_key(log.read.meta) for log in analysis.speed_logs]
    shades = []
    for cut in analysis.request.by_hand.cuts:
        if cut.log not in keys:
            continue
        number = keys.index(cut.log)
        t_s = analysis.speed_logs[number].read.t_s
        span = np.clip([cut.start_s, cut.end_s], np.nanmin(t_s), np.nanmax(t_s))
        x0, x1 = axis.at(number, span)
        wide = span[1] - span[0] > _LABELLED_SHARE * (np.nanmax(t_s) - np.nanmin(t_s))
        shades.append(
            {
                "type": "rect",
                "x0": x0,
                "x1": x1,
                "y0": 0,
                "y1": 1,
                "yref": "y domain",
                "fillcolor": with_alpha(palette.raw, 0.4),
                "line": {"width": 1, "dash": "dash", "color": palette.quiet},
                "layer": "below",
                "label": {
                    "text": "cut by hand" if wide else "",
                    "textangle": -90,
                    "textposition": "middle center",
                    "font": {"size": 12, "color": palette.ink},
                },
            }
        )
    return shades
