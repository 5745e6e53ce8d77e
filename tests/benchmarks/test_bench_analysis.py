"""Print what an analysis and its parts cost beside a parse of the same log: ratios, not the machine."""

from __future__ import annotations

import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable

import gpxpy
import numpy as np
import pandas as pd
import pytest

from sample_logs.simulator import HYDROPLANE, Receiver, simulate_outing
from sample_logs.writers import to_gpx
from telemetry.analysis import Request, analyse, rejudge
from telemetry.core.frames import LogMeta, Track, make_track
from telemetry.motor.sync.clock import match_clock
from telemetry.ride.judge import judge_ride

pytestmark = pytest.mark.benchmark

HOUR_S = 3600
COLUMNS = ["lat_deg", "lon_deg", "alt_m", "speed_mps", "course_deg", "vertical_mps"]


def hour_of(rate_hz: float, runs: int) -> Track:
    """Runs of four passes in an hour, the boat lying still on the bank in between."""
    receiver = Receiver.drawn(np.random.default_rng(0))
    parts, start_s = [], 0.0
    rng = np.random.default_rng(1)
    for seed in range(runs):
        outing = simulate_outing(
            seed, boat=HYDROPLANE, receiver=receiver, course_heading_deg=40.0, rate_hz=rate_hz
        )
        run = outing.track.frame[COLUMNS]
        n = round(HOUR_S * rate_hz) // runs - len(run)
        rest = pd.concat([run.iloc[-1:]] * n)
        rest["speed_mps"] = np.abs(rng.normal(0.0, 0.05, n))
        rest["course_deg"] = rng.uniform(0.0, 360.0, n)
        part = pd.concat([run, rest])
        part.index = start_s + np.arange(len(part)) / rate_hz
        parts.append(part)
        start_s = part.index[-1] + 1.0 / rate_hz
    frame = pd.concat(parts)
    meta = LogMeta("hour", "simulated", pd.Timestamp("2025-06-14T08:00:00Z"))
    return make_track({c: frame[c].to_numpy() for c in COLUMNS}, frame.index.to_numpy(), meta)


def best_s(call: Callable[[], object], repeats: int = 5) -> float:
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)


def memory_ratio(track: Track) -> float:
    """Most memory that an analysis holds at a time, over that of the log's table."""
    tracemalloc.start()
    try:
        analyse([track])
        return tracemalloc.get_traced_memory()[1] / float(track.frame.memory_usage().sum())
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(("rate_hz", "runs"), [(10.0, 2), (10.0, 6), (25.0, 2)])
def test_analysis_against_the_parse_of_the_same_log(rate_hz: float, runs: int) -> None:
    track = hour_of(rate_hz, runs)
    text = to_gpx(track).decode()
    analysis = analyse([track])
    parse_s = best_s(lambda: gpxpy.parse(text), 1)
    analyse_s = best_s(lambda: analyse([track]), 3)
    rejudge_s = best_s(lambda: rejudge(analysis, Request(rule="land")), 3)
    memory = memory_ratio(track)
    print(
        f"\n{track.t_s.size} points, {len(analysis.passes)} passes, {len(analysis.two_ways)} two-ways: "
        f"analysis / gpxpy parse = {analyse_s / parse_s:.3f}, another rule / gpxpy parse = "
        f"{rejudge_s / parse_s:.3f}, most memory / the log's table = {memory:.2f} (wanted: at most 6)"
    )
    assert len(analysis.passes) == 4 * runs


def test_the_start_of_the_command_line_against_that_of_pandas() -> None:
    def load_s(module: str) -> float:
        asked = f"import time; t = time.process_time(); import {module}; print(time.process_time() - t)"
        return min(float(subprocess.check_output([sys.executable, "-c", asked])) for _ in range(5))

    pandas_s = load_s("pandas")
    parts = {"the command line": "telemetry.cli", "what `analyse` takes": "telemetry.cli.analysing_arguments"}
    told = [f"{name} / pandas = {load_s(module) / pandas_s:.2f}" for name, module in parts.items()]
    print("\nto load: " + ", ".join(told))


def test_ride_and_clock_against_the_parse_of_the_same_log() -> None:
    outing = simulate_outing(5, rate_hz=10.0, passes=18, motor_rate_hz=50.0)
    analysis = analyse([outing.track, outing.motor])
    (log,), (motor,) = analysis.speed_logs, analysis.motors
    text = to_gpx(outing.track).decode()
    parse_s = best_s(lambda: gpxpy.parse(text), 3)
    ride_s = best_s(lambda: judge_ride(log.cleaned, log.motion, analysis.passes, motor.signal()), 3)
    join_s = best_s(lambda: match_clock(outing.motor, log.cleaned, log.motion), 3)
    print(
        f"\n{outing.track.t_s.size} points, {outing.motor.t_s.size} motor samples, "
        f"{len(analysis.passes)} passes: ride / gpxpy parse = {ride_s / parse_s:.2f}, "
        f"joining the clock / gpxpy parse = {join_s / parse_s:.2f}"
    )
    assert motor.clock.trusted
    assert len(analysis.passes) == 18
