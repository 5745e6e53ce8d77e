"""Porpoising over 200 seeds a cell, two passes each: `pytest -m study -s`."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import TypeVar

import numpy as np
import pytest
from ride_study import CHOP, HEAD, SIGNALS, Ride, study_pumping, study_ride, study_slow

pytestmark = pytest.mark.study

SEEDS = int(os.environ.get("RIDE_SEEDS", "200"))
WORKERS = 2
T = TypeVar("T")


@pytest.fixture(autouse=True)
def one_thread_a_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    # Two workers whose matrix products each start threads of their own wait for one another.
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")


def spread(study: Callable[[range], T]) -> list[T]:
    parts = [range(k, SEEDS, 8) for k in range(8)]
    with ProcessPoolExecutor(WORKERS, multiprocessing.get_context("spawn")) as pool:
        return list(pool.map(study, parts))


def test_porpoising(capsys: pytest.CaptureFixture[str]) -> None:
    cells: dict[tuple[float, str], Ride] = {}
    for rate_hz in (5.0, 10.0, 18.0, 25.0):
        for chop in CHOP:
            cell = cells[rate_hz, chop] = sum(spread(partial(study_ride, rate_hz, chop)), Ride())
            with capsys.disabled():
                print(
                    f"\n{rate_hz:.0f} Hz, {chop} water: {cell.number('told')} oscillations of three times the"
                )
                print(f"noise in their octave, {cell.number('clean')} clean passes\n{HEAD}")
                print("\n".join([*cell.rows(), cell.summary()]))
    for (rate_hz, _), cell in cells.items():
        # Speed alone never says more than `possible`, nor does vertical motion alone.
        for alone in ("speed", "vertical"):
            assert cell.share("told", "shown", alone) == 0.0
            assert cell.share("clean", "shown", alone) == 0.0
        if rate_hz >= 10.0:
            assert cell.share("clean", "shown") <= 0.02
            assert cell.share("clean", "shown", "both + motor") <= 0.02
            assert np.median(cell.frequency_error) <= 0.03
    for rate_hz in (10.0, 18.0, 25.0):
        water = sum((cells[rate_hz, chop] for chop in CHOP), Ride())
        with capsys.disabled():
            print(f"\n{rate_hz:.0f} Hz, all water: {100 * water.share('told', 'shown'):.1f} % shown")
            print(water.summary())
        assert water.share("told", "shown") >= 0.95
        assert np.mean(np.array(water.frequency_score) <= 1.0) >= 0.92
        assert np.mean(np.array(water.growth_score) <= 1.0) >= 0.92
        assert np.mean(water.sign_right) >= 0.95


def test_throttle_pumping(capsys: pytest.CaptureFixture[str]) -> None:
    for rate_hz in (5.0, 10.0, 18.0, 25.0):
        cell = sum(spread(partial(study_pumping, rate_hz)), Ride())
        with capsys.disabled():
            print(f"\n{rate_hz:.0f} Hz, throttle pumping, {cell.number('clean')} passes: shown, possible [%]")
            for s in SIGNALS:
                shares = [100 * cell.share("clean", v, s) for v in ("shown", "possible")]
                print(f"  {s:<15}" + " ".join(f"{x:6.1f}" for x in shares))
        assert all(cell.share("clean", "shown", s) <= 0.02 for s in SIGNALS)


def test_slow_logs_cannot_tell(capsys: pytest.CaptureFixture[str]) -> None:
    for rate_hz in (1.0, 2.0):
        verdicts = [v for part in spread(partial(study_slow, rate_hz)) for v in part]
        with capsys.disabled():
            print(
                f"\n{rate_hz:.0f} Hz: {len(verdicts)} rows, all of them: {', '.join(sorted(set(verdicts)))}"
            )
        assert set(verdicts) == {"cannot tell"}
