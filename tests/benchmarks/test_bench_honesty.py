"""Print the table of honesty over some outings of each rate and fault; the long run is a program of its own.

``pytest -m study -s tests/benchmarks/test_bench_honesty.py``
"""

from __future__ import annotations

import pytest
from honesty_study import cells, run, table

pytestmark = pytest.mark.study

SEEDS = range(600_000, 600_025)


def test_every_figure_holds_what_it_claims() -> None:
    lines = cells(run(SEEDS, jobs=2))
    print(f"\n{table(lines)}")
    assert [f"{c.figure}, {c.rate_hz:g} Hz, {c.fault}" for c in lines if not c.honest] == []
