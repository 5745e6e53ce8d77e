"""Bringing motor logs to the speed logs they belong to, for power and for ride."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from telemetry.cleaning import Cleaned
from telemetry.clocks import Clock, join
from telemetry.frames import MotorLog
from telemetry.motion import Motion
from telemetry.passes import Pass
from telemetry.power import PassPower, PowerOptions, PowerReport, report
from telemetry.ride import MotorSignal


@dataclass(frozen=True)
class JoinedMotor:
    """A motor log with the speed log it belongs to.

    Attributes
    ----------
    log : MotorLog
    clock : Clock
        Where it is not trusted, ``speed_log`` is the one that came nearest.
    speed_log : int
        As ``Pass.log`` counts them.
    power : PowerReport
    """

    log: MotorLog
    clock: Clock
    speed_log: int
    power: PowerReport

    def to_dict(self) -> dict[str, Any]:
        """Return one entry of the output contract's ``motors``."""
        return {"file": self.log.meta.file, "clock": self.clock.to_dict(), "power": self.power.to_dict()}

    def signal(self) -> MotorSignal:
        """Return what ride asks of the motor, on the speed log's clock."""
        t_s = self.clock.to_speed_log(self.log.t_s)
        rises = np.r_[True, np.diff(np.maximum.accumulate(t_s)) > 0.0]

        def column(name: str) -> Any:
            values = self.log.column(name)
            return None if values is None else values[rises]

        return MotorSignal(
            t_s[rises], column("throttle_pct"), column("current_a"), column("rpm"), self.clock.u95_s
        )


def join_motors(
    motors: Sequence[MotorLog],
    logs: Sequence[tuple[Cleaned, Motion]],
    passes: Sequence[Pass],
    lags_s: Sequence[float],
    options: PowerOptions,
) -> tuple[JoinedMotor, ...]:
    """Join each motor log to the speed log that it matches.

    Parameters
    ----------
    motors : sequence of MotorLog
    logs : sequence of (Cleaned, Motion)
        The speed logs, as ``Pass.log`` counts them.
    passes : sequence of Pass
    lags_s : sequence of float
        By how much each speed log's speed lags its positions [s].
    options : PowerOptions

    Returns
    -------
    tuple of JoinedMotor
        One for each motor log as long as there is a speed log at all.
    """
    joined = []
    for motor in motors:
        clocks = [
            join(motor, cleaned, motion, lag_s) for (cleaned, motion), lag_s in zip(logs, lags_s, strict=True)
        ]
        if not clocks:
            continue
        # A trusted clock first, among those the surest; where none is, the first log's refusal is told.
        k = min(range(len(clocks)), key=lambda i: (not clocks[i].trusted, clocks[i].u95_s, i))
        joined.append(_told(motor, clocks[k], k, logs[k][1], passes, options))
    return tuple(joined)


def _told(
    motor: MotorLog, clock: Clock, log: int, motion: Motion, passes: Sequence[Pass], options: PowerOptions
) -> JoinedMotor:
    """Tell the power of the passes of the one speed log that a motor log belongs to."""
    mine = [p for p in passes if p.log == log]
    return JoinedMotor(motor, clock, log, report(motor, clock, mine, motion, options))


def reported_anew(
    joined: Sequence[JoinedMotor], motions: Sequence[Motion], passes: Sequence[Pass], options: PowerOptions
) -> tuple[JoinedMotor, ...]:
    """Tell power again with other options; the clocks stay as they are."""
    return tuple(_told(j.log, j.clock, j.speed_log, motions[j.speed_log], passes, options) for j in joined)


def motor_of(joined: Sequence[JoinedMotor], a_pass: Pass) -> JoinedMotor | None:
    """Find the first motor log that covers a pass."""
    return next((j for j in joined if j.speed_log == a_pass.log and j.power.of(a_pass.id)), None)


def power_of(joined: Sequence[JoinedMotor], a_pass: Pass) -> PassPower | None:
    """Find what the first motor log that covers a pass tells of it."""
    motor = motor_of(joined, a_pass)
    return motor.power.of(a_pass.id) if motor else None
