"""Power-train figures of each pass: slip, load, sag, energy, heat, and limits exceeded.

All figures come from the motor log on the matched clock. Figures "of the best second" are means over the
second of the pass in which the boat was fastest; they describe propeller and motor at full speed, without
the run-up. Means are over time, not over samples, as a controller's steps are uneven.

References
----------
.. [1] Slip is 1 - speed / (pitch x shaft speed): any propeller handbook; D. Gerr, Propeller Handbook, 1989
   (from memory). Usual values and limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any, Final

import numpy as np

from telemetry.core.frames import FloatArray, MotorLog, cumulative_integral
from telemetry.core.stats import Z95
from telemetry.kinematics.whole_log import Motion
from telemetry.motor.channels import Channels, channels
from telemetry.motor.pack import PackEstimate, estimate_pack
from telemetry.motor.sync.clock import MotorClock
from telemetry.passes.find import Pass

USUAL_LIMITS_SOURCE: Final = "common practice, no source"
YOURS: Final = "your own limit"
_BEST_S: Final = 1.0
_PEAK_S: Final = 0.2
_SOAK_S: Final = 180.0
_MIN_SHARE: Final = 0.8
_USUAL_SLIP: Final = (0.0, 0.40)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of the power train; None for no limit. The defaults are common practice, no source.

    Attributes
    ----------
    cell_v : float or None
        Lowest voltage of a cell under load [V].
    motor_temp_c, esc_temp_c : float or None
        Highest temperatures [°C].
    current_a, rpm, charge_mah : float or None
        Highest current, shaft speed, and charge drawn since the start of the log.
    own : tuple of str
        The limits that the user gave, even if at the default; any other value counts as given too.
    """

    cell_v: float | None = 3.2
    motor_temp_c: float | None = 90.0
    esc_temp_c: float | None = 90.0
    current_a: float | None = None
    rpm: float | None = None
    charge_mah: float | None = None
    own: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Sort the names, which a file gives in any order and kind of sequence."""
        object.__setattr__(self, "own", tuple(sorted(self.own)))

    def source(self, name: str) -> str:
        """Return the source of a limit."""
        given = name in self.own or getattr(self, name) != getattr(Limits(), name)
        return YOURS if given else USUAL_LIMITS_SOURCE


LIMIT_NAMES: Final = tuple(f.name for f in fields(Limits) if f.name != "own")


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerOptions:
    """Facts of the power train from the setup sheet; None if unknown.

    Attributes
    ----------
    pitch_mm, diameter_mm : float or None
        Of the propeller.
    kv_rpm_per_v : float or None
        Motor constant, without load.
    cells : int or None
        In series.
    motor_resistance_ohm, no_load_current_a : float or None
        Of the motor, for the what-if.
    limits : Limits
    """

    pitch_mm: float | None = None
    diameter_mm: float | None = None
    kv_rpm_per_v: float | None = None
    cells: int | None = None
    motor_resistance_ohm: float | None = None
    no_load_current_a: float | None = None
    limits: Limits = field(default_factory=Limits)


@dataclass(frozen=True, slots=True)
class Heat:
    """A temperature at start and end of a pass, its highest value after it, and how long after."""

    start_c: float
    end_c: float
    highest_after_c: float
    highest_after_s: float


@dataclass(frozen=True, slots=True)
class Exceeded:
    """A limit that was exceeded: name, value and limit in the unit, and the limit's source."""

    name: str
    value: float
    limit: float
    unit: str
    source: str


