"""How often the interval of a comparison holds the truth, and how often a true null is called."""

from __future__ import annotations

import numpy as np
import pytest
from compare_study import DESIGNS, Design, study, table

PAIRS = 2000
SLACK = 3.0  # standard errors of a share out of so many pairs


@pytest.mark.study
def test_intervals_hold_and_nulls_stay_uncalled() -> None:
    """Every design, nulls and true effects in turn; all designs together over 1 000 pairs and more.

    Each design's own share has to lie within 93-97 % (and 5 % of nulls called) as far as so many pairs can
    tell; pooled over all designs the bounds hold as they stand.
    """
    results = [study(d, PAIRS, 100 + k, effects_mps=(0.0, 0.0, 0.3, -0.6)) for k, d in enumerate(DESIGNS)]
    print(f"\n{PAIRS} pairs a design, half of them nulls\n{table(results)}")
    told = [r for r in results if r.none < PAIRS]
    covered, called = (float(np.mean([getattr(r, name) for r in told])) for name in ("covered", "called"))
    print(f"{'all designs':30} {100 * covered:10.1f} {100 * called:14.1f}")
    assert 0.93 <= covered <= 0.97
    assert called <= 0.05
    spread = SLACK * np.sqrt(0.05 * 0.95 / PAIRS)
    for r in told:
        assert 0.93 - spread <= r.covered <= 0.97 + spread, r.design.name
        assert r.called <= 0.05 + SLACK * np.sqrt(0.05 * 0.95 / (PAIRS / 2)), r.design.name


@pytest.mark.study
def test_one_thousand_pairs_of_mixed_designs() -> None:
    """The statement itself: 1 000 pairs, outings, numbers, scatter and drift drawn anew for each."""
    for seed in range(5):
        rng = np.random.default_rng(seed)
        results = []
        for k in range(1000):
            sizes = [tuple(int(n) for n in rng.integers(1, 7, rng.integers(2, 7))) for _ in range(2)]
            design = Design(
                f"drawn {k}",
                sizes[0],
                sizes[1],
                outing_sd=rng.uniform(0.0, 0.6),
                two_way_sd=rng.uniform(0.1, 0.5),
                measured_u=rng.uniform(0.02, 0.1),
                drift=rng.uniform(0.0, 0.2),
                voltage=bool(rng.random() < 0.5),
            )
            results.append(study(design, 1, int(rng.integers(1 << 30))))
        told = [r for r in results if not r.none]
        covered, called = (float(np.mean([getattr(r, name) for r in told])) for name in ("covered", "called"))
        print(
            f"\nseed {seed}: {len(told)} of 1000 pairs have an interval, covered {100 * covered:.1f} %, "
            f"null called {100 * called:.1f} %"
        )
        assert 0.93 <= covered <= 0.97
        assert called <= 0.05
