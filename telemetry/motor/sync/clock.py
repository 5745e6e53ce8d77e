"""Match a motor log, which runs on the controller's own clock, to a speed log.

The coarse relation comes from a normalised cross-correlation over every possible overlap, the fine one from
the surge model of :mod:`telemetry.motor.sync.surge_model`. The result ties the motor log to the speeds
*as stamped*: a receiver whose speed lags its stamps makes the motor log late by that lag, unless the caller
gives it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy.special import stdtrit

from telemetry.cleaning.clean import Cleaned
from telemetry.core.frames import FloatArray, MotorLog
from telemetry.kinematics.whole_log import Motion, blur_s
from telemetry.motor.sync.correlation import best_shifts, cross_correlation
from telemetry.motor.sync.drive_signal import DriveSignal, choose_drive_signal
from telemetry.motor.sync.speed_steps import Drive, integrate_drive, speed_steps
from telemetry.motor.sync.surge_model import DRAG_KNOTS, ClockStep, SurgeFit, SurgeProblem

# The coarse search: sample rate, number of candidates for a second look, and how slowly a hull follows its
# shaft.
_GRID_S = 0.2
_DAY_S, _LONGEST_DAYS = 86_400.0, 7
_CANDIDATES = 6
_APART_S = 2.0
_HULL_S = 0.8
_MIN_COMMON_S = 15.0
# The second look, on thinned speeds, around each candidate.
_QUICK_STEP_S = 0.18
_AROUND_S = np.linspace(-0.8, 0.8, 5)
_REFINED = 3
_WORTH_SHARE = 0.3
# The fine search starts on five minutes, where drift cannot hide the match, and doubles from there.
_WINDOW_S = 300.0
_ROUNDS = 20
_MAX_STEP_S = 0.3
_SETTLED_S = 1e-3
_PATH_ROUNDS = 12  # two at 5 Hz and above, eight at 1 Hz
_DRIFT_SD = 600e-6  # a flat +-1000 ppm has this standard deviation
# What a match has to show (see DEVELOPERS.md: set on simulated outings of the same boat, true and foreign).
_MIN_CHANGE_MPS = 4.0
_RUN_SHARE = 0.5
_MIN_RUNS = 2
_MIN_CLUSTERS = 2.0
_MIN_EXPLAINED = 0.8
_MAX_SCATTER_S = 0.06
_MAX_U95_S = 0.25
_MAX_DRIFT = 1500e-6
_RIVAL_SHARE = 0.9
_SLOW_SHARE = 0.1
_REMAINING = 1.0 / 3.0
# Constant speeds, or speeds without noise (a synthetic log), leave zero, which has no logarithm.
_MIN_NOISE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorClock:
    """Relation of a motor log's clock to a speed log's.

    Attributes
    ----------
    offset_s, drift_ppm : float
        ``t_s * (1 + drift_ppm * 1e-6) + offset_s`` is seconds after the speed log's start.
    u95_s : float
        Half-width of the 95 % interval of that, at its widest over the motor log [s].
    method : str
        What it was derived from.
    trusted : bool
        False if the logs do not match or do not hold enough; no figure may then be taken from the motor log.
    why : str
        The reason in a sentence, for the user.
    start_s, end_s : float
        The part both logs cover, on the speed log's clock [s].
    """

    offset_s: float
    drift_ppm: float
    u95_s: float
    method: str
    trusted: bool
    why: str
    start_s: float
    end_s: float

    def to_speed_log(self, motor_s: FloatArray) -> FloatArray:
        """Return times of the motor log on the speed log's clock, any shape [s]."""
        return np.asarray(motor_s * (1.0 + self.drift_ppm * 1e-6) + self.offset_s)

    def to_motor(self, t_s: FloatArray) -> FloatArray:
        """Return times of the speed log on the motor log's clock, any shape [s]."""
        return np.asarray((t_s - self.offset_s) / (1.0 + self.drift_ppm * 1e-6))

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract's form; what is not known is None."""
        return {k: None if isinstance(v, float) and np.isnan(v) else v for k, v in asdict(self).items()}


@dataclass(frozen=True)
class _Match:
    """A candidate relation of the clocks, examined closely."""

    fit: SurgeFit
    step: ClockStep
    problem: SurgeProblem
    start_s: float
    end_s: float
    runs: int


