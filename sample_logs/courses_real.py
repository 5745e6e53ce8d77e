"""Courses and hulls that the driver of :mod:`sample_logs.driver` does not drive.

A motion made of a speed over time and a turn over time, so that its truth is exact: hulls that never settle,
hard acceleration, ovals, courses like an S, chop of any size.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sample_logs.noise import band_noise, gauss_markov
from sample_logs.truth import FINE_HZ, TruePass, Truth
from telemetry.core.frames import FloatArray
from telemetry.core.geo import CourseLine, LocalFrame

_LAT_DEG, _LON_DEG = 38.5, -36.25
_STEP_S = 1.0 / FINE_HZ


@dataclass(frozen=True, slots=True, kw_only=True)
class Hull:
    """How a hull gains and loses speed.

    Attributes
    ----------
    terminal_mps, rise_s : float
        The speed it would settle at, and the time constant of its approach.
    flat_out_s : float
        How long the throttle is open.
    trigger_s : float
        In which the throttle is shut.
    drag_per_m : float
        Deceleration over the square of the speed once it is shut [1/m].
    turn_mps, rest_s : float
        Speed of the turns, and rest before and after.
    chop_mps, chop_heave_m : float
        Standard deviations of surge and heave, spread evenly over 0.8 to 8 Hz.
    """

    terminal_mps: float = 30.0
    rise_s: float = 2.0
    flat_out_s: float = 7.0
    trigger_s: float = 0.25
    drag_per_m: float = 0.012
    turn_mps: float = 5.0
    rest_s: float = 15.0
    chop_mps: float = 0.02
    chop_heave_m: float = 0.004


def never_settles(rng: np.random.Generator) -> Hull:
    """Draw a hull that is still gaining when its driver lifts."""
    return Hull(
        terminal_mps=rng.uniform(30.0, 45.0), rise_s=rng.uniform(4.0, 7.0), flat_out_s=rng.uniform(4.0, 6.0)
    )


def hard_acceleration(rng: np.random.Generator) -> Hull:
    """Draw a hull that gains 10 to 18 m/s² at first and settles."""
    return Hull(
        terminal_mps=rng.uniform(24.0, 36.0), rise_s=rng.uniform(1.6, 2.4), flat_out_s=rng.uniform(5.0, 8.0)
    )


def usual(rng: np.random.Generator) -> Hull:
    """Draw a hull as most are."""
    return Hull(
        terminal_mps=rng.uniform(18.0, 36.0), rise_s=rng.uniform(1.8, 3.0), flat_out_s=rng.uniform(6.0, 9.0)
    )


def _speed(hull: Hull, legs: int, turn_s: float) -> tuple[FloatArray, list[tuple[int, int]]]:
    """Speed over time without chop, and the span of each leg from throttle open to shut."""
    rates: list[float] = []
    spans: list[tuple[int, int]] = []
    v = 0.0

    def hold(seconds: float, wanted_mps: float) -> None:
        nonlocal v
        for _ in range(round(seconds / _STEP_S)):
            v += (wanted_mps - v) / 1.0 * _STEP_S
            rates.append(v)

    hold(hull.rest_s, 0.0)
    for _ in range(legs):
        hold(turn_s, hull.turn_mps)
        begins = len(rates)
        force, since = 0.0, 0.0
        lift_s = hull.flat_out_s
        while True:
            opened = (
                min(since / 0.4, 1.0) if since < lift_s else max(0.0, 1.0 - (since - lift_s) / hull.trigger_s)
            )
            driven = opened * (hull.terminal_mps - v) / hull.rise_s
            dragged = (1.0 - opened) * hull.drag_per_m * v * v
            force = driven - dragged
            v = max(v + force * _STEP_S, 0.0)
            rates.append(v)
            since += _STEP_S
            if since > lift_s + hull.trigger_s and v <= 1.3 * hull.turn_mps:
                break
        spans.append((begins, begins + round(lift_s / _STEP_S)))
    hold(hull.rest_s, 0.0)
    return np.array(rates), spans


Turner = Callable[[FloatArray, list[tuple[int, int]]], FloatArray]


def there_and_back(speed_mps: FloatArray, spans: list[tuple[int, int]]) -> FloatArray:
    """Turn rate of passes up and down one line: half a circle in each turn, half a circle back [rad/s]."""
    rate = np.zeros(speed_mps.size)
    for k, (begin, _) in enumerate(spans):
        if k:
            # A third of a circle one way and five sixths the other bring the boat back on its line.
            n = round(1.2 / _STEP_S)
            m = round(3.6 / _STEP_S)
            rate[begin - n - m - 200 : begin - m - 200] = -np.radians(60.0) / (n * _STEP_S)
            rate[begin - m - 200 : begin - 200] = np.radians(240.0) / (m * _STEP_S)
    return rate


def oval(speed_mps: FloatArray, spans: list[tuple[int, int]]) -> FloatArray:
    """Turn rate of an oval, all turns one way [rad/s]."""
    rate = np.zeros(speed_mps.size)
    for k, (begin, _) in enumerate(spans):
        if k:
            n = round(3.0 / _STEP_S)
            rate[begin - n - 100 : begin - 100] = np.pi / (n * _STEP_S)
    return rate


def s_course(speed_mps: FloatArray, spans: list[tuple[int, int]]) -> FloatArray:
    """Turn rate of a course whose fast legs weave by 15 degrees a second to either side [rad/s]."""
    rate = there_and_back(speed_mps, spans)
    for begin, end in spans:
        t = np.arange(end - begin) * _STEP_S
        rate[begin:end] += np.radians(15.0) * np.sin(2.0 * np.pi * t / 5.0)
    return rate


def curved_legs(speed_mps: FloatArray, spans: list[tuple[int, int]]) -> FloatArray:
    """Turn rate of legs that bend by 12 degrees a second all along, as round a foiling course [rad/s]."""
    rate = there_and_back(speed_mps, spans)
    for begin, end in spans:
        rate[begin:end] += np.radians(12.0)
    return rate


def drive_course(
    rng: np.random.Generator, hull: Hull, turner: Turner = there_and_back, legs: int = 4, turn_s: float = 8.0
) -> Truth:
    """Make the truth of one outing.

    Parameters
    ----------
    rng : numpy.random.Generator
        For heading, steering and chop.
    hull : Hull
    turner : callable
        Turn rate over time [rad/s].
    legs : int
        How often the throttle is opened.
    turn_s : float
        Between two legs.

    Returns
    -------
    Truth
    """
    smooth_mps, spans = _speed(hull, legs, turn_s)
    n = smooth_mps.size
    t_s = np.arange(n) * _STEP_S
    fades = smooth_mps / (smooth_mps + 2.0)
    water_mps = np.maximum(smooth_mps + hull.chop_mps * fades * band_noise(rng, n, FINE_HZ, 0.8, 8.0), 0.0)
    heave_m = hull.chop_heave_m * fades * band_noise(rng, n, FINE_HZ, 0.8, 8.0)
    steering = gauss_markov(rng, n, _STEP_S, np.radians(0.5), 1.2)
    first_rad = rng.uniform(0.0, 2.0 * np.pi)
    heading = first_rad + np.cumsum(turner(smooth_mps, spans)) * _STEP_S + steering
    east_mps, north_mps = water_mps * np.sin(heading), water_mps * np.cos(heading)
    frame = LocalFrame(_LAT_DEG, _LON_DEG)

    def summed(values: FloatArray) -> FloatArray:
        return np.concatenate(([0.0], np.cumsum(values[1:] + values[:-1]) * _STEP_S / 2.0))

    east_m, north_m, over_m = summed(east_mps), summed(north_mps), summed(water_mps)
    blank = np.zeros(n)
    throttle = np.zeros(n)
    passes = []
    second = round(FINE_HZ)
    for k, (a, b) in enumerate(spans):
        throttle[a:b] = 100.0
        top = a + int(np.argmax(water_mps[a : b + 1]))
        best = a + int(np.argmax(over_m[a + second : b + 1] - over_m[a : b + 1 - second]))
        de, dn = east_m[b] - east_m[a], north_m[b] - north_m[a]
        passes.append(
            TruePass(
                index=k,
                start_s=float(t_s[a]),
                end_s=float(t_s[b]),
                heading_deg=float(np.degrees(np.arctan2(de, dn)) % 360.0),
                peak_mps=float(water_mps[top]),
                peak_s=float(t_s[top]),
                held_1s_mps=float(over_m[best + second] - over_m[best]),
                held_1s_start_s=float(t_s[best]),
                takeoff_start_s=float(t_s[a]),
                takeoff_end_s=float(t_s[a] + 1.0),
                slip=0.0,
                slip_through_water=0.0,
            )
        )
    heading_deg = passes[0].heading_deg
    return Truth(
        frame=frame,
        course=CourseLine(float(east_m[spans[0][0]]), float(north_m[spans[0][0]]), heading_deg),
        t_s=t_s,
        east_m=east_m,
        north_m=north_m,
        east_mps=east_mps,
        north_mps=north_mps,
        speed_mps=water_mps,
        water_mps=water_mps,
        heading_deg=np.degrees(heading) % 360.0,
        lift=blank,
        heave_m=heave_m,
        vertical_mps=np.gradient(heave_m, t_s),
        pitch_deg=blank,
        throttle_pct=throttle,
        rpm=blank,
        current_a=blank,
        voltage_v=blank,
        charge_mah=blank,
        motor_temp_c=blank,
        esc_temp_c=blank,
        passes=tuple(passes),
    )
