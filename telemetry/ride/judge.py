"""How a pass rode: porpoising, blow-overs and veers, with what a log cannot tell.

Porpoising is a coupled oscillation in heave and pitch, in calm water, that may grow until the hull leaves it
[1]_. In a log it is a ripple of speed and of vertical motion at one frequency for at least three cycles. Chop
is broad and does not stand out of its own neighbourhood; a driver who works the throttle leaves the same line
in the motor log, ahead of the speed. Two signals must agree before it is called ``shown``; one alone is
``possible``.

References
----------
.. [1] T. Celano, The prediction of porpoising inception for modern planing craft, U.S. Naval Academy Trident
   report 254, 1998.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import BoolArray, FloatArray, utc_text
from telemetry.core.progress import report_each
from telemetry.kinematics.whole_log import Motion
from telemetry.passes.find import Pass
from telemetry.ride.detrend import aliases_hz, detrend, even_grid, searched_band
from telemetry.ride.incidents import Incident, RideVerdict, blow_over, veer
from telemetry.ride.line_detector import (
    Component,
    CorrelationScan,
    Oscillation,
    Spectrum,
    correlate_signals,
    detectable_amplitude,
    measure_component,
    most_significant,
)

RideEventKind = Literal["porpoising", "blow-over", "veer"]
Phase = Literal["take-off", "at speed"]

# Chance of a line in noise alone, over everything that is searched in a phase of a pass: shared by two
# signals, and in one alone, where two are tried. What else is asked makes the first ten times rarer.
_CHANCE, _CHANCE_ALONE = 0.06, 0.006
# Chance for each signal, at the place which both together point to.
_EACH_CHANCE = 0.003
_MOTOR_CHANCE = 0.001
# An oscillation holds most of its octave's power; chop spreads it (common practice, no source).
_DOMINANCE, _MIN_DOMINANCE = 0.5, 0.3
_MOTOR_DOMINANCE = 0.3
_THROTTLE_PCT = 1.0
# Slower than this the hull only sheds speed in waves; water drag alone takes three times as much.
_COASTING_MPS2 = -2.0
_LIFT_MARGIN_S = 0.15
_SHORTEST_S = 1.0
_WARNING_S = 3.0

_LABEL = {
    "speed_mps": "speed",
    "vertical_mps": "vertical speed",
    "az_mps2": "vertical acceleration",
    "gy_dps": "pitch rate",
    "alt_m": "altitude",
}


@dataclass(frozen=True)
class MotorSignal:
    """A motor log joined to the speed log's clock.

    Attributes
    ----------
    t_s : ndarray, shape (n,)
        Increasing, on the speed log's clock [s].
    throttle_pct, current_a, rpm : ndarray, shape (n,), or None
        None where not logged.
    clock_u95_s : float
        Half-width of the joining's 95 % interval [s].
    """

    t_s: FloatArray
    throttle_pct: FloatArray | None = None
    current_a: FloatArray | None = None
    rpm: FloatArray | None = None
    clock_u95_s: float = 0.0


@dataclass(frozen=True)
class RideEvent:
    """One ride event, or the statement that there was none or that it cannot be told.

    Attributes
    ----------
    kind, pass_id, phase, verdict
        What, in which pass, where in it, and how sure.
    start_s, end_s : float
        On the log's clock; of the phase examined where nothing was found.
    start_utc, end_utc : pandas.Timestamp or None
    frequency_hz, frequency_u95_hz, growth_per_s, growth_u95_per_s : float or None
        Of the oscillation; half-widths of 95 % intervals. Positive growth means growing: the amplitude is
        multiplied by ``exp(growth)`` each second.
    speed_amplitude_mps, vertical_amplitude_mps : float or None
        In the middle of the event; None where the signal is not logged or cannot be converted.
    alias_hz : tuple of float
        Frequencies above half the sampling rate that would look the same in the samples.
    preceded_by : tuple of str
        For a blow-over: ``growing ripple``, ``accelerating``, ``turning``.
    why : str
        The evidence in plain words.
    """

    kind: RideEventKind
    pass_id: str
    phase: Phase
    verdict: RideVerdict
    start_s: float
    end_s: float
    start_utc: pd.Timestamp | None
    end_utc: pd.Timestamp | None
    why: str
    frequency_hz: float | None = None
    frequency_u95_hz: float | None = None
    growth_per_s: float | None = None
    growth_u95_per_s: float | None = None
    speed_amplitude_mps: float | None = None
    vertical_amplitude_mps: float | None = None
    alias_hz: tuple[float, ...] = ()
    preceded_by: tuple[str, ...] = ()

    @property
    def growing(self) -> bool:
        """Whether the whole interval of the growth rate lies above zero."""
        return (
            self.growth_per_s is not None
            and self.growth_u95_per_s is not None
            and self.growth_per_s > self.growth_u95_per_s
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract's form."""
        return {
            "kind": self.kind,
            "pass_id": self.pass_id,
            "phase": self.phase,
            "verdict": self.verdict,
            "start_utc": utc_text(self.start_utc),
            "end_utc": utc_text(self.end_utc),
            "start_s": self.start_s,
            "end_s": self.end_s,
            "frequency_hz": self.frequency_hz,
            "frequency_u95_hz": self.frequency_u95_hz,
            "growth_per_s": self.growth_per_s,
            "growth_u95_per_s": self.growth_u95_per_s,
            "speed_amplitude_mps": self.speed_amplitude_mps,
            "vertical_amplitude_mps": self.vertical_amplitude_mps,
            "alias_hz": list(self.alias_hz),
            "preceded_by": list(self.preceded_by),
            "why": self.why,
        }


