"""From a drive to the true motion on the fine grid, with chop and ride events laid over it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_logs.boats import Boat
from sample_logs.drive import Drive
from sample_logs.noise import band_noise
from sample_logs.scripts import Porpoising, RideScript, Water
from sample_logs.truth import FINE_HZ, TruePass, TrueRideEvent, Truth
from telemetry.core.frames import FloatArray
from telemetry.core.geo import CourseLine, LocalFrame

STILL_TRIM_DEG = 1.5
FLIGHT_M = 0.8
# How far the bow lifts, in radians, per unit of heave over hull length: porpoising pivots near the transom.
PITCH_PER_HEAVE = 2.5


@dataclass(frozen=True)
class _Ripple:
    """What is added to the smooth drive, every array of shape (n,) on the fine grid, filled in place."""

    t_s: FloatArray
    speed_mps: FloatArray
    heave_m: FloatArray
    pitch_deg: FloatArray
    load: FloatArray  # relative change of the motor current

    @classmethod
    def of_chop(
        cls, rng: np.random.Generator, t_s: FloatArray, water: Water, water_mps: FloatArray, length_m: float
    ) -> _Ripple:
        """Broad-band surge, heave and pitch, independent of each other; surge fades out at rest."""
        n = len(t_s)
        surge, heave, pitch = (
            band_noise(rng, n, FINE_HZ, water.chop_low_hz, water.chop_high_hz) for _ in range(3)
        )
        return cls(
            t_s,
            water.chop_speed_sd_mps * surge * water_mps / (water_mps + 2.0),
            water.chop_heave_sd_m * heave,
            np.degrees(water.chop_heave_sd_m / length_m) * pitch,
            np.zeros(n),
        )

    def porpoise(self, event: Porpoising, start_s: float, length_m: float) -> None:
        """Heave and pitch a quarter turn apart; speed is lowest while the bow is highest."""
        part = slice(*np.searchsorted(self.t_s, [start_s, start_s + event.duration_s]))
        u = self.t_s[part] - start_s
        omega = 2 * np.pi * event.frequency_hz
        edge_s = min(0.75 / event.frequency_hz, event.duration_s / 3)
        fade = np.sin(np.pi / 2 * np.clip(np.minimum(u, event.duration_s - u) / edge_s, 0.0, 1.0)) ** 2
        envelope = np.exp(event.growth_per_s * (u - event.duration_s / 2)) * fade
        bow_up = envelope * np.cos(omega * u)
        rising = envelope * np.sin(omega * u)
        heave_m = event.vertical_amplitude_mps / omega
        self.heave_m[part] += heave_m * rising
        self.pitch_deg[part] += np.degrees(PITCH_PER_HEAVE * heave_m / length_m) * bow_up
        self.speed_mps[part] -= event.speed_amplitude_mps * bow_up
        self.load[part] += event.load_ripple * rising

    def fly(self, start_s: float, stop_s: float) -> None:
        """Half a somersault; it lands upside down."""
        flight_s = 3 * stop_s
        part = slice(*np.searchsorted(self.t_s, [start_s, start_s + flight_s]))
        u = (self.t_s[part] - start_s) / flight_s
        self.heave_m[part] += FLIGHT_M * np.sin(np.pi * u) ** 2
        self.pitch_deg[part] += 180.0 * u
        self.pitch_deg[part.stop :] += 180.0


def _summed(rate: FloatArray) -> FloatArray:
    """Integrate over the fine grid by the trapezoidal rule, from zero, same shape."""
    return np.concatenate(([0.0], np.cumsum(rate[1:] + rate[:-1]) / (2 * FINE_HZ)))


def _takeoff_ends_s(driven: Drive) -> list[float]:
    """When nine tenths of the wetting are gone in each pass; its end where that is never so."""
    ends = []
    for on, off in zip(driven.power_on_s, driven.power_off_s, strict=True):
        part = (driven.t_s >= on) & (driven.t_s <= off)
        planing = driven.t_s[part][driven.lift[part] >= 0.9]
        ends.append(float(planing[0]) if planing.size else off)
    return ends


def _lay_ride(
    ripple: _Ripple, ride: RideScript, driven: Drive, takeoff_ends_s: list[float], boat: Boat, ramp_s: float
) -> tuple[TrueRideEvent, ...]:
    events = []
    for p in ride.porpoising:
        on = driven.power_on_s[p.pass_index]
        if p.start_s is not None:
            start_s = on + p.start_s
        elif p.phase == "take-off":
            start_s = max(on, takeoff_ends_s[p.pass_index] - 0.6)
        else:
            latest_s = driven.power_off_s[p.pass_index] - p.duration_s - 0.3
            start_s = max(on, min(on + ramp_s + 1.0, latest_s))
        ripple.porpoise(p, start_s, boat.length_m)
        events.append(
            TrueRideEvent(
                "porpoising",
                p.pass_index,
                p.phase,
                start_s,
                start_s + p.duration_s,
                p.frequency_hz,
                p.growth_per_s,
                p.speed_amplitude_mps,
                p.vertical_amplitude_mps,
            )
        )
    if ride.blow_over:
        if driven.flew_s is None:
            raise ValueError(f"pass {ride.blow_over.pass_index} ended before the blow-over was due")
        stop_s = ride.blow_over.stop_s
        ripple.fly(driven.flew_s, stop_s)
        index = ride.blow_over.pass_index
        events.append(TrueRideEvent("blow-over", index, "at speed", driven.flew_s, driven.flew_s + stop_s))
    if ride.veer:
        index = ride.veer.pass_index
        start_s = driven.power_on_s[index] + ride.veer.start_s
        events.append(TrueRideEvent("veer", index, "at speed", start_s, driven.power_off_s[index]))
    return tuple(events)


def lay_out(
    rng: np.random.Generator,
    boat: Boat,
    driven: Drive,
    water: Water,
    ride: RideScript,
    ramp_s: float,
    frame: LocalFrame,
    course: CourseLine,
) -> tuple[Truth, tuple[TrueRideEvent, ...]]:
    """Turn a drive into the true motion and what the power train did in it.

    Parameters
    ----------
    rng : numpy.random.Generator
        For the chop only.
    boat, driven, water, ride
        What was driven, how, on what, and what went wrong.
    ramp_s : float
        How long the driver takes to full throttle; porpoising at speed starts a second later [s].
    frame, course
        Where on Earth, and which way.
    """
    t = np.arange(round(driven.t_s[-1] * FINE_HZ) + 1) / FINE_HZ

    def fine(values: FloatArray) -> FloatArray:
        return np.interp(t, driven.t_s, values)

    water_mps, throttle = fine(driven.water_mps), fine(driven.throttle)
    heading = fine(driven.heading_rad) + np.radians(course.heading_deg)
    takeoff_ends_s = _takeoff_ends_s(driven)
    ripple = _Ripple.of_chop(rng, t, water, water_mps, boat.length_m)
    events = _lay_ride(ripple, ride, driven, takeoff_ends_s, boat, ramp_s)

    water_mps = np.maximum(water_mps + ripple.speed_mps, 0.0)
    east_mps = water_mps * np.sin(heading) + water.current_east_mps
    north_mps = water_mps * np.cos(heading) + water.current_north_mps
    east0_m, north0_m = course.point(*driven.start_along_across_m)

    # The torque balance again for the load that the ripple adds: more current, less speed.
    motor_a = fine(driven.motor_current_a) * np.maximum(1.0 + ripple.load, 0.0)
    extra_v = (motor_a - fine(driven.motor_current_a)) * (
        boat.motor_resistance_ohm + throttle**2 * boat.pack_resistance_ohm
    )
    current_a = throttle * motor_a
    smooth = Truth(
        frame=frame,
        course=course,
        t_s=t,
        east_m=east0_m + _summed(east_mps),
        north_m=north0_m + _summed(north_mps),
        east_mps=east_mps,
        north_mps=north_mps,
        speed_mps=np.hypot(east_mps, north_mps),
        water_mps=water_mps,
        heading_deg=np.degrees(heading) % 360.0,
        lift=fine(driven.lift),
        heave_m=ripple.heave_m,
        vertical_mps=np.gradient(ripple.heave_m, t),
        pitch_deg=STILL_TRIM_DEG + ripple.pitch_deg,
        throttle_pct=100.0 * throttle,
        rpm=np.maximum(60.0 * fine(driven.turns_per_s) - boat.kv_rpm_per_v * extra_v, 0.0),
        current_a=current_a,
        voltage_v=fine(driven.open_voltage_v) - current_a * boat.pack_resistance_ohm,
        charge_mah=1000.0 * fine(driven.charge_ah),
        motor_temp_c=fine(driven.motor_temp_c),
        esc_temp_c=fine(driven.esc_temp_c),
        passes=(),
    )
    return smooth.with_passes(_facts(smooth, driven, takeoff_ends_s, boat)), events


def _facts(truth: Truth, driven: Drive, takeoff_ends_s: list[float], boat: Boat) -> tuple[TruePass, ...]:
    second = int(FINE_HZ)
    over_m, through_m, turns = _summed(truth.speed_mps), _summed(truth.water_mps), _summed(truth.rpm / 60.0)
    passes = []
    for i, (on, off) in enumerate(zip(driven.power_on_s, driven.power_off_s, strict=True)):
        part = truth.span(on, off)
        first, last = part.start, part.stop - 1
        top = first + int(np.argmax(truth.speed_mps[part]))
        best = first + int(np.argmax(over_m[first + second : last + 1] - over_m[first : last + 1 - second]))
        held = slice(best, best + second + 1)
        pitched_m = boat.pitch_mm / 1000.0 * float(np.ptp(turns[held]))
        east_m, north_m = np.diff(truth.east_m[[first, last]])[0], np.diff(truth.north_m[[first, last]])[0]
        passes.append(
            TruePass(
                index=i,
                start_s=float(truth.t_s[first]),
                end_s=float(truth.t_s[last]),
                heading_deg=float(np.degrees(np.arctan2(east_m, north_m)) % 360.0),
                peak_mps=float(truth.speed_mps[top]),
                peak_s=float(truth.t_s[top]),
                held_1s_mps=float(np.ptp(over_m[held])),
                held_1s_start_s=float(truth.t_s[best]),
                takeoff_start_s=float(truth.t_s[first]),
                takeoff_end_s=takeoff_ends_s[i],
                slip=1.0 - float(np.ptp(over_m[held])) / pitched_m,
                slip_through_water=1.0 - float(np.ptp(through_m[held])) / pitched_m,
            )
        )
    return tuple(passes)
