"""Peak, held and measured-distance speeds on motions that are known."""

from __future__ import annotations

import numpy as np
import pytest
from made_tracks import LAKE, OUT_AND_BACK, altered, made_track

from sample_logs.scripts import BlowOver
from sample_logs.simulator import RideScript, simulate_outing
from telemetry.analysis import analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track
from telemetry.core.geo import CourseLine
from telemetry.core.stats import Z95
from telemetry.core.units import SIXTEENTH_MILE_M
from telemetry.kinematics.models import ReceiverModel
from telemetry.kinematics.whole_log import smooth_log
from telemetry.passes.find import find_windows
from telemetry.passes.measure import PassSpeeds, averaging_factor, crossing_sd_s, measure_passes

DISTANCES_M = (100.0, 150.0, 400.0)


def measured(track: Track, receiver: ReceiverModel | None = None) -> list[PassSpeeds]:
    cleaned = clean(track)
    motion = smooth_log(cleaned, LAKE)
    return measure_passes(cleaned, motion, find_windows(cleaned, motion), DISTANCES_M, receiver)


def test_averaging_a_wandering_error_matches_the_double_integral() -> None:
    span, tau, n = 4.0, 3.0, 800
    t = (np.arange(n) + 0.5) / n * span
    double = float(np.exp(-np.abs(t[:, None] - t) / tau).mean())
    assert averaging_factor(span, tau) == pytest.approx(double, rel=1e-4)
    assert averaging_factor(0.0, tau) == 1.0


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
def test_the_speeds_of_a_known_motion_lie_in_their_intervals(rate_hz: float) -> None:
    for m, true in zip(measured(made_track(rate_hz=rate_hz, noise_mps=0.04)), (25.0, 24.0), strict=True):
        assert abs(m.peak_mps - true) <= m.peak_u95_mps
        assert abs(m.held_1s_mps - true) <= m.held_1s_u95_mps
        assert m.peak_u95_mps > 0.05
        assert m.peak_u95_mps < 0.35 or rate_hz == 1.0
        for d in m.distances:
            assert abs(d.speed_mps - true) <= d.u95_mps


def test_only_distances_that_fit_into_the_pass_are_measured_and_in_their_span() -> None:
    out, _ = measured(made_track(noise_mps=0.04))
    assert [d.distance_m for d in out.distances] == [100.0, 150.0]
    for d in out.distances:
        assert out.data.start_s <= d.start_s < d.end_s <= out.data.end_s
        assert d.distance_m / (d.end_s - d.start_s) == pytest.approx(d.speed_mps)
    assert out.data.length_m == pytest.approx(200 + 1.6 * 20 * 2, abs=8.0)


def test_the_largest_number_in_the_file_is_not_the_peak() -> None:
    track = made_track(noise_mps=0.15)
    out, _ = measured(track)
    assert track.frame["speed_mps"].max() > 25.3
    assert out.peak_mps < 25.2


def test_the_same_log_gives_the_same_figures() -> None:
    a, b = (measured(made_track(noise_mps=0.04)) for _ in range(2))
    assert [(m.peak_mps, m.peak_u95_mps, m.distances) for m in a] == [
        (m.peak_mps, m.peak_u95_mps, m.distances) for m in b
    ]


def test_a_noisier_log_is_less_sure() -> None:
    calm, wild = (measured(made_track(noise_mps=sd))[0] for sd in (0.02, 0.3))
    assert wild.peak_u95_mps > 1.3 * calm.peak_u95_mps
    assert wild.distances[0].u95_mps > calm.distances[0].u95_mps


def test_what_all_passes_share_widens_every_figure() -> None:
    track = made_track(noise_mps=0.04)
    usual, shared = (measured(track, ReceiverModel(shared_scale=s, freedom=1e9))[0] for s in (0.0, 0.01))
    for a, b, speed_mps in (
        (usual.peak_u95_mps, shared.peak_u95_mps, usual.peak_mps),
        (usual.held_1s_u95_mps, shared.held_1s_u95_mps, usual.held_1s_mps),
        (usual.distances[0].u95_mps, shared.distances[0].u95_mps, usual.distances[0].speed_mps),
    ):
        assert b == pytest.approx(np.hypot(a, Z95 * 0.01 * speed_mps), rel=1e-6)


def test_what_is_assumed_of_a_receiver_widens_the_interval_as_a_figure_that_may_itself_be_off() -> None:
    # JCGM 100:2008, table G.2: at 95 %, t is 2.31 for 8 degrees of freedom and 1.96 for infinitely many.
    track = made_track(noise_mps=0.0)
    sure, unsure = (
        measured(track, ReceiverModel(shared_scale=0.02, freedom=f))[0].held_1s_u95_mps for f in (1e9, 8.0)
    )
    assert unsure / sure == pytest.approx(2.306 / 1.960, rel=0.01)


