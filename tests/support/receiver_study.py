"""Every speed held against the truth over receivers as they are, beside the simple methods.

``python tests/receiver_study.py --outings 10 --first 1000 --jobs 2`` prints one table, a line a condition.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Final

import numpy as np
from scipy.ndimage import median_filter

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]  # as pytest sets them

from sample_logs.courses_real import (  # noqa: E402
    Hull,
    curved_legs,
    drive_course,
    hard_acceleration,
    never_settles,
    oval,
    s_course,
    there_and_back,
    usual,
)
from sample_logs.receivers_real import RealReceiver, Reflections, record  # noqa: E402
from sample_logs.simulator import Water, simulate_outing  # noqa: E402
from sample_logs.truth import FINE_HZ, Truth  # noqa: E402
from telemetry import analysis as library  # noqa: E402
from telemetry.core.frames import FloatArray, Track  # noqa: E402
from telemetry.core.geo import CourseLine  # noqa: E402
from telemetry.core.units import SIXTEENTH_MILE_M  # noqa: E402

Maker = Callable[[int], Truth]


def _drive(seed: int) -> Truth:
    return simulate_outing(seed).truth


def _chop(vertical_mps: float) -> Maker:
    """Chop by its vertical speed; the surge is a fifth of it, as :meth:`Water.drawn` has heave and surge."""
    surge_mps = vertical_mps / 5.0

    def make(seed: int) -> Truth:
        return simulate_outing(seed, water=Water(0.1, 0.1, 1.0, 1.0, surge_mps, vertical_mps / 30.0)).truth

    return make


def _course(hull: Callable[[np.random.Generator], Hull], turner: Callable[..., FloatArray]) -> Maker:
    def make(seed: int) -> Truth:
        rng = np.random.default_rng([seed, 77])
        return drive_course(rng, hull(rng), turner)

    return make


_PLAIN = RealReceiver()


@dataclass(frozen=True)
class Condition:
    """A receiver, and what it is carried on."""

    receiver: RealReceiver = _PLAIN
    make: Maker = _drive


def _r(**habits: object) -> Condition:
    return Condition(RealReceiver(**habits))  # type: ignore[arg-type]


_POSITIONS = {"has_speed": False}
_NOISY = {"position_white_sd_m": 0.3, "position_walk_sd_m": 2.5, "position_walk_tau_s": 20.0}
CONDITIONS: Final[dict[str, Condition]] = {
    "clean 10 Hz": _r(),
    "clean 25 Hz": _r(rate_hz=25.0),
    "clean 5 Hz": _r(rate_hz=5.0),
    "clean 1 Hz": _r(rate_hz=1.0),
    "speed low-passed 0.2 s": _r(speed_filter_s=0.2),
    "speed low-passed 0.4 s": _r(speed_filter_s=0.4),
    "speed low-passed 0.8 s": _r(speed_filter_s=0.8),
    "speed 2 poles 0.4 s": _r(speed_filter_s=0.4, poles=2),
    "both low-passed 0.4 s": _r(speed_filter_s=0.4, position_filter_s=0.4),
    "both low-passed 0.8 s": _r(speed_filter_s=0.8, position_filter_s=0.8),
    "speed mean over 1 s": _r(mean_s=1.0),
    "speed late 0.3 s": _r(speed_delay_s=0.3),
    "speed late 0.5 s": _r(speed_delay_s=0.5),
    "ordinary logger 5 Hz": _r(
        rate_hz=5.0, speed_filter_s=0.3, position_filter_s=0.0, speed_step_mps=0.1 / 3.6
    ),
    "phone, fused, 1 Hz": _r(
        rate_hz=1.0, speed_filter_s=1.0, position_filter_s=1.0, jitter_s=0.02, hold_below_mps=0.3
    ),
    "noise 0.12 m/s over 2 s": _r(coloured_sd_mps=0.12, coloured_tau_s=2.0),
    "noise 0.06 m/s over 3 s": _r(coloured_sd_mps=0.06, coloured_tau_s=3.0),
    "steps of 1 km/h": _r(speed_step_mps=1.0 / 3.6),
    "reflections, position follows": _r(reflections=Reflections()),
    "reflections, position does not": _r(reflections=Reflections(with_position=False)),
    "static hold 1 m/s": _r(hold_below_mps=1.0),
    "jitter 20 ms": _r(jitter_s=0.02),
    "3-D speed, chop 0.3": Condition(RealReceiver(three_d=True), _chop(0.3)),
    "chop 0.1 m/s vertical": Condition(make=_chop(0.1)),
    "chop 0.2 m/s vertical": Condition(make=_chop(0.2)),
    "chop 0.3 m/s vertical": Condition(make=_chop(0.3)),
    "chop 0.5 m/s vertical": Condition(make=_chop(0.5)),
    "never settles, 10 Hz": Condition(make=_course(never_settles, there_and_back)),
    "never settles, 1 Hz": Condition(RealReceiver(rate_hz=1.0), _course(never_settles, there_and_back)),
    "hard acceleration, 1 Hz": Condition(
        RealReceiver(rate_hz=1.0), _course(hard_acceleration, there_and_back)
    ),
    "hard acceleration, 10 Hz": Condition(make=_course(hard_acceleration, there_and_back)),
    "never settles, speed 0.4 s": Condition(
        RealReceiver(speed_filter_s=0.4), _course(never_settles, there_and_back)
    ),
    "oval": Condition(make=_course(usual, oval)),
    "S course": Condition(make=_course(usual, s_course)),
    "curved legs": Condition(make=_course(usual, curved_legs)),
    "positions only, 10 Hz": _r(**_POSITIONS),
    "positions only, 10 Hz, noisy": _r(**_POSITIONS, **_NOISY),
    "positions only, 1 Hz": _r(**_POSITIONS, rate_hz=1.0),
    "positions only, 1 Hz, 1e-5 deg": _r(**_POSITIONS, rate_hz=1.0, position_decimals=5),
    "speed only": _r(has_positions=False),
    "speed only, low-passed 0.4 s": _r(has_positions=False, speed_filter_s=0.4),
}
FIGURES: Final = ("peak", "held", "330 ft", "two-way")
SIMPLE: Final = ("largest", "median of 3", "mean 1 s", "lines")


def whole(truth: Truth) -> Truth:
    """Let each pass last until the hull has slowed to half of its top.

    The simulator ends a pass where its driver lifts, while its best second or 330 ft may go on a little.
    """
    over_m = np.concatenate([[0.0], np.cumsum(0.5 * (truth.speed_mps[1:] + truth.speed_mps[:-1]) / FINE_HZ)])
    second = round(FINE_HZ)
    passes = []
    for p in truth.passes:
        after = truth.span(p.end_s, p.end_s + 10.0)
        slow = np.flatnonzero(truth.speed_mps[after] < 0.5 * p.peak_mps)
        part = truth.span(
            p.start_s,
            float(truth.t_s[after.start + int(slow[0] if slow.size else after.stop - after.start - 1)]),
        )
        first, last = part.start, part.stop - 1
        held = (over_m[first + second : last + 1] - over_m[first : last + 1 - second]).max()
        peak = float(truth.speed_mps[part].max())
        passes.append(replace(p, end_s=float(truth.t_s[last]), held_1s_mps=float(held), peak_mps=peak))
    return truth.with_passes(tuple(passes))


def track_of(seed: int, condition: Condition) -> tuple[Truth, Track]:
    """Simulate one outing of a condition; device and noise are drawn with the seed."""
    truth = whole(condition.make(seed))
    rng = np.random.default_rng([seed, 913])
    return truth, record(rng, condition.receiver.drawn(rng), truth)


def match(passes: Iterable[object], truth: Truth) -> dict[int, int]:
    """For each found pass the true pass that its middle lies in."""
    found: dict[int, int] = {}
    for k, p in enumerate(passes):
        middle = 0.5 * (p.start_s + p.end_s)  # type: ignore[attr-defined]
        for i, true in enumerate(truth.passes):
            if true.start_s <= middle <= true.end_s + 2.0:
                found[k] = i
    return found


def simple(track: Track, truth: Truth, index: int) -> dict[tuple[str, str], float]:
    """Estimate one pass by the simple methods: by figure and method."""
    true = truth.passes[index]
    t = track.t_s
    rows = np.flatnonzero((t >= true.start_s - 0.5) & (t <= true.end_s + 1.5))
    t = t[rows]
    out: dict[tuple[str, str], float] = {}
    v = track.column("speed_mps")
    lat, lon = track.column("lat_deg"), track.column("lon_deg")
    along = None
    if lat is not None and lon is not None:
        e, n = truth.frame.to_local(lat[rows], lon[rows])
        h = np.radians(true.heading_deg)
        along = e * np.sin(h) + n * np.cos(h)
        steps = np.hypot(np.diff(e), np.diff(n)) / np.diff(t)
        if v is None:
            v_here, t_v = steps, 0.5 * (t[1:] + t[:-1])
    if v is not None:
        v_here, t_v = v[rows], t
    out["peak", "largest"] = float(v_here.max())
    out["peak", "median of 3"] = float(median_filter(v_here, 3).max())
    way = np.concatenate([[0.0], np.cumsum(0.5 * (v_here[1:] + v_here[:-1]) * np.diff(t_v))])
    begin = t_v[t_v <= t_v[-1] - 1.0]
    mean = float((np.interp(begin + 1.0, t_v, way) - np.interp(begin, t_v, way)).max())
    out["peak", "mean 1 s"] = out["held", "mean 1 s"] = mean
    if along is not None:
        far = np.maximum.accumulate(along)
        begin = far[far <= far[-1] - SIXTEENTH_MILE_M]
        if begin.size:
            taken = np.interp(begin + SIXTEENTH_MILE_M, far, t) - np.interp(begin, far, t)
            out["330 ft", "lines"] = float(SIXTEENTH_MILE_M / taken.min())
        later = t[t <= t[-1] - 1.0]
        out["held", "lines"] = float((np.interp(later + 1.0, t, along) - np.interp(later, t, along)).max())
    return out


def lines_two_way(track: Track, truth: Truth, i: int, j: int, gates: object) -> float:
    """Two-way by straight lines between fixes over given gates."""
    (la1, lo1), (la2, lo2) = gates  # type: ignore[misc]
    lat, lon = track.column("lat_deg"), track.column("lon_deg")
    if lat is None or lon is None:
        return float("nan")
    (e1, e2), (n1, n2) = truth.frame.to_local([la1, la2], [lo1, lo2])
    line = CourseLine(float(e1), float(n1), float(np.degrees(np.arctan2(e2 - e1, n2 - n1))))
    d = float(np.hypot(e2 - e1, n2 - n1))
    speeds = []
    for k in (i, j):
        p = truth.passes[k]
        rows = np.flatnonzero((track.t_s >= p.start_s - 1.0) & (track.t_s <= p.end_s + 3.0))
        e, n = truth.frame.to_local(lat[rows], lon[rows])
        a, _ = line.along_across(e, n)
        sign = 1.0 if a[-1] > a[0] else -1.0
        x = np.maximum.accumulate(sign * a)
        t1, t2 = np.interp(sign * np.array([0.0, d]), x, track.t_s[rows])
        speeds.append(d / abs(t2 - t1) if t1 != t2 else np.nan)
    return float(np.mean(speeds))


@dataclass
class Outcome:
    """What one outing showed."""

    miss: int
    invented: int
    rows: list[tuple[str, float, float]]  # figure, error, half-width
    beside: list[tuple[str, str, float]]  # figure, method, error
    cannot: int
    counts: int
    findings: tuple[str, ...]


def outing(name: str, seed: int) -> Outcome:
    """Analyse one outing of a condition."""
    truth, track = track_of(seed, CONDITIONS[name])
    gates = truth.place_gates(SIXTEENTH_MILE_M) if _shares(truth) else None
    analysis = library.analyse([track], library.Request(gates=gates))
    found = match(analysis.passes, truth)
    rows: list[tuple[str, float, float]] = []
    beside: list[tuple[str, str, float]] = []
    for k, i in found.items():
        p, true = analysis.passes[k], truth.passes[i]
        truths = {"peak": true.peak_mps, "held": true.held_1s_mps}
        rows.append(("peak", p.peak_mps - true.peak_mps, p.peak_u95_mps))
        rows.append(("held", p.held_1s_mps - true.held_1s_mps, p.held_1s_u95_mps))
        best = truth.best_average_mps(i, SIXTEENTH_MILE_M) if _straight(truth, i) else float("nan")
        truths["330 ft"] = best
        for d in p.distances:
            if d.distance_m == SIXTEENTH_MILE_M and not np.isnan(best):
                rows.append(("330 ft", d.speed_mps - best, d.u95_mps))
        for (figure, method), value in simple(track, truth, i).items():
            if not np.isnan(truths[figure]):
                beside.append((figure, method, value - truths[figure]))
    cannot = counts = 0
    for w in analysis.two_ways:
        counts += w.verdict == "counts"
        i, j = (found.get(int(p[1:]) - 1) for p in w.passes)
        if i is None or j is None:
            continue
        g = tuple((x.lat_deg, x.lon_deg) for x in w.gates)
        true_mps = truth.mean_two_way_mps(i, j, *g)
        if np.isnan(true_mps):
            continue
        cannot += w.verdict == "cannot tell"
        rows.append(("two-way", w.average_mps - true_mps, w.u95_mps))
        beside.append(("two-way", "lines", lines_two_way(track, truth, i, j, g) - true_mps))
    codes = tuple(sorted({f.code for log in analysis.speed_logs for f in log.cleaned.findings}))
    return Outcome(
        len(truth.passes) - len(set(found.values())),
        len(analysis.passes) - len(found),
        rows,
        beside,
        cannot,
        counts,
        codes,
    )


def _straight(truth: Truth, index: int) -> bool:
    """Whether a pass keeps within some metres of one line, so that a straight distance means something."""
    p = truth.passes[index]
    part = truth.span(p.start_s, p.end_s)
    line = CourseLine(float(truth.east_m[part][0]), float(truth.north_m[part][0]), p.heading_deg)
    _, across = line.along_across(truth.east_m[part], truth.north_m[part])
    return float(np.ptp(across)) < 8.0


def _shares(truth: Truth) -> bool:
    """Whether all passes share a stretch of the course."""
    low, high = -np.inf, np.inf
    for p in truth.passes:
        part = truth.span(p.start_s, p.end_s)
        along, side = truth.course.along_across(truth.east_m[part], truth.north_m[part])
        low, high = max(low, float(along.min())), min(high, float(along.max()))
        if np.ptp(side) > 30.0:
            return False
    return high - low > 60.0


def _job(item: tuple[str, int]) -> tuple[str, Outcome]:
    return item[0], outing(*item)


def run(names: Iterable[str], seeds: Iterable[int], jobs: int = 1) -> dict[str, list[Outcome]]:
    """Analyse all outings of some conditions."""
    items = [(name, seed) for name in names for seed in seeds]
    out: dict[str, list[Outcome]] = {}
    if jobs == 1:
        results: Iterable[tuple[str, Outcome]] = map(_job, items)
        for name, one in results:
            out.setdefault(name, []).append(one)
        return out
    with ProcessPoolExecutor(jobs, mp_context=get_context("fork")) as pool:
        for name, one in pool.map(_job, items, chunksize=2):
            out.setdefault(name, []).append(one)
    return out


def line(name: str, outcomes: list[Outcome]) -> str:
    """Print one condition."""
    out = [f"{name:<31}{sum(o.miss for o in outcomes):>4}{sum(o.invented for o in outcomes):>4}"]
    for figure in FIGURES:
        e = np.array([r[1] for o in outcomes for r in o.rows if r[0] == figure])
        u = np.array([r[2] for o in outcomes for r in o.rows if r[0] == figure])
        if not e.size:
            out.append(f"{'-':>37}")
            continue
        rmse = float(np.sqrt(np.mean(e**2)))
        by = {}
        for o in outcomes:
            for f, m, error in o.beside:
                if f == figure and not np.isnan(error):
                    by.setdefault(m, []).append(error)
        best = min((float(np.sqrt(np.mean(np.square(x)))) for x in by.values()), default=np.nan)
        mark = "!" if rmse > 1.1 * best else " "
        covered = 100 * float(np.mean(np.abs(e) <= u))
        low = "*" if covered < 92.0 else " "
        out.append(f" |{e.mean():>7.3f}{rmse:>7.3f}{mark}{best:>6.3f}{u.mean():>7.3f}{covered:>5.0f}{low}")
    n2 = sum(1 for o in outcomes for r in o.rows if r[0] == "two-way")
    out.append(f" |{sum(o.counts for o in outcomes):>4}{sum(o.cannot for o in outcomes):>4}/{n2:<4}")
    skip = {"dropout", "duplicate"}
    codes: dict[str, int] = {}
    for o in outcomes:
        for c in set(o.findings) - skip:
            codes[c] = codes.get(c, 0) + 1
    out.append(" " + ",".join(f"{c}:{k}" for c, k in codes.items()))
    return "".join(out)


HEAD: Final = (
    f"{'condition':<31}{'miss':>4}{'inv':>4}"
    + "".join(f" | {f:<8}bias rmse best  U95 cov" for f in FIGURES)
    + " | counts cannot/n"
)


def main() -> None:
    """Run as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--outings", type=int, default=10)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", nargs="*", default=None)
    args = parser.parse_args()
    names = [n for n in CONDITIONS if args.only is None or any(o in n for o in args.only)]
    print(HEAD, flush=True)
    for name in names:
        print(
            line(name, run([name], range(args.first, args.first + args.outings), args.jobs)[name]), flush=True
        )


if __name__ == "__main__":
    main()
