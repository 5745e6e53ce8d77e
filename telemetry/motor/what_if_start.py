"""Start a what-if from a pass of an analysis: the choice of the pass, and the reasons for a refusal."""

from __future__ import annotations

from collections.abc import Sequence

from telemetry.core.errors import CallError, LogError
from telemetry.motor.power import PowerOptions
from telemetry.motor.sync.assign import MotorAssignment, motor_covering, pass_power_of, why_no_power
from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, WhatIf, operating_point, what_if
from telemetry.passes.find import Pass


def start_pass(passes: Sequence[Pass], motors: Sequence[MotorAssignment], pass_id: str | None) -> Pass:
    """Choose the start pass: the one requested, else the fastest that a motor log covers.

    Parameters
    ----------
    passes : sequence of Pass
        In order of time.
    motors : sequence of MotorAssignment
        From the same analysis.
    pass_id : str or None
        The requested pass.

    Raises
    ------
    LogError
        If there is no pass.
    CallError
        If there is no pass of that name.
    """
    if not passes:
        raise LogError("there is no pass in these logs to start from", hint="give the logs of a flat-out run")
    if pass_id is None:
        return max(passes, key=lambda p: (pass_power_of(motors, p) is not None, p.peak_mps))
    chosen = next((p for p in passes if p.id == pass_id), None)
    if chosen is None:
        known = ", ".join(p.id for p in passes)
        raise CallError(f"there is no pass '{pass_id}' in these logs", hint=f"choose {known}")
    return chosen


def what_if_from(
    start: Pass, motors: Sequence[MotorAssignment], options: PowerOptions, change: PowerTrainChange
) -> WhatIf:
    """Estimate a change from a measured pass, or refuse with the reason.

    Parameters
    ----------
    start : Pass
    motors : sequence of MotorAssignment
        From the same analysis.
    options : PowerOptions
        Known facts of the power train as measured.
    change : PowerTrainChange
    """
    motor, figures = motor_covering(motors, start), pass_power_of(motors, start)
    if motor is None or figures is None:
        return WhatIf.refusal(f"the pass has no power figures: {why_no_power(motors, start)}")
    point = operating_point(figures, motor.power.pack, options)
    return what_if(point, change) if isinstance(point, OperatingPoint) else WhatIf.refusal(point)
