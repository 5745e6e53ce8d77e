"""The conditions that people really have, plans, best sheets and next trials, on seeds not used for building.

``RECIPROCAL_STUDY`` is a share of the full numbers, such as 0.1 on a busy machine.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from compare_conditions import CONDITIONS, HEAD, Run, World, best_of, looks, plans_kept, study
from compare_next import calibration
from compare_next import study as next_study
from compare_study import DESIGNS
from compare_study import study as design_study
from compare_study import table as design_table

SHARE = float(os.environ.get("RECIPROCAL_STUDY", "1.0"))
SLACK = 3.0  # standard errors of a share out of so many histories


def number(full: int) -> int:
    """Scale a number of histories, kept even."""
    return max(20, 2 * round(full * SHARE / 2))


def slack(share: float, histories: int) -> float:
    """Compute the allowance for a share out of so many histories."""
    return SLACK * float(np.sqrt(share * (1.0 - share) / histories))


@pytest.mark.study
def test_intervals_hold_and_nulls_stay_uncalled_under_every_condition() -> None:
    histories = number(2000)
    print(f"\n{histories} histories a line\n{HEAD}")
    lines = []
    for k, condition in enumerate(CONDITIONS):
        lines.append(study(condition, histories, 71_000 + k))
        print(lines[-1].text(), flush=True)
    for line in lines:
        name = line.condition.name
        assert line.called <= 0.05 + slack(0.05, histories // 2), name
        if line.cannot < 0.9:
            assert 0.92 - slack(0.08, histories) <= line.covered, name
        if line.condition.best_sd is not None:
            assert line.half_width / 1.96 / line.condition.best_sd <= 1.3, name


@pytest.mark.study
def test_looking_after_every_outing_costs_nothing_false() -> None:
    histories = number(1000)
    told = {
        "a sheet a day": looks(histories, 72_000, lambda k: Run(sheet="AB"[k % 2], day=7 * k)),
        "A B B A a day, 70 % shared": looks(
            histories,
            72_001,
            lambda k: Run(sheet="ABBA"[k % 4], day=7 * (k // 4)),
            world=World(shared=0.7),
        ),
        "six of A, then B": looks(histories, 72_002, lambda k: Run(sheet="A" if k < 6 else "B", day=7 * k)),
    }
    print(f"\ncalled at any of twelve looks, {histories} nulls each")
    for name, called in told.items():
        print(f"{name:30} {100 * called:6.1f} %")
    for name, called in told.items():
        assert called <= 0.05 + slack(0.05, histories), name


@pytest.mark.study
def test_the_best_of_several_is_as_good_as_it_is_said_to_be() -> None:
    histories = number(1000)
    print(f"\n{histories} histories a line")
    for k in (3, 6, 10):
        for name, told in (
            ("equal", best_of(k, histories, 73_000 + k)),
            ("0.3 m/s apart", best_of(k, histories, 73_100 + k, spread=0.3)),
            (
                "in a row, season drifts",
                best_of(k, histories, 73_200 + k, in_a_row=True, world=World(drift=-0.022)),
            ),
            (
                "in a row, three lakes",
                best_of(k, number(300), 73_300 + k, in_a_row=True, lakes=3, world=World(place_sd=0.2)),
            ),
        ):
            print(
                f"best of {k:2}, {name:25} covered {100 * told.covered:5.1f} %, high {told.too_high:+.3f}",
                flush=True,
            )
            assert told.covered >= 0.92 - slack(0.08, number(300)), (k, name)


@pytest.mark.study
def test_plans_keep_what_they_promise() -> None:
    boats = number(1000)
    for k, pilot in enumerate(("ABBA", "AB BA", "AA BB", "A B B A", "AAA BBB")):
        told = plans_kept(boats // 5, 74_000 + k, pilot=pilot)
        print(
            f"\n{pilot:8} {told.boats} boats: promised {100 * told.promised:.1f} %, realised "
            f"{100 * told.realised:.1f} %, {told.outings:.1f} outings, {100 * told.too_long:.0f} % too long",
            flush=True,
        )
        assert abs(told.promised - told.realised) <= 0.05 + slack(told.promised, told.boats)


@pytest.mark.study
@pytest.mark.parametrize("drift", [0.0, -0.03])
def test_ten_advised_steps_end_as_near_as_a_plain_process_and_chances_come_true(drift: float) -> None:
    boats = number(500)
    steps, opponent = next_study(boats, 75_000, drift)
    ours, theirs = float(np.mean(steps.losses)), float(np.mean(opponent))
    doubt = float(np.std(np.array(steps.losses) - opponent) / np.sqrt(boats))
    print(f"\n{boats} boats, drift {drift:+.2f}: ours {ours:.4f}, plain process {theirs:.4f} (± {doubt:.4f})")
    print(f"verdicts {steps.verdicts}, mean gain said and true {np.mean(steps.gains, axis=0)}")
    for stated, true, count in calibration(steps):
        print(f"  stated {100 * stated:5.1f} %, came true {100 * true:5.1f} % of {count}")
    assert ours <= theirs + SLACK * doubt


@pytest.mark.study
def test_designs_of_independent_outings_hold_as_before() -> None:
    pairs = number(600)
    results = [
        design_study(d, pairs, 76_000 + k, effects_mps=(0.0, 0.0, 0.3, -0.6)) for k, d in enumerate(DESIGNS)
    ]
    print(f"\n{pairs} pairs a design, half of them nulls\n{design_table(results)}")
    for r in results:
        assert r.called <= 0.05 + slack(0.05, pairs // 2), r.design.name
        if r.none < pairs / 2:
            assert r.covered >= 0.92 - slack(0.08, pairs), r.design.name
