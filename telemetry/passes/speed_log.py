"""The speed logs of an analysis: each cleaned, smoothed and measured, and what is said of all together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np

from telemetry.cleaning.clean import Cleaned, clean
from telemetry.cleaning.corrections import ByHand, log_key
from telemetry.core.frames import Track
from telemetry.core.geo import LocalFrame, geodesic_m
from telemetry.core.progress import report, scope
from telemetry.kinematics.whole_log import Motion, smooth_log
from telemetry.passes.find import Pass, find_windows
from telemetry.passes.measure import PassSpeeds, measure_passes

_ONE_PLACE_M = 20_000.0
# How far a log is when it is cleaned and smoothed: of the time that it takes.
_CLEANED, _SMOOTHED = 0.3, 0.5


@dataclass(frozen=True)
class SpeedLog:
    """A speed log with everything found out about it on the way.

    Attributes
    ----------
    read : Track
        As a reader returned it.
    cleaned : Cleaned
    motion : Motion
    """

    read: Track
    cleaned: Cleaned
    motion: Motion


def process_log(
    track: Track, frame: LocalFrame, by_hand: ByHand, distances_m: Sequence[float]
) -> tuple[SpeedLog, tuple[PassSpeeds, ...]]:
    """Clean, smooth and measure one log.

    Parameters
    ----------
    track : Track
    frame : LocalFrame
        Where its metres are counted from.
    by_hand : ByHand
        Corrections, of this log and of others.
    distances_m : sequence of float
        Measured distances to look for [m].

    Returns
    -------
    SpeedLog
    tuple of PassSpeeds
        Of its passes, in order of time.
    """
    report(0.0)
    cleaned = clean(track, by_hand=by_hand.of(log_key(track.meta)))
    report(_CLEANED)
    motion = smooth_log(cleaned, frame)
    windows = find_windows(cleaned, motion)
    with scope(_SMOOTHED, 1.0):
        return SpeedLog(track, cleaned, motion), tuple(measure_passes(cleaned, motion, windows, distances_m))


def start_order(track: Track, t_s: float) -> tuple[int, float]:
    """Order in time; logs that do not say which day it was come last."""
    utc = track.utc(t_s)
    return (1, t_s) if utc is None else (0, utc.timestamp())


def local_frames(tracks: Sequence[Track]) -> list[LocalFrame]:
    """One frame of metres for all logs of one place, so that their passes can be paired."""
    frames: list[LocalFrame] = []
    for track in tracks:
        lat, lon = track.column("lat_deg"), track.column("lon_deg")
        if lat is None or lon is None:
            frames.append(frames[0] if frames else LocalFrame(0.0, 0.0))
            continue
        own = LocalFrame(float(np.nanmedian(lat)), float(np.nanmedian(lon)))
        near = (
            f for f in frames if geodesic_m(f.lat0_deg, f.lon0_deg, own.lat0_deg, own.lon0_deg) < _ONE_PLACE_M
        )
        frames.append(next(near, own))
    return frames


def number_passes(
    logs: Sequence[SpeedLog], measured: Sequence[Sequence[PassSpeeds]]
) -> tuple[tuple[Pass, ...], tuple[PassSpeeds, ...]]:
    """Give numbers to the passes of all logs, in order of time; return what each was measured on beside."""
    found = [(k, m) for k, mine in enumerate(measured) for m in mine]
    found.sort(key=lambda item: start_order(logs[item[0]].read, item[1].data.start_s))
    passes = tuple(_told_pass(k, log, logs[log].cleaned, m) for k, (log, m) in enumerate(found))
    return passes, tuple(m for _, m in found)


def _told_pass(k: int, log: int, cleaned: Cleaned, m: PassSpeeds) -> Pass:
    data, window = m.data, m.data.window
    track = cleaned.track
    return Pass(
        id=f"P{k + 1}",
        log=log,
        start_s=data.start_s,
        end_s=data.end_s,
        start_utc=track.utc(data.start_s),
        end_utc=track.utc(data.end_s),
        heading_deg=window.heading_deg,
        length_m=data.length_m,
        peak_mps=m.peak_mps,
        peak_u95_mps=m.peak_u95_mps,
        peak_s=m.peak_s,
        held_1s_mps=m.held_1s_mps,
        held_1s_u95_mps=m.held_1s_u95_mps,
        distances=m.distances,
        takeoff=window.takeoff,
        findings=tuple(f for f in cleaned.findings if f.touches(data.start_s, data.end_s)),
    )


def log_notes(logs: Sequence[SpeedLog], passes: Sequence[Pass]) -> tuple[str, ...]:
    """Say which logs hold no pass, and which cover the same time."""
    with_passes = {p.log for p in passes}
    without = [_why_no_pass(log) for k, log in enumerate(logs) if k not in with_passes]
    return (*without, *_overlaps(logs))


def _overlaps(logs: Sequence[SpeedLog]) -> list[str]:
    """Say where two speed logs cover the same time, so that nobody counts a pass twice."""
    spans = []
    for log in logs:
        start, end = log.cleaned.track.span_utc
        if start is not None and end is not None:
            spans.append((start, end, Path(log.cleaned.track.meta.file).name))
    return [
        f"{a} and {b} cover the same time: a pass that both recorded is listed twice, "
        "and passes of the one are not paired with passes of the other."
        for (a0, a1, a), (b0, b1, b) in combinations(spans, 2)
        if a0 <= b1 and b0 <= a1
    ]


def _why_no_pass(log: SpeedLog) -> str:
    motion = log.motion
    name = Path(log.read.meta.file).name
    if np.isnan(motion.speed_mps).all():
        return f"{name}: cannot tell any speed: no sample with a usable speed or position."
    top_mps = float(np.nanmax(motion.speed_mps))
    return (
        f"{name}: no pass found: a pass is straight, reaches 5 m/s and lasts at least 1.2 s "
        f"and 25 m; the smoothed speed reaches {top_mps:.1f} m/s."
    )
