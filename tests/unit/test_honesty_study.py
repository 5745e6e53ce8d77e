"""The table of honesty: that it counts what it says, and goes on where it was stopped."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from honesty_study import COLUMNS, FIGURES, cells, effects_of, errors_of, run, table


def rows(figure: str, errors: list[float], u95: float) -> pd.DataFrame:
    return pd.DataFrame(
        [(figure, 10.0, "none", k, error, u95) for k, error in enumerate(errors)], columns=COLUMNS
    )


def test_every_figure_has_its_errors() -> None:
    told = {row[0] for row in errors_of(3, 10.0, "porpoising")} | {row[0] for row in effects_of(3)}
    assert told == set(FIGURES)


def test_a_cell_counts_what_its_intervals_hold() -> None:
    cell, everything = cells(rows("peak [m/s]", [0.1, -0.1, 0.3, -0.3], 0.2))
    assert (cell.n, cell.covered, cell.bias) == (4, 0.5, pytest.approx(0.0))
    assert cell.rmse == pytest.approx(np.sqrt(0.05))
    assert everything.fault == "all"


def test_the_passes_of_one_outing_count_as_one() -> None:
    errors = rows("peak [m/s]", [0.0] * 40, 0.2)
    one, _ = cells(errors)
    four, _ = cells(errors.assign(seed=errors["seed"] // 4))
    assert (one.outings, four.outings, four.n) == (40, 10, 40)
    assert four.spread == pytest.approx(2.0 * one.spread)


@pytest.mark.parametrize(("held", "honest"), [(950, True), (850, False), (1000, False)])
def test_claiming_too_much_and_saying_too_little_are_both_told(held: int, honest: bool) -> None:
    lines = table(cells(rows("slip [1]", [0.0] * held + [9.0] * (1000 - held), 0.1))).splitlines()
    assert ("outside 92-98 %" in lines[1]) is not honest


def test_a_kept_run_goes_on_where_it_stopped(tmp_path: Path) -> None:
    keep = tmp_path / "kept.csv"
    first = run([7], keep=keep, rates_hz=(1.0,), names=("none",))
    size = keep.stat().st_size
    again = run([7], keep=keep, rates_hz=(1.0,), names=("none",))
    assert keep.stat().st_size == size
    assert len(again) == len(first) == len(pd.read_csv(keep, header=None))
