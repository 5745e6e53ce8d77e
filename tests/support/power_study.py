"""Hold clocks, pack, slip and what-if against the simulator's truth; for a benchmark and a short test.

Speeds alone cannot show a receiver's own lag, so errors of a clock are told both ways: against the logged
speed (what the interval is for) and against the true relation with the lag of 0 to 50 ms in it, and half a
step of the simulator (what the user gets).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from sample_logs.boats import BOATS, Boat
from sample_logs.drive import STEP_S
from sample_logs.outing import Outing, simulate_outing
from sample_logs.simulator import BlowOver, Faults, RideScript
from telemetry.analysis import Analysis, analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import MotorLog
from telemetry.kinematics.whole_log import smooth_log
from telemetry.motor.power import PowerOptions, PowerReport, power_report
from telemetry.motor.sync.clock import MotorClock, match_clock
from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, operating_point, what_if

FOREIGN_SEED: Final = 50_000
# The simulator steps the surge equation forward: what the shaft does at a step moves the hull in the step
# after it, so that its speed comes half a step late.
HULL_LATE_S: Final = 0.5 * STEP_S


@dataclass
class Joins:
    """What happened to the motor logs of one cell."""

    tried: int = 0
    refused: int = 0
    foreign: int = 0
    foreign_joined: int = 0
    wrong_place: int = 0
    error_s: list[float] = field(default_factory=list)
    own_error_s: list[float] = field(default_factory=list)
    u95_s: list[float] = field(default_factory=list)

    def __add__(self, other: Joins) -> Joins:
        return Joins(*(a + b for a, b in zip(vars(self).values(), vars(other).values(), strict=True)))

    @property
    def joined(self) -> int:
        return len(self.error_s)

    @property
    def error_95_s(self) -> float:
        return float(np.percentile(self.error_s, 95))

    @property
    def covered(self) -> int:
        return int(np.sum(np.array(self.own_error_s) <= np.array(self.u95_s)))

    def add(self, clock: MotorClock, outing: Outing, started_s: float = 0.0) -> None:
        """Count one true pair; errors are the largest over the motor log."""
        self.tried += 1
        if not clock.trusted:
            self.refused += 1
            return
        ends = outing.motor.t_s[[0, -1]]
        error = clock.to_speed_log(ends - started_s) - outing.motor_clock.to_speed_log(ends)
        own = error - outing.receiver.lag_s - HULL_LATE_S
        self.wrong_place += bool(np.abs(own).max() > 1.0)
        self.error_s.append(float(np.abs(error).max()))
        self.own_error_s.append(float(np.abs(own).max()))
        self.u95_s.append(clock.u95_s)

    def add_foreign(self, clock: MotorClock) -> None:
        self.foreign += 1
        self.foreign_joined += clock.trusted

    def row(self, name: str) -> str:
        told = f"  {name:<34}{self.tried:>5}{self.refused:>8}"
        if self.joined:
            told += (
                f"{1000 * self.error_95_s:>10.0f}{1000 * float(np.median(self.u95_s)):>9.0f}"
                f"{100 * self.covered / self.joined:>9.1f} %{self.wrong_place:>7}"
            )
        return told + (f"{self.foreign:>9}{self.foreign_joined:>8}" if self.foreign else "")


JOINS_HEAD = (
    f"  {'motor log joined to a speed log':<34}{'n':>5}{'refused':>8}{'95 % err':>10}{'U95':>9}"
    f"{'covered':>11}{'wrong':>7}{'foreign':>9}{'joined':>8}\n"
    f"  {'':<34}{'':>5}{'':>8}{'[ms]':>10}{'[ms]':>9}"
)

SITUATIONS: Final[dict[str, Callable[[int], dict[str, object]]]] = {
    "10 Hz": lambda _: {"rate_hz": 10.0},
    "5 Hz": lambda _: {"rate_hz": 5.0},
    "1 Hz": lambda _: {"rate_hz": 1.0},
    "25 Hz": lambda _: {"rate_hz": 25.0},
    "10 Hz, spikes and a dropout": lambda seed: {"faults": Faults.usual(seed)},
    "10 Hz, a blow-over in pass 3": lambda _: {"ride": RideScript(blow_over=BlowOver(pass_index=2))},
}


def outing_of(seed: int, boat: Boat | None = None, **situation: object) -> Outing:
    """An outing of one of the three boats in turn, its motor clock drifting by up to 1000 ppm."""
    drift_ppm = float(np.random.default_rng([seed, 5]).uniform(-1000.0, 1000.0))
    return simulate_outing(
        seed,
        boat=boat or BOATS[seed % len(BOATS)],
        motor_clock_drift_ppm=drift_ppm,
        **situation,  # type: ignore[arg-type]
    )


def two_passes(outing: Outing, first: int) -> tuple[MotorLog, float]:
    """The part of the motor log with two passes in a row, and when it starts on the whole log's clock."""
    begin, end = outing.passes[first].start_s - 8.0, outing.passes[first + 1].end_s + 6.0
    frame = outing.motor.frame
    clock = outing.motor_clock
    part = frame[(frame.index >= clock.from_speed_log(begin)) & (frame.index <= clock.from_speed_log(end))]
    started_s = float(part.index[0])
    return MotorLog(part.set_axis(part.index - started_s), outing.motor.meta), started_s


