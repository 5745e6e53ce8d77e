"""The smoothed whole log on motions that are known."""

from __future__ import annotations

import numpy as np
import pytest
from made_tracks import HEADING_DEG, LAKE, altered, made_track, rows

from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track
from telemetry.core.geo import LocalFrame, wrap_deg
from telemetry.kinematics.whole_log import Motion, smooth_log, turn_rate_dps, white_sd


def motion_of(track: Track, frame: LocalFrame = LAKE) -> Motion:
    return smooth_log(clean(track), frame)


@pytest.mark.parametrize("sd", [0.02, 0.3])
def test_white_noise_is_told_from_a_smooth_motion(sd: float) -> None:
    t = np.arange(0, 60, 0.1)
    signal = 20.0 + 5.0 * np.sin(0.3 * t) + sd * np.random.default_rng(6).standard_normal(t.size)
    assert white_sd(signal, 0.001) == pytest.approx(sd, rel=0.15)


def test_of_a_noiseless_or_short_signal_the_floor_is_stated() -> None:
    assert white_sd(np.linspace(0.0, 1.0, 50) ** 2, 0.02) == pytest.approx(0.02)
    assert white_sd(np.array([1.0, 2.0, 9.0]), 0.02) == 0.1


def test_speed_course_and_place_are_followed() -> None:
    track = made_track(noise_mps=0.05)
    motion = motion_of(track)
    true = made_track()
    assert np.abs(motion.speed_mps - true.frame["speed_mps"].to_numpy()).max() < 0.3
    out, back = (motion.t_s > 8) & (motion.t_s < 20), (motion.t_s > 28) & (motion.t_s < 40)
    assert np.abs(wrap_deg(motion.course_deg[out] - HEADING_DEG)).max() < 0.5
    assert np.abs(wrap_deg(motion.course_deg[back] - HEADING_DEG - 180.0)).max() < 0.5
    assert motion.has_positions
    assert motion.speed_sd_mps == pytest.approx(0.05, rel=0.3)
    east, north = LAKE.to_local(track.frame["lat_deg"].to_numpy(), track.frame["lon_deg"].to_numpy())
    np.testing.assert_allclose(np.c_[motion.east_m, motion.north_m], np.c_[east, north], atol=1e-6)


def test_positions_alone_give_speed_and_course() -> None:
    motion = motion_of(made_track(columns=("lat_deg", "lon_deg")))
    cruise = (motion.t_s > 12) & (motion.t_s < 16)
    np.testing.assert_allclose(motion.speed_mps[cruise], 25.0, atol=0.05)
    np.testing.assert_allclose(motion.course_deg[cruise], HEADING_DEG, atol=0.5)


def test_a_course_that_was_not_logged_comes_from_the_positions() -> None:
    track = made_track(noise_mps=0.05)
    course = track.frame["course_deg"].to_numpy().copy()
    course[250:] = np.nan  # all the way back
    motion = motion_of(altered(track, course_deg=course))
    back = (motion.t_s > 28) & (motion.t_s < 40)
    assert np.abs(wrap_deg(motion.course_deg[back] - HEADING_DEG - 180.0)).max() < 1.0


def test_a_speed_log_without_places_says_so() -> None:
    motion = motion_of(made_track(columns=("speed_mps", "course_deg"), noise_mps=0.05))
    assert not motion.has_positions
    assert not motion.east_m.any()
    assert np.abs(motion.speed_mps - made_track().frame["speed_mps"].to_numpy()).max() < 0.3


def test_a_course_through_north_does_not_swing_round() -> None:
    motion = motion_of(made_track(heading_deg=0.0, noise_mps=0.05))
    out = (motion.t_s > 8) & (motion.t_s < 20)
    assert np.abs(wrap_deg(motion.course_deg[out])).max() < 0.5
    assert np.abs(turn_rate_dps(motion.t_s[out], motion.course_deg[out])).max() < 1.0


def test_a_turn_through_north_has_its_rate() -> None:
    t = np.arange(0, 10, 0.1)
    rate = turn_rate_dps(t, (350.0 + 12.0 * t) % 360.0)
    np.testing.assert_allclose(rate, 12.0, atol=1e-6)


@pytest.mark.parametrize("columns", [("speed_mps",), ("lat_deg", "lon_deg")])
def test_one_sample_has_no_motion(columns: tuple[str, ...]) -> None:
    motion = motion_of(rows(made_track(columns=columns), slice(120, 121)))
    assert np.isnan(motion.speed_mps).all()
    assert np.isnan(motion.course_deg).all()


def test_where_everything_is_set_aside_there_is_no_speed() -> None:
    track = made_track()
    motion = motion_of(altered(track, fix=np.zeros(track.t_s.size)))
    assert np.isnan(motion.speed_mps).all()
    assert not motion.has_positions
