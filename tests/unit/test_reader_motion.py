"""Tables of phones and motion sensors, made here: sparse fixes among fast accelerations."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.analysis import Request, analyse
from telemetry.core.frames import Track
from telemetry.readers import read_bytes

RATE_HZ, FIX_HZ, SECONDS = 100, 5, 40
N, EVERY = RATE_HZ * SECONDS, RATE_HZ // FIX_HZ
T_S = np.arange(N) / RATE_HZ
HEAVE_HZ = 17.0  # beyond half the rate of the fixes and of any receiver
AZ_MPS2 = 9.81 + 4.0 * np.sin(2 * np.pi * HEAVE_HZ * T_S)
LON_DEG = 8.0 + 10.0 * T_S / 77_487


def phone(between: str, first_fix: int = 0, date: bool = True) -> bytes:
    """Write a table whose fixes stand in every twentieth row; ``between`` is what the others hold instead."""
    lines = [
        "timestamp,lat,lon,speed_mps,acc_z (m/s²),gyro_y (deg/s)" if date else "t_s,lat,lon,speed_mps,az,gy"
    ]
    held = ",,"
    for i in range(N):
        clock = f"2025-06-01T10:00:{T_S[i]:06.3f}Z" if date else f"{T_S[i]:.3f}"
        if i % EVERY == 0 and i >= first_fix:
            held = f"46.0,{LON_DEG[i]:.7f},10.0"
        fix = held if i % EVERY == 0 or between == "held" else ",,"
        lines.append(f"{clock},{fix},{AZ_MPS2[i]:.4f},{i % 7}")
    return "\n".join(lines).encode()


@pytest.mark.parametrize("between", ["empty", "held"])
def test_fixes_and_accelerations_keep_their_own_rates(between: str) -> None:
    (log,) = read_bytes(phone(between), "phone.csv")
    assert isinstance(log, Track)
    assert log.rate_hz == pytest.approx(FIX_HZ)
    np.testing.assert_allclose(log.t_s, T_S[::EVERY], atol=1e-9)
    np.testing.assert_allclose(log.column("lon_deg"), LON_DEG[::EVERY], atol=1e-7)
    assert np.isfinite(log.frame.speed_mps).all()
    assert log.motion is not None
    np.testing.assert_allclose(log.motion.index, T_S, atol=1e-9)
    np.testing.assert_allclose(log.motion["az_mps2"], AZ_MPS2, atol=1e-4)
    assert list(log.motion.columns) == ["az_mps2", "gy_dps"]
    assert {f.code: f.count for f in log.findings}["motion-rate"] == N
    # The heave shows where it is, up to half the accelerometer's own rate, and does not alias into the rows.
    power = np.abs(np.fft.rfft(log.motion["az_mps2"] - 9.81))
    assert np.fft.rfftfreq(N, 1 / RATE_HZ)[power.argmax()] == pytest.approx(HEAVE_HZ, abs=0.05)
    assert np.abs(log.frame.az_mps2.iloc[1:-1] - 9.81).max() < 0.5


def test_rows_before_the_first_fix_leave_the_clock_where_it_is() -> None:
    (log,) = read_bytes(phone("empty", first_fix=300), "phone.csv")
    assert isinstance(log, Track)
    assert log.t_s[0] == 0.0
    assert np.isnan(log.frame.speed_mps.iloc[0])
    assert str(log.meta.start_utc) == "2025-06-01 10:00:00+00:00"
    assert log.t_s[1] == 3.0
    assert log.motion is not None
    assert log.motion.index[0] == 0.0


def test_a_table_of_one_rate_stays_one_table() -> None:
    rows = [f"{i / 10},46.0,{8 + i / 1e5},10,{9.8 + i % 2}" for i in range(50)]
    (log,) = read_bytes("\n".join(["t_s,lat,lon,speed_mps,az", *rows]).encode(), "made.csv")
    assert isinstance(log, Track)
    assert log.motion is None
    assert len(log.frame) == 50


def test_a_boat_at_rest_between_held_fixes_keeps_its_fixes() -> None:
    lines = ["t_s,lat,lon,speed_mps,az"]
    for i in range(N):
        k = i // EVERY * EVERY if T_S[i] < 20 else 2000
        lines.append(f"{T_S[i]:.3f},46.0,{LON_DEG[k]:.7f},{10.0 if T_S[i] < 20 else 0.0},{AZ_MPS2[i]:.3f}")
    (log,) = read_bytes("\n".join(lines).encode(), "made.csv")
    assert np.diff(log.t_s).max() == pytest.approx(1 / FIX_HZ)


def test_the_analysis_takes_such_a_log() -> None:
    (log,) = read_bytes(phone("empty"), "phone.csv")
    analysis = analyse([log], Request())
    cleaned = analysis.speed_logs[0].cleaned.track
    assert len(cleaned.frame) == SECONDS * FIX_HZ
    assert cleaned.motion is not None
    assert len(cleaned.motion) == N
