"""The true motion on a fine grid, and the figures that an analysis is held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfftfreq

from sample_logs.boats import Boat
from sample_logs.drive import Drive
from sample_logs.scripts import BlowOver, Porpoising, RideScript, Water
from telemetry.frames import FloatArray
from telemetry.geo import CourseLine, LocalFrame, geodesic_m

FINE_HZ = 200.0
LatLon = tuple[float, float]


@dataclass(frozen=True, slots=True)
class TruePass:
    """One pass as it was.

    Attributes
    ----------
    index : int
        From 0.
    start_s, end_s : float
        Power applied, and the driver lifting (or the hull flying).
    heading_deg : float
        Direction from the place at ``start_s`` to the place at ``end_s`` [deg].
    peak_mps, peak_s : float
        Largest true speed over ground in between, and when.
    held_1s_mps : float
        Best mean of speed over one second.
    takeoff_start_s, takeoff_end_s : float
        Power applied, and nine tenths of the static wetting gone.
    slip : float
        1 - distance over ground / (pitch x turns) over the second of ``held_1s_mps``.
    slip_through_water : float
        The same with distance through the water, which is what the propeller does.
    """

    index: int
    start_s: float
    end_s: float
    heading_deg: float
    peak_mps: float
    peak_s: float
    held_1s_mps: float
    takeoff_start_s: float
    takeoff_end_s: float
    slip: float
    slip_through_water: float


@dataclass(frozen=True)
class TrueRideEvent:
    """A ride event as it was scripted, on the speed log's clock."""

    kind: str
    pass_index: int
    phase: str
    start_s: float
    end_s: float
    frequency_hz: float | None = None
    growth_per_s: float | None = None
    speed_amplitude_mps: float | None = None
    vertical_amplitude_mps: float | None = None