def log_decrement(first: float, last: float, cycles: float) -> tuple[float, float]:
    """Logarithmic decrement and damping ratio from two peaks some cycles apart.

    Parameters
    ----------
    first, last : float
        Amplitudes of the two peaks.
    cycles : float
        Cycles between them.

    Returns
    -------
    decrement, damping : float
        Negative for an oscillation that grows. The growth rate is ``-decrement`` times the frequency.

    References
    ----------
    .. [1] Any handbook of vibration: ``d = ln(x0 / xn) / n``, ``damping = d / sqrt(4 pi² + d²)``.

    Examples
    --------
    >>> [round(x, 4) for x in log_decrement(2.0, 1.0, 4.0)]
    [0.1733, 0.0276]
    """
    decrement = float(np.log(first / last)) / cycles
    return decrement, decrement / float(np.sqrt(4.0 * np.pi**2 + decrement**2))


@dataclass(frozen=True)
class PoweredRun:
    """The part of a pass under power: where it is searched, and what with."""

    span_s: tuple[float, float]
    boundary_s: float | None
    rate_hz: float
    band: tuple[float, float] | None

    def phases(self) -> list[tuple[Phase, float, float]]:
        """Return take-off, where the log shows it, and the rest, each with its first and last time."""
        start, end = self.span_s
        if self.boundary_s is None:
            return [("at speed", start, end)]
        return [("take-off", start, self.boundary_s), ("at speed", self.boundary_s, end)]


def powered_run(motion: Motion, a_pass: Pass, stop: Incident) -> PoweredRun:
    """Find a pass's part under power: from where take-off begins to where the throttle is closed.

    Or to where the hull blew over: a smoothed speed spreads a crash over the second before it, which is the
    one that tells most.
    """
    t = motion.t_s
    inside = np.arange(
        np.searchsorted(t, a_pass.start_s - 1e-9), np.searchsorted(t, a_pass.end_s + 1e-9, "right")
    )
    powered = np.flatnonzero(motion.acceleration_mps2[inside] > _COASTING_MPS2)
    last = inside[powered[-1]] if powered.size else inside[-1]
    # A smoothed acceleration sees the throttle close a little late.
    end_s = max(float(t[last]) - _LIFT_MARGIN_S, float(t[inside[0]]))
    if stop.verdict == "shown":
        end_s = stop.start_s
    steps = np.diff(t[inside])
    rate_hz = float(1.0 / np.median(steps)) if steps.size else 0.0
    takeoff = a_pass.takeoff
    if takeoff is None:
        return PoweredRun((a_pass.start_s, end_s), None, rate_hz, searched_band(rate_hz))
    return PoweredRun((takeoff.start_s, end_s), min(takeoff.end_s, end_s), rate_hz, searched_band(rate_hz))


def ride_spectra(cleaned: Cleaned, run: PoweredRun) -> tuple[Spectrum | None, Spectrum | None]:
    """Take the ripples of speed and of the best vertical signal of a run."""
    assert run.band is not None
    track = cleaned.track
    t_s, step_s = track.t_s, 1.0 / run.rate_hz
    grid = even_grid(t_s, run.span_s, step_s)
    # What comes after the throttle is closed, or the hull has flown, must not reach back into the run.
    before = t_s <= run.span_s[1] + 1e-9

    def witness(name: str, ok: BoolArray) -> Spectrum | None:
        values = track.column(name)
        if values is None:
            return None
        ripple = detrend(name, t_s, values, ok & before, grid)
        if ripple is None or not np.any(ripple.values):
            return None
        return Spectrum.of(ripple, run.band) if run.band else None

    speed = witness("speed_mps", cleaned.speed_ok)
    everywhere = np.ones(t_s.size, dtype=np.bool_)
    for name in ("vertical_mps", "az_mps2", "gy_dps", "alt_m"):
        vertical = witness(name, cleaned.position_ok if name in ("vertical_mps", "alt_m") else everywhere)
        if vertical is not None:
            return speed, vertical
    return speed, None


