"""Every figure that the program states, held against a simulator's truth, by sampling rate and by fault.

One run over thousands of outings, in parallel and gone on with after a stop, ends in a single table:

``python tests/honesty_study.py --outings 200 --jobs 2 --keep kept.csv``

An interval that claims 95 % and holds the truth less often than 92 % claims too much, more often than 98 %
says too little; either is a defect.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]  # as pytest sets them

from compare_study import DESIGNS, simulate  # noqa: E402
from power_study import HULL_LATE_S, options_of  # noqa: E402
from study import match  # noqa: E402

from sample_logs.simulator import (  # noqa: E402
    BlowOver,
    Faults,
    Outing,
    Porpoising,
    RideScript,
    simulate_outing,
)
from telemetry.analysis import Analysis, Request, analyse  # noqa: E402
from telemetry.compare import compare  # noqa: E402
from telemetry.core.frames import LogMeta, make_track  # noqa: E402
from telemetry.core.units import SIXTEENTH_MILE_M  # noqa: E402

RATES_HZ: Final = (1.0, 5.0, 10.0, 18.0, 25.0)
FIGURES: Final = (
    "peak [m/s]",
    "held 1 s [m/s]",
    "best 330 ft [m/s]",
    "two-way, gates given [m/s]",
    "two-way, gates placed [m/s]",
    "ripple frequency [Hz]",
    "ripple growth [1/s]",
    "clock offset [s]",
    "pack resistance [mohm]",
    "slip [1]",
    "effect of a change [m/s]",
)
HONEST: Final = (0.92, 0.98)
Row = tuple[str, float, str, int, float, float]  # figure, rate, fault, seed, error, half-width
COLUMNS: Final = ["figure", "rate_hz", "fault", "seed", "error", "u95"]


@dataclass(frozen=True)
class Situation:
    """What goes wrong in an outing, in its log or on the water."""

    faults: Callable[[int], Faults | None] = lambda _: None
    ride: Callable[[int, float], RideScript | None] = lambda _seed, _rate_hz: None
    positions_only: bool = False


def _porpoising(seed: int, rate_hz: float) -> RideScript | None:
    """One oscillation in each of the first three passes, well above a fair day's chop."""
    rng = np.random.default_rng([seed, 21])
    if rate_hz < 5.0:
        return None
    events = []
    for k in range(3):
        f_hz = rng.uniform(1.5, min(0.42 * rate_hz, 6.0))
        growth = rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 0.8)
        size = rng.uniform(0.15, 0.4)
        phase = "take-off" if k == 0 else "at speed"
        events.append(
            Porpoising(k, phase, f_hz, growth, size, 1.5 * size, max(rng.uniform(2.8, 4.0), 6.0 / f_hz))
        )
    return RideScript(porpoising=tuple(events))


SITUATIONS: Final = {
    "none": Situation(),
    "false spikes": Situation(lambda _: Faults(single=1, several=1, ramped=1, lying=1, first_fix=True)),
    "dropouts": Situation(lambda _: Faults(gaps=1, no_fix=1, held=1)),
    "stamps": Situation(lambda _: Faults(duplicates=3, backward=2, frozen=1)),
    "spikes and dropout": Situation(Faults.usual),
    "positions only": Situation(positions_only=True),
    "porpoising": Situation(ride=_porpoising),
    "blow-over": Situation(ride=lambda _seed, _rate_hz: RideScript(blow_over=BlowOver(pass_index=2))),
}


def outing_of(seed: int, rate_hz: float, name: str) -> Outing:
    """Simulate the outing of one seed, rate and situation, its motor clock drifting by up to 1000 ppm."""
    situation = SITUATIONS[name]
    drift_ppm = float(np.random.default_rng([seed, 5]).uniform(-1000.0, 1000.0))
    outing = simulate_outing(
        seed,
        rate_hz=rate_hz,
        faults=situation.faults(seed),
        ride=situation.ride(seed, rate_hz),
        motor_clock_drift_ppm=drift_ppm,
    )
    if not situation.positions_only:
        return outing
    columns = {c: outing.track.frame[c].to_numpy() for c in ("lat_deg", "lon_deg", "alt_m")}
    meta = LogMeta("positions", "simulated", outing.track.meta.start_utc)
    return replace(outing, track=make_track(columns, outing.track.t_s, meta))


