"""The boat's motion along the water and its power train, driven over a course by a simple driver.

One lean loop integrates the surge equation at 50 Hz with the driver in it, since when he lifts depends on where
the boat is. Everything that is kinematic (chop, porpoising) is laid over it afterwards, in ``truth``.

The model, all SI, per propeller turn rate n [1/s] and speed through water v [m/s]:

propeller (open-water form of any naval architecture handbook, K_T and K_Q linear in J)
    J = v / (n D),  T = K_T rho n² D⁴,  Q = K_Q rho n² D⁵,
    K_T = K_T0 (1 - J / J_T),  K_Q = K_Q0 (1 - J / J_Q);  J_T and J_Q a little above pitch/diameter.
motor and controller (permanent-magnet DC equations; the controller as a loss-free chopper of duty d)
    d V = I_m R_m + 60 n / kV,  Q = (60 / (2 pi kV)) (I_m - I_0),  I_pack = d I_m.
pack
    V = cells (3.60 + 0.58 SoC) - I_pack R_pack.
hull
    R = ½ rho v² (C_f S w + A_app) + W (hump + trim terms) + ½ rho_air v_air² A_air; the share w of the static
    wetted area falls as the hull rises, with a lag, which makes the last part of the acceleration slow.
heat
    C dT/dt = losses - (T - T_water) / R_th for motor and controller.

Torque balance is a quadratic in n, so the rotor needs no equation of its own; its inertia (settling in a few
hundredths of a second) is neglected.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_logs.boats import GRAVITY_MPS2, Boat
from sample_logs.scripts import RideScript
from telemetry.frames import FloatArray

STEP_S = 0.02
WATER_KGPM3 = 998.0
AIR_KGPM3 = 1.2
ADDED_MASS = 1.08  # of a slender hull in surge, a few percent to a tenth (common practice, no source)
CELL_EMPTY_V, CELL_SLOPE_V = 3.60, 0.58
LONGEST_S = 1200.0


@dataclass(frozen=True, slots=True)
class Plan:
    """The driver's intentions, drawn once an outing.

    Attributes
    ----------
    passes : int
        How many, in turn one way and the other.
    half_m : float
        The driver lifts when this far past the middle of the course.
    run_up_m : float
        Power is applied this far before the flat-out stretch.
    turn_mps, turn_radius_m : float
        How turns are driven.
    ramp_s : float
        Time in which the trigger goes to full.
    idle_s : tuple of (float, float)
        Rest before and after.
    wander_deg : float
        Standard deviation of the steering.
    state_of_charge : float
        At the start.
    water_c : float
        Temperature everything starts at.
    """

    passes: int
    half_m: float
    run_up_m: float
    turn_mps: float
    turn_radius_m: float
    ramp_s: float
    idle_s: tuple[float, float]
    wander_deg: float
    state_of_charge: float
    water_c: float

    @classmethod
    def drawn(cls, rng: np.random.Generator, boat: Boat, passes: int) -> Plan:
        """Draw how this driver drives this boat today (common practice, no source)."""
        top_mps = expected_top_mps(boat)
        ramp_s = rng.uniform(2.0, 3.2) + top_mps / 60.0
        return cls(
            passes=passes,
            half_m=0.5 * max(rng.uniform(115.0, 165.0), 3.6 * top_mps),
            run_up_m=0.60 * top_mps * ramp_s,
            turn_mps=rng.uniform(3.5, 6.0),
            turn_radius_m=rng.uniform(5.0, 8.0),
            ramp_s=ramp_s,
            idle_s=(rng.uniform(12.0, 25.0), rng.uniform(8.0, 20.0)),
            wander_deg=rng.uniform(0.3, 0.9),
            state_of_charge=rng.uniform(0.94, 1.0),
            water_c=rng.uniform(12.0, 24.0),
        )


@dataclass(frozen=True)
class Drive:
    """What the loop leaves behind, every array of shape (n,) at 50 Hz from t = 0.

    ``heading_rad`` is measured from the course's first direction, clockwise; ``power_on_s`` and ``power_off_s``
    hold one time a pass; ``blow_over_s`` is None unless the hull flew.
    """

    t_s: FloatArray
    water_speed_mps: FloatArray
    heading_rad: FloatArray
    lift: FloatArray
    throttle: FloatArray
    rpm: FloatArray
    motor_current_a: FloatArray
    open_voltage_v: FloatArray
    charge_ah: FloatArray
    motor_temp_c: FloatArray
    esc_temp_c: FloatArray
    start_along_across_m: tuple[float, float]
    power_on_s: tuple[float, ...]
    power_off_s: tuple[float, ...]
    blow_over_s: float | None


def expected_top_mps(boat: Boat) -> float:
    """Rough top speed for planning: 80 % of rpm/V x volts (CHECKS: usually 75-90 %), 12 % slip [m/s]."""
    turns = 0.80 * boat.kv_rpm_per_v * boat.cells * 4.1 / 60.0
    return 0.88 * turns * boat.pitch_mm / 1000.0


def operating_point(boat: Boat, duty: float, open_v: float, water_mps: float) -> tuple[float, float, float]:
    """Solve the torque balance of motor and propeller.

    Parameters
    ----------
    boat : Boat
        The power train.
    duty : float
        Controller's duty, 0 to 1.
    open_v : float
        Open-circuit voltage of the pack [V].
    water_mps : float
        Speed of the propeller through the water [m/s].

    Returns
    -------
    turns_per_s, motor_current_a, thrust_n : float
        Without drive (the propeller turns the motor) the controller does not brake: the current is zero.
    """
    return _solver(boat)(duty, open_v, water_mps)


def _solver(boat: Boat):  # noqa: ANN202 - a closure of floats, inner loop
    d_m = boat.diameter_mm / 1000.0
    pitch_ratio = boat.pitch_mm / boat.diameter_mm
    kt0, kq0 = boat.thrust_coefficient, boat.torque_coefficient
    thrust_a = kt0 * WATER_KGPM3 * d_m**4
    thrust_b = kt0 * WATER_KGPM3 * d_m**3 / (boat.thrust_zero * pitch_ratio)
    torque_a = kq0 * WATER_KGPM3 * d_m**5
    torque_b = kq0 * WATER_KGPM3 * d_m**4 / (boat.torque_zero * pitch_ratio)
    volt_per_turn = 60.0 / boat.kv_rpm_per_v
    torque_per_a = volt_per_turn / (2 * math.pi)
    r_m, r_p, i0 = boat.motor_resistance_ohm, boat.pack_resistance_ohm, boat.no_load_current_a
    friction = torque_per_a * i0
    sqrt = math.sqrt

    def solve(duty: float, open_v: float, v: float) -> tuple[float, float, float]:
        r = r_m + duty * duty * r_p
        b = torque_per_a * volt_per_turn / r - torque_b * v
        c = torque_per_a * duty * open_v / r - friction
        inside = b * b + 4.0 * torque_a * c
        n = (sqrt(inside) - b) / (2.0 * torque_a) if inside > 0.0 else 0.0
        current = (duty * open_v - volt_per_turn * n) / r
        if current < 0.0 or n <= 0.0:
            inside = (torque_b * v) ** 2 - 4.0 * torque_a * friction
            n = (torque_b * v + sqrt(inside)) / (2.0 * torque_a) if inside > 0.0 else 0.0
            current = 0.0
        return n, current, thrust_a * n * n - thrust_b * n * v

    return solve


def _smooth_noise(rng: np.random.Generator, n: int, sd: float, tau_s: float) -> FloatArray:
    """First-order Gauss-Markov noise at the loop's step, shape (n,)."""
    from scipy.signal import lfilter  # noqa: PLC0415

    a = math.exp(-STEP_S / tau_s)
    return np.asarray(sd * lfilter([math.sqrt(1 - a * a)], [1.0, -a], rng.standard_normal(n)))


