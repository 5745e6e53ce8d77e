"""The output contract ``reciprocal-analysis/1``: an analysis as plain types, and as pandas tables.

Keys may be added, none removed. SI units; UTC as ISO 8601 with Z and fractions; no value is NaN.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from telemetry.cleaning.corrections import CUT, Cut, Restored, log_key
from telemetry.core.frames import Finding, Log, utc_text
from telemetry.motor.sync.assign import MotorAssignment, motor_findings, pass_power_of
from telemetry.passes.find import DistanceSpeed, Pass
from telemetry.passes.speed_log import SpeedLog
from telemetry.twoway.mean import TwoWay

if TYPE_CHECKING:
    from telemetry.analysis import Analysis
    from telemetry.core.frames import MotorLog

ANALYSIS_SCHEMA = "reciprocal-analysis/1"
_LEFT_OUT = ("no-time", "duplicate", "backward-time")


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _log(
    log: Log,
    kind: str,
    samples: int,
    findings: tuple[Finding, ...],
    span_s: tuple[float, float] | None = None,
) -> dict[str, Any]:
    meta = log.meta
    start, end = log.span_utc if span_s is None else map(log.utc, span_s)
    return {
        "file": meta.file,
        "kind": kind,
        "format": meta.format,
        "samples": samples,
        "rate_hz": log.rate_hz,
        "start_utc": utc_text(start),
        "end_utc": utc_text(end),
        "speed_source": meta.speed_source,
        "sha256": meta.sha256,
        "clock": meta.clock,
        "findings": [f.to_dict() for f in findings],
    }


def _speed_log(log: SpeedLog) -> dict[str, Any]:
    track, cut = log.cleaned.track, log.cleaned.cut
    # What a person cut out belongs to the log all the same.
    by_hand = (cut["code"] == CUT) & ~cut["t_s"].isin(track.t_s)
    left_out = int((cut["code"].isin(_LEFT_OUT) | by_hand).sum())
    t_s = np.r_[track.t_s[[0, -1]], cut["t_s"][by_hand]]
    span_s = float(t_s.min()), float(t_s.max())
    return _log(track, "speed", track.t_s.size + left_out, log.cleaned.findings, span_s)


def _motor_log(log: MotorLog, joined: Sequence[MotorAssignment]) -> dict[str, Any]:
    return _log(log, "motor", log.t_s.size, motor_findings(log, joined))


def _by_hand(analysis: Analysis) -> dict[str, Any]:
    """Tell what a person corrected in these logs."""
    by_hand = analysis.request.by_hand
    tracks = {log_key(log.read.meta): log.read for log in analysis.speed_logs}

    def stretch(one: Cut | Restored) -> dict[str, Any]:
        track = tracks[one.log]
        return {
            "file": track.meta.file,
            "sha256": track.meta.sha256,
            "start_s": one.start_s,
            "end_s": one.end_s,
            "start_utc": utc_text(track.utc(one.start_s)),
            "end_utc": utc_text(track.utc(one.end_s)),
            "why": one.why,
        }

    def clock(joined: MotorAssignment) -> dict[str, Any]:
        return {
            "file": joined.log.meta.file,
            "sha256": joined.log.meta.sha256,
            "speed_file": analysis.speed_logs[joined.speed_log].read.meta.file,
            "offset_s": joined.clock.offset_s,
            "drift_ppm": joined.clock.drift_ppm,
            "u95_s": joined.clock.u95_s,
            "why": joined.by_hand.why if joined.by_hand else "",
        }

    return {
        "cuts": [stretch(one) for one in by_hand.cuts if one.log in tracks],
        "restored": [stretch(one) for one in by_hand.restored if one.log in tracks],
        "clocks": [clock(j) for j in analysis.motors if j.by_hand is not None],
    }


def _pass(p: Pass, log: SpeedLog, joined: Sequence[MotorAssignment]) -> dict[str, Any]:
    power = pass_power_of(joined, p)
    track = log.cleaned.track

    def when(t_s: float) -> str | None:
        return utc_text(track.utc(t_s))

    def distance(d: DistanceSpeed) -> dict[str, Any]:
        return {
            "distance_m": d.distance_m,
            "speed_mps": d.speed_mps,
            "u95_mps": d.u95_mps,
            "start_utc": when(d.start_s),
            "end_utc": when(d.end_s),
            "start_s": d.start_s,
            "end_s": d.end_s,
        }

    takeoff = p.takeoff and {
        "start_utc": when(p.takeoff.start_s),
        "end_utc": when(p.takeoff.end_s),
        "start_s": p.takeoff.start_s,
        "end_s": p.takeoff.end_s,
    }
    return {
        "id": p.id,
        "log": track.meta.file,
        "start_utc": utc_text(p.start_utc),
        "end_utc": utc_text(p.end_utc),
        "start_s": p.start_s,
        "end_s": p.end_s,
        "heading_deg": _finite(p.heading_deg),
        "length_m": p.length_m,
        "peak_mps": p.peak_mps,
        "peak_u95_mps": p.peak_u95_mps,
        "peak_utc": when(p.peak_s),
        "held_1s_mps": _finite(p.held_1s_mps),
        "held_1s_u95_mps": _finite(p.held_1s_u95_mps),
        "distances": [distance(d) for d in p.distances],
        "takeoff": takeoff,
        "motor": power and power.to_dict(),
        "findings": [f.to_dict() for f in p.findings],
    }


def _two_way(w: TwoWay) -> dict[str, Any]:
    return {
        "id": w.id,
        "best": w.best,
        "passes": list(w.passes),
        "rule": w.rule,
        "distance_m": w.distance_m,
        "mean": w.mean,
        "speeds_mps": list(w.speeds_mps),
        "speed_u95_mps": list(w.speed_u95_mps),
        "times_s": list(w.times_s),
        "average_mps": w.average_mps,
        "u95_mps": w.u95_mps,
        "u_independent_mps": w.u_independent_mps,
        "u_shared_mps": w.u_shared_mps,
        "printed": w.official_text,
        "verdict": w.verdict,
        "checks": [{"name": c.name, "result": c.result, "detail": c.detail} for c in w.checks],
        "gates": [{"lat_deg": g.lat_deg, "lon_deg": g.lon_deg} for g in w.gates],
        "gates_given": w.gates_given,
    }


def analysis_document(analysis: Analysis) -> dict[str, Any]:
    """Return an analysis as the contract's tree of plain types.

    ``clock`` and ``power`` are those of the first motor log; ``motors`` has them all.
    """
    motors = [j.to_dict() for j in analysis.motors]
    return {
        "schema": ANALYSIS_SCHEMA,
        "logs": [_speed_log(log) for log in analysis.speed_logs]
        + [_motor_log(log, analysis.motors) for log in analysis.motor_logs],
        "clock": motors[0]["clock"] if motors else None,
        "passes": [_pass(p, analysis.speed_logs[p.log], analysis.motors) for p in analysis.passes],
        "two_ways": [_two_way(w) for w in analysis.two_ways],
        "ride": [event.to_dict() for event in analysis.ride],
        "power": motors[0]["power"] if motors else None,
        "motors": motors,
        "by_hand": _by_hand(analysis),
        "notes": list(analysis.notes),
        "errors": [str(e) for e in analysis.errors],
    }


def passes_frame(analysis: Analysis) -> pd.DataFrame:
    """Tabulate the passes of an analysis.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    pandas.DataFrame, shape (passes, columns)
        Indexed by ``pass_id``; columns end in their unit, and ``u95`` is half the width of a 95 % interval.
        ``average_100m_mps`` and its like are the best averages over each distance, NaN where a pass is
        shorter; ``porpoising``, ``blow_over`` and ``veer`` hold the ride's verdicts.
    """
    rows = []
    for p in analysis.passes:
        row: dict[str, Any] = {
            "pass_id": p.id,
            "file": analysis.speed_logs[p.log].read.meta.file,
            "start_utc": p.start_utc,
            "start_s": p.start_s,
            "end_s": p.end_s,
            "heading_deg": p.heading_deg,
            "length_m": p.length_m,
            "peak_mps": p.peak_mps,
            "peak_u95_mps": p.peak_u95_mps,
            "held_1s_mps": p.held_1s_mps,
            "held_1s_u95_mps": p.held_1s_u95_mps,
        }
        for d in p.distances:
            row[f"average_{d.distance_m:.0f}m_mps"] = d.speed_mps
            row[f"average_{d.distance_m:.0f}m_u95_mps"] = d.u95_mps
        for event in analysis.ride:
            if event.pass_id == p.id:
                row.setdefault(event.kind.replace("-", "_"), event.verdict)
        rows.append(row)
    return pd.DataFrame(rows, columns=None if rows else ["pass_id"]).set_index("pass_id")


def two_ways_frame(analysis: Analysis) -> pd.DataFrame:
    """Tabulate the two-ways of an analysis.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    pandas.DataFrame, shape (two-ways, columns)
        Indexed by ``two_way_id``, the best by the rule first; ``not_met`` names the checks that are not met.
    """
    rows = [
        {
            "two_way_id": w.id,
            "first_pass": w.passes[0],
            "second_pass": w.passes[1],
            "rule": w.rule,
            "distance_m": w.distance_m,
            "first_mps": w.speeds_mps[0],
            "second_mps": w.speeds_mps[1],
            "average_mps": w.average_mps,
            "u95_mps": w.u95_mps,
            "verdict": w.verdict,
            "not_met": ", ".join(c.name for c in w.checks if c.result != "met"),
        }
        for w in analysis.two_ways
    ]
    return pd.DataFrame(rows, columns=None if rows else ["two_way_id"]).set_index("two_way_id")


def samples_frame(analysis: Analysis) -> pd.DataFrame:
    """Tabulate the samples of the speed logs.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    pandas.DataFrame, shape (samples, columns)
        The cleaned log's own columns with ``file``, ``t_s`` on the log's clock, ``utc`` (NaT where no day is
        known), ``speed_ok`` and ``position_ok`` (whether the value may be used), ``smoothed_mps``,
        ``smoothed_mps2`` (speed and acceleration of the smoothed log), ``pass_id`` (empty outside passes).
    """
    tables = []
    for k, log in enumerate(analysis.speed_logs):
        track = log.cleaned.track
        table = track.frame.reset_index()
        start = track.meta.start_utc
        table.insert(0, "file", track.meta.file)
        table["utc"] = pd.NaT if start is None else start + pd.to_timedelta(track.t_s, unit="s")
        table["speed_ok"], table["position_ok"] = log.cleaned.speed_ok, log.cleaned.position_ok
        table["smoothed_mps"], table["smoothed_mps2"] = log.motion.speed_mps, log.motion.acceleration_mps2
        table["pass_id"] = ""
        for p in analysis.passes:
            if p.log == k:
                table.loc[table["t_s"].between(p.start_s, p.end_s), "pass_id"] = p.id
        tables.append(table)
    return (
        pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=["file", "t_s", "pass_id"])
    )