def errors_of(seed: int, rate_hz: float, name: str) -> list[Row]:
    """Analyse one outing and list the error and the stated half-width of every figure."""
    outing = outing_of(seed, rate_hz, name)
    gates = outing.truth.place_gates(SIXTEENTH_MILE_M, _whole_passes(outing))
    known = options_of(outing.boat)
    given = analyse([outing.track, outing.motor], Request(gates=gates, power=known))
    placed = analyse([outing.track])
    told = [
        *_speeds(given, outing),
        *_two_ways(given, outing, "two-way, gates given [m/s]"),
        *_two_ways(placed, outing, "two-way, gates placed [m/s]"),
        *_ripples(given, outing),
        *_power(given, outing),
    ]
    return [(figure, rate_hz, name, seed, error, u95) for figure, error, u95 in told]


def _whole_passes(outing: Outing) -> tuple[int, ...]:
    """Passes that did not end in the air: the last one of a log with a blow-over has no run to its end."""
    flew = {e.pass_index for e in outing.ride_events if e.kind == "blow-over"}
    return tuple(p.index for p in outing.passes if p.index not in flew)


Told = Iterator[tuple[str, float, float]]


def _speeds(analysis: Analysis, outing: Outing) -> Told:
    for k, i in match(analysis, outing).items():
        p, true = analysis.passes[k], outing.passes[i]
        yield "peak [m/s]", p.peak_mps - true.peak_mps, p.peak_u95_mps
        yield "held 1 s [m/s]", p.held_1s_mps - true.held_1s_mps, p.held_1s_u95_mps
        for d in p.distances:
            truth = outing.truth.best_average_mps(i, d.distance_m)
            if d.distance_m == SIXTEENTH_MILE_M and not np.isnan(truth):
                yield "best 330 ft [m/s]", d.speed_mps - truth, d.u95_mps


def _two_ways(analysis: Analysis, outing: Outing, figure: str) -> Told:
    found = match(analysis, outing)
    for w in analysis.two_ways:
        i, j = (found.get(int(p[1:]) - 1) for p in w.passes)
        if w.verdict == "cannot tell" or i is None or j is None:
            continue
        truth = outing.truth.mean_two_way_mps(i, j, *((g.lat_deg, g.lon_deg) for g in w.gates))
        if not np.isnan(truth):  # gates placed in the run-out, where truth keeps no pass
            yield figure, w.average_mps - truth, w.u95_mps


def _ripples(analysis: Analysis, outing: Outing) -> Told:
    events = [e for e in analysis.ride if e.kind == "porpoising" and e.verdict == "shown" and e.frequency_hz]
    for true in outing.ride_events:
        hits = [e for e in events if e.start_s < true.end_s and e.end_s > true.start_s]
        if true.kind == "porpoising" and hits:
            best = max(hits, key=lambda e: min(e.end_s, true.end_s) - max(e.start_s, true.start_s))
            yield "ripple frequency [Hz]", best.frequency_hz - true.frequency_hz, best.frequency_u95_hz
            yield "ripple growth [1/s]", best.growth_per_s - true.growth_per_s, best.growth_u95_per_s


def _power(analysis: Analysis, outing: Outing) -> Told:
    for motor in analysis.motors:
        if motor.clock.trusted:
            ends = outing.motor.t_s[[0, -1]]
            error = motor.clock.to_speed_log(ends) - outing.motor_clock.to_speed_log(ends)
            # The receiver's own lag is in the speeds and cannot show in them; see power_study.
            error -= outing.receiver.lag_s + HULL_LATE_S
            yield "clock offset [s]", float(error[np.argmax(np.abs(error))]), motor.clock.u95_s
        told = motor.power
        if told.pack is not None:
            yield (
                "pack resistance [mohm]",
                1e3 * (told.pack.resistance_ohm - outing.pack_resistance_ohm),
                1e3 * told.pack.u95_ohm,
            )
        found = match(analysis, outing)
        for k, one in enumerate(told.passes):
            if one.slip is not None and one.slip_u95 is not None and k in found:
                yield "slip [1]", one.slip - outing.passes[found[k]].slip, one.slip_u95


def effects_of(seed: int) -> list[Row]:
    """Compare one simulated pair of sheets of each design, an effect and a null in turn."""
    rng = np.random.default_rng([seed, 31])
    out: list[Row] = []
    for design in DESIGNS:
        truth = float(rng.choice([0.0, 0.3, -0.6]))
        before, after, history = simulate(design, truth, rng)
        head = compare(before, after, care=1e9, history=history).headline
        if head.difference is not None and head.u95 is not None:
            error = head.difference - truth
            out.append(("effect of a change [m/s]", np.nan, design.name, seed, error, head.u95))
    return out


