"""Hold the ride's judgement against the simulator's truth; for a benchmark and a short test.

Amplitudes are set by the noise: each seed is first run clean, and the clean log's own spectrum over the
pass gives the standard deviation of chop and receiver together within the octave about the line. Three times
that is what the oscillation gets in speed and in vertical speed. It lasts six cycles or more, and grows or
dies by 0.2 to 0.8 a second.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from scipy.signal import welch

from sample_logs.simulator import Outing, Porpoising, RideScript, ThrottlePumping, Water, simulate_outing
from telemetry.analysis import Analysis, analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track
from telemetry.ride.judge import MotorSignal, RideEvent, judge_ride

# Standard deviation of surge [m/s] and of heave [m]: within, at the top of, and beyond a fair day's.
CHOP: Final = {"calm": (0.01, 0.002), "fair": (0.03, 0.006), "rough": (0.06, 0.012)}
SIGNALS: Final = ("both", "both + motor", "speed", "speed + motor", "vertical")
PHASES: Final = ("take-off", "at speed")
RATIO: Final = 3.0
_VERTICAL: Final = ["vertical_mps", "alt_m"]


@dataclass
class Ride:
    """Verdicts on oscillations that were there, and on passes where there was none, by what was logged."""

    told: dict[tuple[str, str], dict[str, int]] = field(default_factory=dict)
    clean: dict[tuple[str, str], dict[str, int]] = field(default_factory=dict)
    frequency_error: list[float] = field(default_factory=list)
    frequency_score: list[float] = field(default_factory=list)
    growth_error: list[float] = field(default_factory=list)
    growth_score: list[float] = field(default_factory=list)
    sign_right: list[bool] = field(default_factory=list)

    def __add__(self, other: Ride) -> Ride:
        total = Ride()
        for name in ("told", "clean"):
            counts = getattr(total, name)
            for part in (self, other):
                for key, verdicts in getattr(part, name).items():
                    for verdict, n in verdicts.items():
                        _count(counts, key, verdict, n)
        for name, values in vars(total).items():
            if isinstance(values, list):
                values += getattr(self, name) + getattr(other, name)
        return total

    def share(self, kind: str, verdict: str, signals: str = "both", phase: str | None = None) -> float:
        """Share of events (``told``) or of passes (``clean``) with a verdict."""
        counts = [v for (s, p), v in getattr(self, kind).items() if s == signals and phase in (None, p)]
        n = sum(sum(v.values()) for v in counts)
        return sum(v.get(verdict, 0) for v in counts) / n if n else float("nan")

    def number(self, kind: str, signals: str = "both") -> int:
        return sum(sum(v.values()) for (s, _), v in getattr(self, kind).items() if s == signals)

    def rows(self) -> list[str]:
        out = []
        for signals in SIGNALS:
            cells = [
                f"{100 * self.share(kind, verdict, signals, phase):6.1f}"
                for phase in PHASES
                for kind, verdict in (("told", "shown"), ("told", "possible"))
            ]
            cells += [f"{100 * self.share('clean', v, signals, 'pass'):6.1f}" for v in ("shown", "possible")]
            out.append(f"  {signals:<15}" + " ".join(cells))
        return out

    def summary(self) -> str:
        return (
            f"  both signals: frequency error {100 * np.median(self.frequency_error):.2f} % (median), covered"
            f" {100 * np.mean(np.array(self.frequency_score) <= 1):.0f} %; growth RMSE"
            f" {np.sqrt(np.mean(np.square(self.growth_error))):.3f} /s, covered"
            f" {100 * np.mean(np.array(self.growth_score) <= 1):.0f} %, sign right"
            f" {100 * np.mean(self.sign_right):.1f} %"
        )


HEAD: Final = (
    f"  {'logged':<15}{'take-off: shown, possible':>14} {'at speed':>8}      {'clean passes':>8}      [%]"
)


def _count(
    counts: dict[tuple[str, str], dict[str, int]], key: tuple[str, str], verdict: str, n: int = 1
) -> None:
    verdicts = counts.setdefault(key, {})
    verdicts[verdict] = verdicts.get(verdict, 0) + n


def motor_of(outing: Outing) -> MotorSignal:
    """The motor log on the speed log's clock, joined as well as a real join would."""
    motor = outing.motor
    return MotorSignal(
        outing.motor_clock.to_speed_log(motor.t_s),
        motor.column("throttle_pct"),
        motor.column("current_a"),
        motor.column("rpm"),
        clock_u95_s=0.05,
    )


def without(track: Track, columns: list[str]) -> Track:
    return replace(track, frame=track.frame.drop(columns=columns))


def judged(outing: Outing) -> tuple[dict[str, list[RideEvent]], Analysis]:
    """Judge one outing's porpoising with everything logged, and with parts of it left out."""
    analysis = analyse([outing.track])
    if not analysis.passes:
        return {}, analysis
    log = analysis.speed_logs[0]
    motor = motor_of(outing)
    speed_only = clean(without(outing.track, _VERTICAL))
    vertical_only = clean(without(outing.track, ["speed_mps"]))
    logs = {
        "both": (log.cleaned, None),
        "both + motor": (log.cleaned, motor),
        "speed": (speed_only, None),
        "speed + motor": (speed_only, motor),
        "vertical": (vertical_only, None),
    }
    rows = {
        name: [e for e in judge_ride(cleaned, log.motion, analysis.passes, m) if e.kind == "porpoising"]
        for name, (cleaned, m) in logs.items()
    }
    return rows, analysis


