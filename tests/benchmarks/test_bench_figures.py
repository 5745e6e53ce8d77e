"""Print how far every stated figure is from the simulator's truth, and how often its interval holds it.

``pytest -m study -s tests/benchmarks/test_bench_figures.py``
"""

from __future__ import annotations

import pytest
from study import Study, study

pytestmark = pytest.mark.study

SEEDS = 300


@pytest.fixture(scope="module", params=[10.0, 1.0], ids=["10 Hz", "1 Hz"])
def figures(request: pytest.FixtureRequest) -> Study:
    result = study(request.param, range(SEEDS))
    print(f"\n{result.table(f'{request.param:g} Hz, 1-3 spikes and a dropout each')}")
    return result


def test_every_pass_is_found_and_none_invented(figures: Study) -> None:
    assert figures.missed == 0
    assert figures.invented == 0


@pytest.mark.parametrize("name", ["peak", "held 1 s", "best 330 ft", "two-way, given gates"])
def test_stated_intervals_hold_the_truth(figures: Study, name: str) -> None:
    assert 0.92 <= figures.figures[name].coverage <= 0.98


@pytest.fixture(scope="module")
def other_seeds() -> Study:
    result = study(10.0, range(1000, 1000 + SEEDS))
    print(f"\n{result.table('10 Hz, other seeds')}")
    return result


def test_no_spike_is_a_peak_at_10_hz(other_seeds: Study) -> None:
    assert other_seeds.spikes_as_peak == 0


@pytest.mark.parametrize(
    ("name", "rmse", "bias"),
    [("peak", 0.12, 0.05), ("best 330 ft", 0.08, 0.05), ("two-way, given gates", 0.05, 0.05)],
)
def test_errors_at_10_hz(other_seeds: Study, name: str, rmse: float, bias: float) -> None:
    assert other_seeds.figures[name].rmse <= rmse
    assert abs(other_seeds.figures[name].bias) <= bias
