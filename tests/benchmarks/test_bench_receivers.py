"""Print every speed against the truth over receivers as they are, beside the simple methods.

``pytest -m study -s tests/benchmarks/test_bench_receivers.py``
"""

from __future__ import annotations

import numpy as np
import pytest
from receiver_study import CONDITIONS, FIGURES, HEAD, Outcome, line, run

pytestmark = pytest.mark.study

OUTINGS = 20
# Of 80 passes that share 20 receivers as many as this may miss by chance where 92 % are promised.
LEAST = 0.92 - 2.0 * (0.92 * 0.08 / OUTINGS) ** 0.5


@pytest.fixture(scope="module")
def outcomes() -> dict[str, list[Outcome]]:
    found = run(CONDITIONS, range(70_000, 70_000 + OUTINGS), jobs=2)
    print(f"\n{HEAD}\n" + "\n".join(line(name, some) for name, some in found.items()))
    return found


@pytest.mark.parametrize("name", list(CONDITIONS))
def test_intervals_hold_under_every_receiver(outcomes: dict[str, list[Outcome]], name: str) -> None:
    for figure in FIGURES:
        rows = [r for o in outcomes[name] for r in o.rows if r[0] == figure]
        if rows:
            covered = np.mean([abs(error) <= u95 for _, error, u95 in rows])
            assert covered >= LEAST, figure


@pytest.mark.parametrize("name", list(CONDITIONS))
def test_no_pass_is_missed_and_none_invented(outcomes: dict[str, list[Outcome]], name: str) -> None:
    assert sum(o.miss for o in outcomes[name]) == 0
    assert sum(o.invented for o in outcomes[name]) == 0