def drive(
    rng: np.random.Generator,
    boat: Boat,
    plan: Plan,
    current_along_across_mps: tuple[float, float],
    wind_along_across_mps: tuple[float, float],
    ride: RideScript,
) -> Drive:
    """Drive a whole outing.

    Parameters
    ----------
    rng : numpy.random.Generator
        For the driver's steering only.
    boat, plan, ride
        What is driven, how, and what goes wrong.
    current_along_across_mps, wind_along_across_mps : tuple of float
        Of water and air in the course's first direction and to its right [m/s].

    Raises
    ------
    RuntimeError
        If the driver has not finished after twenty minutes, which a boat too slow for its course would cause.
    """
    solve = _solver(boat)
    steps = int(LONGEST_S / STEP_S)
    wander = np.radians(_smooth_noise(rng, steps, plan.wander_deg, 1.2)).tolist()
    cx, cy = current_along_across_mps
    wx, wy = wind_along_across_mps
    mass = boat.mass_kg * ADDED_MASS
    weight = boat.mass_kg * GRAVITY_MPS2
    skin = 0.5 * WATER_KGPM3 * boat.friction * boat.wetted_m2
    appendage = 0.5 * WATER_KGPM3 * boat.appendage_m2
    air = 0.5 * AIR_KGPM3 * boat.air_m2
    vp4 = boat.planing_mps**4
    r_m, r_p = boat.motor_resistance_ohm, boat.pack_resistance_ohm
    slew = STEP_S / 0.25  # a trigger goes from end to end in a quarter of a second
    ff = 0.9 * plan.turn_mps / expected_top_mps(boat)
    start_x = -(plan.half_m + plan.run_up_m + rng.uniform(25.0, 40.0))
    start_y = rng.uniform(-6.0, 6.0)

    x, y, v, h, lift, d = start_x, start_y, 0.0, rng.uniform(-0.4, 0.4), 0.0, 0.0
    soc_as, drawn_as = plan.state_of_charge * boat.capacity_ah * 3600.0, 0.0
    capacity_as = boat.capacity_ah * 3600.0
    tm = te = plan.water_c
    mode, since, dirn, done = "wait", 0.0, 1.0, 0
    on: list[float] = []
    off: list[float] = []
    flew: float | None = None
    rows: list[tuple[float, ...]] = []
    pump, veer, blow = ride.pumping, ride.veer, ride.blow_over
    cos, sin, atan2, pi = math.cos, math.sin, math.atan2, math.pi

    for k in range(steps):
        t = k * STEP_S
        # The driver: what the trigger and the rudder are asked for.
        want_y = 0.0
        if mode == "power":
            run = t - on[-1]
            want = min(1.0, 0.25 + 0.75 * run / plan.ramp_s)
            if pump and done == pump.pass_index and 0.0 <= run - pump.start_s < pump.duration_s:
                want -= pump.depth * (0.5 - 0.5 * cos(2 * pi * pump.frequency_hz * (run - pump.start_s)))
            if veer and done == veer.pass_index and run > veer.start_s:
                want_y = veer.offset_m * min(1.0, (run - veer.start_s) / veer.over_s)
            if blow and done == blow.pass_index and run >= blow.start_s:
                mode, since, flew = "flying", t, t
                off.append(t)
            elif dirn * x >= plan.half_m:
                mode, since = "coast", t
                off.append(t)
                done += 1
        if mode == "flying":
            want = 1.0 if t - since < 0.25 else 0.0
            if t - since > 20.0 + plan.idle_s[1]:
                break
        elif mode == "coast":
            want = 0.0
            if v < plan.turn_mps:
                mode, since = ("rest", t) if done >= plan.passes else ("away", t)
        elif mode == "wait":
            want = 0.0
            if t >= plan.idle_s[0]:
                mode, since = "cruise", t
        elif mode == "rest":
            want = 0.0
            if t - since > plan.idle_s[1]:
                break
        elif mode != "power":
            want = ff + 0.06 * (plan.turn_mps - v)
            if mode == "away" and dirn * x >= plan.half_m + plan.run_up_m + 30.0:
                mode, dirn = "cruise", -dirn

        if mode in ("wait", "rest", "flying"):
            turn = 0.0
        else:
            sideways = max(-0.3, min(0.3, cy / max(v, 2.0)))
            aim = (
                (0.0 if dirn > 0 else pi)
                + dirn * atan2(want_y * dirn - y, max(10.0, 1.2 * v))
                - dirn * sideways
            )
            error = (aim + wander[k] - h + pi) % (2 * pi) - pi
            limit = min(max(v, 0.5) / plan.turn_radius_m, 9.0 / max(v, 1.0))
            turn = max(-limit, min(limit, 2.5 * error))
            if (
                mode == "cruise"
                and dirn * x >= -(plan.half_m + plan.run_up_m)
                and abs(error) < 0.15
                and abs(y) < 2.5
            ):
                mode = "power"
                on.append(t)
        d += max(-slew, min(slew, max(0.0, min(1.0, want)) - d))

        # The boat.
        open_v = boat.cells * (CELL_EMPTY_V + CELL_SLOPE_V * soc_as / capacity_as)
        if mode == "flying" and t - since < 1.0:
            n, im, thrust = solve(d, open_v, 0.0)
            n, im, thrust = d * 0.93 * open_v * boat.kv_rpm_per_v / 60.0, boat.no_load_current_a * d, 0.0
        else:
            n, im, thrust = solve(d, open_v, v)
        rows.append((t, v, h, lift, d, n * 60.0, im, open_v, drawn_as, tm, te))
        gone = v**4 / (v**4 + vp4)
        lift += (gone - lift) * STEP_S / 0.6
        wet = 1.0 - 0.93 * lift
        va = v + cx * cos(h) + cy * sin(h) - wx * cos(h) - wy * sin(h)
        ratio = v * v / (v * v + 1.0)
        drag = (
            (skin * wet + appendage) * v * v
            + weight * ratio * (boat.trim + 4.0 * boat.hump * lift * (1.0 - lift))
            + air * va * abs(va)
        )
        if v < 0.05:
            drag = min(drag, 0.0)
        if mode == "flying":
            v *= math.exp(-2.303 * STEP_S / blow.stop_s)  # type: ignore[union-attr]
        else:
            v = max(0.0, v + (thrust - drag) / mass * STEP_S)
        h += turn * STEP_S
        x += (v * cos(h) + cx) * STEP_S
        y += (v * sin(h) + cy) * STEP_S
        ip = d * im
        soc_as -= ip * STEP_S
        drawn_as += ip * STEP_S
        # Heat: 120 g of motor and 60 g of controller, water cooled (common practice, no source).
        tm += (
            (
                im * im * r_m
                + 0.6 * boat.no_load_current_a * n * 60.0 / boat.kv_rpm_per_v
                - (tm - plan.water_c) / 0.35
            )
            * STEP_S
            / 75.0
        )
        te += (im * im * 0.0016 + 0.012 * ip * d - (te - plan.water_c) / 0.5) * STEP_S / 45.0
    else:
        raise RuntimeError("the simulated driver did not finish within twenty minutes: the boat is too slow")

    table = np.array(rows).T
    return Drive(
        *table[:8],
        table[8] / 3600.0,
        table[9],
        table[10],
        (start_x, start_y),
        tuple(on),
        tuple(off),
        flew,
    )
