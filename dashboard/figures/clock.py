"""One time axis for every speed log of an analysis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from telemetry.analysis import Analysis
from telemetry.frames import FloatArray


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """From each log's own clock to what the plot shows.

    Attributes
    ----------
    origins : tuple of float
        Each log's ``t_s = 0`` on the axis.
    per_second : float
        Axis units in a second: 1000 on plotly's date axis, 1 on a plain one.
    dated : bool
        Whether the axis shows UTC.
    """

    origins: tuple[float, ...]
    per_second: float
    dated: bool

    def at(self, log: int, t_s: npt.ArrayLike) -> FloatArray:
        """Place times of one log on the axis, any shape."""
        return self.origins[log] + self.per_second * np.asarray(t_s, dtype=np.float64)


def time_axis(analysis: Analysis) -> TimeAxis:
    """UTC where every log knows its day; else seconds from each log's first sample."""
    starts = [log.cleaned.track.meta.start_utc for log in analysis.speed_logs]
    if starts and all(start is not None for start in starts):
        return TimeAxis(tuple(start.timestamp() * 1000.0 for start in starts if start), 1000.0, dated=True)
    return TimeAxis((0.0,) * len(starts), 1.0, dated=False)
