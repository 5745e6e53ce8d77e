"""What happens in an outing besides driving: the water's doing, the hull's, and the driver's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Phase = Literal["take-off", "at speed"]


@dataclass(frozen=True, slots=True)
class Water:
    """Current, wind and chop, constant over an outing.

    Attributes
    ----------
    current_east_mps, current_north_mps : float
        Velocity of the water over ground.
    wind_east_mps, wind_north_mps : float
        Velocity of the air over ground; it enters the air drag along the hull.
    chop_speed_sd_mps, chop_heave_sd_m : float
        Standard deviation of surge speed and of heave that chop gives at full speed.
    chop_low_hz, chop_high_hz : float
        Band of encounter frequencies over which both are spread evenly.
    """

    current_east_mps: float = 0.0
    current_north_mps: float = 0.0
    wind_east_mps: float = 0.0
    wind_north_mps: float = 0.0
    chop_speed_sd_mps: float = 0.02
    chop_heave_sd_m: float = 0.004
    chop_low_hz: float = 0.8
    chop_high_hz: float = 8.0

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Water:
        """Draw a fair day: current to 0.3 m/s, wind to 4, surge 0.01-0.04 (common practice, no source)."""
        current, wind = rng.uniform(0.0, 0.3), rng.uniform(0.0, 4.0)
        a, b = rng.uniform(0.0, 2 * np.pi, 2)
        surge_mps = rng.uniform(0.01, 0.04)
        return cls(
            current * np.sin(a),
            current * np.cos(a),
            wind * np.sin(b),
            wind * np.cos(b),
            surge_mps,
            0.2 * surge_mps,
        )


@dataclass(frozen=True, slots=True)
class Porpoising:
    """A coupled heave and pitch oscillation in one pass, growing or dying exponentially.

    Attributes
    ----------
    pass_index : int
        Which pass, from 0.
    phase : {"take-off", "at speed"}
        Where it starts when ``start_s`` is None: as the hull comes on plane; or a second after full power,
        sooner where it would not end before the driver lifts.
    frequency_hz, growth_per_s : float
        The envelope is exp(growth x (t - middle)).
    speed_amplitude_mps, vertical_amplitude_mps : float
        Amplitudes of speed and of vertical velocity in the middle of the event.
    duration_s : float
        From first to last ripple.
    start_s : float or None
        Seconds after power is applied.
    load_ripple : float
        Relative amplitude of the motor current as the propeller's immersion changes, in the middle.
    """

    pass_index: int = 0
    phase: Phase = "at speed"
    frequency_hz: float = 3.0
    growth_per_s: float = 0.0
    speed_amplitude_mps: float = 0.3
    vertical_amplitude_mps: float = 0.4
    duration_s: float = 2.5
    start_s: float | None = None
    load_ripple: float = 0.06


@dataclass(frozen=True, slots=True)
class BlowOver:
    """The hull flies and stops; the outing ends with it.

    Attributes
    ----------
    pass_index : int
        Which pass, from 0.
    start_s : float
        Seconds after power is applied.
    stop_s : float
        Time in which nine tenths of the speed are lost (0.2-0.4 s: far faster than water drag on a hull).
    lost_fix_s : float
        How long the receiver has no fix, lying upside down, soon after.
    """

    pass_index: int = 0
    start_s: float = 5.0
    stop_s: float = 0.3
    lost_fix_s: float = 3.0


@dataclass(frozen=True, slots=True)
class Veer:
    """A one-sided departure from the course line that is held."""

    pass_index: int = 0
    start_s: float = 3.5
    offset_m: float = 6.0
    over_s: float = 1.5


@dataclass(frozen=True, slots=True)
class ThrottlePumping:
    """The driver works the trigger: throttle swings between 1 and 1 - depth at one frequency."""

    pass_index: int = 0
    start_s: float = 3.0
    duration_s: float = 3.0
    frequency_hz: float = 1.2
    depth: float = 0.15


@dataclass(frozen=True, slots=True)
class RideScript:
    """What goes wrong, or is done on purpose, in which pass."""

    porpoising: tuple[Porpoising, ...] = ()
    blow_over: BlowOver | None = None
    veer: Veer | None = None
    pumping: ThrottlePumping | None = None
