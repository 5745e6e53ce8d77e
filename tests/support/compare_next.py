"""Ten advised steps on simulated boats, against a plain Gaussian process with expected improvement.

The opponent is written here from its textbook form and shares nothing with the library: a
squared-exponential process on the outings' means, scales by maximum likelihood on a grid, expected
improvement over the best mean, free to go anywhere on the item's range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise

import numpy as np
from compare_conditions import LEVEL_MPS, START
from scipy.stats import norm

from telemetry.compare import Evidence, next_trial
from telemetry.setup import Reading, SetupSheet

LOW_MM, HIGH_MM = 0.0, 5.0
FIRST_MM = (3.5, 3.0, 2.5)
CARE_MPS = 0.22
STEPS = 10


@dataclass(frozen=True, kw_only=True)
class Boat:
    """A boat whose speed is a parabola of one item, or a skewed one."""

    best_mm: float
    bend: float
    skew: float
    day_sd: float
    two_way_sd: float
    drift: float

    def loss(self, value_mm: float) -> float:
        """Speed below the best [m/s]."""
        apart = value_mm - self.best_mm
        side = self.bend * (1.0 + self.skew * np.sign(apart))
        return float(min(side * apart**2, 0.5 * side + side * abs(apart)))


def draw_boat(rng: np.random.Generator, drift: float) -> Boat:
    """Draw a boat."""
    return Boat(
        best_mm=float(rng.uniform(1.0, 4.0)),
        bend=float(rng.uniform(0.15, 0.6)),
        skew=float(rng.uniform(-0.4, 0.4)),
        day_sd=float(rng.uniform(0.05, 0.2)),
        two_way_sd=float(rng.uniform(0.1, 0.25)),
        drift=drift,
    )


@dataclass
class Season:
    """What a boat has run so far."""

    boat: Boat
    rng: np.random.Generator
    values: list[float] = field(default_factory=list)
    speeds: list[list[float]] = field(default_factory=list)

    def run(self, value_mm: float) -> None:
        """Run one outing of three two-ways on a day of its own."""
        boat, rng = self.boat, self.rng
        level = LEVEL_MPS - boat.loss(value_mm) + rng.normal(0.0, boat.day_sd) + boat.drift * len(self.values)
        self.values.append(value_mm)
        self.speeds.append(list(level + rng.normal(0.0, boat.two_way_sd, 3)))

    def evidence(self) -> tuple[list[Evidence], dict[str, SetupSheet]]:
        """Return the season as the library takes it."""
        sheets = {value: sheet_of(value) for value in set(self.values)}
        told = [
            Evidence(
                boat="Dabchick",
                sheet_id=sheets[value].sheet_id,
                outing_id=number,
                outing_utc=START + timedelta(days=7 * number),
                order=k,
                kind="two-way",
                values={"two_way_mps": speed},
                u95={"two_way_mps": 0.05},
            )
            for number, (value, speeds) in enumerate(zip(self.values, self.speeds, strict=True))
            for k, speed in enumerate(speeds)
        ]
        return told, {sheet.sheet_id: sheet for sheet in sheets.values()}


def sheet_of(value_mm: float) -> SetupSheet:
    """Make a sheet with one strut depth."""
    return SetupSheet("Dabchick", {"strut_depth_mm": Reading(value_mm)}, name=f"{value_mm:.3f}")


@dataclass
class Steps:
    """What became of the advice on many boats.

    Attributes
    ----------
    losses : list of float
        Distance of the best known sheet to the optimum at the end [m/s].
    chances, came_true : list
        Stated chances of being faster than the best sheet, and whether it was so.
    verdicts : dict
        How often each was given.
    gains : list of (float, float)
        Stated and true gain of each trial [m/s].
    """

    losses: list[float] = field(default_factory=list)
    chances: list[float] = field(default_factory=list)
    came_true: list[bool] = field(default_factory=list)
    verdicts: dict[str, int] = field(default_factory=dict)
    gains: list[tuple[float, float]] = field(default_factory=list)


def advised(boat: Boat, rng: np.random.Generator, steps: Steps) -> None:
    """Follow the library's advice for ten outings."""
    season = Season(boat, rng)
    for value in (*FIRST_MM, FIRST_MM[0]):
        season.run(value)
    for _ in range(STEPS):
        told = next_trial(*season.evidence(), care=CARE_MPS)
        steps.verdicts[told.verdict] = steps.verdicts.get(told.verdict, 0) + 1
        best = _value(season, told.best_sheet)
        if told.trial is not None:
            gain = boat.loss(best) - boat.loss(told.trial.value)
            steps.chances.append(told.trial.chance)
            steps.came_true.append(gain > 0.0)
            steps.gains.append((told.trial.gain, gain))
        season.run(best if told.trial is None else told.trial.value)
    steps.losses.append(boat.loss(_value(season, next_trial(*season.evidence(), care=CARE_MPS).best_sheet)))


