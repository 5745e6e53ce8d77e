"""Small tracks made by hand, whose motion is known exactly; their numbers are not a measurement."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sample_logs.writers import to_csv
from telemetry.core.frames import LogMeta, Track, make_track
from telemetry.core.geo import LocalFrame

LAKE = LocalFrame(38.5, -36.25)
START = pd.Timestamp("2026-06-13T09:30:00Z")
HEADING_DEG = 70.0
# Corners of speed along the course: rest, out at 25 m/s, rest, back at 24 m/s, rest.
OUT_AND_BACK = ((0, 0), (6, 0), (10, 25), (18, 25), (22, 0), (26, 0), (30, -24), (38, -24), (42, 0), (50, 0))
OUT_ONLY = OUT_AND_BACK[:6]


def made_track(
    corners: Sequence[tuple[float, float]] = OUT_AND_BACK,
    *,
    rate_hz: float = 10.0,
    heading_deg: float = HEADING_DEG,
    frame: LocalFrame = LAKE,
    start_utc: pd.Timestamp | None = START,
    current_mps: float = 0.0,
    noise_mps: float = 0.0,
    across_m: float = 0.0,
    columns: Sequence[str] = ("lat_deg", "lon_deg", "speed_mps", "course_deg"),
    file: str = "made.gpx",
    sha256: str = "",
) -> Track:
    """A track along a straight course, from corners (time, speed along it).

    Positions are the exact integral of the speed; ``current_mps`` is added to the speed along the course all
    the time, ``noise_mps`` is white noise on the logged speed only.
    """
    fine_s = np.arange(0.0, corners[-1][0] + 1e-9, 1e-3)
    v = np.interp(fine_s, *zip(*corners, strict=True)) + current_mps
    along = np.r_[0.0, np.cumsum(0.5e-3 * (v[1:] + v[:-1]))]
    t_s = np.arange(0.0, corners[-1][0] + 1e-9, 1.0 / rate_hz)
    at = np.round(t_s * 1e3).astype(int)
    v, along = v[at], along[at]
    h = np.radians(heading_deg)
    lat, lon = frame.to_geodetic(
        along * np.sin(h) + across_m * np.cos(h), along * np.cos(h) - across_m * np.sin(h)
    )
    noise = noise_mps * np.random.default_rng(1).standard_normal(t_s.size)
    data = {
        "lat_deg": lat,
        "lon_deg": (lon + 180.0) % 360.0 - 180.0,
        "speed_mps": np.abs(np.abs(v) + noise),
        "course_deg": np.where(v < 0.0, heading_deg + 180.0, heading_deg) % 360.0,
    }
    return make_track({c: data[c] for c in columns}, t_s, LogMeta(file, "made", start_utc, sha256=sha256))


def long_log(samples: int, rate_hz: float) -> bytes:
    """Make a table: out and back, and then a rest, over and over."""
    round_s = 150.0
    corners: list[tuple[float, float]] = []
    while not corners or corners[-1][0] < samples / rate_hz:
        begun_s = round_s * (len(corners) // len(OUT_AND_BACK))
        corners += [(t + begun_s, v) for t, v in OUT_AND_BACK]
    lasting = [(t, v) for t, v in corners if t < samples / rate_hz]
    track = made_track([*lasting, ((samples - 1) / rate_hz, 0.0)], rate_hz=rate_hz, noise_mps=0.05)
    return to_csv(track)


def altered(track: Track, **columns: object) -> Track:
    """The same track with columns replaced or added, by name."""
    data = {name: track.frame[name].to_numpy() for name in track.frame.columns}
    return make_track({**data, **columns}, track.t_s, track.meta)


def rows(track: Track, part: slice) -> Track:
    """A part of a track, on the same clock from its own first sample."""
    t_s = track.t_s[part]
    data = {name: track.frame[name].to_numpy()[part] for name in track.frame.columns}
    start = track.utc(float(t_s[0]))
    meta = LogMeta(track.meta.file, track.meta.format, start, sha256=track.meta.sha256)
    return make_track(data, t_s - t_s[0], meta)
