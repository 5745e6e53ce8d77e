"""Finding what a log cannot be trusted on, without throwing any of it away."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from telemetry.frames import BoolArray, Finding, Track


@dataclass(frozen=True)
class Cleaned:
    """A track in strictly increasing time with a verdict on every sample.

    Attributes
    ----------
    track : Track
        Samples sorted out in time; values are as logged.
    speed_ok, position_ok : ndarray of bool, shape (n,)
        Whether the sample's measured speed and its position may be used.
    cut : pandas.DataFrame
        The samples (also those dropped from ``track``) set aside, for plots: columns ``t_s``, ``speed_mps``,
        ``lat_deg``, ``lon_deg`` (NaN where absent) and ``code``.
    stretches : tuple of (int, int)
        Half-open index ranges without a break in time or a position jump between them.
    findings : tuple of Finding
        The reader's findings and those made here, in time order.
    """

    track: Track
    speed_ok: BoolArray
    position_ok: BoolArray
    cut: pd.DataFrame
    stretches: tuple[tuple[int, int], ...]
    findings: tuple[Finding, ...]


def clean(track: Track) -> Cleaned:
    """Judge every sample of a track."""
    raise NotImplementedError
