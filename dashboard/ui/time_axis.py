"""One time axis for every speed log of an analysis."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from telemetry.analysis import Analysis
from telemetry.core.frames import FloatArray

_MINUTE_MS: Final = 60_000.0


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Map each log's own clock to the plot's axis.

    Attributes
    ----------
    origins : tuple of float
        Each log's ``t_s = 0`` on the axis.
    per_second : float
        Axis units in a second: 1000 on plotly's date axis, 1 on a plain one.
    dated : bool
        Whether the axis shows UTC.
    pauses : tuple of (float, float)
        Spans of the axis of several minutes in which no log ran, to be skipped.
    """

    origins: tuple[float, ...]
    per_second: float
    dated: bool
    pauses: tuple[tuple[float, float], ...] = ()

    def at(self, log: int, t_s: npt.ArrayLike) -> FloatArray:
        """Convert times of one log to the axis, any shape."""
        return self.origins[log] + self.per_second * np.asarray(t_s, dtype=np.float64)


def time_axis(analysis: Analysis) -> TimeAxis:
    """UTC if every log knows its day; else seconds from each log's first sample."""
    tracks = [log.cleaned.track for log in analysis.speed_logs]
    starts = [track.meta.start_utc for track in tracks]
    if not starts or any(start is None for start in starts):
        return TimeAxis((0.0,) * len(starts), 1.0, dated=False)
    axis = TimeAxis(tuple(start.timestamp() * 1000.0 for start in starts if start), 1000.0, dated=True)
    spans = sorted(
        (float(axis.at(k, track.t_s[first])), float(axis.at(k, track.t_s[last - 1])))
        for k, (log, track) in enumerate(zip(analysis.speed_logs, tracks, strict=True))
        for first, last in log.cleaned.stretches
    )
    return replace(axis, pauses=_pauses(spans))


def _pauses(spans: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Find gaps of more than ten minutes between spans sorted by start, with a minute left on each side."""
    if not spans:
        return ()
    pauses = []
    busy_until = spans[0][1]
    for start, end in spans[1:]:
        if start - busy_until > 10 * _MINUTE_MS:
            pauses.append((busy_until + _MINUTE_MS, start - _MINUTE_MS))
        busy_until = max(busy_until, end)
    return tuple(pauses)
