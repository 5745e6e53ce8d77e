"""One pass with all curves that are drawn of it, on its own log's clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from telemetry.analysis import Analysis
from telemetry.core.errors import CallError
from telemetry.core.frames import BoolArray, FloatArray, cumulative_integral
from telemetry.core.geo import CourseLine, LocalFrame
from telemetry.motor.channels import Channels, channels
from telemetry.motor.sync.assign import MotorAssignment, motor_covering, why_no_power
from telemetry.pass_overlay.quantities import RIPPLE, SLIP, SPEED
from telemetry.passes.find import Pass
from telemetry.passes.measure import PassSpeeds, curve_u95_mps
from telemetry.passes.speed_log import SpeedLog
from telemetry.ride.spectrum_view import ripple_view

BESIDE_S = 2.0  # shown before take-off (or before the pass without one) and after the pass
# Share of the pass's highest current, or of its highest shaft speed without a logged current. With the power
# off the water turns the propeller, and slip is meaningless.
_POWER_ON = 0.05
_TURNED = 0.8
_MOTOR_ROWS = ("current_a", "voltage_v", "rpm")

WaySource = Literal["positions", "speed"]


@dataclass(frozen=True)
class Signal:
    """One quantity of a pass at its own samples.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
        On the speed log's clock [s].
    value : ndarray, shape (n,)
        In the quantity's SI unit; NaN where unknown.
    u95 : ndarray, shape (n,), or None
        Half the width of its 95 % band, NaN where unknown; None if the library gives none.
    """

    t_s: FloatArray
    value: FloatArray
    u95: FloatArray | None = None


@dataclass(frozen=True, kw_only=True)
class PassCurves:
    """One pass as curves.

    Attributes
    ----------
    one : Pass
    start_utc : Timestamp or None
        UTC of zero on its log's clock; None if the log does not state the day.
    t_s : ndarray, shape (n,)
        The log's own samples, from shortly before take-off to shortly after the pass, or to the crash that
        ends it [s].
    way_m : ndarray, shape (n,)
        Distance along the course, 0 where the pass starts [m].
    way_source : {"positions", "speed"}
        Source of the distance: positions and speed together along the pass's own line, or, without positions,
        the integrated speed.
    course : CourseLine or None
        The pass's own line; None without positions.
    frame : LocalFrame
    east_m, north_m : ndarray, shape (n,), or None
        Along the course as smoothed, across it as logged [m]; None without positions.
    signals : mapping of str to Signal
        By the names of :data:`~telemetry.pass_overlay.quantities.QUANTITIES`; those that the log has.
    notes : tuple of str
        What is missing, and why.
    """

    one: Pass
    start_utc: pd.Timestamp | None
    t_s: FloatArray
    way_m: FloatArray
    way_source: WaySource
    course: CourseLine | None
    frame: LocalFrame
    east_m: FloatArray | None
    north_m: FloatArray | None
    signals: Mapping[str, Signal]
    notes: tuple[str, ...]


def pass_curves(analysis: Analysis, pass_ids: Iterable[str]) -> tuple[PassCurves, ...]:
    """Build the curves of passes of an analysis.

    Parameters
    ----------
    analysis : Analysis
    pass_ids : iterable of str
        As ``Pass.id``.

    Returns
    -------
    tuple of PassCurves
        In the order requested.

    Raises
    ------
    CallError
        If there is no such pass.
    """
    place = {p.id: k for k, p in enumerate(analysis.passes)}
    prepared: dict[int, Channels] = {}
    found = []
    for pass_id in pass_ids:
        if pass_id not in place:
            have = f"P1 to P{len(place)}" if place else "none"
            raise CallError(f"there is no pass {pass_id}", hint=f"choose one of the passes found: {have}")
        found.append(_curves(analysis, place[pass_id], prepared))
    return tuple(found)


def _curves(analysis: Analysis, k: int, prepared: dict[int, Channels]) -> PassCurves:
    one, measured = analysis.passes[k], analysis.measured[k]
    log = analysis.speed_logs[one.log]
    rows = _rows(log, one, measured)
    t_s = log.motion.t_s[rows]
    speed = _speed(log, measured, rows)
    way_m, east_m, north_m = _way(log, measured, rows, speed.value)
    course = measured.data.window.course
    signals, notes = {SPEED: speed}, []
    motor = motor_covering(analysis.motors, one)
    if motor is not None and motor.power.of(one.id) is not None:
        key = id(motor.log)
        prepared[key] = prepared.get(key) or channels(motor.log)
        signals |= _motor(prepared[key], motor, one, speed, analysis.request.power.pitch_mm)
    else:
        notes.append(why_no_power(analysis.motors, one))
    ripple, why = _ripple(log, one)
    signals |= ripple
    notes += why
    return PassCurves(
        one=one,
        start_utc=log.cleaned.track.meta.start_utc,
        t_s=t_s,
        way_m=way_m - np.interp(one.start_s, t_s, way_m),
        way_source="speed" if course is None else "positions",
        course=course,
        frame=log.motion.frame,
        east_m=east_m,
        north_m=north_m,
        signals=signals,
        notes=tuple(notes),
    )


def _rows(log: SpeedLog, one: Pass, measured: PassSpeeds) -> slice:
    """Select the samples from before take-off to after the pass, inside its unbroken stretch."""
    window, t_s = measured.data.window, log.motion.t_s
    begins_s = one.start_s if one.takeoff is None else min(one.start_s, one.takeoff.start_s)
    first = int(np.searchsorted(t_s, begins_s - BESIDE_S))
    last = int(np.searchsorted(t_s, one.end_s + BESIDE_S, side="right"))
    if window.crashed:
        last = window.last
    return slice(max(first, window.stretch[0]), min(last, window.stretch[1]))


def _speed(log: SpeedLog, measured: PassSpeeds, rows: slice) -> Signal:
    """Return the speed used for the pass's figures; before the pass, the smoothed log's, without a band."""
    data, t_s = measured.data, log.motion.t_s[rows]
    course = data.window.course
    known = data.speed_mps if course is None or data.speed_node.size else data.along(course).along_mps
    near = _inside(t_s, data.t_s)
    speed = np.where(near, np.interp(t_s, data.t_s, known), log.motion.speed_mps[rows])
    u95 = np.interp(t_s, data.t_s, curve_u95_mps(measured), left=np.nan, right=np.nan)
    return Signal(t_s, speed, u95)


def _inside(t_s: FloatArray, of: FloatArray) -> BoolArray:
    return np.asarray((t_s >= of[0]) & (t_s <= of[-1]))


def _way(
    log: SpeedLog, measured: PassSpeeds, rows: slice, speed_mps: FloatArray
) -> tuple[FloatArray, FloatArray | None, FloatArray | None]:
    """Compute the distance along the course, and the boat's position."""
    data, motion = measured.data, log.motion
    t_s = motion.t_s[rows]
    summed = cumulative_integral(t_s, speed_mps)
    course = data.window.course
    if course is None:
        return summed, None, None
    chain = data.along(course)
    near = np.flatnonzero(_inside(t_s, chain.t_s))
    along_m = np.interp(t_s, chain.t_s, chain.along_m)
    # The run-up may turn on to the course: there the distance is the path length.
    along_m[: near[0]] = along_m[near[0]] + summed[: near[0]] - summed[near[0]]
    along_m[near[-1] + 1 :] = along_m[near[-1]] + summed[near[-1] + 1 :] - summed[near[-1]]
    east_m, north_m = motion.east_m[rows].copy(), motion.north_m[rows].copy()
    _, across_m = course.along_across(east_m[near], north_m[near])
    east_m[near], north_m[near] = course.points(along_m[near], across_m)
    return along_m, east_m, north_m


