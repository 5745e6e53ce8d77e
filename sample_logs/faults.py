"""False values, gaps and clock errors put into a clean log, each one recorded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sample_logs.truth import Truth
from telemetry.core.frames import FloatArray
from telemetry.core.geo import LocalFrame

SpikeKind = Literal["single", "several", "ramped", "at rest", "first fix", "lying", "tumble"]
GapKind = Literal["gap", "no fix", "held"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """How many of each fault to put in, at places drawn at random and clear of each other.

    A fault for which there is no room left is not put in, and then not recorded either.

    Attributes
    ----------
    single, several, ramped : int
        False speeds of one sample; alike for 0.2-0.5 s; rising and falling within 0.5-1 s.
    at_rest : int
        False speeds of up to half a second while the boat lies still after (or before) the passes.
    lying : int
        False speeds for 0.4-0.8 s which the positions follow: the fix runs away and comes back.
    first_fix : bool
        The first samples are wild: speed and position.
    gaps, no_fix, held : int
        Stretches without rows; rows without a fix; rows that repeat the last values.
    gap_s : tuple of float
        Shortest and longest of those stretches.
    duplicates, backward : int
        Rows logged twice; stamps that step back.
    frozen : int
        Stretches in which the stamp stands still while rows go on.
    """

    single: int = 0
    several: int = 0
    ramped: int = 0
    at_rest: int = 0
    lying: int = 0
    first_fix: bool = False
    gaps: int = 0
    no_fix: int = 0
    held: int = 0
    gap_s: tuple[float, float] = (0.3, 1.5)
    duplicates: int = 0
    backward: int = 0
    frozen: int = 0

    @classmethod
    def usual(cls, seed: int) -> Faults:
        """One to three false spikes of any kind and one dropout."""
        rng = np.random.default_rng([seed, 77])
        kinds = rng.choice(["single", "several", "ramped", "at_rest", "lying"], size=int(rng.integers(1, 4)))
        counts: dict[str, Any] = {str(k): int((kinds == k).sum()) for k in set(kinds)}
        counts[str(rng.choice(["gaps", "no_fix", "held"]))] = 1
        return cls(**counts)


@dataclass(frozen=True, slots=True)
class Spike:
    """One false spike: which kind, its first and last stamp, and the largest false value [m/s]."""

    kind: SpikeKind
    start_s: float
    end_s: float
    speed_mps: float


@dataclass(frozen=True, slots=True)
class Gap:
    """One dropout: from the last good stamp to the next good one."""

    kind: GapKind
    start_s: float
    end_s: float


@dataclass
class _Log:
    """A log being spoilt: parallel arrays, rows still in order of time."""

    t: FloatArray
    columns: dict[str, FloatArray]
    frame: LocalFrame
    taken: FloatArray  # 1 where a fault already sits or a neighbour of one does

    @property
    def step_s(self) -> float:
        """Time between rows."""
        return float(self.t[1] - self.t[0])

    def rows(self, tenths: int, least: int) -> int:
        """How many rows a fault of so many tenths of a second covers."""
        return max(least, round(0.1 * tenths / self.step_s))

    def place(self, rng: np.random.Generator, count: int, allowed: FloatArray | None = None) -> int | None:
        """First row of a free stretch, with two free rows either side; None where there is none."""
        n = len(self.t)
        free = np.convolve(self.taken, np.ones(count + 4), "valid") == 0
        starts = np.flatnonzero(free) + 2
        starts = starts[(starts > 5) & (starts + count < n - 5)]
        if allowed is not None:
            starts = starts[(allowed[starts] > 0) & (allowed[starts + count - 1] > 0)]
        if not starts.size:
            return None
        first = int(rng.choice(starts))
        self.taken[first - 2 : first + count + 2] = 1
        return first

    def shift(self, rows: slice, east_m: FloatArray, north_m: FloatArray) -> None:
        """Move the positions of some rows."""
        e, n = self.frame.to_local(self.columns["lat_deg"][rows], self.columns["lon_deg"][rows])
        lat, lon = self.frame.to_geodetic(e + east_m, n + north_m)
        self.columns["lat_deg"][rows], self.columns["lon_deg"][rows] = np.round(lat, 7), np.round(lon, 7)


def _falsify(log: _Log, kind: SpikeKind, first: int, false_mps: FloatArray) -> Spike:
    """Overwrite speeds from a row on."""
    rows = slice(first, first + len(false_mps))
    log.columns["speed_mps"][rows] = np.round(false_mps, 3)
    return Spike(kind, float(log.t[first]), float(log.t[rows.stop - 1]), float(false_mps.max()))


def _spikes(rng: np.random.Generator, log: _Log, faults: Faults, still: FloatArray) -> list[Spike]:
    made: list[Spike] = []
    speed = log.columns["speed_mps"]

    def above(first: int, count: int, low: float, high: float) -> FloatArray:
        return np.asarray(speed[first : first + count] + rng.uniform(low, high))

    for _ in range(faults.single):
        if (k := log.place(rng, 1)) is not None:
            made.append(_falsify(log, "single", k, above(k, 1, 4.0, 40.0)))
    for _ in range(faults.several):
        count = log.rows(int(rng.integers(2, 6)), 1)
        if (k := log.place(rng, count)) is not None:
            made.append(_falsify(log, "several", k, above(k, count, 4.0, 40.0) + rng.normal(0, 0.3, count)))
    for _ in range(faults.ramped):
        count = log.rows(int(rng.integers(5, 11)), 1)
        if (k := log.place(rng, count)) is not None:
            shape = np.sin(np.pi * (np.arange(count) + 1) / (count + 1))
            made.append(_falsify(log, "ramped", k, speed[k : k + count] + rng.uniform(6.0, 20.0) * shape))
    for _ in range(faults.at_rest):
        count = log.rows(int(rng.integers(1, 6)), 1)
        if (k := log.place(rng, count, still)) is not None:
            made.append(_falsify(log, "at rest", k, rng.uniform(5.0, 35.0, count)))
    for _ in range(faults.lying):
        count = log.rows(int(rng.integers(4, 9)), 1)
        if (k := log.place(rng, count)) is not None:
            extra = rng.uniform(8.0, 25.0) * np.sin(np.pi * (np.arange(count) + 1) / (count + 1))
            course = np.radians(log.columns["course_deg"][k : k + count])
            away_m = np.cumsum(extra) * log.step_s
            log.shift(slice(k, k + count), away_m * np.sin(course), away_m * np.cos(course))
            made.append(_falsify(log, "lying", k, speed[k : k + count] + extra))
    if faults.first_fix:
        count = 3
        log.taken[: count + 2] = 1
        angle = rng.uniform(0, 2 * np.pi)
        fade = np.array([1.0, 0.6, 0.25])
        log.shift(slice(0, count), 60.0 * fade * np.sin(angle), 60.0 * fade * np.cos(angle))
        made.insert(0, _falsify(log, "first fix", 0, rng.uniform(15.0, 45.0) * fade))
    return made


def _gaps(
    rng: np.random.Generator, log: _Log, faults: Faults, given: list[tuple[float, float]]
) -> tuple[list[Gap], FloatArray]:
    """Make dropouts; returns them and 1 for each row that stays."""
    keep = np.ones(len(log.t))
    made: list[Gap] = []

    def lose_fix(first: int, count: int) -> None:
        rows = slice(first, first + count)
        log.columns.setdefault("fix", np.ones(len(log.t)))[rows] = 0.0
        for name in ("lat_deg", "lon_deg", "alt_m", "speed_mps", "course_deg", "vertical_mps", "hdop"):
            if name in log.columns:
                log.columns[name][rows] = np.nan
        log.columns["satellites"][rows] = 0.0
        made.append(Gap("no fix", float(log.t[first - 1]), float(log.t[first + count])))

    counts: dict[GapKind, int] = {"gap": faults.gaps, "no fix": faults.no_fix, "held": faults.held}
    for kind in (kind for kind, count in counts.items() for _ in range(count)):
        count = max(1, round(rng.uniform(*faults.gap_s) / log.step_s))
        if (k := log.place(rng, count)) is None:
            continue
        rows = slice(k, k + count)
        if kind == "no fix":
            lose_fix(k, count)
            continue
        if kind == "gap":
            keep[rows] = 0
        else:
            for values in log.columns.values():
                values[rows] = values[k - 1]
        made.append(Gap(kind, float(log.t[k - 1]), float(log.t[k + count])))
    for start_s, end_s in given:
        first, stop = np.searchsorted(log.t, [start_s, end_s])
        lose_fix(int(first), int(min(stop, len(log.t) - 2) - first))
    return made, keep


def _clock_errors(rng: np.random.Generator, log: _Log, faults: Faults, keep: FloatArray) -> None:
    n = len(log.t)
    order = np.arange(n)[keep > 0]
    stamps, step_s = log.t.copy(), log.step_s
    for _ in range(faults.frozen):
        count = int(rng.integers(2, 5))
        if (k := log.place(rng, count)) is not None:
            stamps[k : k + count] = stamps[k - 1]
    for _ in range(faults.backward):
        if (k := log.place(rng, 1)) is not None:
            stamps[k] -= step_s * int(rng.integers(2, 6))
    for _ in range(faults.duplicates):
        if (k := log.place(rng, 1)) is not None and (at := np.searchsorted(order, k)) < len(order):
            order = np.insert(order, at, order[at])
    log.t = stamps[order]
    log.columns = {name: values[order] for name, values in log.columns.items()}


def spoil(
    rng: np.random.Generator,
    t_s: FloatArray,
    columns: dict[str, FloatArray],
    faults: Faults,
    truth: Truth,
    tumble: tuple[float, float, float] | None,
) -> tuple[FloatArray, dict[str, FloatArray], tuple[Spike, ...], tuple[Gap, ...]]:
    """Put the faults into a clean log.

    Parameters
    ----------
    t_s, columns
        The clean log; not altered.
    faults : Faults
        What to put in.
    truth : Truth
        Says where the boat lies still.
    tumble : (flying_s, stopped_s, lost_fix_s) or None
        After a blow-over the receiver tumbles: two to four wild fixes around the stop, then no fix.
    """
    log = _Log(t_s.copy(), {k: v.copy() for k, v in columns.items()}, truth.frame, np.zeros(len(t_s)))
    still = (truth.at("water_mps", t_s) < 0.5).astype(float)
    spikes: list[Spike] = []
    lost: list[tuple[float, float]] = []
    if tumble is not None:
        flying_s, stopped_s, lost_fix_s = tumble
        first = int(np.searchsorted(t_s, stopped_s))
        count = min(int(rng.integers(2, 5)), len(t_s) - first - 4)
        peak = float(np.nanmax(log.columns["speed_mps"]))
        wild = peak * rng.uniform(1.1, 1.9, count)
        log.taken[np.searchsorted(t_s, flying_s) - 2 : first + count + 2] = 1
        angle = rng.uniform(0, 2 * np.pi)
        log.shift(
            slice(first, first + count),
            *(np.cumsum(wild) * log.step_s * f(angle) * 0.5 for f in (np.sin, np.cos)),
        )
        spikes.append(_falsify(log, "tumble", first, wild))
        start_s = float(t_s[first + count])
        lost.append((start_s, start_s + lost_fix_s))
        log.taken[np.searchsorted(t_s, start_s) : np.searchsorted(t_s, start_s + lost_fix_s) + 2] = 1
    spikes += _spikes(rng, log, faults, still)
    gaps, keep = _gaps(rng, log, faults, lost)
    _clock_errors(rng, log, faults, keep)
    return (
        log.t,
        log.columns,
        tuple(sorted(spikes, key=lambda s: s.start_s)),
        tuple(sorted(gaps, key=lambda g: g.start_s)),
    )
