"""What is a pass, where it begins and ends, and its take-off."""

from __future__ import annotations

import numpy as np
import pytest
from made_tracks import HEADING_DEG, LAKE, OUT_AND_BACK, OUT_ONLY, altered, made_track, rows

from telemetry.cleaning.clean import clean
from telemetry.core.frames import LogMeta, Track, make_track
from telemetry.core.geo import wrap_deg
from telemetry.kinematics.whole_log import smooth_log
from telemetry.passes.find import Window, find_windows


def windows_of(track: Track) -> list[Window]:
    cleaned = clean(track)
    return find_windows(cleaned, smooth_log(cleaned, LAKE))


def spans(track: Track) -> list[tuple[float, float]]:
    return [(float(track.t_s[w.first]), float(track.t_s[w.last - 1])) for w in windows_of(track)]


def test_two_passes_in_opposite_directions_are_found_where_they_are() -> None:
    track = made_track(noise_mps=0.05)
    out, back = windows_of(track)
    # Three fifths of 25 m/s are reached 2.4 s after the start at 6 s, and left 1.6 s after 18 s.
    assert spans(track)[0] == pytest.approx((8.4, 19.6), abs=0.15)
    assert spans(track)[1] == pytest.approx((28.4, 39.6), abs=0.15)
    assert abs(float(wrap_deg(out.heading_deg - HEADING_DEG))) < 0.2
    assert abs(float(wrap_deg(back.heading_deg - HEADING_DEG - 180.0))) < 0.2
    assert out.course is not None
    assert out.stretch == (0, track.t_s.size)


def test_a_take_off_begins_where_the_hull_gains_and_ends_on_plane() -> None:
    (window,) = windows_of(made_track(OUT_ONLY, noise_mps=0.05))
    assert window.takeoff is not None
    assert 5.9 <= window.takeoff.start_s <= 6.7  # power at 6.0 s, off the displacement speed by 6.6 s
    assert window.takeoff.end_s == pytest.approx(6.0 + 0.85 * 4.0, abs=0.2)


def test_a_log_that_begins_at_speed_shows_no_take_off() -> None:
    track = made_track(noise_mps=0.05)
    first, second = windows_of(rows(track, slice(105, None)))
    assert first.first == 0
    assert first.takeoff is None
    assert second.takeoff is not None


def test_a_log_that_ends_at_speed_keeps_its_last_pass() -> None:
    track = rows(made_track(noise_mps=0.05), slice(0, 360))
    windows = windows_of(track)
    assert len(windows) == 2
    assert windows[1].last == 360


@pytest.mark.parametrize(
    "corners",
    [
        ((0, 0), (5, 0), (7, 4), (20, 4), (22, 0), (25, 0)),  # never on plane
        ((0, 0), (5, 0), (5.8, 8), (6.0, 8), (6.8, 0), (10, 0)),  # a burst
        ((0, 0), (30, 0)),
    ],
)
def test_pottering_bursts_and_rest_are_no_passes(corners: tuple[tuple[float, float], ...]) -> None:
    assert spans(made_track(corners, noise_mps=0.05)) == []


def test_half_the_outings_top_is_asked_of_a_pass() -> None:
    corners = (*OUT_ONLY, (28, 10), (38, 10), (40, 0), (45, 0))
    assert len(spans(made_track(corners, noise_mps=0.05))) == 1
    assert len(spans(made_track((*OUT_ONLY, (28, 14), (38, 14), (40, 0), (45, 0)), noise_mps=0.05))) == 2


@pytest.mark.parametrize(("lift_s", "passes"), [(0.4, 1), (3.0, 2)])
def test_a_short_lift_parts_no_pass_and_a_long_one_does(lift_s: float, passes: int) -> None:
    corners = (
        (0, 0),
        (6, 0),
        (10, 25),
        (14, 25),
        (15, 10),
        (15 + lift_s, 10),
        (16 + lift_s, 25),
        (24, 25),
        (28, 0),
    )
    assert len(spans(made_track(corners, noise_mps=0.05))) == passes