@dataclass(frozen=True, kw_only=True)
class PassPower:
    """The power train in one pass; None where the log cannot answer, with the reason in ``notes``.

    Attributes
    ----------
    pass_id : str
    best_start_s : float
        Start of the best second on the speed log's clock [s].
    speed_mps, speed_u95_mps : float
        Mean over ground in it, and half its 95 % interval.
    rpm, voltage_v, current_a, throttle_pct : float or None
        Means in it.
    slip, slip_u95 : float or None
        1 - speed / (pitch x shaft speed), over ground: a following current makes it look small.
    rpm_share, rpm_share_rest : float or None
        Shaft speed over rpm/V x volts: with the volts under load, and with the pack's at rest.
    peak_current_a, mean_current_a, peak_power_w, mean_power_w : float or None
        Of the whole pass, electrical; peaks are the highest means over a fifth of a second.
    lowest_voltage_v, rest_voltage_v, sag_v : float or None
        Under load, without load at that charge, and the difference.
    lowest_cell_v : float or None
        The lowest cell, or the pack's voltage over the number of cells where cells are not logged.
    energy_wh, wh_per_km, charge_mah : float or None
        Used in the pass.
    motor_heat, esc_heat : Heat or None
    exceeded : tuple of Exceeded
        In the pass and in the heat soak after it.
    notes : tuple of str
        What cannot be told, and what to keep in mind.
    """

    pass_id: str
    best_start_s: float
    speed_mps: float
    speed_u95_mps: float
    rpm: float | None
    voltage_v: float | None
    current_a: float | None
    throttle_pct: float | None
    slip: float | None
    slip_u95: float | None
    rpm_share: float | None
    rpm_share_rest: float | None
    peak_current_a: float | None
    mean_current_a: float | None
    peak_power_w: float | None
    mean_power_w: float | None
    lowest_voltage_v: float | None
    rest_voltage_v: float | None
    sag_v: float | None
    lowest_cell_v: float | None
    energy_wh: float | None
    wh_per_km: float | None
    charge_mah: float | None
    motor_heat: Heat | None
    esc_heat: Heat | None
    exceeded: tuple[Exceeded, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract's form of a pass's ``motor``."""
        table = asdict(self)
        del table["pass_id"]
        return table


@dataclass(frozen=True)
class PowerReport:
    """The power train over one motor log.

    Attributes
    ----------
    motor_file : str
        Which motor log.
    pack : PackEstimate or None
    passes : tuple of PassPower
        Those that the motor log covers completely.
    notes : tuple of str
        What the log as a whole cannot tell, and what to keep in mind.
    """

    motor_file: str
    pack: PackEstimate | None
    passes: tuple[PassPower, ...]
    notes: tuple[str, ...]

    def of(self, pass_id: str) -> PassPower | None:
        """Return one pass by its id."""
        return next((p for p in self.passes if p.pass_id == pass_id), None)

    def to_dict(self) -> dict[str, Any] | None:
        """Return the output contract's ``power``; None if there are no figures."""
        if self.pack is None and not self.passes:
            return None
        pack = self.pack.to_dict() if self.pack else {}
        known = {"pack_resistance_ohm": None, "u95_ohm": None, "rest_voltage_v": None} | pack
        return known | {"motor_file": self.motor_file, "notes": list(self.notes)}


def power_report(
    motor: MotorLog,
    clock: MotorClock,
    passes: Sequence[Pass],
    motion: Motion,
    options: PowerOptions | None = None,
) -> PowerReport:
    """Compute the power-train figures of the passes.

    Parameters
    ----------
    motor : MotorLog
    clock : MotorClock
        Of this motor log and the speed log below; without a trusted clock there are no figures of the passes.
    passes : sequence of Pass
        Of that speed log, in order of time.
    motion : Motion
        Of that speed log.
    options : PowerOptions, optional
        From the setup sheet.

    Returns
    -------
    PowerReport
    """
    options = options or PowerOptions()
    log = channels(motor)
    pack = estimate_pack(log, options.cells)
    notes = [pack] if isinstance(pack, str) else []
    known = None if isinstance(pack, str) else pack
    if log.current_offset_a:
        notes.append(f"the current reads {log.current_offset_a:+.1f} A at rest; this offset is subtracted")
    if log.rest_rpm:
        notes.append(
            f"the shaft speed reads {log.rest_rpm:.0f} rpm at rest; slip is less certain by that much"
        )
    if not clock.trusted:
        notes.append(f"no power figures of the passes, as the clocks are not matched: {clock.why}")
        return PowerReport(motor.meta.file, known, (), tuple(notes))
    figures = []
    for k, one in enumerate(passes):
        next_s = passes[k + 1].start_s if k + 1 < len(passes) else float("inf")
        if clock.start_s - 1e-6 <= one.start_s and one.end_s <= clock.end_s + 1e-6:
            figures.append(_PassReader(log, clock, motion, options, known, one).told(next_s))
        else:
            notes.append(f"{one.id}: the motor log does not cover it")
    return PowerReport(motor.meta.file, known, tuple(figures), tuple(notes))


def best_second(motion: Motion, start_s: float, end_s: float) -> tuple[float, float]:
    """Find where the mean over a second is highest in a span of the speed log.

    Parameters
    ----------
    motion : Motion
        Smoothed motion of the speed log.
    start_s, end_s : float
        Span to search, on the speed log's clock [s].

    Returns
    -------
    begin_s, mean_mps : float
        Over the whole span where that is shorter than a second.
    """
    known = np.isfinite(motion.speed_mps)
    t, v = motion.t_s[known], motion.speed_mps[known]
    way = cumulative_integral(t, v)
    length_s = min(_BEST_S, end_s - start_s)
    begins = np.linspace(start_s, end_s - length_s, max(2, int((end_s - start_s) / 0.05)))
    means = (np.interp(begins + length_s, t, way) - np.interp(begins, t, way)) / max(length_s, 1e-9)
    k = int(np.argmax(means))
    return float(begins[k]), float(means[k])


class _PassReader:
    """Computes the figures of one pass and collects its notes."""

    def __init__(
        self,
        log: Channels,
        clock: MotorClock,
        motion: Motion,
        options: PowerOptions,
        pack: PackEstimate | None,
        one: Pass,
    ) -> None:
        self.log, self.clock, self.motion, self.options, self.pack, self.one = (
            log,
            clock,
            motion,
            options,
            pack,
            one,
        )
        self.start_s, self.end_s = (float(t) for t in clock.to_motor(np.array([one.start_s, one.end_s])))
        self.whole = log.span(self.start_s, self.end_s)
        self.begin_s, self.speed_mps = best_second(motion, one.start_s, one.end_s)
        self.best_end_s = min(self.begin_s + _BEST_S, one.end_s)
        self.notes: list[str] = []
        self.exceeded: list[Exceeded] = []

    def told(self, next_s: float) -> PassPower:
        """Assemble the figures."""
        log, one = self.log, self.one
        rpm, volts, amps = (self._best(x) for x in (log.rpm, log.voltage_v, log.current_a))
        slip, slip_u95 = self._slip(rpm)
        lowest, rest, sag, cell = self._voltages()
        power = None if log.voltage_v is None or log.current_a is None else log.voltage_v * log.current_a
        energy_j = self._integral(power, self.start_s, self.end_s)
        energy = None if energy_j is None else energy_j / 3600.0
        charge = self._charge()
        share = self._share(rpm, volts)
        motor_heat = self._heat("motor", log.motor_temp_c, next_s)
        esc_heat = self._heat("controller", log.esc_temp_c, next_s)
        peak_a, top_rpm = self._peak(log.current_a), self._peak(log.rpm)
        self._limit("current", peak_a, "current_a", "A")
        self._limit("shaft speed", top_rpm, "rpm", "rpm")
        if log.drawn_ah is not None and self.whole.stop > self.whole.start:
            drawn = float(log.drawn_ah[self.whole.stop - 1]) * 1000.0
            self._limit("charge drawn since the start of the log", drawn, "charge_mah", "mAh")
        return PassPower(
            pass_id=one.id,
            best_start_s=self.begin_s,
            speed_mps=self.speed_mps,
            speed_u95_mps=one.held_1s_u95_mps,
            rpm=rpm,
            voltage_v=volts,
            current_a=amps,
            throttle_pct=self._best(log.throttle_pct),
            slip=slip,
            slip_u95=slip_u95,
            rpm_share=share,
            rpm_share_rest=self._share(rpm, rest),
            peak_current_a=peak_a,
            mean_current_a=self._mean(log.current_a),
            peak_power_w=self._peak(power),
            mean_power_w=self._mean(power),
            lowest_voltage_v=lowest,
            rest_voltage_v=rest,
            sag_v=sag,
            lowest_cell_v=cell,
            energy_wh=energy,
            wh_per_km=None if energy is None or one.length_m <= 0 else energy / one.length_m * 1000.0,
            charge_mah=charge,
            motor_heat=motor_heat,
            esc_heat=esc_heat,
            exceeded=tuple(self.exceeded),
            notes=tuple(self.notes),
        )

    def _part(self, values: FloatArray | None, part: slice) -> FloatArray | None:
        """Return the known values of a span, or None if too many are missing."""
        if values is None:
            return None
        inside = values[part]
        known = inside[np.isfinite(inside)]
        return known if inside.size and known.size >= max(1.0, _MIN_SHARE * inside.size) else None

    def _best_ends(self, shift_s: float = 0.0) -> tuple[float, float]:
        start_s, end_s = self.clock.to_motor(np.array([self.begin_s, self.best_end_s])) + shift_s
        return float(start_s), float(end_s)

    def _best(self, values: FloatArray | None, shift_s: float = 0.0) -> float | None:
        return self._mean(values, self._best_ends(shift_s))

    def _mean(self, values: FloatArray | None, ends_s: tuple[float, float] | None = None) -> float | None:
        """Return the mean over time, by default of the whole pass."""
        start_s, end_s = ends_s or (self.start_s, self.end_s)
        whole = self._integral(values, start_s, end_s)
        return None if whole is None else whole / (end_s - start_s)

    def _peak(self, values: FloatArray | None) -> float | None:
        """Return the highest mean over a fifth of a second, so that a single noisy sample is not a peak."""
        known = self._part(values, self.whole)
        if known is None:
            return None
        step_s = (self.end_s - self.start_s) / max(known.size - 1, 1)
        count = min(max(1, round(_PEAK_S / max(step_s, 1e-9))), known.size)
        return float(np.convolve(known, np.full(count, 1.0 / count), "valid").max())

    def _integral(self, values: FloatArray | None, start_s: float, end_s: float) -> float | None:
        """Integrate by trapezoids over uneven steps; the outermost known values hold to the ends."""
        span = self.log.span(start_s, end_s)
        known = self._part(values, span)
        if values is None or known is None:
            return None
        t = self.log.t_s[span][np.isfinite(values[span])]
        return float(np.trapezoid(np.r_[known[0], known, known[-1]], np.r_[start_s, t, end_s]))

    def _charge(self) -> float | None:
        if self.log.drawn_ah is None:
            return None
        ends = np.interp([self.start_s, self.end_s], self.log.t_s, self.log.drawn_ah)
        return None if np.isnan(ends).any() else 1000.0 * float(ends[1] - ends[0])

    def _slip(self, rpm: float | None) -> tuple[float | None, float | None]:
        pitch_mm = self.options.pitch_mm
        if pitch_mm is None or rpm is None or rpm <= 0.0:
            need = "the propeller's pitch" if pitch_mm is None else "the shaft speed"
            self.notes.append(f"slip needs {need}")
            return None, None
        ratio = self.speed_mps / (pitch_mm / 1000.0 * rpm / 60.0)
        known = self._part(self.log.rpm, self.log.span(*self._best_ends()))
        assert known is not None
        steps = np.diff(np.unique(known))
        resolution = float(steps.min()) if steps.size else 0.0
        rpm_sd = np.hypot(known.std() / np.sqrt(known.size), resolution / np.sqrt(12.0 * known.size))
        # Change of the ratio if the matched clock is off by its own uncertainty.
        shifted = [self._best(self.log.rpm, s * self.clock.u95_s) for s in (-1.0, 1.0)]
        clock_u95 = max(abs(r - rpm) for r in (*shifted, rpm) if r is not None) / rpm
        own_u95 = float(np.hypot(self.one.held_1s_u95_mps / max(self.speed_mps, 1e-9), Z95 * rpm_sd / rpm))
        u95 = ratio * float(np.hypot(own_u95, clock_u95)) + ratio * self.log.rest_rpm / rpm
        slip = 1.0 - ratio
        if not _USUAL_SLIP[0] <= slip <= _USUAL_SLIP[1]:
            self.notes.append(
                f"a slip of {100 * slip:.0f} % suggests a wrong pitch, pole count or gear ratio, or a "
                "following current"
            )
        return slip, u95

    def _share(self, rpm: float | None, volts: float | None) -> float | None:
        kv = self.options.kv_rpm_per_v
        return None if rpm is None or not volts or kv is None else rpm / (kv * volts)

    def _voltages(self) -> tuple[float | None, float | None, float | None, float | None]:
        log, options = self.log, self.options
        known = self._part(log.voltage_v, self.whole)
        lowest = None if known is None else float(known.min())
        rest: float | None = None
        if (
            self.pack is not None
            and log.drawn_ah is not None
            and log.voltage_v is not None
            and known is not None
        ):
            at = self.whole.start + int(np.nanargmin(log.voltage_v[self.whole]))
            rest = self.pack.rest_v(float(log.drawn_ah[at]))
        sag = None if rest is None or lowest is None else rest - lowest
        cells = self._part(log.cell_min_v, self.whole)
        cell = None if cells is None else float(cells.min())
        name = "lowest cell voltage"
        if cell is None and lowest is not None and options.cells:
            cell, name = lowest / options.cells, "lowest cell voltage (the pack's over its cells)"
        limit = options.limits.cell_v
        if cell is not None and limit is not None and cell < limit:
            self.exceeded.append(Exceeded(name, cell, limit, "V", options.limits.source("cell_v")))
        return lowest, rest, sag, cell

    def _heat(self, name: str, values: FloatArray | None, next_s: float) -> Heat | None:
        if values is None:
            return None
        until_s = min(float(self.clock.to_motor(np.array([next_s]))[0]), self.end_s + _SOAK_S)
        after = self.log.span(self.end_s, until_s)
        inside, soak = self._part(values, self.whole), self._part(values, after)
        if inside is None or soak is None:
            self.notes.append(f"the {name}'s temperature is missing in or after the pass")
            return None
        known = np.isfinite(values[after])
        hottest = int(np.argmax(soak))
        heat = Heat(
            float(inside[0]),
            float(inside[-1]),
            float(soak[hottest]),
            float(self.log.t_s[after][known][hottest]) - self.end_s,
        )
        limit = "motor_temp_c" if name == "motor" else "esc_temp_c"
        self._limit(f"{name} temperature", max(heat.highest_after_c, float(inside.max())), limit, "°C")
        return heat

    def _limit(self, name: str, value: float | None, field_name: str, unit: str) -> None:
        limit = getattr(self.options.limits, field_name)
        if value is not None and limit is not None and value > limit:
            self.exceeded.append(Exceeded(name, value, limit, unit, self.options.limits.source(field_name)))