def noise_in_octave(outing: Outing, pass_index: int, name: str, f_hz: float) -> float:
    """Standard deviation of a clean log's signal within the octave about a frequency, over one true pass."""
    t_s, values = outing.track.t_s, outing.track.column(name)
    assert values is not None
    true = outing.passes[pass_index]
    inside = (t_s >= true.start_s + 0.5) & (t_s <= true.end_s)
    rate_hz = outing.track.rate_hz
    t = t_s[inside] - t_s[inside].mean()
    rest = values[inside] - np.polynomial.Polynomial.fit(t, values[inside], 5)(t)
    n = min(rest.size, round(3.0 * rate_hz))
    f, density = welch(rest, rate_hz, nperseg=n, noverlap=n // 2, detrend="linear")
    low, high = f_hz / np.sqrt(2.0), min(f_hz * np.sqrt(2.0), rate_hz / 2.0)
    octave = (f >= low) & (f <= high)
    return float(np.sqrt(density[octave].mean() * (high - low)))


def study_ride(rate_hz: float, chop: str, seeds: Iterable[int]) -> Ride:
    """For each seed two clean passes, then the same two with an oscillation at take-off and one at speed."""
    ride = Ride()
    surge_mps, heave_m = CHOP[chop]
    water = Water(chop_speed_sd_mps=surge_mps, chop_heave_sd_m=heave_m)
    for seed in seeds:
        rng = np.random.default_rng([seed, 9])
        quiet = simulate_outing(seed, rate_hz=rate_hz, water=water, passes=2)
        rows, analysis = judged(quiet)
        for signals, events in rows.items():
            for p in analysis.passes:
                verdicts = {e.verdict for e in events if e.pass_id == p.id}
                worst = next(v for v in ("shown", "possible", "not seen", "cannot tell") if v in verdicts)
                _count(ride.clean, (signals, "pass"), worst)
        events = []
        for k, phase in enumerate(PHASES):
            f_hz = rng.uniform(1.5, min(0.42 * rate_hz, 6.0))
            growth = rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 0.8)
            amplitudes = [RATIO * noise_in_octave(quiet, k, c, f_hz) for c in ("speed_mps", "vertical_mps")]
            duration_s = max(rng.uniform(2.8, 4.0), 6.0 / f_hz)
            events.append(Porpoising(k, phase, f_hz, growth, *amplitudes, duration_s))
        outing = simulate_outing(
            seed, rate_hz=rate_hz, water=water, passes=2, ride=RideScript(porpoising=tuple(events))
        )
        rows, _ = judged(outing)
        for signals, found in rows.items():
            for true in outing.ride_events:
                hits = [
                    e for e in found if e.frequency_hz and e.start_s < true.end_s and e.end_s > true.start_s
                ]
                best = min(hits, key=lambda e: e.verdict != "shown", default=None)
                _count(ride.told, (signals, true.phase), "missed" if best is None else best.verdict)
                if signals == "both" and best is not None and best.verdict == "shown":
                    _score(ride, best, true.frequency_hz, true.growth_per_s)
    return ride


def _score(ride: Ride, event: RideEvent, f_hz: float, growth: float) -> None:
    assert event.frequency_hz is not None
    assert event.growth_per_s is not None
    ride.frequency_error.append(abs(event.frequency_hz / f_hz - 1.0))
    ride.frequency_score.append(abs(event.frequency_hz - f_hz) / event.frequency_u95_hz)
    ride.growth_error.append(event.growth_per_s - growth)
    ride.growth_score.append(abs(event.growth_per_s - growth) / event.growth_u95_per_s)
    ride.sign_right.append(event.growth_per_s * growth > 0)


def study_pumping(rate_hz: float, seeds: Iterable[int]) -> Ride:
    """Passes in which the driver works the throttle and the hull is quiet."""
    ride = Ride()
    for seed in seeds:
        rng = np.random.default_rng([seed, 10])
        pumping = ThrottlePumping(0, 2.8, 3.5, rng.uniform(1.3, 2.5), rng.uniform(0.1, 0.3))
        outing = simulate_outing(seed, rate_hz=rate_hz, passes=1, ride=RideScript(pumping=pumping))
        rows, _ = judged(outing)
        for signals, found in rows.items():
            verdicts = {e.verdict for e in found}
            worst = next((v for v in ("shown", "possible", "not seen", "cannot tell") if v in verdicts), None)
            if worst:
                _count(ride.clean, (signals, "pass"), worst)
    return ride


def study_slow(rate_hz: float, seeds: Iterable[int]) -> list[str]:
    """Verdicts of slow logs on passes that do porpoise."""
    out = []
    for seed in seeds:
        ride = RideScript(porpoising=(Porpoising(0, "at speed", 3.0, 0.3, 1.0, 1.0, 3.0),))
        rows, _ = judged(simulate_outing(seed, rate_hz=rate_hz, passes=2, ride=ride))
        out += [e.verdict for events in rows.values() for e in events]
    return out
