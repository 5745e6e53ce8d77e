"""The output contract ``reciprocal-analysis/1``: an analysis as plain types.

Keys may be added, none removed. SI units; UTC as ISO 8601 with Z and fractions; no value is NaN.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from telemetry.frames import Finding, Log, utc_text
from telemetry.joining import JoinedMotor, power_of
from telemetry.passes import DistanceSpeed, Pass
from telemetry.twoway import TwoWay

if TYPE_CHECKING:
    from telemetry.analysis import Analysis, SpeedLog
    from telemetry.frames import MotorLog

SCHEMA = "reciprocal-analysis/1"
_LEFT_OUT = ("no-time", "duplicate", "backward-time")


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _log(log: Log, kind: str, samples: int, findings: tuple[Finding, ...]) -> dict[str, Any]:
    meta, (start, end) = log.meta, log.span_utc
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
    left_out = int(cut["code"].isin(_LEFT_OUT).sum())
    return _log(track, "speed", track.t_s.size + left_out, log.cleaned.findings)


def _motor_log(log: MotorLog) -> dict[str, Any]:
    return _log(log, "motor", log.t_s.size, log.findings)


def _pass(p: Pass, log: SpeedLog, joined: Sequence[JoinedMotor]) -> dict[str, Any]:
    power = power_of(joined, p)
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


def contract(analysis: Analysis) -> dict[str, Any]:
    """Return an analysis as the contract's tree of plain types.

    ``clock`` and ``power`` are those of the first motor log; ``motors`` has them all.
    """
    motors = [j.to_dict() for j in analysis.motors]
    return {
        "schema": SCHEMA,
        "logs": [_speed_log(log) for log in analysis.speed_logs]
        + [_motor_log(log) for log in analysis.motor_logs],
        "clock": motors[0]["clock"] if motors else None,
        "passes": [_pass(p, analysis.speed_logs[p.log], analysis.motors) for p in analysis.passes],
        "two_ways": [_two_way(w) for w in analysis.two_ways],
        "ride": [event.to_dict() for event in analysis.ride],
        "power": motors[0]["power"] if motors else None,
        "motors": motors,
        "notes": list(analysis.notes),
        "errors": [str(e) for e in analysis.errors],
    }
