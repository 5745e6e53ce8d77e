"""What must hold of any comparison."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from telemetry.compare import MEASURES, Evidence, Units, advice_text, compare, comparison_text, next_trial
from telemetry.compare.posterior import DAY, OUTING, DesignLayout, Factored
from telemetry.compare.priors import DAY_AXIS, OUTING_AXIS
from telemetry.compare.verdicts import CANNOT_TELL, NO_DIFFERENCE, NOT_ENOUGH

WORDS = {NO_DIFFERENCE, NOT_ENOUGH, CANNOT_TELL, "faster", "slower", "higher", "lower"}
SPEED = st.floats(1.0, 60.0)
CONDITION = st.one_of(st.none(), st.floats(0.0, 30.0))
NAME = st.sampled_from([None, "A", "B"])


@st.composite
def side(draw: st.DrawFn, sheet: str, first: int) -> list[Evidence]:
    """Draw some outings of one sheet, whatever the logs could say of them."""
    evidence = []
    for outing in range(draw(st.integers(0, 4))):
        covariates = {"wind_mps": draw(CONDITION), "water": draw(NAME), "pack": draw(NAME)}
        for order in range(draw(st.integers(1, 4))):
            evidence.append(
                Evidence(
                    boat="Plover",
                    sheet_id=sheet,
                    outing_id=first + outing,
                    outing_utc=None,
                    order=order,
                    kind="two-way",
                    values={"two_way_mps": draw(st.one_of(st.none(), SPEED))},
                    u95={"two_way_mps": draw(st.floats(0.0, 1.0))},
                    covariates=covariates | {"rest_voltage_v": draw(CONDITION)},
                )
            )
    return evidence


def shifted(evidence: list[Evidence], by: float, times: float = 1.0) -> list[Evidence]:
    """Move and stretch the speeds."""
    return [
        replace(
            e,
            values={k: None if v is None else times * v + by for k, v in e.values.items()},
            u95={k: times * v for k, v in e.u95.items()},
        )
        for e in evidence
    ]


@given(side("a", 0), side("b", 50), st.floats(0.01, 2.0))
@settings(max_examples=60)
def test_a_verdict_is_one_of_the_words_and_fits_its_interval(
    before: list[Evidence], after: list[Evidence], care: float
) -> None:
    told = compare(before, after, care=care, plan=False)
    for e in told.effects:
        assert e.verdict in WORDS
        assert e.reason
        if e.difference is None or e.u95 is None:
            assert e.verdict in (NOT_ENOUGH, CANNOT_TELL)
            continue
        assert math.isfinite(e.difference)
        assert e.u95 >= 0.0
        if e.verdict in ("faster", "slower"):
            assert abs(e.difference) > e.u95
            assert (e.difference > 0.0) == (e.verdict == "faster")
        if e.verdict == NO_DIFFERENCE:
            assert abs(e.difference) + e.u95 <= care
    assert comparison_text(told, Units())


@given(side("a", 0), side("b", 50))
@settings(max_examples=30)
def test_turning_the_sides_turns_the_sign(before: list[Evidence], after: list[Evidence]) -> None:
    there, back = (compare(*sides, plan=False).headline for sides in ((before, after), (after, before)))
    if there.difference is None:
        assert back.difference is None
    else:
        assert back.difference is not None
        assert math.isclose(there.difference, -back.difference, rel_tol=1e-3, abs_tol=1e-4)
        assert math.isclose(there.u95 or 0.0, back.u95 or 0.0, rel_tol=1e-3, abs_tol=1e-4)


@given(side("a", 0), side("b", 50), st.floats(0.5, 3.0))
@settings(max_examples=20)
def test_a_receivers_scale_changes_no_verdict(
    before: list[Evidence], after: list[Evidence], times: float
) -> None:
    plain = compare(before, after, care=0.3, plan=False).headline
    other = compare(
        shifted(before, 0.0, times), shifted(after, 0.0, times), care=0.3 * times, plan=False
    ).headline
    if plain.difference is None:
        assert other.difference is None
        return
    assert other.difference is not None
    assert math.isclose(other.difference, times * plain.difference, rel_tol=1e-3, abs_tol=1e-4)
    if plain.u95 is not None:
        assert math.isclose(other.u95 or 0.0, times * plain.u95, rel_tol=1e-3, abs_tol=1e-4)


@given(side("a", 0), st.floats(0.01, 1.0))
@settings(max_examples=30)
def test_without_sheets_there_is_never_advice(evidence: list[Evidence], care: float) -> None:
    told = next_trial(evidence, {}, care=care)
    assert told.verdict == "too little to advise"
    assert advice_text(told, Units())


@given(st.lists(st.integers(1, 6), min_size=4, max_size=10), st.integers(0, 2**32 - 1))
@settings(max_examples=30)
def test_weights_pick_the_contrast_at_every_point_of_the_grid(sizes: list[int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    outing = np.repeat(np.arange(len(sizes)), sizes)
    x = np.column_stack([np.ones(outing.size), outing % 2])
    y = rng.normal(25.0, 0.3, outing.size)
    axes = {OUTING: OUTING_AXIS, DAY: DAY_AXIS}
    layout = DesignLayout(x=x, outing=outing, day=np.arange(len(sizes)) // 2, blocks=(), axes=axes)
    found = Factored(layout).posterior(y)
    toward = np.array([0.0, 1.0])
    weights = found.row_weights(toward)
    assert np.allclose(weights @ x, toward, atol=1e-7)
    assert math.isclose(float(weights @ y), float(found.mean[found.likeliest, 1, 0]), abs_tol=1e-7)
    mixture = found.contrast(toward)
    assert math.isclose(mixture.below(mixture.quantile(0.975)), 0.975, abs_tol=1e-4)


@given(side("a", 0), side("b", 50), st.floats(0.05, 1.0))
@settings(max_examples=15)
def test_a_plan_states_a_chance(before: list[Evidence], after: list[Evidence], care: float) -> None:
    told = compare(before, after, care=care)
    json.dumps(told.to_dict(), allow_nan=False)
    plans = told.headline.plans
    for plan in () if plans is None else plans.offered:
        assert 0.0 <= plan.power <= 1.0


def test_every_measure_has_its_words() -> None:
    assert {m.up for m in MEASURES.values()} | {m.down for m in MEASURES.values()} <= WORDS