def _motor(
    motor: Channels, joined: MotorAssignment, one: Pass, speed: Signal, pitch_mm: float | None
) -> dict[str, Signal]:
    first_s, last_s = joined.clock.to_motor(speed.t_s[[0, -1]]).tolist()
    span = motor.span(first_s, last_s)
    t_s = joined.clock.to_speed_log(motor.t_s[span])
    signals = {}
    for name in _MOTOR_ROWS:
        values = getattr(motor, name)
        if values is not None and np.isfinite(values[span]).any():
            signals[name] = Signal(t_s, values[span])
    if pitch_mm is not None and "rpm" in signals:
        signals[SLIP] = _slip(signals, one, speed, pitch_mm)
    return signals


def _slip(signals: Mapping[str, Signal], one: Pass, speed: Signal, pitch_mm: float) -> Signal:
    """Compute slip while the pass is under power; NaN elsewhere."""
    t_s, rpm = signals["rpm"].t_s, signals["rpm"].value
    inside = (t_s >= one.start_s) & (t_s <= one.end_s)
    drive, share = (signals["current_a"].value, _POWER_ON) if "current_a" in signals else (rpm, _TURNED)
    driven = inside & (drive > share * np.nanmax(drive, where=inside, initial=0.0)) & (rpm > 0.0)
    screwed_mps = np.where(driven, rpm, np.nan) / 60.0 * pitch_mm / 1000.0
    return Signal(t_s, 1.0 - np.interp(t_s, speed.t_s, speed.value) / screwed_mps)


def _ripple(log: SpeedLog, one: Pass) -> tuple[dict[str, Signal], list[str]]:
    view = ripple_view(log.cleaned, log.motion, one)
    if view.band_hz is None:
        return {}, [f"sampled at {view.rate_hz:.3g} Hz, which shows no ripple"]
    curves = [curve for curve in view.curves if curve.name != SPEED]
    if not curves:
        return {}, ["no vertical signal"]
    return {f"{RIPPLE}{c.name}": Signal(c.t_s, c.values) for c in curves}, []