def test_a_speed_that_the_receiver_doubts_is_trusted_less() -> None:
    track = made_track(noise_mps=0.04)
    speed = track.frame["speed_mps"].to_numpy().copy()
    doubt = np.full(speed.size, 0.05)
    during = (track.t_s >= 13.0) & (track.t_s < 14.5)
    speed[during] += 0.8
    doubt[during] = 2.0
    plain = measured(altered(track, speed_mps=speed))[0]
    knowing = measured(altered(track, speed_mps=speed, speed_sd_mps=doubt))[0]
    assert abs(knowing.peak_mps - 25.0) < 0.5 * abs(plain.peak_mps - 25.0)


def test_positions_alone_give_distances_and_a_rougher_peak() -> None:
    for m, true in zip(measured(made_track(columns=("lat_deg", "lon_deg"))), (25.0, 24.0), strict=True):
        # The sharp corner of a throttle shut at once rounds up by some tenths where only positions show it.
        assert m.peak_mps == pytest.approx(true, abs=0.4)
        assert m.distances[0].speed_mps == pytest.approx(true, abs=m.distances[0].u95_mps)


def test_speeds_alone_give_a_peak_and_no_distance() -> None:
    for m, true in zip(
        measured(made_track(columns=("speed_mps",), noise_mps=0.04)), (25.0, 24.0), strict=True
    ):
        assert m.peak_mps == pytest.approx(true, abs=m.peak_u95_mps)
        assert m.distances == ()


def test_the_lag_of_a_receiver_is_measured_on_the_log() -> None:
    track = made_track([(t, 1.6 * v) for t, v in OUT_AND_BACK], noise_mps=0.04)
    speed = np.interp(track.t_s - 0.3, track.t_s, track.frame["speed_mps"].to_numpy())
    assert measured(track)[0].data.lag_s == pytest.approx(0.0, abs=0.03)
    assert measured(altered(track, speed_mps=speed))[0].data.lag_s == pytest.approx(0.3, abs=0.05)


def test_a_flat_out_part_with_one_speed_left_is_no_end() -> None:
    # Every speed of the cruise but one is missing; the positions carry the distance.
    track = made_track(noise_mps=0.04)
    speed = track.frame["speed_mps"].to_numpy().copy()
    cruise = (speed > 24.5) & (track.t_s < 22.0)
    cruise[np.flatnonzero(cruise)[20]] = False
    speed[cruise] = np.nan
    out = measured(altered(track, speed_mps=speed))[0]
    assert out.distances[0].speed_mps == pytest.approx(25.0, abs=out.distances[0].u95_mps + 0.1)


def test_a_gap_at_the_top_widens_the_peak() -> None:
    corners = (*OUT_AND_BACK[:2], (16, 25), (16.3, 25), (20, 0), (30, 0))
    whole = made_track(corners, noise_mps=0.04)
    speed = whole.frame["speed_mps"].to_numpy().copy()
    speed[(whole.t_s > 15.55) & (whole.t_s < 16.6)] = np.nan
    sure, unsure = measured(whole)[0], measured(altered(whole, speed_mps=speed))[0]
    assert unsure.peak_u95_mps > 2.0 * sure.peak_u95_mps
    assert abs(unsure.peak_mps - 25.0) <= unsure.peak_u95_mps


def test_a_longer_way_is_timed_with_the_errors_of_its_two_ends() -> None:
    out = measured(made_track(noise_mps=0.04))[0]
    chain = out.data.along(out.data.window.course or CourseLine(0.0, 0.0, 0.0))
    sd = crossing_sd_s(chain, np.array([[11.0, 13.0], [11.0, 17.0], [12.0, 12.0]]))
    assert sd[0] < sd[1] < 0.05
    assert sd[2] == pytest.approx(0.0, abs=1e-6)


def test_no_pass_needs_no_measuring() -> None:
    assert measured(made_track(((0, 0), (30, 0)))) == []


def test_a_pass_that_ends_in_a_crash_is_measured_up_to_it() -> None:
    errors = []
    for seed in range(6):
        outing = simulate_outing(seed, passes=2, ride=RideScript(blow_over=BlowOver(1)))
        last, true = analyse([outing.track]).passes[-1], outing.passes[-1]
        assert last.end_s <= true.end_s + 0.1
        errors += [
            (last.peak_mps - true.peak_mps, last.peak_u95_mps),
            (last.held_1s_mps - true.held_1s_mps, last.held_1s_u95_mps),
        ]
        for d in last.distances:
            if d.distance_m == SIXTEENTH_MILE_M:
                errors.append((d.speed_mps - outing.truth.best_average_mps(1, d.distance_m), d.u95_mps))
    error, u95 = np.array(errors).T
    assert np.mean(np.abs(error) <= u95) >= 0.8
    assert np.all(np.abs(error) <= 2.0 * u95)