def turning_track(turn_deg: float, over_s: float) -> Track:
    """Flat out for 20 s with one turn in the middle."""
    t = np.arange(0, 30, 0.1)
    v = np.interp(t, [2, 5, 25, 28], [0, 20, 20, 0]) + 0.05 * np.random.default_rng(2).standard_normal(t.size)
    course = np.interp(t, [15, 15 + over_s], [30, 30 + turn_deg])
    east = np.cumsum(v * np.sin(np.radians(course))) / 10
    north = np.cumsum(v * np.cos(np.radians(course))) / 10
    lat, lon = LAKE.to_geodetic(east, north)
    data = {"lat_deg": lat, "lon_deg": lon, "speed_mps": np.abs(v), "course_deg": course % 360.0}
    return make_track(data, t, LogMeta("x", "made"))


def test_a_turn_ends_a_pass() -> None:
    first, second = windows_of(turning_track(120.0, 2.0))
    assert abs(float(wrap_deg(first.heading_deg - 30.0))) < 5.0
    assert abs(float(wrap_deg(second.heading_deg - 150.0))) < 5.0


def test_a_wobble_and_a_gentle_bend_do_not() -> None:
    assert len(windows_of(turning_track(20.0, 0.5))) == 1
    assert len(windows_of(turning_track(20.0, 10.0))) == 1


def test_a_break_in_the_log_ends_a_pass() -> None:
    track = made_track(((0, 0), (4, 0), (8, 25), (30, 25), (34, 0)), noise_mps=0.05)
    keep = (track.t_s < 14.0) | (track.t_s > 21.0)
    data = {c: track.frame[c].to_numpy()[keep] for c in track.frame.columns}
    first, second = windows_of(make_track(data, track.t_s[keep], track.meta))
    assert first.last == second.first
    assert first.stretch != second.stretch


def test_positions_that_stay_behind_deny_the_whole_pass() -> None:
    track = made_track(OUT_ONLY, noise_mps=0.05)
    lat, lon = (track.frame[c].to_numpy() for c in ("lat_deg", "lon_deg"))
    crawl = altered(track, lat_deg=lat[0] + 0.3 * (lat - lat[0]), lon_deg=lon[0] + 0.3 * (lon - lon[0]))
    assert windows_of(crawl) == []


def test_where_the_speed_was_lost_no_pass_is_drawn_through() -> None:
    track = made_track(noise_mps=0.05)
    speed = track.frame["speed_mps"].to_numpy().copy()
    speed[(track.t_s > 27.0) & (track.t_s < 41.0)] = np.nan
    assert len(windows_of(altered(track, speed_mps=speed))) == 1


def test_without_positions_a_logged_course_gives_the_heading_and_without_both_nothing_does() -> None:
    with_course = windows_of(made_track(columns=("speed_mps", "course_deg"), noise_mps=0.05))
    assert [w.course for w in with_course] == [None, None]
    assert abs(float(wrap_deg(with_course[1].heading_deg - HEADING_DEG - 180.0))) < 0.5
    assert len(windows_of(made_track(columns=("speed_mps",), noise_mps=0.05))) == 2


def test_every_rate_finds_the_same_passes() -> None:
    for rate_hz in (1.0, 2.0, 5.0, 18.0):
        assert len(windows_of(made_track(OUT_AND_BACK, rate_hz=rate_hz, noise_mps=0.05))) == 2


@pytest.mark.parametrize(
    ("turn_deg", "passes"), [(20.0, 1), (180.0, 2), (340.0, 2), (360.0, 2), (380.0, 2), (720.0, 2)]
)
def test_a_circle_is_a_turn_though_it_comes_out_where_it_went_in(turn_deg: float, passes: int) -> None:
    rate_dps = 150.0
    fine_s = np.arange(0.0, 30.0, 1e-3)
    lasts_s = turn_deg / rate_dps
    turning = np.where((fine_s > 10.0) & (fine_s <= 10.0 + lasts_s), rate_dps, 0.0)
    course = np.cumsum(turning) * 1e-3
    v = np.interp(
        fine_s, [0.0, 2.0, 4.0, 16.0 + lasts_s, 18.0 + lasts_s, 30.0], [2.0, 2.0, 25.0, 25.0, 2.0, 2.0]
    )
    east, north = (np.cumsum(v * f(np.radians(course))) * 1e-3 for f in (np.sin, np.cos))
    at = slice(None, None, 100)
    lat, lon = LAKE.to_geodetic(east[at], north[at])
    noise = np.random.default_rng(0).normal(0.0, 0.05, lat.size)
    data = {"lat_deg": lat, "lon_deg": lon, "speed_mps": v[at] + noise, "course_deg": course[at] % 360.0}
    assert len(windows_of(make_track(data, fine_s[at], LogMeta("made.gpx", "made")))) == passes
