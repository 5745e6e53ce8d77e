"""The study of comparisons on a handful of histories, with bounds that a handful can hold."""

from __future__ import annotations

import pytest
from compare_conditions import CONDITIONS, HEAD, plans_kept, simulate, study
from compare_next import STEPS, Steps, advised, draw_boat, plain_process
from numpy.random import default_rng

from telemetry.compare import compare

_NAMED = {condition.name: condition for condition in CONDITIONS}


@pytest.mark.parametrize(
    "name",
    [
        "two days a side, 3 outings each",
        "both sheets on each of 4 days, A B B A",
        "season drifts, A first, 10 and 10",
        "second packs 0.5 V lower, 1-2 two-ways",
        "independent outings, 5 and 5",
    ],
)
def test_intervals_hold_and_nulls_stay_uncalled(name: str) -> None:
    line = study(_NAMED[name], 30, 3)
    assert line.covered >= 0.8  # 3.8 standard errors below 95 % of 30
    assert line.called <= 0.2
    assert line.text().startswith(name[:20])
    assert len(HEAD) > 42


@pytest.mark.parametrize("name", ["one day a side, 88 % shared", "one lake, then another"])
def test_what_cannot_be_told_is_never_called(name: str) -> None:
    condition = _NAMED[name]
    for seed in range(3):
        evidence = simulate(condition.runs, condition.world, {"B": 0.6}, default_rng(seed))
        before, after = ([e for e in evidence if e.sheet_id == sheet] for sheet in "AB")
        head = compare(before, after, history=evidence, plan=False).headline
        assert head.verdict == "cannot tell"
        assert head.u95 is None


def test_pairing_within_days_beats_days_apart() -> None:
    paired, apart = (
        study(_NAMED[name], 16, 5)
        for name in ("both sheets on each of 4 days, A B B A", "two days a side, in turn")
    )
    assert paired.half_width < 0.6 * apart.half_width


def test_a_plan_is_run_as_it_was_asked() -> None:
    told = plans_kept(3, 4)
    assert told.boats >= 1
    assert 0.0 <= told.promised <= 1.0


def test_advice_can_be_followed_for_ten_steps() -> None:
    steps = Steps()
    boat = draw_boat(default_rng(1), 0.0)
    advised(boat, default_rng(2), steps)
    assert sum(steps.verdicts.values()) == STEPS
    assert steps.losses[0] < boat.loss(3.5)
    assert plain_process(boat, default_rng(2)) < boat.loss(3.5)