@dataclass(frozen=True)
class Truth:
    """Everything on one 200 Hz grid, arrays of shape (n,).

    ``t_s`` counts from the speed log's start. ``speed_mps`` is over ground, ``water_speed_mps`` through the
    water; ``along_mps`` is the component in the course's first direction. Pitch is positive bow up.
    """

    frame: LocalFrame
    course: CourseLine
    t_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    speed_mps: FloatArray
    along_mps: FloatArray
    water_speed_mps: FloatArray
    heading_deg: FloatArray
    lift: FloatArray
    heave_m: FloatArray
    vertical_mps: FloatArray
    pitch_deg: FloatArray
    throttle_pct: FloatArray
    rpm: FloatArray
    current_a: FloatArray
    voltage_v: FloatArray
    charge_mah: FloatArray
    motor_temp_c: FloatArray
    esc_temp_c: FloatArray
    passes: tuple[TruePass, ...]

    def at(self, name: str, t_s: FloatArray) -> FloatArray:
        """Interpolate one of the arrays to other times, any shape; the ends are held."""
        return np.asarray(np.interp(t_s, self.t_s, getattr(self, name)))

    def span(self, start_s: float, end_s: float) -> slice:
        """Grid slice from one time to another, both included."""
        return slice(
            int(np.searchsorted(self.t_s, start_s - 1e-9)),
            int(np.searchsorted(self.t_s, end_s + 1e-9, "right")),
        )

    def best_average_mps(self, pass_index: int, distance_m: float) -> float:
        """Best average over a straight distance anywhere in a pass [m/s]; NaN where the pass is shorter.

        The distance is measured along the line from the pass's first to its last point, as gates across the
        course would measure it.
        """
        a_pass = self.passes[pass_index]
        part = self.span(a_pass.start_s, a_pass.end_s)
        t, along = self.t_s[part], self._along(part, a_pass.heading_deg)
        begins = along <= along[-1] - distance_m
        if not begins.any():
            return float("nan")
        took = np.interp(along[begins] + distance_m, along, t) - t[begins]
        return float(distance_m / took.min())

    def gate_times_s(self, pass_index: int, gate1: LatLon, gate2: LatLon) -> tuple[float, float]:
        """When a pass crosses the lines through two gates, square to the line between them; NaN if it does not."""
        a_pass = self.passes[pass_index]
        (e1, e2), (n1, n2) = self.frame.to_local([gate1[0], gate2[0]], [gate1[1], gate2[1]])
        line = CourseLine(float(e1), float(n1), float(np.degrees(np.arctan2(e2 - e1, n2 - n1))))
        part = self.span(a_pass.start_s, a_pass.end_s)
        along, _ = line.along_across(self.east_m[part], self.north_m[part])
        distance_m = float(np.hypot(e2 - e1, n2 - n1))
        sign = 1.0 if along[-1] > along[0] else -1.0
        times = np.interp(sign * np.array([0.0, distance_m]), sign * along, self.t_s[part], np.nan, np.nan)
        return float(times[0]), float(times[1])

    def gate_speed_mps(self, pass_index: int, gate1: LatLon, gate2: LatLon) -> float:
        """Average between two gates given as (lat, lon) [deg]: geodesic over time [m/s]; NaN if not crossed."""
        t1, t2 = self.gate_times_s(pass_index, gate1, gate2)
        return geodesic_m(*gate1, *gate2) / abs(t2 - t1)

    def mean_two_way_mps(
        self, pass_a: int, pass_b: int, gate1: LatLon, gate2: LatLon, mean: str = "of speeds"
    ) -> float:
        """Two-way average over the same gates, mean ``"of speeds"`` or ``"of times"`` [m/s]."""
        va, vb = (self.gate_speed_mps(p, gate1, gate2) for p in (pass_a, pass_b))
        return (va + vb) / 2 if mean == "of speeds" else 2 * va * vb / (va + vb)

    def place_gates(self, distance_m: float) -> tuple[LatLon, LatLon]:
        """Two gates on the course, in the middle of the stretch that every pass had above 90 % of its peak.

        Where that stretch is shorter than the distance the gates still stand about its middle.
        """
        low, high = -np.inf, np.inf
        across: list[float] = []
        for p in self.passes:
            part = self.span(p.start_s, p.end_s)
            along, side = self.course.along_across(self.east_m[part], self.north_m[part])
            fast = self.speed_mps[part] > 0.9 * p.peak_mps
            low, high = max(low, float(along[fast].min())), min(high, float(along[fast].max()))
            across.append(float(np.mean(side[fast])))
        middle, aside = (low + high) / 2, float(np.mean(across))
        corners = [self.course.point(middle + s * distance_m / 2, aside) for s in (-1.0, 1.0)]
        lat, lon = self.frame.to_geodetic([c[0] for c in corners], [c[1] for c in corners])
        # One step of scaling makes the geodesic, not the tangent plane, the stated distance.
        scale = distance_m / geodesic_m(float(lat[0]), float(lon[0]), float(lat[1]), float(lon[1]))
        corners = [self.course.point(middle + s * scale * distance_m / 2, aside) for s in (-1.0, 1.0)]
        lat, lon = self.frame.to_geodetic([c[0] for c in corners], [c[1] for c in corners])
        return (float(lat[0]), float(lon[0])), (float(lat[1]), float(lon[1]))

    def _along(self, part: slice, heading_deg: float) -> FloatArray:
        line = CourseLine(float(self.east_m[part][0]), float(self.north_m[part][0]), heading_deg)
        return line.along_across(self.east_m[part], self.north_m[part])[0]


def band_noise(rng: np.random.Generator, n: int, rate_hz: float, low_hz: float, high_hz: float) -> FloatArray:
    """Noise of unit variance spread evenly over a band, shape (n,)."""
    size = next_fast_len(n, real=True)
    freqs = rfftfreq(size, 1 / rate_hz)
    inside = (freqs >= low_hz) & (freqs <= high_hz)
    bins = int(inside.sum())
    spectrum = np.zeros(freqs.size, dtype=np.complex128)
    spectrum[inside] = rng.standard_normal(bins) + 1j * rng.standard_normal(bins)
    return np.asarray(irfft(spectrum, size)[:n] * size / (2.0 * np.sqrt(bins)))