def study_joins(name: str, seeds: Iterable[int]) -> Joins:
    """True pairs and, for each, the motor log of another outing of the same boat."""
    out = Joins()
    for seed in seeds:
        outing = outing_of(seed, **SITUATIONS[name](seed))
        cleaned = clean(outing.track)
        motion = smooth_log(cleaned, outing.truth.frame)
        out.add(match_clock(outing.motor, cleaned, motion), outing)
        out.add_foreign(match_clock(outing_of(seed + FOREIGN_SEED, outing.boat).motor, cleaned, motion))
    return out


def study_columns(seeds: Iterable[int]) -> dict[str, Joins]:
    """Current only, throttle only, and two passes out of four."""
    out = {
        name: Joins() for name in ("10 Hz, current only", "10 Hz, throttle only", "10 Hz, two of four passes")
    }
    current, throttle, part = out.values()
    for seed in seeds:
        outing = outing_of(seed)
        cleaned = clean(outing.track)
        motion = smooth_log(cleaned, outing.truth.frame)
        for joins, column in ((current, "current_a"), (throttle, "throttle_pct")):
            joins.add(
                match_clock(MotorLog(outing.motor.frame[[column]], outing.motor.meta), cleaned, motion),
                outing,
            )
        cut, started_s = two_passes(outing, seed % 3)
        part.add(match_clock(cut, cleaned, motion), outing, started_s)
    return out


@dataclass
class Powers:
    """Errors of pack resistance (relative) and slip, each with its stated half-width."""

    resistance: list[tuple[float, float]] = field(default_factory=list)
    rest_voltage: list[tuple[float, float]] = field(default_factory=list)
    slip: list[tuple[float, float]] = field(default_factory=list)

    def __add__(self, other: Powers) -> Powers:
        return Powers(*(a + b for a, b in zip(vars(self).values(), vars(other).values(), strict=True)))


def covered(pairs: list[tuple[float, float]]) -> int:
    """How many errors lie inside their half-widths."""
    errors, u95 = np.array(pairs).T
    return int(np.sum(np.abs(errors) <= u95))


def options_of(boat: Boat, *, motor_known: bool = True) -> PowerOptions:
    sheet = PowerOptions(
        pitch_mm=boat.pitch_mm, diameter_mm=boat.diameter_mm, kv_rpm_per_v=boat.kv_rpm_per_v, cells=boat.cells
    )
    if not motor_known:
        return sheet
    return replace(
        sheet, motor_resistance_ohm=boat.motor_resistance_ohm, no_load_current_a=boat.no_load_current_a
    )


def reported(outing: Outing, options: PowerOptions) -> tuple[Analysis, PowerReport]:
    analysis = analyse([outing.track])
    log = analysis.speed_logs[0]
    clock = match_clock(outing.motor, log.cleaned, log.motion)
    return analysis, power_report(outing.motor, clock, analysis.passes, log.motion, options)