def _motor_share(
    values: FloatArray | None, motor: MotorSignal, run: PoweredRun, line: Oscillation
) -> Component | None:
    """Measure what a motor signal has of a line; None where it has none or cannot be asked."""
    if values is None or motor.t_s.size < 8:
        return None
    step_s = float(np.median(np.diff(motor.t_s)))
    band = searched_band(1.0 / step_s)
    if band is None or line.frequency_hz > band[1]:
        return None
    t_s = motor.t_s
    ok = ~np.isnan(values) & (t_s <= run.span_s[1] + 1e-9)
    ripple = detrend("motor", t_s, values, ok, even_grid(t_s, run.span_s, step_s))
    if ripple is None:
        return None
    a, b = np.searchsorted(ripple.t_s, [line.start_s - 1e-9, line.end_s + 1e-9])
    if (b - a) * step_s * line.frequency_hz < 2.0:
        return None
    found = measure_component(Spectrum.of(ripple, band), (int(a), int(b)), line, band)
    return found if found.p_value <= _MOTOR_CHANCE and found.dominance >= _MOTOR_DOMINANCE else None


@dataclass(frozen=True)
class _MotorSays:
    """What the motor log says of a line."""

    driven: bool = False
    carried_by: tuple[str, ...] = ()
    text: str = ""


def _ask_motor(motor: MotorSignal | None, run: PoweredRun, line: Oscillation) -> _MotorSays:
    if motor is None:
        return _MotorSays()
    throttle = _motor_share(motor.throttle_pct, motor, run, line)
    current = _motor_share(motor.current_a, motor, run, line)
    rpm = _motor_share(motor.rpm, motor, run, line)
    if throttle is not None and throttle.amplitude >= _THROTTLE_PCT:
        # Thrust changes speed through the boat's mass, so a throttle that drives leads by up to half a turn.
        lead = float(np.angle(np.exp(1j * (throttle.phase_rad - line.shares[0].phase_rad))))
        doubt = 2.0 * np.pi * line.frequency_hz * motor.clock_u95_s + 0.35
        if line.shares[0].name != "speed_mps" or -doubt <= lead or lead <= -np.pi + doubt:
            return _MotorSays(
                True,
                (),
                f"the throttle swings by {throttle.amplitude:.0f} % at the same frequency, ahead of it",
            )
        return _MotorSays(True, (), "the throttle swings at the same frequency, though after the speed")
    carried = tuple(name for name, s in (("rpm", rpm), ("current", current)) if s is not None)
    if motor.throttle_pct is None and rpm is not None and current is not None:
        # Load from the water pulls rpm down as the current rises; a throttle lifts both.
        apart = abs(float(np.angle(np.exp(1j * (rpm.phase_rad - current.phase_rad)))))
        if apart < np.pi / 3.0:
            return _MotorSays(True, carried, "rpm and current rise together, as when the throttle is worked")
    return _MotorSays(False, carried, f"{' and '.join(carried)} carry it too" if carried else "")


def _overlap(a: Oscillation, start_s: FloatArray | float, end_s: FloatArray | float) -> FloatArray:
    """Share of spans that a line covers, shape of ``start_s``."""
    common = np.minimum(end_s, a.end_s) - np.maximum(start_s, a.start_s)
    return np.asarray(np.maximum(common, 0.0) / np.maximum(end_s - start_s, 1e-9))


def _common_share(a: Oscillation, b: Oscillation) -> float:
    """Share of the shorter of two lines that the other covers."""
    return max(float(_overlap(x, y.start_s, y.end_s)) for x, y in ((a, b), (b, a)))


def _stands_out(line: Oscillation) -> bool:
    """Whether a line is significant, narrow, and carried by each of its signals."""
    return (
        line.p_value <= (_CHANCE if len(line.shares) > 1 else _CHANCE_ALONE)
        and line.is_oscillation
        and all(s.p_value <= _EACH_CHANCE for s in line.shares)
        and float(np.mean([s.dominance for s in line.shares])) >= _DOMINANCE
        and min(s.dominance for s in line.shares) >= _MIN_DOMINANCE
    )


