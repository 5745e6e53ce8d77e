"""Hold the analysis against the simulator's truth over many seeds, for a benchmark and for a short test."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sample_logs.simulator import Faults, Outing, simulate_outing
from telemetry.analysis import Analysis, Request, analyse
from telemetry.core.frames import FloatArray
from telemetry.core.units import SIXTEENTH_MILE_M


@dataclass
class Figure:
    """Errors of one figure and the half-widths stated with it."""

    errors: list[float] = field(default_factory=list)
    u95: list[float] = field(default_factory=list)

    def add(self, error: float, u95: float) -> None:
        self.errors.append(error)
        self.u95.append(u95)

    @property
    def e(self) -> FloatArray:
        return np.array(self.errors)

    @property
    def rmse(self) -> float:
        return float(np.sqrt(np.mean(self.e**2)))

    @property
    def bias(self) -> float:
        return float(np.mean(self.e))

    @property
    def coverage(self) -> float:
        return float(np.mean(np.abs(self.e) <= np.array(self.u95)))

    def row(self, name: str) -> str:
        return (
            f"  {name:<22}{len(self.errors):>6}{self.bias:>9.4f}{self.rmse:>9.4f}"
            f"{np.abs(self.e).max():>9.3f}{np.mean(self.u95):>9.3f}{100 * self.coverage:>8.1f} %"
        )


HEAD = f"  {'figure [m/s]':<22}{'n':>6}{'bias':>9}{'RMSE':>9}{'worst':>9}{'mean U95':>9}{'covered':>10}"


@dataclass
class Study:
    """What many simulated outings showed."""

    figures: dict[str, Figure]
    outings: int
    missed: int
    invented: int
    spikes_as_peak: int

    def table(self, title: str) -> str:
        head = (
            f"{title}: {self.outings} outings, passes missed {self.missed}, invented {self.invented}, "
            f"spikes taken as a peak {self.spikes_as_peak}"
        )
        return "\n".join([head, HEAD, *(f.row(name) for name, f in self.figures.items())])


def match(analysis: Analysis, outing: Outing) -> dict[int, int]:
    """For each found pass the true pass it lies in."""
    found = {}
    for k, p in enumerate(analysis.passes):
        middle = 0.5 * (p.start_s + p.end_s)
        for i, true in enumerate(outing.passes):
            if true.start_s <= middle <= true.end_s + 1.0:
                found[k] = i
    return found


def study(rate_hz: float, seeds: range, faults: bool = True) -> Study:
    """Analyse one outing a seed over given gates and compare every figure with its truth."""
    names = ("peak", "held 1 s", "best 330 ft", "two-way, given gates", "two-way, placed gates")
    figures = {name: Figure() for name in names}
    missed = invented = as_peak = 0
    for seed in seeds:
        outing = simulate_outing(seed, rate_hz=rate_hz, faults=Faults.usual(seed) if faults else None)
        gates = outing.truth.place_gates(SIXTEENTH_MILE_M)
        given = analyse([outing.track], Request(gates=gates))
        found = match(given, outing)
        missed += len(outing.passes) - len(set(found.values()))
        invented += len(given.passes) - len(set(found.values()))
        for k, i in found.items():
            p, true = given.passes[k], outing.passes[i]
            figures["peak"].add(p.peak_mps - true.peak_mps, p.peak_u95_mps)
            figures["held 1 s"].add(p.held_1s_mps - true.held_1s_mps, p.held_1s_u95_mps)
            # A spike taken as a peak moves it by far more than any interval stated at this rate.
            as_peak += abs(p.peak_mps - true.peak_mps) > max(1.0, 2.0 * p.peak_u95_mps)
            for d in p.distances:
                if d.distance_m == SIXTEENTH_MILE_M:
                    truth = outing.truth.best_average_mps(i, d.distance_m)
                    figures["best 330 ft"].add(d.speed_mps - truth, d.u95_mps)
        placed = analyse([outing.track], Request())
        for name, analysis in (("two-way, given gates", given), ("two-way, placed gates", placed)):
            for w in analysis.two_ways:
                if w.verdict == "cannot tell":
                    continue
                i, j = (found.get(int(p[1:]) - 1) for p in w.passes)
                if i is None or j is None:
                    continue
                g1, g2 = ((g.lat_deg, g.lon_deg) for g in w.gates)
                truth = outing.truth.mean_two_way_mps(i, j, g1, g2)
                if np.isnan(truth):  # the placed gates reach into the run-out, where truth keeps no pass
                    continue
                figures[name].add(w.average_mps - truth, w.u95_mps)
    return Study(figures, len(seeds), missed, invented, as_peak)
