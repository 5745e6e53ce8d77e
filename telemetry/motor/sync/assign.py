"""Assign motor logs to the speed logs they match, for power and for ride."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from telemetry.cleaning.clean import Cleaned
from telemetry.cleaning.corrections import ByHand, ClockByHand, log_key, with_reason
from telemetry.core.frames import Finding, MotorLog
from telemetry.core.progress import report_each
from telemetry.core.stats import Z95
from telemetry.kinematics.whole_log import Motion
from telemetry.motor.power import PassPower, PowerOptions, PowerReport, power_report
from telemetry.motor.sync.clock import MotorClock, match_clock
from telemetry.passes.find import Pass
from telemetry.ride.judge import MotorSignal

CLOCK_SET_BY_HAND: Final = "by hand"
_BY_EYE_S = 0.1


@dataclass(frozen=True)
class MotorAssignment:
    """A motor log and the speed log it belongs to.

    Attributes
    ----------
    log : MotorLog
    clock : MotorClock
        If it is not trusted, ``speed_log`` is the closest one.
    speed_log : int
        As ``Pass.log`` counts them.
    power : PowerReport
    estimates : tuple of MotorClock
        The program's own estimates, one for each speed log.
    by_hand : ClockByHand or None
        The clock set by a person, if ``clock`` is that.
    """

    log: MotorLog
    clock: MotorClock
    speed_log: int
    power: PowerReport
    estimates: tuple[MotorClock, ...]
    by_hand: ClockByHand | None = None

    @property
    def own(self) -> MotorClock:
        """The program's own estimate of the clock, even if a person set another."""
        return self.estimates[self.speed_log]

    @property
    def apart_s(self) -> float:
        """Distance of the clock from the program's own estimate, at its widest over the motor log [s]."""
        ends_s = self.log.t_s[[0, -1]]
        return float(np.max(np.abs(self.clock.to_speed_log(ends_s) - self.own.to_speed_log(ends_s))))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Findings on the clock."""
        least_s = float(np.hypot(self.clock.u95_s, self.own.u95_s))
        if self.by_hand is None or not self.own.trusted or self.apart_s <= least_s:
            return ()
        said = (
            f"the clock set by hand is {self.apart_s:.2f} s from the automatic estimate (± "
            f"{self.own.u95_s:.2f} s; {self.own.why}); ride and power use the clock set by hand"
        )
        return (Finding("clock-contradicted", said, 1, *(float(t) for t in self.log.t_s[[0, -1]])),)

    def to_dict(self) -> dict[str, Any]:
        """Return one entry of the output contract's ``motors``."""
        apart_s = self.apart_s
        return {
            "file": self.log.meta.file,
            "clock": self.clock.to_dict(),
            "power": self.power.to_dict(),
            "own_clock": self.own.to_dict(),
            "apart_s": apart_s if np.isfinite(apart_s) else None,
        }

    def signal(self) -> MotorSignal:
        """Return the motor data that ride needs, on the speed log's clock."""
        t_s = self.clock.to_speed_log(self.log.t_s)
        rises = np.r_[True, np.diff(np.maximum.accumulate(t_s)) > 0.0]

        def column(name: str) -> Any:
            values = self.log.column(name)
            return None if values is None else values[rises]

        return MotorSignal(
            t_s[rises], column("throttle_pct"), column("current_a"), column("rpm"), self.clock.u95_s
        )


def assign_motors(
    motors: Sequence[MotorLog],
    logs: Sequence[tuple[Cleaned, Motion]],
    passes: Sequence[Pass],
    lags_s: Sequence[float],
    options: PowerOptions,
    by_hand: ByHand | None = None,
    known: Sequence[Mapping[int, MotorClock]] | None = None,
) -> tuple[MotorAssignment, ...]:
    """Match each motor log to a speed log, or use the clock that a person set.

    Parameters
    ----------
    motors : sequence of MotorLog
    logs : sequence of (Cleaned, Motion)
        The speed logs, as ``Pass.log`` counts them.
    passes : sequence of Pass
    lags_s : sequence of float
        Lag of each speed log's speed behind its positions [s].
    options : PowerOptions
    by_hand : ByHand, optional
        Clocks set by a person.
    known : sequence of mapping of int to MotorClock, optional
        For each motor log the earlier estimates, by the number of the speed log.

    Returns
    -------
    tuple of MotorAssignment
        One for each motor log if there is any speed log.
    """
    joined = []
    for number, motor in enumerate(report_each(motors if logs else (), len(motors))):
        there = known[number] if known else {}
        estimates = tuple(
            there[k] if k in there else match_clock(motor, cleaned, motion, lag_s)
            for k, ((cleaned, motion), lag_s) in enumerate(zip(logs, lags_s, strict=True))
        )
        # A trusted clock first, among those the most certain; if there is none, the first log's refusal is
        # reported.
        k = min(range(len(estimates)), key=lambda i: (not estimates[i].trusted, estimates[i].u95_s, i))
        clock, said = estimates[k], (by_hand or ByHand()).clock_of(log_key(motor.meta))
        if said is not None:
            keys = [log_key(cleaned.track.meta) for cleaned, _ in logs]
            k = keys.index(said.speed_log) if said.speed_log in keys else k
            clock = clock_by_hand(said, motor, *logs[k], estimates[k])
        report = _told(motor, clock, k, logs[k][1], passes, options)
        joined.append(MotorAssignment(motor, clock, k, report, estimates, said))
    return tuple(joined)


