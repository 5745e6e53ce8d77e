"""The true motion on a fine grid, and the figures that an analysis is held against."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from telemetry.core.frames import FloatArray
from telemetry.core.geo import CourseLine, LocalFrame, geodesic_m

FINE_HZ = 200.0
LatLon = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
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
    held_1s_mps, held_1s_start_s : float
        Best mean of speed over one second, and where that second begins.
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
    held_1s_start_s: float
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


@dataclass(frozen=True, kw_only=True)
class Truth:
    """Everything on one 200 Hz grid, arrays of shape (n,).

    ``t_s`` counts from the speed log's start. ``speed_mps`` is over ground, ``water_mps`` through the
    water. Pitch is positive bow up; ``lift`` is the share of the static wetting that is out of the water.
    """

    frame: LocalFrame
    course: CourseLine
    t_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    speed_mps: FloatArray
    water_mps: FloatArray
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

    @property
    def along_mps(self) -> FloatArray:
        """Velocity over ground in the course's first direction, shape (n,) [m/s]."""
        h = np.radians(self.course.heading_deg)
        return np.asarray(self.east_mps * np.sin(h) + self.north_mps * np.cos(h))

    def with_passes(self, passes: tuple[TruePass, ...]) -> Truth:
        """Return the same motion with its passes."""
        return replace(self, passes=passes)

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
        """When a pass crosses the two gates, which stand square to the line between them; NaN if never."""
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
        """Average between two gates given as (lat, lon) [deg], geodesic over time; NaN if not crossed."""
        t1, t2 = self.gate_times_s(pass_index, gate1, gate2)
        return geodesic_m(*gate1, *gate2) / abs(t2 - t1)

    def mean_two_way_mps(
        self, pass_a: int, pass_b: int, gate1: LatLon, gate2: LatLon, mean: str = "of speeds"
    ) -> float:
        """Two-way average over the same gates, mean ``"of speeds"`` or ``"of times"`` [m/s]."""
        va, vb = (self.gate_speed_mps(p, gate1, gate2) for p in (pass_a, pass_b))
        return (va + vb) / 2 if mean == "of speeds" else 2 * va * vb / (va + vb)

    def place_gates(self, distance_m: float, passes: tuple[int, ...] | None = None) -> tuple[LatLon, LatLon]:
        """Two gates on the course, amid the stretch all passes (or those named) did at 90 % of their peak.

        Where that stretch is shorter than the distance the gates still stand about its middle.
        """
        low, high = -np.inf, np.inf
        across: list[float] = []
        for p in self.passes if passes is None else [self.passes[i] for i in passes]:
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
