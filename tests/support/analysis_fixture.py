"""A small made-up analysis, for tests of what is drawn and said; its numbers are not a measurement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from telemetry.analysis import Analysis, Request
from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import Finding, LogMeta, make_track
from telemetry.core.geo import CourseLine, LocalFrame
from telemetry.kinematics.models import ReceiverModel
from telemetry.kinematics.whole_log import Motion
from telemetry.passes.find import DistanceSpeed, Pass, TakeOff, Window
from telemetry.passes.measure import PassData, PassSpeeds
from telemetry.passes.speed_log import SpeedLog
from telemetry.twoway.mean import Check, Gate, TwoWay

START = pd.Timestamp("2026-06-13T09:30:00Z")
FRAME = LocalFrame(47.4, 8.2)
SPIKE = Finding("false-spike", "a speed no hull could have, set aside", 2, 25.0, 25.1)


def speed_log(samples: int = 1200, rate_hz: float = 10.0, file: str = "speed.gpx") -> SpeedLog:
    """Two opposite passes east and back at 30 m/s, at 20-32 s and 60-72 s, with a spike in the first."""
    t_s = np.arange(samples) / rate_hz
    speed = np.interp(t_s, [0, 16, 20, 32, 36, 56, 60, 72, 76], [2, 2, 30, 30, 2, 2, 29, 29, 2])
    sign = np.where(t_s < 46, 1.0, -1.0)
    east = np.cumsum(speed * sign) / rate_hz - 150.0
    north = np.where(t_s < 46, 4.0, -4.0)
    lat, lon = FRAME.to_geodetic(east, north)
    logged = speed.copy()
    spike = (t_s >= 25.0) & (t_s <= 25.1)
    logged[spike] = 80.0
    track = make_track(
        {"lat_deg": lat, "lon_deg": lon, "speed_mps": logged},
        t_s,
        LogMeta(file, "gpx", START, sha256="a" * 64),
    )
    cut = pd.DataFrame(
        {
            "t_s": t_s[spike],
            "speed_mps": logged[spike],
            "lat_deg": lat[spike],
            "lon_deg": lon[spike],
            "code": "false-spike",
        }
    )
    cleaned = Cleaned(track, ~spike, np.ones(samples, dtype=bool), cut, ((0, samples),), (SPIKE,))
    course = np.where(sign > 0, 90.0, 270.0)
    motion = Motion(FRAME, t_s, speed, np.gradient(speed, t_s), course, east, north, True, 0.05, 0.5)
    return SpeedLog(track, cleaned, motion)


def one_pass(name: str, start_s: float, heading_deg: float, peak_mps: float) -> Pass:
    distance = DistanceSpeed(100.584, peak_mps - 0.5, 0.08, start_s + 2, start_s + 5.4)
    return Pass(
        id=name,
        log=0,
        start_s=start_s,
        end_s=start_s + 12,
        start_utc=START + pd.Timedelta(seconds=start_s),
        end_utc=START + pd.Timedelta(seconds=start_s + 12),
        heading_deg=heading_deg,
        length_m=350.0,
        peak_mps=peak_mps,
        peak_u95_mps=0.12,
        peak_s=start_s + 4,
        held_1s_mps=peak_mps - 0.2,
        held_1s_u95_mps=0.1,
        distances=(distance,),
        takeoff=TakeOff(start_s - 4, start_s),
        findings=(SPIKE,) if name == "P1" else (),
    )


def measured(one: Pass, log: SpeedLog) -> PassSpeeds:
    """What a pass was measured on: every sample of it and five seconds on either side, without noise."""
    motion = log.motion
    near = (motion.t_s >= one.start_s - 5.0) & (motion.t_s <= one.end_s + 5.0)
    t_s, speed_mps = motion.t_s[near], motion.speed_mps[near]
    nodes = np.arange(t_s.size)
    first = int(np.argmax(near))
    data = PassData(
        window=Window(first, first + t_s.size, (0, motion.t_s.size), None, one.heading_deg, one.takeoff),
        start_s=one.start_s,
        end_s=one.end_s,
        t_s=t_s,
        speed_mps=speed_mps,
        density=np.full(t_s.size - 1, 100.0),
        position_node=nodes,
        east_m=motion.east_m[near],
        north_m=motion.north_m[near],
        position_sd_m=0.05,
        speed_node=nodes,
        measured_mps=speed_mps,
        measured_sd_mps=np.full(t_s.size, 0.02),
        course_deg=np.full(t_s.size, one.heading_deg),
        lag_s=0.0,
        receiver=ReceiverModel(),
    )
    figures = (one.peak_mps, one.peak_u95_mps, one.peak_s, one.held_1s_mps, one.held_1s_u95_mps)
    return PassSpeeds(data, *figures, one.distances, np.full(t_s.size, 0.02))


def two_way(name: str = "T1", *, best: bool = True) -> TwoWay:
    gates = tuple(
        Gate(*(float(v) for v in FRAME.to_geodetic(east, 0.0)), east, 0.0) for east in (0.0, 100.584)
    )
    return TwoWay(
        id=name,
        passes=("P1", "P2"),
        rule="water",
        mean="of speeds",
        distance_m=100.584,
        speeds_mps=(30.0, 29.0),
        speed_u95_mps=(0.06, 0.07),
        times_s=(3.3528, 3.4684),
        crossings_s=((24.0, 27.3528), (64.0, 67.4684)),
        average_mps=29.5,
        u95_mps=0.05,
        u_independent_mps=0.02,
        u_shared_mps=0.01,
        verdict="counts",
        checks=(
            Check("opposite directions", "met", "headings 90.0° and 270.0°: 0.0° from opposite"),
            Check("within the time window", "met", "43 s of 3600 s"),
        ),
        gates=(gates[0], gates[1]),
        gates_given=False,
        course=CourseLine(0.0, 0.0, 90.0),
        best=best,
        official_text="65.989 mph",
    )


def analysis(*, pairs: bool = True) -> Analysis:
    passes = (one_pass("P1", 20.0, 90.0, 30.1), one_pass("P2", 60.0, 270.0, 29.1))
    if not pairs:
        return Analysis(
            Request(),
            (speed_log(),),
            (),
            passes[:1],
            (),
            ("there is one pass only: a two-way needs two",),
            (),
        )
    log = speed_log()
    return Analysis(
        Request(), (log,), (), passes, (two_way(),), (), (), tuple(measured(p, log) for p in passes)
    )


def undated(whole: Analysis) -> Analysis:
    """The same analysis from a log that does not say which day it was."""
    log = whole.speed_logs[0]
    track = replace(log.cleaned.track, meta=replace(log.cleaned.track.meta, start_utc=None))
    return replace(whole, speed_logs=(replace(log, cleaned=replace(log.cleaned, track=track)),))
