"""Simulated pairs of sheets with known truth: how often intervals hold it, how often a null is called.

Everything here is invented numbers: outings that share an effect, packs that run down, two-ways that scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from telemetry.compare import Evidence, compare

START = datetime(2031, 5, 3, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Design:
    """How a pair of sheets was run.

    Attributes
    ----------
    name : str
    before, after : tuple of int
        Two-ways in each outing of each side.
    outing_sd, two_way_sd, measured_u : float
        Scatter between outings, between two-ways of one outing (measuring included), and of the measuring
        alone [m/s].
    drift : float
        What a two-way loses on the one before it in its outing, as the pack runs down [m/s].
    voltage : bool
        Whether the pack's voltage at rest is known.
    wind : float
        Change of the two-way with wind [s/s]; the side after has more of it.
    together : bool
        Whether each outing runs both sheets in turn; ``before`` and ``after`` are then of equal length.
    history : int
        Further outings on other sheets of the boat.
    """

    name: str
    before: tuple[int, ...]
    after: tuple[int, ...]
    outing_sd: float = 0.25
    two_way_sd: float = 0.30
    measured_u: float = 0.05
    drift: float = 0.08
    voltage: bool = False
    wind: float = 0.0
    together: bool = False
    history: int = 0


DESIGNS = (
    Design("2 v 2 outings of 3", (3, 3), (3, 3)),
    Design("3 v 3 outings of 4", (4, 4, 4), (4, 4, 4)),
    Design("5 v 5 outings of 3", (3,) * 5, (3,) * 5),
    Design("unequal 2,5 v 3,1,4", (2, 5), (3, 1, 4)),
    Design("unequal 1,2,6,3 v 4,4", (1, 2, 6, 3), (4, 4), voltage=True),
    Design("unequal 3,4 v 2,2,3,3,5,6", (3, 4), (2, 2, 3, 3, 5, 6)),
    Design("8,1,1 v 1,1,8", (8, 1, 1), (1, 1, 8)),
    Design("outings alike", (3, 4, 2), (5, 2, 3), outing_sd=0.0),
    Design("outings far apart", (3, 4, 2), (5, 2, 3), outing_sd=0.8),
    Design("long after short, drift", (2, 2, 2), (6, 6, 6), drift=0.2, voltage=True),
    Design(
        "measuring is all the scatter", (3, 4, 3), (3, 3, 5), two_way_sd=0.1, measured_u=0.1, outing_sd=0.1
    ),
    Design("more wind after", (3, 2, 4, 3), (2, 3, 3, 4), wind=0.15),
    Design("in turn, 1 outing", (4,), (4,), together=True),
    Design("in turn, 3 outings", (2, 3, 2), (3, 2, 2), together=True),
    Design("1 v 1 outing, 8 of history", (4,), (3,), history=8),
)


def simulate(design: Design, effect_mps: float, rng: np.random.Generator) -> list[list[Evidence]]:
    """Draw one pair of sheets: evidence before, after, and of the boat's history."""
    sides: list[list[Evidence]] = [[], [], []]
    runs = [(k, n, "B") for k, n in enumerate(design.before)]
    shift = 0 if design.together else len(design.before)
    runs += [(shift + k, n, "A") for k, n in enumerate(design.after)]
    first = max(k for k, _, _ in runs) + 1
    runs += [(first + k, 3, f"H{k % 4}") for k in range(design.history)]
    shared = rng.normal(0.0, design.outing_sd, first + design.history)
    winds = rng.uniform(0.0, 4.0, shared.size)
    for outing, count, sheet in runs:
        place = {"B": 0, "A": 1}.get(sheet, 2)
        wind = winds[outing] + (1.0 if sheet == "A" and not design.together else 0.0)
        for k in range(count):
            order = 2 * k + place if design.together else k
            level = 25.0 + (effect_mps if sheet == "A" else 0.0) + 0.3 * (place == 2) * int(sheet[-1:] == "1")
            speed = level + shared[outing] - design.drift * order - design.wind * wind
            covariates: dict[str, float | str | None] = {"wind_mps": wind if design.wind else None}
            if design.voltage:
                covariates["rest_voltage_v"] = 25.2 - 0.3 * order + rng.normal(0.0, 0.02)
            sides[place].append(
                Evidence(
                    boat="Reed Warbler",
                    sheet_id=sheet,
                    outing_id=outing,
                    outing_utc=START + timedelta(days=7 * outing),
                    order=order,
                    kind="two-way",
                    values={"two_way_mps": speed + rng.normal(0.0, design.two_way_sd)},
                    u95={"two_way_mps": 1.96 * design.measured_u},
                    covariates=covariates,
                )
            )
    return sides


@dataclass(frozen=True)
class Result:
    """What many pairs of one design gave."""

    design: Design
    covered: float
    called: float
    none: int
    median_width: float


def study(design: Design, pairs: int, seed: int, effects_mps: Sequence[float] = (0.0,)) -> Result:
    """Compare many simulated pairs; the effects take turns, nulls are counted for what is called."""
    rng = np.random.default_rng(seed)
    covered, called, nulls, none, widths = 0, 0, 0, 0, []
    for k in range(pairs):
        truth = effects_mps[k % len(effects_mps)]
        before, after, history = simulate(design, truth, rng)
        head = compare(before, after, care=1e9, history=history).headline
        if head.difference is None or head.u95 is None:
            none += 1
            continue
        covered += abs(head.difference - truth) <= head.u95
        widths.append(head.u95)
        if truth == 0.0:
            nulls += 1
            called += head.verdict in ("faster", "slower")
    told = pairs - none
    return Result(design, covered / told, called / max(nulls, 1), none, float(np.median(widths)))


def table(results: Sequence[Result]) -> str:
    """Print results as a table."""
    rows = [f"{'design':30} {'covered %':>10} {'null called %':>14} {'no interval':>12} {'u95 m/s':>8}"]
    for r in results:
        shares = f"{100 * r.covered:10.1f} {100 * r.called:14.1f}"
        rows.append(f"{r.design.name:30} {shares} {r.none:12d} {r.median_width:8.2f}")
    return "\n".join(rows)