def clock_by_hand(
    said: ClockByHand, motor: MotorLog, cleaned: Cleaned, motion: Motion, own: MotorClock
) -> MotorClock:
    """Build the clock that a person set.

    Parameters
    ----------
    said : ClockByHand
    motor : MotorLog
    cleaned, motion : Cleaned, Motion
        The speed log that it is matched to.
    own : MotorClock
        The program's own estimate, reported with it.

    Notes
    -----
    Without a stated uncertainty: curves are aligned by eye to a tenth of a second (our own assumption, no
    source), and the position of a corner between two samples of either log is unknown, a uniform error of one
    step each (JCGM 100:2008, 4.3.7).
    """
    u95_s, how = said.u95_s, "interval as stated"
    if u95_s is None:
        steps_s = [1.0 / log.rate_hz for log in (motor, cleaned.track) if log.rate_hz]
        u95_s = float(np.hypot(_BY_EYE_S, Z95 * np.sqrt(np.sum(np.square(steps_s)) / 12.0)))
        how = f"interval for a match by eye: {_BY_EYE_S:g} s and the steps of both logs"
    clock = MotorClock(
        offset_s=said.offset_s,
        drift_ppm=said.drift_ppm,
        u95_s=u95_s,
        method=CLOCK_SET_BY_HAND,
        trusted=True,
        why="",
        start_s=np.nan,
        end_s=np.nan,
    )
    ends_s = clock.to_speed_log(motor.t_s[[0, -1]])
    start_s, end_s = max(ends_s[0], motion.t_s[0]), min(ends_s[1], motion.t_s[-1])
    apart_s = float(np.max(np.abs(ends_s - own.to_speed_log(motor.t_s[[0, -1]]))))
    if own.trusted:
        beside = f"the automatic estimate is {apart_s:.2f} s away, ± {own.u95_s:.2f} s"
    else:
        beside = f"there is no automatic match: {own.why}"
    why = f"set by hand{with_reason(said.why)}; {how}; {beside}"
    return replace(clock, why=why, start_s=float(start_s), end_s=float(end_s))


def _told(
    motor: MotorLog,
    clock: MotorClock,
    log: int,
    motion: Motion,
    passes: Sequence[Pass],
    options: PowerOptions,
) -> PowerReport:
    """Compute the power figures of the passes of the speed log that a motor log belongs to."""
    return power_report(motor, clock, [p for p in passes if p.log == log], motion, options)


def report_power_again(
    joined: Sequence[MotorAssignment],
    motions: Sequence[Motion],
    passes: Sequence[Pass],
    options: PowerOptions,
) -> tuple[MotorAssignment, ...]:
    """Compute the power figures again with other options; the clocks are unchanged.

    Parameters
    ----------
    joined : sequence of MotorAssignment
        Motor logs with their clocks.
    motions : sequence of Motion
        Of the speed logs, by number.
    passes : sequence of Pass
        Of all speed logs.
    options : PowerOptions
        The new options.
    """
    return tuple(
        replace(j, power=_told(j.log, j.clock, j.speed_log, motions[j.speed_log], passes, options))
        for j in joined
    )


def motor_findings(log: MotorLog, joined: Sequence[MotorAssignment]) -> tuple[Finding, ...]:
    """Return the findings of a motor log, its clock included."""
    return (*log.findings, *(f for j in joined if j.log is log for f in j.findings))


def motor_covering(joined: Sequence[MotorAssignment], a_pass: Pass) -> MotorAssignment | None:
    """Find the matched motor log that covers most of a pass, the first of equals; None if none does."""

    def common_s(j: MotorAssignment) -> float:
        return min(j.clock.end_s, a_pass.end_s) - max(j.clock.start_s, a_pass.start_s)

    mine = [j for j in joined if j.speed_log == a_pass.log and j.clock.trusted and common_s(j) > 0.0]
    return max(mine, key=common_s, default=None)


def pass_power_of(joined: Sequence[MotorAssignment], a_pass: Pass) -> PassPower | None:
    """Return a pass's power figures; None if its motor log does not cover the whole of it."""
    motor = motor_covering(joined, a_pass)
    return motor.power.of(a_pass.id) if motor else None


def why_no_power(joined: Sequence[MotorAssignment], a_pass: Pass) -> str:
    """Explain why :func:`pass_power_of` returns None, for every log that might have covered the pass."""
    # A log that is not matched belongs to no speed log: it may be of any.
    refused = [f"{j.log.meta.file} is not matched: {j.clock.why}" for j in joined if not j.clock.trusted]
    if any(j.clock.trusted and j.speed_log == a_pass.log for j in joined):
        refused.insert(0, "no matched motor log covers it" if refused else "no motor log covers it")
    return "; ".join(refused) or "no motor log"