@dataclass(frozen=True)
class Cell:
    """One line of the table."""

    figure: str
    rate_hz: float
    fault: str
    n: int
    outings: int
    bias: float
    rmse: float
    u95: float
    covered: float

    @property
    def spread(self) -> float:
        """Standard error of the share covered, were it 95 %.

        The passes of an outing share a receiver, a hull and their errors, and so count as one.
        """
        return float(np.sqrt(0.05 * 0.95 / self.outings))

    @property
    def honest(self) -> bool:
        """Whether the share lies between 92 and 98 %, as far as so many figures can tell."""
        return HONEST[0] - 2.0 * self.spread <= self.covered <= HONEST[1] + 2.0 * self.spread


def cells(rows: pd.DataFrame) -> list[Cell]:
    """Reduce errors to a line for each figure, rate and fault, and one for each figure over all of them."""
    out = []
    order = {name: k for k, name in enumerate(SITUATIONS)}
    for figure in FIGURES:
        mine = rows[rows.figure == figure]
        groups = [(key, part) for key, part in mine.groupby(["rate_hz", "fault"], dropna=False, sort=False)]
        groups.sort(key=lambda item: (item[0][0], order.get(item[0][1], 0)))
        for (rate_hz, fault), part in [*groups, ((np.nan, "all"), mine)]:
            if len(part):
                error, u95 = part.error.to_numpy(), part.u95.to_numpy()
                out.append(
                    Cell(
                        figure,
                        rate_hz,
                        fault,
                        len(part),
                        len(part[["rate_hz", "seed"]].drop_duplicates()),
                        float(error.mean()),
                        float(np.sqrt(np.mean(error**2))),
                        float(u95.mean()),
                        float(np.mean(np.abs(error) <= u95)),
                    )
                )
    return out


def table(lines: Iterable[Cell]) -> str:
    """Print the single table."""
    head = f"{'figure':<28}{'rate':>6}  {'fault':<28}{'n':>6}{'outings':>9}"
    head += f"{'bias':>10}{'RMSE':>10}{'mean U95':>10}"
    out = [f"{head}{'covered':>11}"]
    for c in lines:
        rate = "" if np.isnan(c.rate_hz) else f"{c.rate_hz:g}"
        out.append(
            f"{c.figure:<28}{rate:>6}  {c.fault:<28}{c.n:>6}{c.outings:>9}"
            f"{c.bias:>10.4f}{c.rmse:>10.4f}{c.u95:>10.4f}"
            f"{100 * c.covered:>7.1f} ± {196 * c.spread:.1f}{'' if c.honest else '  <-- outside 92-98 %'}"
        )
    return "\n".join(out)


def _job(rate_hz: float, name: str, seed: int) -> list[Row]:
    """Do one outing, or one pair of sheets of each design."""
    return effects_of(seed) if name == "effect" else errors_of(seed, rate_hz, name)


def run(
    seeds: Iterable[int],
    jobs: int = 1,
    keep: Path | None = None,
    rates_hz: Iterable[float] = RATES_HZ,
    names: Iterable[str] = tuple(SITUATIONS),
) -> pd.DataFrame:
    """Run all situations at all rates over some seeds; what a kept file already has is not done again."""
    done = pd.DataFrame(columns=COLUMNS)
    if keep is not None and keep.exists():
        done = pd.read_csv(keep, header=None, names=COLUMNS)
    had = {(r, f, s) for r, f, s in done[["rate_hz", "fault", "seed"]].itertuples(index=False)}
    wanted = [
        (rate, name, seed)
        for seed in seeds
        for rate in rates_hz
        for name in names
        if (rate, name, seed) not in had and not (name == "porpoising" and rate < 5.0)
    ]
    if not set(done.seed[done.rate_hz.isna()]) >= set(seeds):
        wanted += [(np.nan, "effect", seed) for seed in seeds]
    out = [done]
    if not wanted:
        return done
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        for future in as_completed([pool.submit(_job, *job) for job in wanted]):
            rows = pd.DataFrame(future.result(), columns=COLUMNS)
            out.append(rows)
            # A seed's rows are kept together, so that a stop leaves it done or not.
            if keep is not None:
                rows.to_csv(keep, mode="a", header=False, index=False)
    return pd.concat([part for part in out if len(part)], ignore_index=True)


def main() -> None:
    """Run as a program."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--outings", type=int, default=100, help="of each rate and fault")
    parser.add_argument("--first", type=int, default=500_000, help="the first seed")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a file to keep every error in, and to go on from")
    args = parser.parse_args()
    rows = run(range(args.first, args.first + args.outings), args.jobs, args.keep)
    print(table(cells(rows)))


if __name__ == "__main__":
    main()