def match_clock(motor: MotorLog, cleaned: Cleaned, motion: Motion, lag_s: float = 0.0) -> MotorClock:
    """Estimate the relation of a motor log's clock to a speed log's.

    Parameters
    ----------
    motor : MotorLog
        With shaft speed, current or throttle; the first of these it has is compared with the speed.
    cleaned, motion : Cleaned, Motion
        Of the speed log.
    lag_s : float
        Known lag of the logged speed behind its stamps [s].

    Returns
    -------
    MotorClock
        ``trusted`` is False if the logs do not match or are not conclusive.

    Notes
    -----
    The 95 % interval is that of the match to the logged speed; an unknown lag of the receiver is not
    included. A start time written by the controller is tried too, and accepted only if the speeds confirm it.
    """
    if _one_table(motor, cleaned):
        start_s, end_s = _shared(motor, motion, 0.0, 0.0)
        why = "both logs are columns of one table"
        return MotorClock(
            offset_s=0.0,
            drift_ppm=0.0,
            u95_s=0.0,
            method="one table, one clock",
            trusted=True,
            why=why,
            start_s=start_s,
            end_s=end_s,
        )
    differenced = cleaned.track.column("speed_mps") is None
    chosen = choose_drive_signal(motor, blur_s(motion.t_s) if differenced else 0.0)
    if chosen is None:
        return _refused(
            "no comparison", "the motor log has neither rpm, current nor throttle to compare with"
        )
    proxy, drive = chosen
    method = f"{proxy.name} against speed"
    speed = motion.speed_mps[np.isfinite(motion.speed_mps)]
    if speed.size < 20 or np.ptp(speed) < _MIN_CHANGE_MPS:
        return _refused(method, "the speed hardly changes, so there is nothing to compare")
    if any(b - a > _LONGEST_DAYS * _DAY_S for a, b in map(_main_span, (motion.t_s, drive.t_s))):
        return _refused(method, f"a log of more than {_LONGEST_DAYS} days is not one outing: split it")
    matches = _matches(motor, cleaned, motion, drive)
    if not matches:
        return _refused(method, "the logs do not overlap where both change")
    likelihood = _likelihoods(matches)
    judged = [_judged(match, proxy, lag_s) for match in matches]
    sound = [k for k, clock in enumerate(judged) if clock.trusted]
    order = sorted(sound or range(len(matches)), key=lambda k: -likelihood[k])
    rivals = [
        k
        for k in order[1:]
        if likelihood[k] > _RIVAL_SHARE * likelihood[order[0]]
        and abs(matches[k].fit.rest_s - matches[order[0]].fit.rest_s) > _APART_S / 2.0
    ]
    if sound and rivals:
        return replace(judged[order[0]], trusted=False, why="it matches equally well in more than one place")
    return judged[order[0]]


def _one_table(motor: MotorLog, cleaned: Cleaned) -> bool:
    a, b = motor.meta, cleaned.track.meta
    return (a.file, a.sha256, a.start_utc) == (b.file, b.sha256, b.start_utc)


def _shared(motor: MotorLog, motion: Motion, offset_s: float, drift: float) -> tuple[float, float]:
    ends = motor.t_s[[0, -1]] * (1.0 + drift) + offset_s
    return float(max(ends[0], motion.t_s[0])), float(min(ends[1], motion.t_s[-1]))


def _refused(method: str, why: str) -> MotorClock:
    return MotorClock(
        offset_s=float("nan"),
        drift_ppm=float("nan"),
        u95_s=float("nan"),
        method=method,
        trusted=False,
        why=why,
        start_s=float("nan"),
        end_s=float("nan"),
    )


def _main_span(t_s: FloatArray) -> tuple[float, float]:
    """Find the span with the most samples and no gap of a day: a false stamp is years away."""
    parts = np.split(t_s, np.flatnonzero(np.diff(t_s) > _DAY_S) + 1)
    main = max(parts, key=len)
    return float(main[0]), float(main[-1])


def _candidates(motor: MotorLog, cleaned: Cleaned, motion: Motion, drive: Drive) -> list[float]:
    """List offsets for a second look [s], including the stated one."""
    # Imported here, since only a motor log needs it and it takes as long as all else together.
    from scipy.signal import lfilter

    known = np.isfinite(motion.speed_mps)
    v_t, u_t = (np.arange(*_main_span(t_s), _GRID_S) for t_s in (motion.t_s, drive.t_s))
    v = np.interp(v_t, motion.t_s[known], motion.speed_mps[known])
    decay = float(np.exp(-_GRID_S / _HULL_S))
    u = lfilter([1.0 - decay], [1.0, -decay], np.interp(u_t, drive.t_s, drive.value))
    shift, r = cross_correlation(v, np.asarray(u), round(_MIN_COMMON_S / _GRID_S))
    places = best_shifts(shift, r, _CANDIDATES, round(_APART_S / _GRID_S))
    offsets = [float(v_t[0] + k * _GRID_S - u_t[0]) for k in places]
    stated, start = motor.meta.start_utc, cleaned.track.meta.start_utc
    if stated is not None and start is not None:
        offsets.insert(0, (stated - start).total_seconds())
    return offsets


