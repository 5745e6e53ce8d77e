"""The simulator against published figures and textbook relations; the source stands beside each."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import find_peaks, periodogram

from sample_logs.boats import BOATS, CATAMARAN
from sample_logs.powertrain import PowerTrain, open_voltage_v, temperatures_c
from sample_logs.simulator import Porpoising, Receiver, RideScript, Water, simulate_outing
from telemetry.core.units import INCH_MM, MPH_MPS

STILL = Water(chop_speed_sd_mps=0.0, chop_heave_sd_m=0.0)


def duty_for(train: PowerTrain, turns_per_s: float, open_v: float, water_mps: float) -> float:
    return brentq(lambda d: train.operating_point(d, open_v, water_mps)[0] - turns_per_s, 0.05, 1.5)


def test_slip_by_the_handbook_formula():
    # Theoretical speed [mph] = shaft rpm x pitch [in] / 1056, exact; slip = 1 - actual / theoretical
    # (Mercury Racing, prop school 6).
    outing = simulate_outing(1, boat=CATAMARAN)
    for p in outing.passes:
        part = outing.truth.span(p.held_1s_start_s, p.held_1s_start_s + 1.0)
        rpm = outing.truth.rpm[part].mean()
        theoretical_mph = rpm * (CATAMARAN.pitch_mm / INCH_MM) / 1056.0
        assert p.slip == pytest.approx(1.0 - p.held_1s_mps / MPH_MPS / theoretical_mph, abs=2e-4)


@pytest.mark.parametrize("boat", BOATS, ids=lambda b: b.name)
def test_load_and_slip_lie_where_practice_has_them(boat):
    # Common practice, no source: loaded rpm 75-90 % of rpm/V x volts; slip 10-30 % for model boats.
    for seed in range(4):
        outing = simulate_outing(seed, boat=boat, water=STILL)
        for p in outing.passes:
            part = outing.truth.span(p.held_1s_start_s, p.held_1s_start_s + 1.0)
            rest_v = outing.truth.voltage_v[part.start] + (
                outing.truth.current_a[part.start] * boat.pack_resistance_ohm
            )
            share = outing.truth.rpm[part].mean() / (boat.kv_rpm_per_v * rest_v)
            assert 0.75 < share < 0.90
            assert 0.10 < p.slip < 0.30


def test_pack_sag_of_six_cells():
    # Computed: 6 cells x 3 mohm at 150 A is 2.7 V of sag and 405 W of heat.
    boat = replace(CATAMARAN, cells=6, cell_resistance_ohm=0.003, wiring_ohm=0.0)
    assert boat.pack_resistance_ohm * 150.0 == pytest.approx(2.7)
    assert boat.pack_resistance_ohm * 150.0**2 == pytest.approx(405.0)


def test_pack_resistance_from_two_loads():
    # (V1 - V2) / (I2 - I1): (14.8 - 13.7) / (85 - 5) = 0.01375 ohm (rc-monster forum). The same two-point
    # estimate on a simulated pack of that resistance, from just before power to full power.
    boat = replace(BOATS[0], cell_resistance_ohm=0.01375 / 4, wiring_ohm=0.0)
    outing = simulate_outing(1, boat=boat, water=STILL)
    p = outing.passes[0]
    at = np.array([p.start_s - 0.1, p.start_s + 3.0])
    volts, amps = outing.truth.at("voltage_v", at), outing.truth.at("current_a", at)
    # The charge drawn in between lowers the open voltage a little, which adds to the estimate.
    assert -np.diff(volts)[0] / np.diff(amps)[0] == pytest.approx(0.01375, rel=0.06)


def test_shaft_power_rises_with_the_cube_of_rpm():
    # Propeller law: at one advance ratio +10 % rpm takes 1.331 times the power (Gerr, ideal exponent 3).
    train = PowerTrain(CATAMARAN)

    def shaft_w(turns: float, water_mps: float) -> float:
        n, current, _ = train.operating_point(duty_for(train, turns, 22.2, water_mps), 22.2, water_mps)
        torque = 60.0 / (2 * math.pi * CATAMARAN.kv_rpm_per_v) * (current - CATAMARAN.no_load_current_a)
        return torque * 2 * math.pi * n

    assert shaft_w(440.0, 27.5) / shaft_w(400.0, 25.0) == pytest.approx(1.331, rel=1e-6)


def test_the_motor_obeys_the_dc_motor_equations():
    # d V = I R + rpm / kV and torque = 60 / (2 pi kV) (I - I0): any electrical machines handbook.
    boat, duty, open_v = CATAMARAN, 0.8, 24.0
    n, current, thrust = PowerTrain(boat).operating_point(duty, open_v, 20.0)
    at_controller = open_v - duty * current * boat.pack_resistance_ohm
    assert duty * at_controller == pytest.approx(
        current * boat.motor_resistance_ohm + 60 * n / boat.kv_rpm_per_v, rel=1e-9
    )
    d_m, pitch_ratio = boat.diameter_mm / 1000, boat.pitch_mm / boat.diameter_mm
    advance = 20.0 / (n * d_m)
    torque = 60 / (2 * math.pi * boat.kv_rpm_per_v) * (current - boat.no_load_current_a)
    k_q = torque / (998.0 * n**2 * d_m**5)
    k_t = thrust / (998.0 * n**2 * d_m**4)
    assert k_q == pytest.approx(boat.torque_coefficient * (1 - advance / (boat.torque_zero * pitch_ratio)))
    assert k_t == pytest.approx(boat.thrust_coefficient * (1 - advance / (boat.thrust_zero * pitch_ratio)))
    # Open-water efficiency eta = J K_T / (2 pi K_Q) is below one.
    assert 0.0 < advance * k_t / (2 * math.pi * k_q) < 1.0


def test_a_propeller_in_air_turns_at_rpm_per_volt_times_volts():
    boat = replace(CATAMARAN, no_load_current_a=0.0)
    turns, current, thrust = PowerTrain(boat).in_air(1.0, 22.2)
    assert turns * 60.0 == pytest.approx(1600 * 22.2)
    assert (current, thrust) == (0.0, 0.0)


def test_a_coasting_propeller_takes_no_current_and_brakes():
    n, current, thrust = PowerTrain(CATAMARAN).operating_point(0.0, 24.0, 25.0)
    assert n > 0.0
    assert current == 0.0
    assert thrust < 0.0


def test_full_cells_have_their_nominal_voltage():
    # 4.2 V charged (nearly) and 3.6 V at the end: the usual data sheet of a lithium polymer cell.
    assert open_voltage_v(CATAMARAN, 1.0) / 6 == pytest.approx(4.2, abs=0.05)
    assert open_voltage_v(CATAMARAN, 0.0) / 6 == pytest.approx(3.6, abs=0.05)


def test_heating_follows_the_first_order_step_response():
    # T = R P (1 - exp(-t / RC)), any heat transfer handbook; 100 A through 8 mohm is 80 W.
    boat = replace(CATAMARAN, no_load_current_a=0.0)
    n = 3000
    motor_c, _ = temperatures_c(boat, np.zeros(n), np.full(n, 100.0), np.ones(n), 20.0, 0.02)
    t = np.arange(n) * 0.02
    assert motor_c == pytest.approx(20.0 + 0.35 * 80.0 * (1 - np.exp(-t / (0.35 * 75.0))), abs=1e-9)


@pytest.mark.parametrize(("true_hz", "seen_hz"), [(6.0, 4.0), (7.5, 2.5), (9.0, 1.0), (3.0, 3.0)])
def test_aliases_at_ten_hertz(true_hz, seen_hz):
    # Computed: at 10 Hz a motion at 6 Hz shows as 4, 7.5 as 2.5, 9 as 1.
    event = Porpoising(0, "at speed", true_hz, 0.0, 0.0, 0.6, duration_s=4.0)
    receiver = Receiver(rate_hz=10.0, vertical_sd_mps=0.01)
    outing = simulate_outing(3, boat=CATAMARAN, water=STILL, receiver=receiver, ride=RideScript((event,)))
    (truth,) = outing.ride_events
    during = (outing.track.t_s > truth.start_s) & (outing.track.t_s < truth.end_s)
    freqs, power = periodogram(outing.track.column("vertical_mps")[during], 10.0, nfft=512)
    assert freqs[power.argmax()] == pytest.approx(seen_hz, abs=0.1)


@pytest.mark.parametrize(("ratio", "cycles", "decrement"), [(2.0, 4, 0.173), (0.5, 3, -0.231)])
def test_growth_as_a_logarithmic_decrement(ratio, cycles, decrement):
    # d = (1/n) ln(x0/xn): peaks 2 to 1 in 4 cycles d = 0.173; 1 to 2 in 3 cycles d = -0.231 (computed).
    frequency_hz = 4.0
    growth = -math.log(ratio) / cycles * frequency_hz
    event = Porpoising(0, "at speed", frequency_hz, growth, 0.3, 0.5, duration_s=2.5)
    outing = simulate_outing(3, boat=CATAMARAN, water=STILL, ride=RideScript((event,)))
    (truth,) = outing.ride_events
    heave = outing.truth.heave_m[outing.truth.span(truth.start_s + 0.3, truth.end_s - 0.3)]
    peaks = heave[find_peaks(heave)[0]]
    assert math.log(peaks[0] / peaks[cycles]) / cycles == pytest.approx(decrement, abs=0.003)


def test_a_steady_current_cancels_in_the_mean_of_speeds():
    # And does not in the mean of times, which is low by c²/v (computed from the definitions).
    heading, c = 90.0, 1.5
    along = simulate_outing(
        4, boat=CATAMARAN, course_heading_deg=heading, water=replace(STILL, current_east_mps=c)
    )
    still = simulate_outing(4, boat=CATAMARAN, course_heading_deg=heading, water=STILL)
    flow, calm = ([o.truth.best_average_mps(i, 50.0) for i in (0, 1)] for o in (along, still))
    assert flow[0] - flow[1] == pytest.approx(2 * c, abs=0.25)
    assert sum(flow) / 2 == pytest.approx(sum(calm) / 2, abs=0.05)
    gates = along.truth.place_gates(50.0)
    of_speeds = along.truth.mean_two_way_mps(0, 1, *gates)
    of_times = along.truth.mean_two_way_mps(0, 1, *gates, mean="of times")
    v1, v2 = (along.truth.gate_speed_mps(i, *gates) for i in (0, 1))
    assert of_speeds - of_times == pytest.approx((v1 - v2) ** 2 / (2 * (v1 + v2)), rel=1e-9)


def test_a_hull_loses_speed_slower_by_drag_than_in_a_blow_over():
    # Coasting is the hardest braking water drag gives: after a quarter of a second most of the speed is left.
    for boat in BOATS:
        outing = simulate_outing(2, boat=boat, water=STILL)
        p = outing.passes[0]
        v0, v1 = outing.truth.at("speed_mps", np.array([p.end_s, p.end_s + 0.5]))
        assert 0.7 * v0 < v1 < v0