@dataclass(frozen=True)
class _Ripple:
    speed_mps: FloatArray
    heave_m: FloatArray
    pitch_deg: FloatArray
    load: FloatArray


def _porpoise(t_s: FloatArray, event: Porpoising, start_s: float, length_m: float, into: _Ripple) -> None:
    """Lay one oscillation over the motion; speed is lowest while the bow is highest."""
    part = slice(*np.searchsorted(t_s, [start_s, start_s + event.duration_s]))
    u = t_s[part] - start_s
    omega = 2 * np.pi * event.frequency_hz
    edge_s = min(0.75 / event.frequency_hz, event.duration_s / 3)
    taper = np.clip(np.minimum(u, event.duration_s - u) / edge_s, 0.0, 1.0)
    envelope = np.exp(event.growth_per_s * (u - event.duration_s / 2)) * np.sin(np.pi / 2 * taper) ** 2
    heave_m = event.vertical_amplitude_mps / omega
    into.heave_m[part] += heave_m * envelope * np.sin(omega * u)
    # Bow and stern alternate about the middle of the hull; heave and pitch a quarter turn apart.
    into.pitch_deg[part] += np.degrees(2.5 * heave_m / length_m) * envelope * np.cos(omega * u)
    into.speed_mps[part] -= event.speed_amplitude_mps * envelope * np.cos(omega * u)
    into.load[part] += event.load_ripple * envelope * np.sin(omega * u)


def _fly(t_s: FloatArray, event: BlowOver, start_s: float, into: _Ripple) -> None:
    """Half a somersault, 0.8 m high, landing upside down."""
    flight_s = 3 * event.stop_s
    part = slice(*np.searchsorted(t_s, [start_s, start_s + flight_s]))
    u = (t_s[part] - start_s) / flight_s
    into.heave_m[part] += 0.8 * np.sin(np.pi * u) ** 2
    into.pitch_deg[part] += 180.0 * u
    into.pitch_deg[part.stop :] += 180.0


def _takeoff_end_s(driven: Drive, on: float, off: float) -> float:
    part = (driven.t_s >= on) & (driven.t_s <= off)
    planing = driven.t_s[part][driven.lift[part] >= 0.9]
    return float(planing[0]) if planing.size else off


