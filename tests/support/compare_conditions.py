"""Simulated boats under the conditions that people really have: days, seasons, lakes, packs, many looks.

The truth is made by plain sums of random numbers; nothing here is imported from the library's model. Evidence
goes in and verdicts come out as a user gets them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from telemetry.compare import Comparison, Evidence, boat_history, compare
from telemetry.setup import Reading, SetupSheet

START = datetime(2031, 4, 12, 8, 0, tzinfo=UTC)
LEVEL_MPS = 25.0
OUTING_SD = 0.25
TWO_WAY_SD = 0.30
VOLT_SLOPE = 1.0  # m/s for a volt, of a boat with six cells
FULL_V = 25.2


@dataclass(frozen=True, kw_only=True)
class Run:
    """One outing: which sheet, on which day, at which place, of how many two-ways."""

    sheet: str
    day: int
    place: str = ""
    two_ways: int = 3
    start_v: float | None = None


@dataclass(frozen=True, kw_only=True)
class World:
    """What the boat's figures are made of.

    Attributes
    ----------
    shared : float
        Part of the outings' variance that the day shares.
    outing_sd, two_way_sd : float
        Scatter between outings (days included) and within them [m/s].
    drift : float
        Change from one outing to the next [m/s].
    walk : float
        Standard deviation of a random step from one outing to the next [m/s].
    place_sd : float
        Scatter between places [m/s].
    volts_noise : float
        Of the logged voltage [V].
    sag_v : float
        Fall of the true voltage from one two-way to the next [V].
    start_sd_v : float
        Scatter of packs' voltage at the start of an outing [V].
    spoiled : float
        Probability that an outing is spoiled.
    """

    shared: float = 0.0
    outing_sd: float = OUTING_SD
    two_way_sd: float = TWO_WAY_SD
    drift: float = 0.0
    walk: float = 0.0
    place_sd: float = 0.0
    volts_noise: float = 0.02
    sag_v: float = 0.25
    start_sd_v: float = 0.1
    spoiled: float = 0.0


def simulate(
    runs: Sequence[Run], world: World, effects: dict[str, float], rng: np.random.Generator
) -> list[Evidence]:
    """Draw one history."""
    day_sd = world.outing_sd * np.sqrt(world.shared)
    own_sd = world.outing_sd * np.sqrt(1.0 - world.shared)
    days: dict[tuple[int, str], float] = {}
    places: dict[str, float] = {}
    told: list[Evidence] = []
    walked = 0.0
    on_day: dict[int, int] = {}
    for number, run in enumerate(runs):
        day = days.setdefault((run.day, run.place), float(rng.normal(0.0, day_sd)))
        place = places.setdefault(run.place, float(rng.normal(0.0, world.place_sd)))
        walked += float(rng.normal(0.0, world.walk))
        spoilt = -float(rng.uniform(1.0, 3.0)) if rng.random() < world.spoiled else 0.0
        outing = day + place + walked + float(rng.normal(0.0, own_sd)) + world.drift * number + spoilt
        start_v = None if run.start_v is None else run.start_v + float(rng.normal(0.0, world.start_sd_v))
        hour = on_day.get(run.day, 0)
        on_day[run.day] = hour + 1
        for k in range(run.two_ways):
            speed = LEVEL_MPS + effects.get(run.sheet, 0.0) + outing
            covariates: dict[str, float | str | None] = {"place": run.place or None}
            if start_v is not None:
                volts = start_v - world.sag_v * k
                speed += VOLT_SLOPE * (volts - FULL_V)
                covariates["rest_voltage_v"] = volts + float(rng.normal(0.0, world.volts_noise))
            told.append(
                Evidence(
                    boat="Curlew",
                    sheet_id=run.sheet,
                    outing_id=number,
                    outing_utc=START + timedelta(days=run.day, minutes=50 * hour),
                    order=k,
                    kind="two-way",
                    values={"two_way_mps": speed + float(rng.normal(0.0, world.two_way_sd))},
                    u95={"two_way_mps": 0.08},
                    covariates=covariates,
                )
            )
    return told


def days_of(*patterns: str, place: str = "", **rest: object) -> tuple[Run, ...]:
    """Make runs from one pattern of sheets a day: ``days_of("ABBA", "BAAB")``."""
    return tuple(
        Run(sheet=sheet, day=7 * day, place=place, **rest)  # type: ignore[arg-type]
        for day, pattern in enumerate(patterns)
        for sheet in pattern
    )


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One line of the table.

    Attributes
    ----------
    name : str
    runs : tuple of Run
        Sheets A (before) and B (after), and any others.
    world : World
    best_sd : float or None
        Standard error of the best linear estimate with all scatters known, where the line asks for width.
    """

    name: str
    runs: tuple[Run, ...]
    world: World = field(default_factory=World)
    best_sd: float | None = None