def _busiest(problem: SurgeProblem, start_s: float, end_s: float) -> tuple[float, float]:
    """Choose the window of the overlap in which the speed changes most."""
    if end_s - start_s <= _WINDOW_S:
        return start_s, end_s
    t = problem.inc.start_s
    change = np.r_[0.0, np.cumsum(np.abs(problem.inc.rise_mps))]
    begins = np.arange(start_s, end_s - _WINDOW_S, 5.0)
    inside = change[np.searchsorted(t, begins + _WINDOW_S)] - change[np.searchsorted(t, begins)]
    begin_s = float(begins[int(np.argmax(inside))])
    return begin_s, begin_s + _WINDOW_S


def _matches(motor: MotorLog, cleaned: Cleaned, motion: Motion, drive: Drive) -> list[_Match]:
    """Fit every candidate roughly and the best ones precisely."""
    problem = SurgeProblem(speed_steps(cleaned, motion), drive)
    quick = SurgeProblem(speed_steps(cleaned, motion, _QUICK_STEP_S), drive)
    looked: list[tuple[SurgeFit, tuple[float, float]]] = []
    for offset_s in _candidates(motor, cleaned, motion, drive):
        window = _busiest(quick, *_shared(motor, motion, offset_s, 0.0))
        part = quick.within(*window)
        fits = [fit for d in _AROUND_S if (fit := part.at(offset_s + float(d), 0.0)) is not None]
        if fits:
            looked.append((max(fits, key=lambda fit: fit.explained), window))
    looked.sort(key=lambda pair: -_gain(pair[0]))
    looked = [pair for pair in looked[:_REFINED] if _gain(pair[0]) >= _WORTH_SHARE * _gain(looked[0][0])]
    matches = []
    for fit, window in looked:
        match = _refined(problem, fit, window, motor, motion)
        if match is not None:
            matches.append(match)
    return matches


def _gain(fit: SurgeFit) -> float:
    return fit.used.size * float(np.log(max(fit.total, _MIN_NOISE) / max(fit.unexplained, _MIN_NOISE)))


def _refined(
    problem: SurgeProblem, fit: SurgeFit, window: tuple[float, float], motor: MotorLog, motion: Motion
) -> _Match | None:
    """Iterate offset and drift until they settle, on a window that grows to the whole overlap."""
    rest_s, drift = fit.rest_s, 0.0
    cleared = False
    while True:
        part = problem.within(*window)
        settled = _settled(part, rest_s, drift)
        if settled is None:
            return None
        fit, step = settled
        rest_s, drift = fit.rest_s, fit.drift
        start_s, end_s = _shared(motor, motion, rest_s - drift * problem.middle_s, drift)
        whole = window[0] <= start_s and window[1] >= end_s
        if whole:
            sounder = part if cleared else part.without_outliers(fit)
            if sounder is part:
                break
            problem, cleared = sounder, True
            continue
        length_s = max(window[1] - window[0], 1.0)
        window = window[0] - 0.5 * length_s, window[1] + 0.5 * length_s
    for _ in range(_PATH_ROUNDS):
        part = part.following(fit)
        before_s = fit.rest_s
        settled = _settled(part, fit.rest_s, fit.drift)
        if settled is None:
            return None
        fit, step = settled
        if abs(fit.rest_s - before_s) < _SETTLED_S:
            break
    start_s, end_s = _shared(motor, motion, fit.rest_s - fit.drift * part.middle_s, fit.drift)
    return _Match(fit, step, part, start_s, end_s, _runs(motion, start_s, end_s))


def _settled(part: SurgeProblem, rest_s: float, drift: float) -> tuple[SurgeFit, ClockStep] | None:
    best: tuple[SurgeFit, ClockStep] | None = None
    for _ in range(_ROUNDS):
        fit = part.at(rest_s, drift)
        if fit is None or fit.total <= 0.0:
            break
        step = part.step(fit, _DRIFT_SD)
        best = fit, step
        if abs(step.rest_s) < _SETTLED_S:
            break
        share = min(1.0, _MAX_STEP_S / abs(step.rest_s))
        rest_s, drift = rest_s + share * step.rest_s, drift + share * step.drift
    return best


def _runs(motion: Motion, start_s: float, end_s: float) -> int:
    """Count how often the speed rises and falls in a span."""
    known = np.isfinite(motion.speed_mps)
    top = float(np.percentile(motion.speed_mps[known], 99.5))
    inside = known & (motion.t_s >= start_s) & (motion.t_s <= end_s)
    fast = (motion.speed_mps[inside] > _RUN_SHARE * top).astype(np.int8)
    return int(min(np.sum(np.diff(fast) == 1), np.sum(np.diff(fast) == -1)))