def _value(season: Season, sheet_id: str | None) -> float:
    sheets = season.evidence()[1]
    assert sheet_id is not None
    value = sheets[sheet_id].value("strut_depth_mm")
    assert value is not None
    return value


def plain_process(boat: Boat, rng: np.random.Generator) -> float:
    """Follow a plain Gaussian process with expected improvement; return the distance to the optimum."""
    season = Season(boat, rng)
    for value in (*FIRST_MM, FIRST_MM[0]):
        season.run(value)
    grid = np.linspace(LOW_MM, HIGH_MM, 101)
    for _ in range(STEPS):
        mean, sd = _process(season, grid)
        at, _ = _process(season, np.array(season.values))
        z = (mean - at.max()) / np.maximum(sd, 1e-9)
        gain = sd * (z * norm.cdf(z) + norm.pdf(z))
        season.run(float(grid[int(np.argmax(gain))]))
    at, _ = _process(season, np.array(season.values))
    return boat.loss(season.values[int(np.argmax(at))])


def _process(season: Season, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Predict by a Gaussian process, its three scales by maximum likelihood on a grid."""
    x = np.array(season.values)
    y = np.array([np.mean(s) for s in season.speeds])
    middle = y.mean()
    best: tuple[float, float, float, float] | None = None
    for length in (0.5, 0.8, 1.2, 1.8, 2.5):
        shape = np.exp(-0.5 * ((x[:, None] - x) / length) ** 2)
        for amplitude in (0.2, 0.5, 1.0, 2.0):
            for noise in (0.08, 0.15, 0.25):
                c = amplitude**2 * shape + noise**2 * np.eye(x.size)
                _, log_det = np.linalg.slogdet(c)
                score = -0.5 * float((y - middle) @ np.linalg.solve(c, y - middle)) - 0.5 * float(log_det)
                if best is None or score > best[0]:
                    best = (score, length, amplitude, noise)
    assert best is not None
    _, length, amplitude, noise = best
    c = amplitude**2 * np.exp(-0.5 * ((x[:, None] - x) / length) ** 2) + noise**2 * np.eye(x.size)
    across = amplitude**2 * np.exp(-0.5 * ((at[:, None] - x) / length) ** 2)
    solved = np.linalg.solve(c, np.column_stack([y - middle, across.T]))
    mean = middle + across @ solved[:, 0]
    variance = amplitude**2 - np.sum(across * solved[:, 1:].T, axis=1)
    return mean, np.sqrt(np.maximum(variance, 0.0))


def study(
    boats: int, seed: int, drift: float, on_boat: Callable[[int], None] | None = None
) -> tuple[Steps, list[float]]:
    """Run library and opponent on the same boats."""
    steps, opponent = Steps(), []
    for k in range(boats):
        boat = draw_boat(np.random.default_rng([seed, k]), drift)
        advised(boat, np.random.default_rng([seed, k, 1]), steps)
        opponent.append(plain_process(boat, np.random.default_rng([seed, k, 1])))
        if on_boat is not None:
            on_boat(k)
    return steps, opponent


def calibration(
    steps: Steps, edges: tuple[float, ...] = (0.0, 0.35, 0.5, 0.65, 0.8, 1.0)
) -> list[tuple[float, float, int]]:
    """Stated chance, share that came true and number, by bins of the stated chance."""
    chance, true = np.array(steps.chances), np.array(steps.came_true)
    told = []
    for low, high in pairwise(edges):
        inside = (chance >= low) & (chance < high if high < 1.0 else chance <= high)
        if inside.any():
            told.append((float(chance[inside].mean()), float(true[inside].mean()), int(inside.sum())))
    return told