def _alone(sheets: str, **rest: object) -> tuple[Run, ...]:
    """One outing a day."""
    return days_of(*sheets, **rest)  # type: ignore[arg-type]


def _lakes(first: int, second: int) -> tuple[Run, ...]:
    one = tuple(Run(sheet="A", day=7 * k, place="Mere") for k in range(first))
    return one + tuple(Run(sheet="B", day=7 * (first + k), place="Broad") for k in range(second))


def _packs(shift_v: float, two_ways: Sequence[int], outings: int = 8) -> tuple[Run, ...]:
    return tuple(
        Run(
            sheet="AB"[k % 2],
            day=7 * k,
            two_ways=two_ways[k % len(two_ways)],
            start_v=FULL_V + (shift_v if k % 2 else 0.0),
        )
        for k in range(outings)
    )


def paired_sd(days: int, each: int, shared: float, two_ways: int = 3) -> float:
    """Standard error of the mean difference within days, every scatter known."""
    own = OUTING_SD**2 * (1.0 - shared) + TWO_WAY_SD**2 / two_ways
    return float(np.sqrt(2.0 * own / (days * each)))


CONDITIONS = (
    *(
        Condition(
            name=f"one day a side, {100 * s:.0f} % shared", runs=days_of("AAA", "BBB"), world=World(shared=s)
        )
        for s in (0.5, 0.7, 0.88)
    ),
    Condition(
        name="two days a side, 3 outings each",
        runs=days_of("AAA", "AAA", "BBB", "BBB"),
        world=World(shared=0.88),
    ),
    Condition(
        name="two days a side, 6 outings each",
        runs=days_of("A" * 6, "A" * 6, "B" * 6, "B" * 6),
        world=World(shared=0.88),
    ),
    Condition(
        name="two days a side, in turn", runs=days_of("AAA", "BBB", "BBB", "AAA"), world=World(shared=0.88)
    ),
    Condition(
        name="both sheets on each of 4 days, A B B A",
        runs=days_of("ABBA", "BAAB", "ABBA", "BAAB"),
        world=World(shared=0.88),
        best_sd=paired_sd(4, 2, 0.88),
    ),
    Condition(
        name="both sheets on each of 6 days, A B",
        runs=days_of("AB", "BA", "AB", "BA", "AB", "BA"),
        world=World(shared=0.88),
        best_sd=paired_sd(6, 1, 0.88),
    ),
    Condition(
        name="season drifts, A first, 10 and 10", runs=_alone("A" * 10 + "B" * 10), world=World(drift=-0.022)
    ),
    Condition(name="the same, strong", runs=_alone("A" * 10 + "B" * 10), world=World(drift=-0.032)),
    Condition(
        name="season wanders, A first, 10 and 10", runs=_alone("A" * 10 + "B" * 10), world=World(walk=0.06)
    ),
    Condition(
        name="season drifts, A back at the end", runs=_alone("AAAABBBBBBAA"), world=World(drift=-0.032)
    ),
    Condition(name="second packs 0.5 V lower, 1-2 two-ways", runs=_packs(-0.5, (1, 1, 2, 2))),
    Condition(
        name="volts with 0.1 V of noise, 0.3 V apart",
        runs=_packs(-0.3, (3,), 12),
        world=World(volts_noise=0.1),
    ),
    Condition(name="one lake, then another", runs=_lakes(6, 6), world=World(place_sd=0.2)),
    Condition(
        name="two lakes, both sheets at each",
        runs=tuple(Run(sheet="AB"[k % 2], day=7 * k, place="MB"[k // 2 % 2]) for k in range(12)),
        world=World(place_sd=0.3),
    ),
    Condition(name="one outing in twelve spoiled", runs=_alone("ABBA" * 3), world=World(spoiled=1 / 12)),
    Condition(name="independent outings, 5 and 5", runs=_alone("ABBAABBAAB")),
    Condition(
        name="independent outings, 3 and 3, precise", runs=_alone("ABBAAB"), world=World(two_way_sd=0.1)
    ),
    Condition(name="outings all alike", runs=_alone("ABBAABBA"), world=World(outing_sd=0.0)),
)
"""The issue's table, with a few more that people run."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """What one condition gave.

    Attributes
    ----------
    covered : float
        Share of the stated intervals that hold the truth; not a number where none was stated.
    called : float
        Share of true nulls that were called.
    cannot : float
        Share of histories answered `cannot tell`.
    found : float
        Share of true differences of 0.4 m/s that were called the right way round.
    half_width : float
        Median half-width of the stated intervals [m/s].
    """

    condition: Condition
    covered: float
    called: float
    cannot: float
    found: float
    half_width: float

    def text(self) -> str:
        """Write one row of the table."""
        ratio = (
            ""
            if self.condition.best_sd is None
            else f"{self.half_width / 1.96 / self.condition.best_sd:6.2f}"
        )
        shares = (self.covered, self.called, self.cannot, self.found)
        return (
            f"{self.condition.name:42}"
            + "".join(f"{100 * s:9.1f}" for s in shares)
            + f"{self.half_width:8.2f}{ratio}"
        )


HEAD = f"{'condition':42}{'covered':>9}{'called':>9}{'cannot':>9}{'found':>9}{'u95':>8} ratio"


def ask(evidence: Sequence[Evidence]) -> Comparison:
    """Compare B with A as a user does, with all of the boat's evidence."""
    before, after = ([e for e in evidence if e.sheet_id == sheet] for sheet in "AB")
    return compare(before, after, history=evidence, plan=False)


def study(condition: Condition, histories: int, seed: int) -> Line:
    """Compare many histories of one condition, nulls and true differences of 0.4 m/s in turn."""
    rng = np.random.default_rng(seed)
    covered, stated, called, cannot, found = 0, 0, 0, 0, 0
    widths = []
    for k in range(histories):
        truth = 0.4 if k % 2 else 0.0
        head = ask(simulate(condition.runs, condition.world, {"B": truth}, rng)).headline
        cannot += head.verdict == "cannot tell"
        if head.u95 is not None and head.difference is not None:
            stated += 1
            covered += abs(head.difference - truth) <= head.u95
            widths.append(head.u95)
        if truth:
            found += head.verdict == "faster"
        else:
            called += head.verdict in ("faster", "slower")
    half = histories / 2
    return Line(
        condition=condition,
        covered=covered / stated if stated else float("nan"),
        called=called / half,
        cannot=cannot / histories,
        found=found / half,
        half_width=float(np.median(widths)) if widths else float("nan"),
    )


def looks(
    histories: int, seed: int, next_run: Callable[[int], Run], number: int = 12, world: World | None = None
) -> float:
    """Share of true nulls that are called at any of the looks after each outing, sheets run in turn."""
    rng = np.random.default_rng(seed)
    called = 0
    runs = tuple(next_run(k) for k in range(number + 1))
    for _ in range(histories):
        evidence = simulate(runs, world or World(), {}, rng)
        called += any(
            ask([e for e in evidence if int(e.outing_id) <= k]).headline.verdict in ("faster", "slower")
            for k in range(1, number + 1)
        )
    return called / histories


@dataclass(frozen=True, kw_only=True)
class Best:
    """What the best of several sheets was said to be.

    Attributes
    ----------
    covered : float
        Share of the best sheet's own intervals that hold its true level.
    too_high : float
        Mean of the stated level less the true one [m/s].
    stated : float
        Share of histories with a best sheet.
    """

    covered: float
    too_high: float
    stated: float


def best_of(
    sheets: int,
    histories: int,
    seed: int,
    *,
    outings: int = 3,
    spread: float = 0.0,
    in_a_row: bool = False,
    lakes: int = 0,
    world: World | None = None,
) -> Best:
    """Run several sheets and hold the best one's interval against its true level.

    The truth is the sheet's level on the average of the season (a drift averages out over all outings).
    """
    rng = np.random.default_rng(seed)
    world = world or World()
    names = [f"S{k}" for k in range(sheets)]
    covered, stated, high = 0, 0, 0.0
    for _ in range(histories):
        effects = {name: float(rng.normal(0.0, spread)) for name in names}
        order = [name for name in names for _ in range(outings)] if in_a_row else names * outings
        where = [f"Lake {k * lakes // len(order)}" if lakes else "" for k in range(len(order))]
        runs = [Run(sheet=s, day=7 * k, place=p) for k, (s, p) in enumerate(zip(order, where, strict=True))]
        evidence = simulate(runs, world, effects, rng)
        table = {name: sheet_of(name) for name in names}
        evidence = [replace(e, sheet_id=table[e.sheet_id].sheet_id) for e in evidence]
        told = boat_history(evidence, {s.sheet_id: s for s in table.values()})
        if told.best is None or told.best.level.u95 is None:
            continue
        stated += 1
        middle = world.drift * (len(runs) - 1) / 2.0
        truth = LEVEL_MPS + effects[told.best.sheet] + middle
        apart = told.best.level.mean - truth
        covered += abs(apart) <= told.best.level.u95
        high += apart
    return Best(covered=covered / max(stated, 1), too_high=high / max(stated, 1), stated=stated / histories)


@lru_cache(maxsize=64)
def sheet_of(name: str) -> SetupSheet:
    """Make a sheet that differs from its likes by what is not a number."""
    return SetupSheet("Curlew", {"prop_name": Reading(name)}, name=name)


@dataclass(frozen=True, kw_only=True)
class Promise:
    """What plans promised and what came of them."""

    boats: int
    promised: float
    realised: float
    outings: float
    too_long: float


def plans_kept(
    boats: int, seed: int, care: float = 0.4, world: World | None = None, pilot: str = "ABBA"
) -> Promise:
    """Ask for a plan after a short start, run it as asked, and count how often it calls the difference."""
    rng = np.random.default_rng(seed)
    promised, realised, outings, too_long, asked = 0.0, 0, 0, 0, 0
    for _ in range(boats):
        drawn = world or World(
            shared=float(rng.uniform(0.0, 0.9)),
            outing_sd=float(rng.uniform(0.1, 0.35)),
            two_way_sd=float(rng.uniform(0.1, 0.4)),
        )
        # One stream of random numbers for start and plan: the second simulation repeats the first outings.
        seed_of_boat = int(rng.integers(1 << 31))
        start = days_of(*pilot.split())
        first = simulate(start, drawn, {"B": care}, np.random.default_rng(seed_of_boat))
        before, after = ([e for e in first if e.sheet_id == sheet] for sheet in "AB")
        head = compare(before, after, care=care, history=first).headline
        if head.plans is None:
            continue
        plan = head.plans.offered[-1]
        last = max(run.day for run in start)
        more = tuple(
            Run(sheet=sheet, day=last + 7 * (1 + day), two_ways=plan.per_outing)
            for day in range(plan.days)
            for sheet in (plan.pattern if day % 2 == 0 else plan.pattern[::-1])
        )
        both = simulate((*start, *more), drawn, {"B": care}, np.random.default_rng(seed_of_boat))
        asked += 1
        promised += plan.power
        outings += plan.outings
        too_long += head.plans.too_long
        realised += ask(both).headline.verdict == "faster"
    return Promise(
        boats=asked,
        promised=promised / asked,
        realised=realised / asked,
        outings=outings / asked,
        too_long=too_long / asked,
    )