def _best_line(
    scanned: CorrelationScan, lo_s: float, hi_s: float, taken: Oscillation | None
) -> Oscillation | None:
    """Best line whose middle lies in a phase: of both signals if it stands out, else of one alone."""

    def allowed(start_s: FloatArray, end_s: FloatArray) -> BoolArray:
        middle = 0.5 * (start_s + end_s)
        fits = (middle >= lo_s) & (middle <= hi_s)
        if taken is not None:
            fits &= _overlap(taken, start_s, end_s) <= 1.0 / 3.0
        return np.asarray(fits)

    groups = [[0, 1], [0], [1]] if len(scanned.witnesses) == 2 else [[0]]
    for signals in groups:
        line = most_significant(scanned, signals, allowed, _CHANCE, _stands_out)
        if line is not None:
            return line
    return None


def _event(
    cleaned: Cleaned,
    a_pass: Pass,
    kind: RideEventKind,
    phase: Phase,
    verdict: RideVerdict,
    span: tuple[float, float],
    why: str,
    **more: Any,
) -> RideEvent:
    track = cleaned.track
    return RideEvent(
        kind, a_pass.id, phase, verdict, span[0], span[1], track.utc(span[0]), track.utc(span[1]), why, **more
    )


def _alias_note(frequency_hz: float, rate_hz: float) -> tuple[tuple[float, ...], str]:
    others = aliases_hz(frequency_hz, rate_hz)
    if not others:
        return (), ""
    listed = " or ".join(f"{f:.1f}" for f in others)
    return others, f"; at {rate_hz:.0f} samples a second a hull motion at {listed} Hz would look the same"


def _from_line(
    cleaned: Cleaned,
    a_pass: Pass,
    phase: Phase,
    run: PoweredRun,
    line: Oscillation,
    motor: MotorSignal | None,
) -> RideEvent:
    """Turn a line that stands out into an event, with what the motor log says of it."""
    says = _ask_motor(motor, run, line)
    names = [_LABEL[s.name] for s in line.shares]
    alias_hz, alias = _alias_note(line.frequency_hz, run.rate_hz)
    amplitudes: dict[str, float | None] = {"speed": None, "vertical": None}
    for s in line.shares:
        if s.name == "speed_mps":
            amplitudes["speed"] = s.amplitude
        else:
            turn = 2.0 * np.pi * line.frequency_hz
            scale = {"vertical_mps": 1.0, "alt_m": turn, "az_mps2": 1.0 / turn}.get(s.name)
            amplitudes["vertical"] = None if scale is None else s.amplitude * scale
    growth, u95 = line.growth_per_s, line.growth_u95_per_s
    if growth > u95:
        trend = f"growing by {100 * np.expm1(growth):.0f} % a second: the warning before a blow-over"
    elif growth < -u95:
        trend = f"dying by {-100 * np.expm1(growth):.0f} % a second"
    else:
        trend = "neither clearly growing nor dying"
    text = (
        f"{' and '.join(names)} {'swing' if len(names) > 1 else 'swings'} at {line.frequency_hz:.2f} Hz for"
        f" {line.cycles:.0f} cycles, {trend}"
    )
    verdict: RideVerdict
    if says.driven:
        verdict, text = "not seen", f"{text}; but {says.text}: the driver's hand, not the hull"
    elif len(line.shares) > 1 or says.carried_by:
        verdict = "shown"
        text = f"{text}; {says.text}" if says.text else text
    else:
        verdict = "possible"
        text = f"{text}; one signal alone cannot tell porpoising from regular waves"
    return _event(
        cleaned,
        a_pass,
        "porpoising",
        phase,
        verdict,
        (line.start_s, line.end_s),
        text + alias,
        frequency_hz=line.frequency_hz,
        frequency_u95_hz=line.frequency_u95_hz,
        growth_per_s=growth,
        growth_u95_per_s=u95,
        speed_amplitude_mps=amplitudes["speed"],
        vertical_amplitude_mps=amplitudes["vertical"],
        alias_hz=alias_hz,
    )


