"""What must not change an answer, and how answers must change."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_logs.boats import CATAMARAN
from sample_logs.outing import Outing, simulate_outing
from telemetry.cleaning.clean import Cleaned, clean
from telemetry.core.frames import MotorLog
from telemetry.kinematics.whole_log import Motion, smooth_log
from telemetry.motor.channels import channels
from telemetry.motor.pack import PackEstimate, estimate_pack
from telemetry.motor.sync.clock import match_clock
from telemetry.motor.sync.correlation import cross_correlation
from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, what_if

POINT = OperatingPoint(
    28000.0, 110.0, 26.0, 24.0, 0.02, 0.01, 0.008, 0.15, 4.0, 0.15, 45.0, 63.0, 6, 1600.0, 0.05, ()
)


@pytest.fixture(scope="module")
def outing() -> Outing:
    return simulate_outing(11, boat=CATAMARAN)


@pytest.fixture(scope="module")
def speed(outing: Outing) -> tuple[Cleaned, Motion]:
    cleaned = clean(outing.track)
    return cleaned, smooth_log(cleaned, outing.truth.frame)


@settings(max_examples=15)
@given(shift_s=st.floats(-1e4, 1e4), scale=st.floats(0.2, 5.0))
def test_when_the_controller_was_switched_on_and_the_scale_of_its_rpm_do_not_matter(
    outing: Outing, speed: tuple[Cleaned, Motion], shift_s: float, scale: float
) -> None:
    plain = match_clock(outing.motor, *speed)
    frame = outing.motor.frame[["rpm"]] * scale
    moved = match_clock(MotorLog(frame.set_axis(frame.index + shift_s), outing.motor.meta), *speed)
    assert moved.trusted
    ends = outing.motor.t_s[[0, -1]]
    np.testing.assert_allclose(moved.to_speed_log(ends + shift_s), plain.to_speed_log(ends), atol=5e-3)


@settings(max_examples=25)
@given(volts=st.floats(0.5, 2.0), amps=st.floats(0.5, 2.0), lift_v=st.floats(0.0, 5.0))
def test_resistance_follows_the_units_and_no_offset_of_the_volts(
    outing: Outing, volts: float, amps: float, lift_v: float
) -> None:
    plain = estimate_pack(channels(outing.motor))
    frame = outing.motor.frame[["voltage_v", "current_a", "throttle_pct", "charge_mah"]].copy()
    frame["voltage_v"] = frame["voltage_v"] * volts + lift_v
    frame["current_a"] *= amps
    scaled = estimate_pack(channels(MotorLog(frame, outing.motor.meta)))
    assert isinstance(plain, PackEstimate)
    assert isinstance(scaled, PackEstimate)
    assert scaled.resistance_ohm == pytest.approx(plain.resistance_ohm * volts / amps, rel=1e-6)
    assert scaled.u95_ohm == pytest.approx(plain.u95_ohm * volts / amps, rel=1e-4)
    assert scaled.rest_voltage_v == pytest.approx(plain.rest_voltage_v * volts + lift_v, rel=1e-6)


@given(
    st.lists(st.floats(-50, 50), min_size=12, max_size=40),
    st.lists(st.floats(-50, 50), min_size=12, max_size=40),
)
def test_correlation_is_pearsons_at_every_shift(a: list[float], b: list[float]) -> None:
    first, second = np.array(a), np.array(b)
    shift, r = cross_correlation(first, second, 6)
    for s, value in zip(shift, r, strict=True):
        low, high = max(0, s), min(first.size, s + second.size)
        if high - low < 6:
            assert value == -1.0
            continue
        x, y = first[low:high], second[low - s : high - s]
        if value != -1.0:  # told only where both change enough
            assert value == pytest.approx(np.corrcoef(x, y)[0, 1], abs=1e-6)


@given(ratio=st.floats(0.85, 1.2), cells=st.sampled_from([5, 6, 7]))
def test_what_if_is_continuous_and_ordered(ratio: float, cells: int) -> None:
    one = what_if(POINT, PowerTrainChange(diameter_mm=45.0 * ratio, pitch_mm=63.0 * ratio, cells=cells))
    bit = what_if(
        POINT, PowerTrainChange(diameter_mm=45.0 * ratio * 1.001, pitch_mm=63.0 * ratio * 1.001, cells=cells)
    )
    if one.refused or bit.refused:
        return
    assert one.rpm is not None
    assert bit.rpm is not None
    assert one.current_a is not None
    assert bit.current_a is not None
    assert 0.0 < one.rpm.value - bit.rpm.value < 0.01 * one.rpm.value
    assert 0.0 < bit.current_a.value - one.current_a.value < 0.02 * one.current_a.value
    assert one.rpm.u95 > 0.0
