"""What must not change the judgement of a ride, and what must change only its figures."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_logs.simulator import CATAMARAN, Outing, Porpoising, Receiver, RideScript, simulate_outing
from telemetry.analysis import analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track, make_track
from telemetry.ride.judge import RideEvent, judge_ride


@cache
def outing() -> Outing:
    script = RideScript(porpoising=(Porpoising(0, "at speed", 2.8, 0.4, 0.4, 0.6, 3.0),))
    return simulate_outing(4, boat=CATAMARAN, receiver=Receiver(rate_hz=10.0), passes=2, ride=script)


def rows_of(track: Track) -> list[RideEvent]:
    analysis = analyse([track])
    log = analysis.speed_logs[0]
    return list(judge_ride(log.cleaned, log.motion, analysis.passes))


@cache
def usual() -> list[RideEvent]:
    return rows_of(outing().track)


def alike(rows: list[RideEvent], shift_s: float = 0.0) -> None:
    assert [(e.kind, e.phase, e.verdict) for e in rows] == [(e.kind, e.phase, e.verdict) for e in usual()]
    for a, b in zip(rows, usual(), strict=True):
        assert a.start_s - shift_s == pytest.approx(b.start_s, abs=0.11)
        if b.frequency_hz:
            assert a.frequency_hz == pytest.approx(b.frequency_hz, rel=0.01)
            assert a.growth_per_s == pytest.approx(b.growth_per_s, abs=0.05)


@settings(max_examples=15)
@given(st.floats(-500.0, 5000.0))
def test_the_clocks_origin_does_not_matter(shift_s: float) -> None:
    track = outing().track
    alike(rows_of(replace(track, frame=track.frame.set_axis(track.frame.index + shift_s))), shift_s)


@settings(max_examples=15)
@given(st.floats(-3.0, 3.0))
def test_a_constant_climb_does_not_matter(climb_mps: float) -> None:
    track = outing().track
    alike(
        rows_of(replace(track, frame=track.frame.assign(vertical_mps=track.frame.vertical_mps + climb_mps)))
    )


@settings(max_examples=15)
@given(st.sampled_from([0.5, 2.0, 7.0]))
def test_the_unit_of_the_vertical_signal_changes_amplitudes_alone(scale: float) -> None:
    track = outing().track
    rows = rows_of(replace(track, frame=track.frame.assign(vertical_mps=scale * track.frame.vertical_mps)))
    alike(rows)
    for a, b in zip(rows, usual(), strict=True):
        if b.vertical_amplitude_mps:
            assert a.vertical_amplitude_mps == pytest.approx(scale * b.vertical_amplitude_mps, rel=1e-6)


@settings(max_examples=40)
@given(st.integers(0, 2**32 - 1), st.sampled_from([1.0, 3.0, 5.0, 10.0, 25.0]))
def test_rubbish_gets_rows_and_never_an_exception(seed: int, rate_hz: float) -> None:
    rng = np.random.default_rng(seed)
    track, analysis = outing().track, analyse([outing().track])
    log = analysis.speed_logs[0]
    n = log.motion.t_s.size
    speed = rng.uniform(0.0, 60.0, n)
    speed[rng.random(n) < rng.random()] = np.nan
    data = {"speed_mps": speed, "vertical_mps": rng.normal(0.0, 1.0, n)}
    if np.isnan(speed).all():
        return
    # Times squeezed or stretched, so that the passes hold many samples or hardly any.
    cleaned = clean(make_track(data, track.t_s * 10.0 / rate_hz, track.meta))
    motion = replace(log.motion, t_s=log.motion.t_s * 10.0 / rate_hz)
    passes = [
        replace(p, start_s=p.start_s * 10.0 / rate_hz, end_s=p.end_s * 10.0 / rate_hz, takeoff=None)
        for p in analysis.passes
    ]
    rows = judge_ride(cleaned, motion, passes)
    assert {e.verdict for e in rows} <= {"shown", "possible", "not seen", "cannot tell"}
    assert {e.pass_id for e in rows} == {p.id for p in analysis.passes}
