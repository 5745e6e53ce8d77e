"""Clocks, pack, slip and what-if over at least 200 simulated outings a row: `pytest -m study -s`."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import TypeVar

import numpy as np
import pytest
from power_study import (
    CHANGES,
    JOINS_HEAD,
    SITUATIONS,
    Joins,
    Powers,
    WhatIfs,
    covered,
    study_columns,
    study_joins,
    study_power,
    study_what_if,
)

pytestmark = pytest.mark.study

SEEDS = 200
WORKERS = 2
T = TypeVar("T")


def spread(study: Callable[[range], T]) -> list[T]:
    """Run a study in parts, on as many processes as the build machine has cores."""
    parts = [range(k, SEEDS, 8) for k in range(8)]
    with ProcessPoolExecutor(WORKERS, multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(study, parts))


def test_clocks(capsys: pytest.CaptureFixture[str]) -> None:
    rows: dict[str, Joins] = {}
    for name in SITUATIONS:
        rows[name] = sum(spread(partial(study_joins, name)), Joins())
    for part in spread(study_columns):
        for name, joins in part.items():
            rows[name] = rows.get(name, Joins()) + joins
    with capsys.disabled():
        print("\n" + JOINS_HEAD)
        for name, joins in rows.items():
            print(joins.row(name))
    for name in ("10 Hz", "25 Hz", "10 Hz, spikes and a dropout"):
        assert rows[name].error_95_s <= 0.1
        assert rows[name].refused <= 0.02 * SEEDS
    for name in ("5 Hz", "10 Hz", "25 Hz", "1 Hz", "10 Hz, current only", "10 Hz, throttle only"):
        assert rows[name].covered >= 0.92 * rows[name].joined
    foreign = sum(r.foreign for r in rows.values())
    assert sum(r.foreign_joined for r in rows.values()) <= 0.02 * foreign


def test_power(capsys: pytest.CaptureFixture[str]) -> None:
    told = sum(spread(study_power), Powers())
    with capsys.disabled():
        print(
            f"\n  {'figure':<28}{'n':>6}{'bias':>10}{'RMSE':>10}{'worst':>10}{'mean U95':>10}{'covered':>10}"
        )
        for name, pairs in (
            ("pack resistance, relative", told.resistance),
            ("rest voltage [V]", told.rest_voltage),
            ("slip", told.slip),
        ):
            e, u = np.array(pairs).T
            print(
                f"  {name:<28}{e.size:>6}{e.mean():>10.4f}{np.sqrt(np.mean(e**2)):>10.4f}"
                f"{np.abs(e).max():>10.4f}{u.mean():>10.4f}{100 * covered(pairs) / e.size:>8.1f} %"
            )
    assert len(told.resistance) == SEEDS
    assert np.abs(np.array(told.resistance)[:, 0]).max() <= 0.10
    assert np.abs(np.array(told.slip)[:, 0]).max() <= 0.01
    for pairs in (told.resistance, told.slip):
        assert 0.92 <= covered(pairs) / len(pairs) <= 0.98


def test_what_if(capsys: pytest.CaptureFixture[str]) -> None:
    told = sum(spread(partial(study_what_if, changes=CHANGES[:1])), WhatIfs())
    with capsys.disabled():
        print(f"\n  {'what if':<30}{'n':>5}   worst error [%] and mean U95 [%] of rpm, current, speed")
        for name, rows in told.errors.items():
            table = 100 * np.array(rows)
            worst, u95 = np.abs(table[:, ::2]).max(axis=0), table[:, 1::2].mean(axis=0)
            print(f"  {name:<30}{len(rows):>5}   {np.round(worst, 2)} {np.round(u95, 1)}")
    larger = np.abs(np.array(told.errors["propeller 10 % larger"]))
    assert larger[:, 0].max() <= 0.03
    assert larger[:, 2].max() <= 0.08