def study_power(seeds: Iterable[int]) -> Powers:
    """Boats drawn with packs of 0.7 to 1.4 times the usual resistance."""
    out = Powers()
    for seed in seeds:
        outing = simulate_outing(seed, motor_clock_drift_ppm=float(1000 - 20 * (seed % 101)))
        _, told = reported(outing, options_of(outing.boat))
        true_ohm, boat = outing.pack_resistance_ohm, outing.boat
        if told.pack is not None:
            out.resistance.append((told.pack.resistance_ohm / true_ohm - 1.0, told.pack.u95_ohm / true_ohm))
            rest_v = boat.cells * (3.60 + 0.58 * outing.plan.state_of_charge)
            out.rest_voltage.append((told.pack.rest_voltage_v - rest_v, told.pack.rest_u95_v))
        for one, true in zip(told.passes, outing.passes, strict=False):
            assert one.slip is not None
            assert one.slip_u95 is not None
            out.slip.append((one.slip - true.slip, one.slip_u95))
    return out


@dataclass
class WhatIfs:
    """Relative errors of rpm, current and speed with their stated relative half-widths, by kind of change."""

    errors: dict[str, list[tuple[float, ...]]] = field(default_factory=dict)

    def __add__(self, other: WhatIfs) -> WhatIfs:
        keys = self.errors | other.errors
        return WhatIfs({k: self.errors.get(k, []) + other.errors.get(k, []) for k in keys})


def changed(boat: Boat, name: str) -> Boat:
    """The same boat with one thing changed; what the motor's winding brings along changes with it."""
    if name == "propeller 10 % larger":
        return replace(boat, diameter_mm=1.1 * boat.diameter_mm, pitch_mm=1.1 * boat.pitch_mm)
    if name == "propeller 10 % smaller":
        return replace(boat, diameter_mm=0.9 * boat.diameter_mm, pitch_mm=0.9 * boat.pitch_mm)
    if name == "one cell less":
        return replace(boat, cells=boat.cells - 1)
    if name == "motor constant 10 % higher":
        return replace(
            boat,
            kv_rpm_per_v=1.1 * boat.kv_rpm_per_v,
            motor_resistance_ohm=boat.motor_resistance_ohm / 1.1**2,
            no_load_current_a=1.1 * boat.no_load_current_a,
        )
    raise KeyError(name)


CHANGES: Final = (
    "propeller 10 % larger",
    "propeller 10 % smaller",
    "one cell less",
    "motor constant 10 % higher",
)


def change_between(boat: Boat, other: Boat) -> PowerTrainChange:
    names = ("diameter_mm", "pitch_mm", "cells", "kv_rpm_per_v")
    return PowerTrainChange(**{n: getattr(other, n) for n in names if getattr(other, n) != getattr(boat, n)})


def study_what_if(
    seeds: Iterable[int], changes: Iterable[str] = CHANGES, *, motor_known: bool = True
) -> WhatIfs:
    """Fit on one simulated outing, predict another that is simulated with the change."""
    out = WhatIfs()
    for seed in seeds:
        outing = outing_of(seed)
        options = options_of(outing.boat, motor_known=motor_known)
        _, told = reported(outing, options)
        point = operating_point(told.passes[0], told.pack, options)
        assert isinstance(point, OperatingPoint)
        for name in changes:
            other = outing_of(seed, changed(outing.boat, name))
            answer = what_if(point, change_between(outing.boat, other.boat))
            truth = reported(other, options_of(other.boat))[1].passes[0]
            assert answer.rpm is not None
            assert answer.current_a is not None
            assert answer.speed_mps is not None
            pairs = (
                (answer.rpm, truth.rpm),
                (answer.current_a, truth.current_a),
                (answer.speed_mps, truth.speed_mps),
            )
            row: list[float] = []
            for estimate, measured in pairs:
                assert measured is not None
                row += [estimate.value / measured - 1.0, estimate.u95 / measured]
            out.errors.setdefault(name, []).append(tuple(row))
    return out
