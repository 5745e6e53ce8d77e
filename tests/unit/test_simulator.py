"""The simulator does what it says: the same from the same seed, and every fault where it is recorded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_logs.noise import band_noise, gauss_markov
from sample_logs.simulator import (
    BOATS,
    CATAMARAN,
    BlowOver,
    Faults,
    Porpoising,
    Receiver,
    RideScript,
    ThrottlePumping,
    Veer,
    Water,
    simulate_outing,
)
from telemetry.core.geo import geodesic_m, wrap_deg

STILL = Water(chop_speed_sd_mps=0.0, chop_heave_sd_m=0.0)
EXACT = Receiver(
    white_sd_mps=0.0,
    coloured_sd_mps=0.0,
    position_white_sd_m=0.0,
    position_walk_sd_m=0.0,
    vertical_sd_mps=0.0,
    speed_decimals=9,
    position_decimals=12,
)


def test_the_same_seed_makes_the_same_outing():
    a, b = (simulate_outing(8, faults=Faults.usual(8)) for _ in range(2))
    assert a.track.frame.equals(b.track.frame)
    assert a.motor.frame.equals(b.motor.frame)
    assert a.passes == b.passes
    assert not a.track.frame.equals(simulate_outing(9, faults=Faults.usual(8)).track.frame)


def test_faults_and_receiver_leave_the_drive_as_it_was():
    clean = simulate_outing(4, rate_hz=10.0)
    other = simulate_outing(4, rate_hz=1.0, faults=Faults(single=2, gaps=1))
    assert other.passes == clean.passes
    np.testing.assert_array_equal(other.truth.east_m, clean.truth.east_m)
    assert other.track.rate_hz == pytest.approx(1.0)


@pytest.mark.parametrize("boat", BOATS, ids=lambda b: b.name)
@pytest.mark.parametrize("seed", range(3))
def test_an_outing_is_a_row_of_opposite_passes_over_one_course(boat, seed):
    outing = simulate_outing(seed, boat=boat)
    assert len(outing.passes) == 4
    for p, q in zip(outing.passes, outing.passes[1:], strict=False):
        assert p.start_s < p.peak_s <= p.end_s < q.start_s
        assert abs(wrap_deg(q.heading_deg - p.heading_deg - 180.0)) < 3.0
    for p in outing.passes:
        assert 15.0 < p.peak_mps < 50.0
        assert p.held_1s_mps <= p.peak_mps
        assert p.start_s < p.takeoff_end_s < p.peak_s
        assert 4.0 < p.end_s - p.start_s < 14.0
        # Best averages: shorter is faster, and none beats the peak.
        best = [outing.truth.best_average_mps(p.index, d) for d in (20.0, 50.0, 100.584)]
        assert p.peak_mps > best[0] > best[1] > best[2]
        assert np.isnan(outing.truth.best_average_mps(p.index, 1e4))
    rest = outing.truth.speed_mps[outing.truth.t_s < 5.0]
    assert rest.max() < 1.0


def test_gates_stand_the_stated_distance_apart_and_speed_is_distance_over_time():
    outing = simulate_outing(2)
    gates = outing.truth.place_gates(100.584)
    assert geodesic_m(*gates[0], *gates[1]) == pytest.approx(100.584, abs=1e-6)
    for p in outing.passes:
        t1, t2 = outing.truth.gate_times_s(p.index, *gates)
        assert p.start_s < min(t1, t2) < max(t1, t2) < p.end_s
        assert outing.truth.gate_speed_mps(p.index, *gates) == pytest.approx(100.584 / abs(t2 - t1), rel=1e-9)
        assert (
            outing.truth.gate_speed_mps(p.index, *gates)
            <= outing.truth.best_average_mps(p.index, 100.584) * 1.0005
        )
    along, _ = outing.truth.course.along_across(outing.truth.east_m, outing.truth.north_m)
    assert np.gradient(along, outing.truth.t_s) == pytest.approx(outing.truth.along_mps, abs=0.2)


def test_positions_are_the_integral_of_the_velocity():
    truth = simulate_outing(3).truth
    for place, rate in ((truth.east_m, truth.east_mps), (truth.north_m, truth.north_mps)):
        middle = (rate[1:] + rate[:-1]) / 2 * np.diff(truth.t_s)
        assert np.diff(place) == pytest.approx(middle, abs=1e-9)
    assert truth.speed_mps == pytest.approx(np.hypot(truth.east_mps, truth.north_mps))


def test_a_receiver_without_errors_prints_the_truth_late_by_its_lag():
    outing = simulate_outing(5, receiver=replace(EXACT, lag_s=0.25))
    at = outing.track.t_s - 0.25
    assert outing.track.column("speed_mps") == pytest.approx(outing.truth.at("speed_mps", at), abs=0.01)
    east_m, north_m = outing.truth.frame.to_local(
        outing.track.column("lat_deg"), outing.track.column("lon_deg")
    )
    assert east_m == pytest.approx(outing.truth.at("east_m", at), abs=1e-4)
    assert north_m == pytest.approx(outing.truth.at("north_m", at), abs=1e-4)
    assert outing.track.column("vertical_mps") == pytest.approx(outing.truth.at("vertical_mps", at), abs=1e-8)


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 5.0, 10.0, 18.0, 25.0])
def test_speed_errors_have_the_stated_size_at_every_rate(rate_hz):
    receiver = Receiver(rate_hz=rate_hz, white_sd_mps=0.04, coloured_sd_mps=0.03, coloured_tau_s=4.0)
    errors = []
    for seed in range(8):
        outing = simulate_outing(seed, receiver=receiver)
        fast = outing.truth.at("speed_mps", outing.track.t_s) > 10.0
        errors.append(
            (outing.track.column("speed_mps") - outing.truth.at("speed_mps", outing.track.t_s))[fast]
        )
    error = np.concatenate(errors)
    # Speed's error is that of the component along the motion: 0.05 m/s in all.
    assert np.std(error) == pytest.approx(0.05, rel=0.15)
    assert abs(np.mean(error)) < 0.02


def test_gauss_markov_noise_is_stationary_and_decorrelates_as_stated():
    rng = np.random.default_rng(1)
    noise = np.array([gauss_markov(rng, 400, 0.1, 2.0, 5.0) for _ in range(4000)])
    assert np.std(noise[:, 0]) == pytest.approx(2.0, rel=0.04)
    assert np.std(noise[:, -1]) == pytest.approx(2.0, rel=0.04)
    lag_5s = np.mean(noise[:, 100] * noise[:, 150]) / 4.0
    assert lag_5s == pytest.approx(np.exp(-1.0), abs=0.05)


def test_band_noise_has_unit_variance_inside_its_band_only():
    noise = band_noise(np.random.default_rng(2), 40_000, 200.0, 1.0, 8.0)
    power = np.abs(np.fft.rfft(noise)) ** 2
    freqs = np.fft.rfftfreq(noise.size, 1 / 200.0)
    assert np.var(noise) == pytest.approx(1.0, rel=0.05)
    assert power[(freqs > 0.9) & (freqs < 8.1)].sum() / power.sum() > 0.999


ALL_FAULTS = Faults(
    single=2, several=1, ramped=1, at_rest=2, lying=1, first_fix=True, gaps=1, no_fix=1, held=1
)


@pytest.mark.parametrize("seed", range(6))
def test_every_altered_sample_lies_in_a_recorded_fault(seed):
    clean, spoilt = simulate_outing(seed), simulate_outing(seed, faults=ALL_FAULTS)
    kinds = [s.kind for s in spoilt.spikes]
    assert sorted(kinds) == sorted(
        ["single", "single", "several", "ramped", "at rest", "at rest", "lying", "first fix"]
    )
    assert sorted(g.kind for g in spoilt.dropouts) == ["gap", "held", "no fix"]
    both = clean.track.frame.join(spoilt.track.frame.add_suffix("_spoilt"), how="left")
    t = both.index.to_numpy()
    altered = np.logical_or(
        both["speed_mps"] != both["speed_mps_spoilt"], both["lat_deg"] != both["lat_deg_spoilt"]
    ).to_numpy()
    recorded = np.zeros(len(t), dtype=bool)
    for s in spoilt.spikes:
        inside = (t >= s.start_s - 1e-9) & (t <= s.end_s + 1e-9)
        recorded |= inside
        assert altered[inside].all(), s
        assert both["speed_mps_spoilt"].to_numpy()[inside].max() == pytest.approx(s.speed_mps, abs=1e-3)
    for g in spoilt.dropouts:
        recorded |= (t > g.start_s + 1e-9) & (t < g.end_s - 1e-9)
    assert not (altered & ~recorded).any()


def test_a_spike_at_rest_is_at_rest():
    outing = simulate_outing(7, faults=Faults(at_rest=3))
    for spike in outing.spikes:
        assert outing.truth.at("water_mps", np.array([spike.start_s, spike.end_s])).max() < 0.5
        assert spike.speed_mps > 5.0


def test_lying_positions_follow_the_false_speed():
    outing = simulate_outing(6, faults=Faults(lying=1))
    clean = simulate_outing(6)
    (spike,) = outing.spikes
    during = (outing.track.t_s >= spike.start_s) & (outing.track.t_s <= spike.end_s)
    metres = outing.truth.frame.to_local(outing.track.column("lat_deg"), outing.track.column("lon_deg"))
    true = outing.truth.frame.to_local(clean.track.column("lat_deg"), clean.track.column("lon_deg"))
    away_m = np.hypot(metres[0] - true[0], metres[1] - true[1])
    extra = (outing.track.column("speed_mps") - clean.track.column("speed_mps"))[during]
    assert away_m[during][-1] == pytest.approx(extra.sum() / 10.0, abs=0.05)
    assert away_m[~during].max() == 0.0


def test_clock_faults_are_there():
    steps = np.diff(simulate_outing(1, faults=Faults(backward=2)).track.t_s)
    assert (steps < 0).sum() == 2
    duplicated = simulate_outing(1, faults=Faults(duplicates=3)).track.frame
    assert duplicated.reset_index().duplicated().sum() == 3
    frozen = simulate_outing(1, faults=Faults(frozen=1)).track.frame
    assert 2 <= (np.diff(frozen.index.to_numpy()) == 0).sum() <= 4
    assert frozen.reset_index().duplicated().sum() == 0


def test_rows_without_a_fix_say_so_and_are_empty():
    track = simulate_outing(1, faults=Faults(no_fix=1)).track
    lost = track.column("fix") == 0.0
    assert lost.any()
    assert track.frame.loc[lost, ["lat_deg", "lon_deg", "speed_mps"]].isna().all(axis=None)
    assert "fix" not in simulate_outing(1).track.frame


def test_usual_faults_are_one_to_three_spikes_and_one_dropout():
    for seed in range(40):
        outing = simulate_outing(seed, faults=Faults.usual(seed)) if seed < 6 else None
        faults = Faults.usual(seed)
        spikes = faults.single + faults.several + faults.ramped + faults.at_rest + faults.lying
        assert 1 <= spikes <= 3
        assert faults.gaps + faults.no_fix + faults.held == 1
        if outing is not None:
            assert len(outing.spikes) == spikes
            assert len(outing.dropouts) == 1


def test_the_motor_log_stands_to_the_speed_log_as_its_clock_says():
    outing = simulate_outing(3, motor_rate_hz=50.0, motor_clock_offset_s=-31.5, motor_clock_drift_ppm=800.0)
    at = outing.motor.t_s * (1 + 800e-6) - 31.5
    assert outing.motor.rate_hz == pytest.approx(50.0)
    assert outing.motor.column("rpm") == pytest.approx(outing.truth.at("rpm", at), rel=0.015, abs=10.0)
    assert outing.motor.column("rpm")[at < 0].max() == 0.0
    assert outing.motor_clock.from_speed_log(float(at[777])) == pytest.approx(outing.motor.t_s[777])
    # A log that starts after the outing has begun simply lacks what was before.
    late = simulate_outing(3, motor_clock_offset_s=40.0, motor_clock_drift_ppm=0.0)
    assert len(late.motor.frame) < len(outing.motor.frame)
    assert late.motor.column("charge_mah")[0] > 0.0


def test_porpoising_moves_speed_and_hull_at_one_frequency_with_the_stated_sizes():
    event = Porpoising(1, "at speed", 3.0, 0.0, speed_amplitude_mps=0.3, vertical_amplitude_mps=0.5)
    shaken = simulate_outing(5, water=STILL, ride=RideScript(porpoising=(event,)))
    smooth = simulate_outing(5, water=STILL)
    (truth_event,) = shaken.ride_events
    assert truth_event.kind == "porpoising"
    assert truth_event.end_s - truth_event.start_s == pytest.approx(event.duration_s)
    middle = shaken.truth.span(truth_event.start_s + 0.5, truth_event.end_s - 0.5)
    ripple = (shaken.truth.speed_mps - smooth.truth.speed_mps)[middle]
    assert np.ptp(ripple) / 2 == pytest.approx(0.3, rel=0.02)
    assert np.ptp(shaken.truth.vertical_mps[middle]) / 2 == pytest.approx(0.5, rel=0.02)
    # Slowest while the bow is highest: half a turn apart.
    pitch = shaken.truth.pitch_deg[middle] - shaken.truth.pitch_deg[middle].mean()
    assert np.corrcoef(ripple, pitch)[0, 1] < -0.95
    # The propeller feels it too.
    current = (shaken.truth.current_a - smooth.truth.current_a)[middle]
    assert np.ptp(current) / 2 == pytest.approx(0.06 * smooth.truth.current_a[middle].mean(), rel=0.1)


def test_take_off_porpoising_is_at_take_off():
    ride = RideScript(porpoising=(Porpoising(0, "take-off"),))
    outing = simulate_outing(5, ride=ride)
    (event,) = outing.ride_events
    assert outing.passes[0].start_s <= event.start_s < outing.passes[0].takeoff_end_s < event.end_s


def test_a_blow_over_ends_the_outing_with_a_tumble_and_a_lost_fix():
    ride = RideScript(blow_over=BlowOver(2, start_s=6.0, stop_s=0.3, lost_fix_s=3.0))
    outing = simulate_outing(5, receiver=replace(EXACT, lag_s=0.0), ride=ride)
    (event,) = outing.ride_events
    assert len(outing.passes) == 3
    assert outing.passes[2].end_s == pytest.approx(event.start_s)
    before, after = outing.truth.at("water_mps", np.array([event.start_s, event.end_s]))
    assert after == pytest.approx(0.1 * before, rel=0.1)
    assert [s.kind for s in outing.spikes] == ["tumble"]
    (tumble,), (lost,) = outing.spikes, outing.dropouts
    assert event.end_s < tumble.start_s < lost.end_s
    assert tumble.speed_mps > outing.passes[2].peak_mps
    assert lost.kind == "no fix"
    assert lost.end_s - lost.start_s == pytest.approx(3.0, abs=0.25)
    assert outing.truth.rpm[-1] == 0.0


def test_a_veer_leaves_the_line_to_one_side_and_stays_there():
    straight = simulate_outing(5)
    veered = simulate_outing(5, ride=RideScript(veer=Veer(1, start_s=3.5, offset_m=6.0, over_s=1.0)))
    (event,) = veered.ride_events
    for outing, low, high in ((straight, -2.5, 2.5), (veered, 3.5, 8.0)):
        truth, p = outing.truth, outing.passes[1]
        part = truth.span(p.end_s - 0.2, p.end_s)
        _, across = truth.course.along_across(truth.east_m[part], truth.north_m[part])
        # The second pass runs back, so its starboard side is the course's port side.
        assert low < -across.mean() < high
    assert event.start_s == pytest.approx(veered.passes[1].start_s + 3.5)


def test_throttle_pumping_shows_in_throttle_current_and_rpm():
    pump = ThrottlePumping(0, start_s=4.0, duration_s=3.0, frequency_hz=1.2, depth=0.15)
    outing = simulate_outing(5, boat=CATAMARAN, water=STILL, ride=RideScript(pumping=pump))
    start_s = outing.passes[0].start_s + 4.0
    part = outing.truth.span(start_s, start_s + 2.5)
    throttle = outing.truth.throttle_pct[part]
    assert np.ptp(throttle) == pytest.approx(15.0, abs=1.0)
    for follower in (outing.truth.current_a[part], outing.truth.rpm[part]):
        assert np.corrcoef(throttle, follower)[0, 1] > 0.8


def test_a_boat_too_slow_for_its_course_is_refused():
    with pytest.raises(ValueError, match="too slow"):
        simulate_outing(1, boat=replace(CATAMARAN, thrust_coefficient=0.001), passes=1)


def test_a_blow_over_later_than_its_pass_is_refused():
    with pytest.raises(ValueError, match="ended before the blow-over"):
        simulate_outing(1, passes=1, ride=RideScript(blow_over=BlowOver(0, start_s=60.0)))


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
def test_false_speeds_last_as_long_at_every_rate(rate_hz):
    outing = simulate_outing(1, rate_hz=rate_hz, faults=Faults(several=2, ramped=2, lying=2))
    longest = {"several": 0.5, "ramped": 1.0, "lying": 0.8}
    assert len(outing.spikes) == 6
    for spike in outing.spikes:
        assert 0.0 < spike.end_s - spike.start_s <= longest[spike.kind] + 1 / rate_hz


@pytest.mark.parametrize("boat", BOATS, ids=lambda b: b.name)
def test_porpoising_at_speed_ends_before_the_driver_lifts(boat):
    outing = simulate_outing(2, boat=boat, ride=RideScript(porpoising=(Porpoising(0), Porpoising(3))))
    for event in outing.ride_events:
        p = outing.passes[event.pass_index]
        assert p.takeoff_end_s < event.start_s < event.end_s < p.end_s


def test_an_inertial_unit_feels_gravity_heave_and_surge():
    ride = RideScript(porpoising=(Porpoising(0, "at speed", 2.0, 0.0, 0.3, 0.8),))
    outing = simulate_outing(3, water=STILL, receiver=Receiver(rate_hz=25.0, has_imu=True), ride=ride)
    (event,) = outing.ride_events
    during = (outing.track.t_s > event.start_s + 0.5) & (outing.track.t_s < event.end_s - 0.5)
    rest = outing.track.t_s < 5.0
    assert outing.track.column("az_mps2")[rest].mean() == pytest.approx(9.81, abs=0.2)
    # An oscillation of velocity v at frequency f has an acceleration of 2 pi f v.
    swing = np.std(outing.track.column("az_mps2")[during]) * np.sqrt(2)
    assert swing == pytest.approx(2 * np.pi * 2.0 * 0.8, rel=0.15)
    on = (outing.track.t_s > outing.passes[1].start_s + 0.5) & (
        outing.track.t_s < outing.passes[1].start_s + 2.0
    )
    assert outing.track.column("ax_mps2")[on].mean() > 3.0
