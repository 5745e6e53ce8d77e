"""Logs whose columns lie: no verdict, and the cause is named."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from receiver_study import CONDITIONS, track_of

from sample_logs.courses_real import Hull, drive_course
from sample_logs.receivers_real import RealReceiver, record
from telemetry.analysis import Analysis, Request, analyse
from telemetry.cleaning.reflections import find_reflections
from telemetry.core.frames import FloatArray, LogMeta, make_track

Columns = dict[str, FloatArray]
SEED = 11


def scaled(factor: float) -> Callable[[Columns], None]:
    def change(c: Columns) -> None:
        c["speed_mps"] = c["speed_mps"] * factor

    return change


def swapped(c: Columns) -> None:
    c["lat_deg"], c["lon_deg"] = c["lon_deg"], c["lat_deg"]


def other_hemisphere(c: Columns) -> None:
    c["lon_deg"] = -c["lon_deg"]


def zeros(c: Columns) -> None:
    c["lat_deg"], c["lon_deg"] = np.zeros_like(c["lat_deg"]), np.zeros_like(c["lon_deg"])


def coarse(c: Columns) -> None:
    c["lat_deg"], c["lon_deg"] = np.round(c["lat_deg"], 4), np.round(c["lon_deg"], 4)


def late(samples: int) -> Callable[[Columns], None]:
    def change(c: Columns) -> None:
        for name in ("speed_mps", "course_deg", "vertical_mps"):
            c[name] = np.r_[np.full(samples, c[name][0]), c[name][:-samples]]

    return change


def times_six(c: Columns) -> None:
    c["speed_mps"] = c["speed_mps"] * 6.0
    for name in ("lat_deg", "lon_deg"):
        c[name] = c[name][0] + 6.0 * (c[name] - c[name][0])


def held_for_25_s(c: Columns) -> None:
    k = (np.arange(c["lat_deg"].size) // 250) * 250
    c["lat_deg"], c["lon_deg"] = c["lat_deg"][k], c["lon_deg"][k]
    del c["course_deg"]


def told(change: Callable[[Columns], None]) -> tuple[Analysis, dict[str, str]]:
    _, track = track_of(SEED, CONDITIONS["clean 10 Hz"])
    columns = {name: track.frame[name].to_numpy().copy() for name in track.frame.columns}
    change(columns)
    analysis = analyse([make_track(columns, track.t_s, LogMeta("x", "simulated", track.meta.start_utc))])
    return analysis, {f.code: f.message for log in analysis.speed_logs for f in log.cleaned.findings}


@pytest.mark.parametrize(
    ("change", "code", "cause"),
    [
        (scaled(1 / 1.609344), "speed-scale", "mph read as km/h"),
        (scaled(1.609344), "speed-scale", "km/h read as mph"),
        (scaled(1.03), "speed-scale", "too high"),
        (scaled(0.97), "speed-scale", "too low"),
        (swapped, "positions-swapped", "swapped"),
        (other_hemisphere, "positions-mirrored", "hemisphere"),
        (zeros, "positions-zero", "no places"),
        (coarse, "positions-coarse", "11 m"),
        (late(10), "speed-very-late", "too late"),
        (times_six, "implausible-speed", "unit"),
        (held_for_25_s, "frozen-position", "position is frozen"),
    ],
    ids=[
        "mph",
        "km/h",
        "+3 %",
        "-3 %",
        "swapped",
        "hemisphere",
        "zeros",
        "coarse",
        "late",
        "times six",
        "held",
    ],
)
def test_a_log_that_contradicts_itself_never_counts(
    change: Callable[[Columns], None], code: str, cause: str
) -> None:
    analysis, findings = told(change)
    assert code in findings
    assert cause in findings[code]
    assert not any(w.verdict == "counts" for w in analysis.two_ways)
    for p in analysis.passes:
        assert p.peak_mps >= p.held_1s_mps
        assert all(d.speed_mps <= p.held_1s_mps for d in p.distances if d.end_s - d.start_s >= 1.0)


def test_an_honest_log_counts_and_says_that_its_witnesses_agree() -> None:
    analysis, _ = told(lambda c: None)
    assert any(w.verdict == "counts" for w in analysis.two_ways)
    checks = {c.name: c for c in analysis.two_ways[0].checks}
    assert checks["speed and positions agree"].result == "met"


def test_a_scaled_speed_is_brought_to_the_positions_with_an_interval_that_holds() -> None:
    truth, _ = track_of(SEED, CONDITIONS["clean 10 Hz"])
    analysis, _ = told(scaled(1.03))
    for p, true in zip(analysis.passes, truth.passes, strict=True):
        assert abs(p.peak_mps - true.peak_mps) <= 1.3 * p.peak_u95_mps


T = np.arange(0.0, 12.0, 0.1)


@pytest.mark.parametrize(("size", "lasts_s"), [(1.0, 0.5), (2.0, 0.3), (3.0, 1.0)])
def test_a_step_up_and_back_is_a_reflection(size: float, lasts_s: float) -> None:
    v = 30.0 + 0.04 * np.random.default_rng(2).standard_normal(T.size)
    up = np.interp(T, [6.0, 6.2, 6.2 + lasts_s, 6.4 + lasts_s], [0.0, size, size, 0.0])
    (one,) = find_reflections(T, v + up)
    assert one.excess_mps == pytest.approx(size, abs=0.25)
    assert T[one.first] == pytest.approx(6.1, abs=0.21)
    assert T[one.last - 1] == pytest.approx(6.4 + lasts_s, abs=0.31)


@pytest.mark.parametrize(
    "extra",
    [
        np.zeros(T.size),
        0.9 * np.sin(2.0 * np.pi * 1.3 * T),  # a hull that porpoises
        np.interp(T, [5.0, 7.0], [0.0, -20.0]),  # a lift
        np.interp(T, [2.0, 5.0, 5.2, 7.0], [-24.0, 0.0, 0.0, -18.0]),  # a brief top
        np.interp(T, [5.0, 6.5], [-5.0, 0.0]),  # more throttle
        np.interp(T, [6.0, 6.4, 7.2, 7.3, 9.0], [0.0, 1.3, 2.4, 2.4, -12.0]),  # and then none
    ],
    ids=["calm", "swings", "lift", "brief top", "more throttle", "more, then none"],
)
def test_what_a_hull_does_is_no_reflection(extra: FloatArray) -> None:
    v = 30.0 + 0.04 * np.random.default_rng(2).standard_normal(T.size)
    assert find_reflections(T, v + extra) == []


def test_a_run_that_bends_is_a_pass() -> None:
    """The old program denied a run whose ends lie nearer than 0.7 of its way."""
    truth, track = track_of(SEED, CONDITIONS["curved legs"])
    passes = analyse([track], Request()).passes
    assert len(passes) == len(truth.passes)
    assert max(p.peak_mps for p in passes) == pytest.approx(max(p.peak_mps for p in truth.passes), abs=0.3)


@pytest.mark.parametrize("step_s", [3.0, 4.0, 5.0])
def test_a_log_of_a_position_each_few_seconds_keeps_its_speed(step_s: float) -> None:
    """The old program stated 0.1 m/s for these runs of 16."""
    truth = drive_course(
        np.random.default_rng(1), Hull(terminal_mps=16.0, rise_s=2.5, flat_out_s=25.0), turn_s=14.0
    )
    receiver = RealReceiver(rate_hz=1.0 / step_s, has_speed=False)
    analysis = analyse([record(np.random.default_rng(1), receiver, truth)])
    assert len(analysis.passes) == len(truth.passes)
    for p, true in zip(analysis.passes, truth.passes, strict=True):
        assert abs(p.peak_mps - true.peak_mps) <= p.peak_u95_mps
