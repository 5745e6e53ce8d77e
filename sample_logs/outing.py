"""One simulated outing: a speed log, a motor log, and what really happened."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sample_logs.boats import BOATS, Boat
from sample_logs.drive import drive
from sample_logs.driver import Plan
from sample_logs.faults import Faults, Gap, Spike, spoil
from sample_logs.motorlog import MotorClock, log_motor
from sample_logs.overlay import lay_out
from sample_logs.receiver import Receiver, observe
from sample_logs.scripts import RideScript, Water
from sample_logs.truth import TruePass, TrueRideEvent, Truth
from telemetry.core.frames import LogMeta, MotorLog, Track, make_motor_log, make_track
from telemetry.core.geo import CourseLine, LocalFrame

# Lake Ombrevel is invented; its coordinates lie in open ocean, where there is no lake to confuse it with.
LAKE_LAT_DEG, LAKE_LON_DEG = 38.5, -36.25
START_UTC = pd.Timestamp("2025-06-14T08:30:00Z")


@dataclass(frozen=True)
class Outing:
    """A simulated outing.

    Attributes
    ----------
    seed : int
        It and the arguments of :func:`simulate_outing` make the same outing again.
    track, motor : Track, MotorLog
        As a reader would return them.
    truth : Truth
        The fine grid and the figures to hold an analysis against.
    passes : tuple of TruePass
        In order of time; those of ``truth``.
    spikes, dropouts : tuple
        The faults put in, in order of time, on the speed log's clock.
    ride_events : tuple of TrueRideEvent
        What the ride script did.
    motor_clock : MotorClock
        True relation of the two clocks. Clocks joined by speed are off by the receiver's lag besides.
    boat, receiver, water, plan
        What was simulated.
    """

    seed: int
    track: Track
    motor: MotorLog
    truth: Truth
    passes: tuple[TruePass, ...]
    spikes: tuple[Spike, ...]
    dropouts: tuple[Gap, ...]
    ride_events: tuple[TrueRideEvent, ...]
    motor_clock: MotorClock
    boat: Boat
    receiver: Receiver
    water: Water
    plan: Plan

    @property
    def pack_resistance_ohm(self) -> float:
        """Of the pack with its leads [ohm]."""
        return self.boat.pack_resistance_ohm

    @property
    def slip(self) -> tuple[float, ...]:
        """Slip of each pass over its best second, by speed over ground."""
        return tuple(p.slip for p in self.passes)


def _turned(east: float, north: float, heading_deg: float) -> tuple[float, float]:
    """Split a vector into along-course and starboard components."""
    h = math.radians(heading_deg)
    return east * math.sin(h) + north * math.cos(h), east * math.cos(h) - north * math.sin(h)


def simulate_outing(
    seed: int,
    *,
    boat: Boat | None = None,
    receiver: Receiver | None = None,
    rate_hz: float | None = None,
    water: Water | None = None,
    passes: int = 4,
    course_heading_deg: float | None = None,
    faults: Faults | None = None,
    ride: RideScript | None = None,
    motor_rate_hz: float | None = None,
    motor_clock_offset_s: float | None = None,
    motor_clock_drift_ppm: float | None = None,
    start_utc: pd.Timestamp = START_UTC,
) -> Outing:
    """Simulate an outing.

    Everything left None is drawn from its usual range; each part draws from a stream of its own, so that
    the same seed with other faults or another receiver is the same drive.

    Parameters
    ----------
    seed : int
        Of all random numbers.
    boat : Boat, optional
        One of the three invented ones, its mass and drag varied a little.
    receiver : Receiver, optional
        The error model; drawn by :meth:`Receiver.drawn`.
    rate_hz : float, optional
        Sets the receiver's rate, drawn or given.
    water : Water, optional
        Drawn by :meth:`Water.drawn`.
    passes : int
        How many, alternating in direction.
    course_heading_deg : float, optional
        First direction; any.
    faults : Faults, optional
        None puts in none.
    ride : RideScript, optional
        None is a clean ride.
    motor_rate_hz : float, optional
        20 to 50 Hz.
    motor_clock_offset_s, motor_clock_drift_ppm : float, optional
        Motor time t is t (1 + drift 1e-6) + offset seconds after the speed log's start; -60 to +8 s and
        +/-100 ppm.
    start_utc : pandas.Timestamp
        Of the first fix.

    Returns
    -------
    Outing
    """
    names = ("boat", "plan", "water", "drive", "chop", "receiver", "faults", "motor")
    rng = {name: np.random.default_rng([seed, k]) for k, name in enumerate(names)}
    if boat is None:
        r = rng["boat"]
        base = BOATS[int(r.integers(len(BOATS)))]
        boat = replace(
            base,
            mass_kg=base.mass_kg * r.uniform(0.95, 1.05),
            appendage_m2=base.appendage_m2 * r.uniform(0.8, 1.3),
            cell_resistance_ohm=base.cell_resistance_ohm * r.uniform(0.7, 1.4),
        )
    receiver = receiver or Receiver.drawn(rng["receiver"])
    if rate_hz is not None:
        receiver = replace(receiver, rate_hz=rate_hz)
    water = water or Water.drawn(rng["water"])
    heading_deg = rng["plan"].uniform(0.0, 360.0)
    if course_heading_deg is not None:
        heading_deg = course_heading_deg
    plan = Plan.drawn(rng["plan"], boat, passes)
    ride = ride or RideScript()

    driven = drive(
        rng["drive"],
        boat,
        plan,
        _turned(water.current_east_mps, water.current_north_mps, heading_deg),
        _turned(water.wind_east_mps, water.wind_north_mps, heading_deg),
        ride,
    )
    truth, events = lay_out(
        rng["chop"],
        boat,
        driven,
        water,
        ride,
        plan.ramp_s,
        LocalFrame(LAKE_LAT_DEG, LAKE_LON_DEG),
        CourseLine(0.0, 0.0, heading_deg),
    )
    # A stream for each rate: a second recorder aboard has errors of its own.
    noise = np.random.default_rng([seed, len(names), round(1000 * receiver.rate_hz)])
    t_s, columns = observe(noise, receiver, truth)
    tumble = None
    if ride.blow_over and driven.flew_s is not None:
        stopped_s = driven.flew_s + ride.blow_over.stop_s + 0.3
        tumble = (driven.flew_s, stopped_s, ride.blow_over.lost_fix_s)
    t_s, columns, spikes, gaps = spoil(rng["faults"], t_s, columns, faults or Faults(), truth, tumble)
    track = make_track(columns, t_s, LogMeta("simulated", "simulated", start_utc))

    r = rng["motor"]
    offset_s, drift_ppm = r.uniform(-60.0, 8.0), r.uniform(-100.0, 100.0)
    rate = float(r.choice([20.0, 25.0, 40.0, 50.0]))
    clock = MotorClock(
        offset_s=offset_s if motor_clock_offset_s is None else motor_clock_offset_s,
        drift_ppm=drift_ppm if motor_clock_drift_ppm is None else motor_clock_drift_ppm,
    )
    motor_t_s, motor_columns = log_motor(r, boat, truth, clock, motor_rate_hz or rate, r.uniform(-3.0, 15.0))
    motor = make_motor_log(
        motor_columns, motor_t_s, LogMeta("simulated motor", "simulated", None, clock="controller")
    )
    return Outing(
        seed, track, motor, truth, truth.passes, spikes, gaps, events, clock, boat, receiver, water, plan
    )