def _porpoising_start_s(event: Porpoising, on: float, takeoff_end: float, ramp_s: float) -> float:
    if event.start_s is not None:
        return on + event.start_s
    if event.phase == "take-off":
        return max(on, takeoff_end - 0.6)
    return on + ramp_s + 1.0


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
    """Turn a drive into the true motion on the fine grid, with chop and ride events laid over it."""
    n = round(driven.t_s[-1] * FINE_HZ) + 1
    t = np.arange(n) / FINE_HZ

    def fine(values: FloatArray) -> FloatArray:
        return np.asarray(np.interp(t, driven.t_s, values))

    lift, throttle = fine(driven.lift), fine(driven.throttle)
    water_mps = fine(driven.water_speed_mps)
    heading = fine(driven.heading_rad) + np.radians(course.heading_deg)
    surge, heave, roughness = (
        band_noise(rng, n, FINE_HZ, water.chop_low_hz, water.chop_high_hz) for _ in range(3)
    )
    moving = water_mps / (water_mps + 2.0)
    ripple = _Ripple(
        water.chop_speed_sd_mps * surge * moving,
        water.chop_heave_sd_m * heave,
        np.degrees(water.chop_heave_sd_m / boat.length_m) * roughness,
        np.zeros(n),
    )
    events: list[TrueRideEvent] = []
    takeoffs = [
        _takeoff_end_s(driven, *on_off) for on_off in zip(driven.power_on_s, driven.power_off_s, strict=True)
    ]
    for p in ride.porpoising:
        start_s = _porpoising_start_s(p, driven.power_on_s[p.pass_index], takeoffs[p.pass_index], ramp_s)
        _porpoise(t, p, start_s, boat.length_m, ripple)
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
    if ride.blow_over and driven.blow_over_s is not None:
        _fly(t, ride.blow_over, driven.blow_over_s, ripple)
        end_s = driven.blow_over_s + ride.blow_over.stop_s
        events.append(
            TrueRideEvent("blow-over", ride.blow_over.pass_index, "at speed", driven.blow_over_s, end_s)
        )
    if ride.veer:
        start_s = driven.power_on_s[ride.veer.pass_index] + ride.veer.start_s
        end_s = driven.power_off_s[ride.veer.pass_index]
        events.append(TrueRideEvent("veer", ride.veer.pass_index, "at speed", start_s, end_s))

    water_mps = np.maximum(water_mps + ripple.speed_mps, 0.0)
    east_mps = water_mps * np.sin(heading) + water.current_east_mps
    north_mps = water_mps * np.cos(heading) + water.current_north_mps
    start = course.point(*driven.start_along_across_m)
    east_m, north_m = (
        start[i] + np.concatenate(([0.0], np.cumsum(v[1:] + v[:-1]) / (2 * FINE_HZ)))
        for i, v in enumerate((east_mps, north_mps))
    )
    speed = np.hypot(east_mps, north_mps)

    motor_a = fine(driven.motor_current_a) * np.maximum(1.0 + ripple.load, 0.0)
    current = throttle * motor_a
    open_v = fine(driven.open_voltage_v)
    voltage = open_v - current * boat.pack_resistance_ohm
    # The same torque balance again: more load, less speed.
    extra_a = motor_a - fine(driven.motor_current_a)
    resistance = boat.motor_resistance_ohm + throttle**2 * boat.pack_resistance_ohm
    rpm = np.maximum(fine(driven.rpm) - boat.kv_rpm_per_v * extra_a * resistance, 0.0)

    passes = []
    turns = np.concatenate(([0.0], np.cumsum(rpm[1:] + rpm[:-1]) / (120.0 * FINE_HZ)))
    through = np.concatenate(([0.0], np.cumsum(water_mps[1:] + water_mps[:-1]) / (2 * FINE_HZ)))
    over = np.concatenate(([0.0], np.cumsum(speed[1:] + speed[:-1]) / (2 * FINE_HZ)))
    second = int(FINE_HZ)
    for i, (on, off) in enumerate(zip(driven.power_on_s, driven.power_off_s, strict=True)):
        a, b = round(on * FINE_HZ), round(off * FINE_HZ)
        top = a + int(np.argmax(speed[a : b + 1]))
        held = over[a + second : b + 1] - over[a : b + 1 - second]
        k = a + int(np.argmax(held))
        pitch_m = boat.pitch_mm / 1000.0 * float(turns[k + second] - turns[k])
        passes.append(
            TruePass(
                i,
                float(t[a]),
                float(t[b]),
                float(np.degrees(np.arctan2(east_m[b] - east_m[a], north_m[b] - north_m[a])) % 360.0),
                float(speed[top]),
                float(t[top]),
                float(over[k + second] - over[k]),
                float(t[a]),
                takeoffs[i],
                1.0 - float(over[k + second] - over[k]) / pitch_m,
                1.0 - float(through[k + second] - through[k]) / pitch_m,
            )
        )
    h = np.radians(course.heading_deg)
    truth = Truth(
        frame,
        course,
        t,
        east_m,
        north_m,
        east_mps,
        north_mps,
        speed,
        east_mps * np.sin(h) + north_mps * np.cos(h),
        water_mps,
        np.degrees(heading) % 360.0,
        lift,
        ripple.heave_m,
        np.gradient(ripple.heave_m, t),
        1.5 + ripple.pitch_deg,
        100.0 * throttle,
        rpm,
        current,
        voltage,
        1000.0 * fine(driven.charge_ah),
        fine(driven.motor_temp_c),
        fine(driven.esc_temp_c),
        tuple(passes),
    )
    return truth, tuple(events)
