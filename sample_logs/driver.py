"""The person with the transmitter, as a small state machine from rest to rest."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sample_logs.boats import Boat
from sample_logs.scripts import RideScript


def expected_top_mps(boat: Boat) -> float:
    """Guess the top speed from 80 % of rpm/V x volts and 12 % slip, mid-range of what is usual [m/s]."""
    turns = 0.80 * boat.kv_rpm_per_v * boat.cells * 4.1 / 60.0
    return 0.88 * turns * boat.pitch_mm / 1000.0


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
    cruise_duty : float
        Throttle that about holds ``turn_mps``.
    ramp_s : float
        Time in which the trigger goes to full.
    rest_s : tuple of (float, float)
        Lying still before and after.
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
    cruise_duty: float
    ramp_s: float
    rest_s: tuple[float, float]
    wander_deg: float
    state_of_charge: float
    water_c: float

    @classmethod
    def drawn(cls, rng: np.random.Generator, boat: Boat, passes: int) -> Plan:
        """Draw how this driver drives this boat today (common practice, no source)."""
        top_mps = expected_top_mps(boat)
        ramp_s = rng.uniform(2.0, 3.2) + top_mps / 60.0
        turn_mps = rng.uniform(3.5, 6.0)
        return cls(
            passes=passes,
            half_m=0.5 * max(rng.uniform(115.0, 165.0), 3.6 * top_mps),
            run_up_m=0.60 * top_mps * ramp_s,
            turn_mps=turn_mps,
            turn_radius_m=rng.uniform(5.0, 8.0),
            cruise_duty=0.9 * turn_mps / top_mps,
            ramp_s=ramp_s,
            rest_s=(rng.uniform(12.0, 25.0), rng.uniform(8.0, 20.0)),
            wander_deg=rng.uniform(0.3, 0.9),
            state_of_charge=rng.uniform(0.94, 1.0),
            water_c=rng.uniform(12.0, 24.0),
        )


# A phase looks at time, progress in the present direction, place across the course, speed and heading error,
# and says what throttle it wants; it may make another phase the next.
Phase = Callable[[float, float, float, float, float], float]

FULL_TRIGGER_S = 0.25  # a trigger goes from end to end in a quarter of a second
ROOM_M = 30.0  # straightened out this far before power is applied


class Driver:
    """Decides throttle and rudder at each step.

    Parameters
    ----------
    plan, ride
        What he means to do, and the pumping and veering the script has him do.
    wander_rad : sequence of float
        Error of his steering, one value a step.
    across_mps : float
        Current to starboard of the first direction, which he steers against.
    step_s : float
        Time between decisions.

    Attributes
    ----------
    throttle : float
        Where the trigger is, 0 to 1.
    power_on_s, power_off_s : list of float
        One time a pass so far.
    flew_s : float or None
        When the hull took off into the air.
    finished : bool
        The outing is over.
    """

    def __init__(
        self, plan: Plan, ride: RideScript, wander_rad: Sequence[float], across_mps: float, step_s: float
    ) -> None:
        self._plan, self._ride, self._wander_rad, self._across_mps = plan, ride, wander_rad, across_mps
        self._slew = step_s / FULL_TRIGGER_S
        self._direction = 1.0
        self._phase: Phase = self._lie_ready
        self._since_s = 0.0
        self._step = 0
        self.throttle = 0.0
        self.power_on_s: list[float] = []
        self.power_off_s: list[float] = []
        self.flew_s: float | None = None
        self.finished = False

    def decide(
        self, t_s: float, along_m: float, across_m: float, water_mps: float, heading_rad: float
    ) -> float:
        """Move the trigger and return the rate of turn [rad/s]."""
        error = self._heading_error_rad(t_s, across_m, water_mps, heading_rad)
        want = self._phase(t_s, self._direction * along_m, across_m, water_mps, error)
        change = min(max(want, 0.0), 1.0) - self.throttle
        self.throttle += min(max(change, -self._slew), self._slew)
        # A hull turns no tighter than its radius, and at speed no harder than about one g.
        limit = min(water_mps / self._plan.turn_radius_m, 9.0 / max(water_mps, 1.0))
        return min(max(2.5 * error, -limit), limit)

    def _heading_error_rad(self, t_s: float, across_m: float, water_mps: float, heading_rad: float) -> float:
        """Aim at the course line some way ahead, against the current across it."""
        ahead_m = max(10.0, 1.2 * water_mps)
        sideways = min(max(self._across_mps / max(water_mps, 2.0), -0.3), 0.3)
        bearing = math.atan2(self._line_m(t_s) - self._direction * across_m, ahead_m)
        aim = (0.0 if self._direction > 0 else math.pi) + bearing - self._direction * sideways
        error = aim + self._wander_rad[self._step] - heading_rad
        self._step += 1
        return (error + math.pi) % (2 * math.pi) - math.pi

    def _line_m(self, t_s: float) -> float:
        """How far to starboard of the course he wants to be."""
        veer = self._ride.veer
        if veer is None or self._phase != self._power or len(self.power_off_s) != veer.pass_index:
            return 0.0
        return veer.offset_m * min(max((t_s - self.power_on_s[-1] - veer.start_s) / veer.over_s, 0.0), 1.0)

    def _next(self, phase: Phase, t_s: float) -> None:
        self._phase, self._since_s = phase, t_s

    def _lie_ready(
        self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float
    ) -> float:
        if t_s >= self._plan.rest_s[0]:
            self._next(self._line_up, t_s)
        return 0.0

    def _line_up(self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float) -> float:
        due = ahead_m >= -(self._plan.half_m + self._plan.run_up_m)
        if due and abs(error) < 0.15 and abs(across_m) < 2.5:
            self.power_on_s.append(t_s)
            self._next(self._power, t_s)
        return self._cruise(water_mps)

    def _power(self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float) -> float:
        run_s = t_s - self.power_on_s[-1]
        index = len(self.power_off_s)
        want = min(1.0, 0.25 + 0.75 * run_s / self._plan.ramp_s)
        pump, blow = self._ride.pumping, self._ride.blow_over
        if pump and index == pump.pass_index and 0.0 <= run_s - pump.start_s < pump.duration_s:
            turns = pump.frequency_hz * (run_s - pump.start_s)
            want -= pump.depth * (0.5 - 0.5 * math.cos(2 * math.pi * turns))
        if blow and index == blow.pass_index and run_s >= blow.start_s:
            self.flew_s = t_s
            self.power_off_s.append(t_s)
            self._next(self._watch_it_fly, t_s)
        elif ahead_m >= self._plan.half_m:
            self.power_off_s.append(t_s)
            self._next(self._coast, t_s)
        return want

    def _coast(self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float) -> float:
        if water_mps < self._plan.turn_mps:
            last = len(self.power_off_s) >= self._plan.passes
            self._next(self._lie_done if last else self._go_on, t_s)
        return 0.0

    def _go_on(self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float) -> float:
        """Go on past the end until there is room to turn and line up for the way back."""
        if ahead_m >= self._plan.half_m + self._plan.run_up_m + ROOM_M:
            self._direction = -self._direction
            self._next(self._line_up, t_s)
        return self._cruise(water_mps)

    def _lie_done(self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float) -> float:
        self.finished = t_s - self._since_s > self._plan.rest_s[1]
        return 0.0

    def _watch_it_fly(
        self, t_s: float, ahead_m: float, across_m: float, water_mps: float, error: float
    ) -> float:
        """Let go after a quarter of a second; then the boat drifts, upside down."""
        self.finished = t_s - self._since_s > 20.0 + self._plan.rest_s[1]
        return 1.0 if t_s - self._since_s < 0.25 else 0.0

    def _cruise(self, water_mps: float) -> float:
        return self._plan.cruise_duty + 0.06 * (self._plan.turn_mps - water_mps)