def _likelihoods(matches: list[_Match]) -> list[float]:
    """Rank matches by likelihood; outside the overlap any change of speed is possible."""
    # A short overlap can match by chance, so the noise is taken from matches with longer overlaps.
    reliable = [m for m in matches if m.runs >= _MIN_RUNS] or matches
    noise = max(min(m.fit.unexplained / m.fit.used.size for m in reliable), _MIN_NOISE)
    wild = max(_MIN_NOISE, *(m.fit.total / m.fit.used.size for m in matches))

    def one(m: _Match) -> float:
        covered = m.fit.used.size * float(np.log(wild / noise))
        return covered + m.fit.total / wild - m.fit.unexplained / noise - (m.fit.drift / _DRIFT_SD) ** 2

    return [one(m) for m in matches]


def _judged(match: _Match, proxy: DriveSignal, lag_s: float) -> MotorClock:
    fit, step, problem = match.fit, match.step, match.problem
    offset_s, method = fit.rest_s - fit.drift * problem.middle_s, f"{proxy.name} against speed"
    ends = np.stack([np.ones(2), problem.drive.t_s[[0, -1]] - problem.middle_s], axis=1)
    scatter_var = np.einsum("ei,ij,ej->e", ends, problem.covariance(fit, _DRIFT_SD), ends)
    var = scatter_var + np.einsum("ei,ij,ej->e", ends, _form_covariance(match, proxy), ends)
    # Welch and Satterthwaite (JCGM 100, G.4): only the scatter has few degrees of freedom.
    freedom = max(step.clusters - 2.0, 1.0) * (var / scatter_var) ** 2
    u95_s = float(np.max(stdtrit(freedom, 0.975) * np.sqrt(var)))
    clock = MotorClock(
        offset_s=offset_s - lag_s,
        drift_ppm=fit.drift * 1e6,
        u95_s=u95_s,
        method=method,
        trusted=True,
        why="",
        start_s=match.start_s - lag_s,
        end_s=match.end_s - lag_s,
    )
    why = _objection(match, u95_s)
    if why:
        return replace(clock, trusted=False, why=why)
    return replace(
        clock,
        why=f"{match.runs} runs overlap; {100 * fit.explained:.0f} % of the changes of speed follow from "
        f"the motor log; the runs agree within {1000 * step.scatter_s:.0f} ms",
    )


def _form_covariance(match: _Match, proxy: DriveSignal) -> FloatArray:
    """Estimate how another form of the forces would shift offset and drift, as a covariance, shape (2, 2).

    The log shows how well the model's forces fit, not whether another law would place its corners elsewhere.
    So the power with which thrust follows the motor is shifted by its standard deviation to either side, and
    drag is given half as many knots. Straight lines between knots miss a curve by the square of their
    distance, so that a third of the change on doubling it is the remaining error (Richardson).
    """
    fit, problem = match.fit, match.problem
    drive = problem.drive
    powers = [
        integrate_drive(drive.t_s, drive.value ** (1.0 + sign * proxy.power_sd)) for sign in (-1.0, 1.0)
    ]
    others = [(0.5, SurgeProblem(problem.inc, other)) for other in powers]
    others.append((_REMAINING**2, SurgeProblem(problem.inc, drive, DRAG_KNOTS // 2 + 1)))
    covariance = np.zeros((2, 2))
    for weight, other in others:
        refitted = other.at(fit.rest_s, fit.drift)
        if refitted is not None:
            step = other.step(refitted, _DRIFT_SD)
            moved = np.array([step.rest_s, step.drift])
            covariance += weight * np.outer(moved, moved)
    return covariance


def _step_s(problem: SurgeProblem) -> float:
    return float(np.median(problem.inc.span_s))


def _objection(match: _Match, u95_s: float) -> str:
    """Return the reason against a match; empty if there is none."""
    fit, scatter_s = match.fit, match.step.scatter_s
    if match.runs < _MIN_RUNS or match.step.clusters < _MIN_CLUSTERS:
        return "the overlap holds one run at most, which any outing could match"
    if fit.explained < _MIN_EXPLAINED or fit.coefficients[0] <= 0.0:
        return (
            f"the speed does not follow the motor log (at best {100 * max(fit.explained, 0.0):.0f} % of its "
            "changes): it belongs to another outing or another boat"
        )
    if abs(fit.drift) > _MAX_DRIFT:
        return "the logs only match if one clock runs far too fast: they belong to different outings"
    # Few runs can agree by chance, many hardly; slow sampling and a rippling ride increase their scatter.
    most_s = _MAX_SCATTER_S * min(0.5 * (match.runs - 1), 1.5)
    if scatter_s > max(most_s, _SLOW_SHARE * _step_s(match.problem)):
        return (
            f"the runs disagree on the clock by {scatter_s:.2f} s: the motor log is from another outing, or "
            "its clock does not run evenly"
        )
    if u95_s > _MAX_U95_S:
        return f"the clocks can only be matched within {u95_s:.2f} s, too coarse for a comparison"
    return ""
