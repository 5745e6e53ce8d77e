"""A recorded 10 Hz car log against its post-processed speed and its wheel speed.

Source: commaai/comma2k19, MIT licence (see INDEX.md beside the recorded logs). The wheel's speed has a
scale of its own, which is fitted; both truths are compared after the lag that agrees best, since a
receiver's filter delays its speed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from telemetry.analysis import analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import FloatArray, Track
from telemetry.core.geo import LocalFrame
from telemetry.kinematics.whole_log import Motion, smooth_log
from telemetry.readers import read_log

LOGS = ["csv/car_10hz_two_clocks.csv", "gpx/car_10hz_speed_extension.gpx"]
EDGE = 10  # samples at either end, where a delayed truth does not reach


@pytest.fixture(scope="module", params=LOGS)
def car(request: pytest.FixtureRequest, real_logs: Path) -> tuple[Track, Motion]:
    (track,) = read_log(real_logs / request.param)
    assert isinstance(track, Track)
    return track, smooth_log(clean(track), LocalFrame(37.72, -122.47))


@pytest.fixture(scope="module")
def clocks(real_logs: Path) -> pd.DataFrame:
    return pd.read_csv(real_logs / "csv/car_10hz_two_clocks.csv")


def residual(
    motion: Motion, clocks: pd.DataFrame, truth: pd.DataFrame, column: str, fit_scale: bool
) -> FloatArray:
    """What is left of the smoothed speed after the best lag, and the best scale where asked."""
    host_s = np.interp(motion.t_s, (clocks["utc_ms"] - clocks["utc_ms"].iloc[0]) / 1000.0, clocks["t_host_s"])
    best: FloatArray | None = None
    for lag_s in np.arange(0.0, 0.4, 0.01):
        true = np.interp(host_s - lag_s, truth["t_host_s"], truth[column])[EDGE:-EDGE]
        ours = motion.speed_mps[EDGE:-EDGE]
        scale = float(true @ ours / (true @ true)) if fit_scale else 1.0
        left = ours - scale * true
        if best is None or left.std() < best.std():
            best = left
    assert best is not None
    return best


@pytest.mark.parametrize(
    ("file", "column", "fit_scale"),
    [
        ("csv/car_pose_speed_20hz_truth.csv", "pose_speed_mps", False),
        ("csv/car_wheel_speed_83hz_truth.csv", "can_speed_mps", True),
    ],
)
def test_smoothed_speed_follows_the_truth(
    car: tuple[Track, Motion],
    clocks: pd.DataFrame,
    real_logs: Path,
    file: str,
    column: str,
    fit_scale: bool,
) -> None:
    left = residual(car[1], clocks, pd.read_csv(real_logs / file), column, fit_scale)
    held = np.convolve(left, np.ones(10) / 10.0, "valid")
    assert left.std() <= 0.07
    assert held.std() <= 0.03
    if not fit_scale:
        assert abs(left.mean()) <= 0.02


def test_smoothing_takes_noise_off(car: tuple[Track, Motion], clocks: pd.DataFrame, real_logs: Path) -> None:
    track, motion = car
    logged = track.column("speed_mps")
    assert logged is not None
    truth = pd.read_csv(real_logs / "csv/car_pose_speed_20hz_truth.csv")
    raw = Motion(**{**motion.__dict__, "speed_mps": logged})
    before = residual(raw, clocks, truth, "pose_speed_mps", False).std()
    after = residual(motion, clocks, truth, "pose_speed_mps", False).std()
    assert after < 0.7 * before


def test_nothing_of_a_clean_drive_is_set_aside(car: tuple[Track, Motion]) -> None:
    assert clean(car[0]).speed_ok.all()


def test_the_peak_holds_the_truths_peak(car: tuple[Track, Motion], real_logs: Path) -> None:
    truth = pd.read_csv(real_logs / "csv/car_pose_speed_20hz_truth.csv")
    (only,) = analyse([car[0]]).passes
    assert abs(only.peak_mps - truth["pose_speed_mps"].max()) <= only.peak_u95_mps