def _porpoising(
    cleaned: Cleaned, a_pass: Pass, run: PoweredRun, motor: MotorSignal | None
) -> list[RideEvent]:
    """Judge both phases of one pass."""

    def all_phases(verdict: RideVerdict, why: str) -> list[RideEvent]:
        return [
            _event(cleaned, a_pass, "porpoising", p, verdict, (lo, hi), why) for p, lo, hi in run.phases()
        ]

    if run.band is None:
        return all_phases(
            "cannot tell",
            f"{run.rate_hz:.1f} samples a second show nothing of an oscillation at 1 to 10 Hz: log at 10 Hz"
            " or more",
        )
    signals = [w for w in ride_spectra(cleaned, run) if w is not None]
    if not signals:
        missing = (
            "neither measured speed nor vertical motion"
            if not _has_any(cleaned)
            else "too few usable samples"
        )
        return all_phases("cannot tell", f"the pass has {missing} to look at")
    scanned = correlate_signals(signals, run.band)
    phases = run.phases()
    found = {p: _best_line(scanned, lo, hi, None) for p, lo, hi in phases}
    first, second = found.get("take-off"), found.get("at speed")
    if first and second and _common_share(first, second) > 1.0 / 3.0:
        # One oscillation across both phases: it belongs to where it is surest; the other looks beyond it.
        better = (-len(first.shares), first.p_value) <= (-len(second.shares), second.p_value)
        strong, weak = (0, 1) if better else (1, 0)
        found[phases[weak][0]] = _best_line(scanned, *phases[weak][1:], found[phases[strong][0]])
    looked = " and ".join(_LABEL[w.ripple.name] for w in signals)
    rows = []
    for phase, lo, hi in phases:
        line = found[phase]
        if line is not None:
            rows.append(_from_line(cleaned, a_pass, phase, run, line, motor))
            continue
        if hi - lo < _SHORTEST_S or not scanned.scales:
            brief = "it lasts less than a second"
            why = brief if hi - lo < _SHORTEST_S else "the pass is too short to look for an oscillation in it"
            rows.append(_event(cleaned, a_pass, "porpoising", phase, "cannot tell", (lo, hi), why))
            continue
        least = detectable_amplitude(scanned, 0, _CHANCE, min(2.5, hi - lo))
        unit = {"speed_mps": "m/s in speed", "vertical_mps": "m/s in vertical speed"}.get(
            signals[0].ripple.name
        )
        would = f"; a steady ripple of {least:.2f} {unit} would have stood out" if unit else ""
        why = (
            f"no oscillation stands out of {looked} between {run.band[0]:.1f} and {run.band[1]:.1f} Hz"
            f"{would}; faster ones are hidden by the sampling"
        )
        rows.append(_event(cleaned, a_pass, "porpoising", phase, "not seen", (lo, hi), why))
    return rows


def _has_any(cleaned: Cleaned) -> bool:
    return any(cleaned.track.column(name) is not None for name in _LABEL)


def judge_ride(
    cleaned: Cleaned, motion: Motion, passes: Sequence[Pass], motor: MotorSignal | None = None
) -> tuple[RideEvent, ...]:
    """Judge how the passes of one log rode.

    Parameters
    ----------
    cleaned, motion
        Of the log.
    passes : sequence of Pass
        Of that log.
    motor : MotorSignal, optional
        The motor log on the speed log's clock.

    Returns
    -------
    tuple of RideEvent
        For each pass: porpoising at take-off, where the log shows one, and at speed; blow-over; veer.
    """
    rows: list[RideEvent] = []
    for a_pass in report_each(passes, len(passes)):
        stop = blow_over(cleaned, motion, a_pass)
        run = powered_run(motion, a_pass, stop)
        ripples = _porpoising(cleaned, a_pass, run, motor)
        rows += ripples
        rows.append(_blow_over_row(cleaned, a_pass, stop, ripples))
        bend = veer(cleaned, motion, a_pass, run.span_s[1])
        rows.append(
            _event(cleaned, a_pass, "veer", "at speed", bend.verdict, (bend.start_s, bend.end_s), bend.why)
        )
    return tuple(rows)


def _blow_over_row(cleaned: Cleaned, a_pass: Pass, stop: Incident, ripples: Sequence[RideEvent]) -> RideEvent:
    preceded = list(stop.preceded_by)
    why = stop.why
    if stop.verdict in ("shown", "possible"):
        close = [r for r in ripples if r.verdict in ("shown", "possible") and r.growing]
        if any(stop.start_s - _WARNING_S <= r.end_s <= stop.start_s + 0.5 for r in close):
            preceded.insert(0, "growing ripple")
        why += f"; before it: {', '.join(preceded)}" if preceded else "; nothing in the log announced it"
    return _event(
        cleaned,
        a_pass,
        "blow-over",
        "at speed",
        stop.verdict,
        (stop.start_s, stop.end_s),
        why,
        preceded_by=tuple(preceded),
    )
