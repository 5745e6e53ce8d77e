"""The boat driven over its course: one lean loop over power train, hull and driver.

The surge equation m dv/dt = T - R is integrated at 50 Hz with the driver in it, since when he lifts depends
on where the boat is. Everything that is kinematic (chop, porpoising) is laid over the result in ``truth``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from sample_logs.boats import Boat
from sample_logs.driver import ROOM_M, Driver, Plan
from sample_logs.hull import RISING_S, Hull
from sample_logs.noise import gauss_markov
from sample_logs.powertrain import PowerTrain, open_voltage_v, temperatures_c
from sample_logs.scripts import RideScript
from telemetry.core.frames import FloatArray

STEP_S: Final = 0.02
LONGEST_PASS_S: Final = 150.0  # with its turn
AIRBORNE_S: Final = 1.0


@dataclass(frozen=True)
class Drive:
    """What the loop leaves behind, every array of shape (n,), one value a step from t = 0.

    ``heading_rad`` is clockwise from the course's first direction; ``power_on_s`` and ``power_off_s`` hold
    one time a pass; ``flew_s`` is None unless the hull flew.
    """

    t_s: FloatArray
    water_mps: FloatArray
    heading_rad: FloatArray
    lift: FloatArray
    throttle: FloatArray
    turns_per_s: FloatArray
    motor_current_a: FloatArray
    open_voltage_v: FloatArray
    charge_ah: FloatArray
    motor_temp_c: FloatArray
    esc_temp_c: FloatArray
    start_along_across_m: tuple[float, float]
    power_on_s: tuple[float, ...]
    power_off_s: tuple[float, ...]
    flew_s: float | None


def drive(
    rng: np.random.Generator,
    boat: Boat,
    plan: Plan,
    current_mps: tuple[float, float],
    wind_mps: tuple[float, float],
    ride: RideScript,
) -> Drive:
    """Drive a whole outing.

    Parameters
    ----------
    rng : numpy.random.Generator
        For the steering and the starting place only.
    boat, plan, ride
        What is driven, how, and what goes wrong.
    current_mps, wind_mps : tuple of float
        Of water and air over ground: in the course's first direction, and to starboard of it [m/s].

    Raises
    ------
    ValueError
        If the driver cannot finish, because the boat is too slow for its course.
    """
    steps = int((plan.passes + 1) * LONGEST_PASS_S / STEP_S)
    wander_rad = np.radians(gauss_markov(rng, steps, STEP_S, plan.wander_deg, 1.2)).tolist()
    driver = Driver(plan, ride, wander_rad, current_mps[1], STEP_S)
    train, hull = PowerTrain(boat), Hull(boat)
    stop_s = ride.blow_over.stop_s if ride.blow_over else math.inf
    current_along, current_across = current_mps
    wind_along, wind_across = wind_mps[0] - current_along, wind_mps[1] - current_across  # against the water

    start = (-(plan.half_m + plan.run_up_m + ROOM_M + rng.uniform(-5.0, 10.0)), rng.uniform(-6.0, 6.0))
    along, across = start
    heading = rng.uniform(-0.4, 0.4)
    water_mps = lift = 0.0
    charge_as = plan.state_of_charge * boat.capacity_ah * 3600.0
    rows: list[tuple[float, ...]] = []
    for step in range(steps):
        t = step * STEP_S
        turn = driver.decide(t, along, across, water_mps, heading)
        duty = driver.throttle
        open_v = open_voltage_v(boat, charge_as / (boat.capacity_ah * 3600.0))
        flying = driver.flew_s is not None
        if driver.flew_s is not None and t - driver.flew_s < AIRBORNE_S:
            turns, motor_a, thrust = train.in_air(duty, open_v)
        else:
            turns, motor_a, thrust = train.operating_point(duty, open_v, water_mps)
        rows.append((water_mps, heading, lift, duty, turns, motor_a, open_v))

        sin, cos = math.sin(heading), math.cos(heading)
        if flying:
            water_mps *= math.exp(-math.log(10.0) * STEP_S / stop_s)
        else:
            air_mps = water_mps - wind_along * cos - wind_across * sin
            drag = hull.drag_n(water_mps, air_mps, lift)
            water_mps = max(0.0, water_mps + (thrust - drag) / hull.mass_kg * STEP_S)
            heading += turn * STEP_S
        lift += (hull.steady_lift(water_mps) - lift) * STEP_S / RISING_S
        along += (water_mps * cos + current_along) * STEP_S
        across += (water_mps * sin + current_across) * STEP_S
        charge_as -= duty * motor_a * STEP_S
        if driver.finished:
            break
    else:
        raise ValueError(f"{boat.name} is too slow for a course of {2 * plan.half_m:.0f} m")

    water, headings, lifts, duties, turns_all, motor_as, open_vs = np.array(rows).T
    motor_c, esc_c = temperatures_c(boat, turns_all, motor_as, duties, plan.water_c, STEP_S)
    return Drive(
        t_s=np.asarray(np.arange(len(rows)) * STEP_S),
        water_mps=water,
        heading_rad=headings,
        lift=lifts,
        throttle=duties,
        turns_per_s=turns_all,
        motor_current_a=motor_as,
        open_voltage_v=open_vs,
        charge_ah=np.cumsum(duties * motor_as) * STEP_S / 3600.0,
        motor_temp_c=motor_c,
        esc_temp_c=esc_c,
        start_along_across_m=start,
        power_on_s=tuple(driver.power_on_s),
        power_off_s=tuple(driver.power_off_s),
        flew_s=driver.flew_s,
    )
