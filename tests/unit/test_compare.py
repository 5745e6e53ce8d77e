"""Verdicts, what they rest on, and what is said aloud with them."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from compare_fixture import BASE, START, outing, passes, sheet

from telemetry.compare import MEASURES, Comparison, Evidence, Units, compare, comparison_text
from telemetry.compare.covariates import COVARIATES
from telemetry.compare.effects import Adjustment
from telemetry.compare.verdicts import CANNOT_TELL, NO_DIFFERENCE, NOT_ENOUGH
from telemetry.compare.wording import basis_texts, more_texts, reason_text
from telemetry.core.errors import CallError
from telemetry.setup import Reading, SetupSheet

LOWER = sheet("lower", strut_depth_mm=2.5)


def judged(
    before: list[list[float]], after: list[list[float]], care: float = 0.25, **rest: float
) -> Comparison:
    """Compare two sheets by the two-ways of their outings."""
    first = [e for k, v in enumerate(before) for e in outing(BASE, k, v, **rest)]
    second = [e for k, v in enumerate(after) for e in outing(LOWER, 50 + k, v, **rest)]
    return compare(first, second, before_sheet=BASE, after_sheet=LOWER, care=care)


def test_a_clear_gain_is_faster_and_its_mirror_slower() -> None:
    slow, fast = [[24.0, 24.1], [24.2, 24.1], [23.9, 24.0]], [[25.0, 25.1], [25.2, 24.9], [25.1, 25.0]]
    gain, loss = judged(slow, fast), judged(fast, slow)
    assert (gain.headline.verdict, loss.headline.verdict) == ("faster", "slower")
    assert gain.headline.difference == pytest.approx(1.0, abs=0.03)
    assert loss.headline.difference == pytest.approx(-(gain.headline.difference or 0.0), abs=0.03)


def test_no_clear_difference_needs_the_whole_interval_within_what_matters() -> None:
    same = [[24.0, 24.1], [24.05, 24.1], [24.02, 24.08], [24.06, 24.0]]
    assert judged(same, [v[::-1] for v in same], care=0.25).headline.verdict == NO_DIFFERENCE
    told = judged(same, [v[::-1] for v in same], care=0.02).headline
    assert told.verdict in (NOT_ENOUGH, CANNOT_TELL)


def test_too_little_says_how_much_more() -> None:
    rough = judged([[24.0, 24.3], [24.4, 24.1]], [[24.2, 24.5], [24.1, 24.3]], care=0.3).headline
    assert rough.verdict == NOT_ENOUGH
    assert rough.plans is not None
    for plan in rough.plans.offered:
        assert 0.0 <= plan.power <= 1.0
        assert plan.outings == plan.days * len(plan.pattern)
        assert plan.two_ways == plan.outings * plan.per_outing
    # Twice the difference that matters never needs more.
    easy = judged([[24.0, 24.3], [24.4, 24.1]], [[24.2, 24.5], [24.1, 24.3]], care=0.45).headline
    assert easy.plans is not None
    assert easy.plans.enough or easy.plans.offered[-1].power >= rough.plans.offered[-1].power


def test_where_no_number_of_outings_would_tell_that_is_said() -> None:
    told = judged([[20.0, 24.9], [28.1, 24.2]], [[21.6, 25.6], [29.3, 25.2]], care=0.02).headline
    assert told.verdict == NOT_ENOUGH
    assert told.plans is not None
    assert told.plans.too_long
    assert not told.plans.enough
    said = " ".join(more_texts(told, Units("m/s")))
    assert "takes more than six outings" in said
    assert "coarser step" in said


def test_one_day_a_side_cannot_tell_and_says_why() -> None:
    told = judged([[24.0, 24.1, 24.0]], [[25.0, 25.1, 24.9]])
    head = told.headline
    assert (head.verdict, head.reason) == (CANNOT_TELL, "one-day")
    assert head.difference == pytest.approx(0.97, abs=0.03)
    assert (head.u95, head.chance) == (None, None)
    text = comparison_text(told, Units())
    assert text.startswith("Cannot tell lower from base")
    assert "the two days may differ by more" in text
    assert "is not known yet" in " ".join(text.split())


def test_the_size_of_a_days_difference_comes_from_the_boats_history() -> None:
    first, second = outing(BASE, 0, [24.0, 24.1, 24.0]), outing(LOWER, 1, [24.3, 24.2, 24.2])
    other = sheet("other", strut_depth_mm=4.0)
    days = [23.0, 23.9, 22.6, 23.4]
    more = [e for k, v in enumerate(days) for e in outing(other, 10 + k, [v, v + 0.1])]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER, history=more)
    assert told.headline.found is not None
    size = told.headline.found.day_difference
    assert size is not None
    assert 0.4 < size < 1.6  # the days of the other sheet have a standard deviation of 0.55 (computed)
    assert told.headline.verdict in (NOT_ENOUGH, CANNOT_TELL)


def test_the_boats_history_lends_its_scatter_and_that_is_said() -> None:
    first, second = outing(BASE, 0, [24.0, 24.1, 24.0]), outing(LOWER, 1, [26.0, 26.1, 25.9])
    other = sheet("other", strut_depth_mm=4.0)
    more = [e for k, v in enumerate([23.0, 23.2, 22.9, 23.1]) for e in outing(other, 10 + k, [v, v + 0.1])]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER, history=[*first, *second, *more])
    assert told.headline.verdict == "faster"
    assert told.headline.found is not None
    assert told.headline.found.history_outings == 4


def test_both_sheets_on_each_day_are_compared_within_it() -> None:
    """Days lie far apart, the two sheets of each day close together: the days cancel."""
    first, second = [], []
    for day, level in enumerate((23.0, 25.0, 24.2, 22.4)):
        for k, (of, gain) in enumerate(((BASE, 0.0), (LOWER, 0.4), (LOWER, 0.42), (BASE, 0.03))):
            run = [
                replace(e, outing_utc=START + timedelta(days=7 * day, hours=k))
                for e in outing(of, 10 * day + k, [level + gain, level + gain + 0.05, level + gain - 0.04])
            ]
            (first if of is BASE else second).extend(run)
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER)
    assert told.headline.verdict == "faster"
    assert told.headline.difference == pytest.approx(0.395, abs=0.02)
    assert (told.headline.u95 or 9.0) < 0.08
    assert told.headline.found is not None
    assert told.headline.found.sd_between_days > 0.5


def test_a_season_that_drifts_is_not_taken_for_the_change() -> None:
    rng = np.random.default_rng(4)
    speeds = [24.0 - 0.06 * k + rng.normal(0.0, 0.05) for k in range(12)]
    first = [e for k in range(6) for e in outing(BASE, k, list(speeds[k] + rng.normal(0.0, 0.05, 3)))]
    second = [e for k in range(6, 12) for e in outing(LOWER, k, list(speeds[k] + rng.normal(0.0, 0.05, 3)))]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER)
    assert (told.headline.verdict, told.headline.reason) == (CANNOT_TELL, "time")
    assert "going back to base" in comparison_text(told, Units())
    assert told.headline.found is not None
    assert told.headline.found.trend is not None
    assert told.headline.found.trend.per_day == pytest.approx(-0.06, abs=0.04)


def test_one_place_each_cannot_tell() -> None:
    def at(of: SetupSheet, start: int, place: str, level: float) -> list[Evidence]:
        return [
            e
            for k in range(3)
            for e in outing(of, start + k, [level, level + 0.1, level - 0.05 * k], place=place)
        ]

    told = compare(at(BASE, 0, "Mere", 24.0), at(LOWER, 9, "Broad", 24.6)).headline
    assert (told.verdict, told.reason) == (CANNOT_TELL, "place")
    both = compare(
        at(BASE, 0, "Mere", 24.0) + at(BASE, 20, "Broad", 24.1),
        at(LOWER, 9, "Broad", 25.1) + at(LOWER, 30, "Mere", 25.0),
    ).headline
    assert both.verdict == "faster"


def test_a_spoiled_outing_is_told_and_kept() -> None:
    rng = np.random.default_rng(8)

    def run(of: SetupSheet, number: int, level: float) -> list[Evidence]:
        return outing(of, number, list(level + rng.normal(0.0, 0.1, 3)))

    first = [e for k in range(5) for e in run(BASE, 2 * k, 24.0 + 0.1 * (k % 2))]
    second = [e for k in range(5) for e in run(LOWER, 2 * k + 1, 24.5 - (1.8 if k == 3 else 0.1 * (k % 2)))]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER)
    assert told.headline.found is not None
    (spoiled,) = told.headline.found.spoiled
    assert spoiled.outing_id == 7
    assert spoiled.probability > 0.9
    assert spoiled.weight < 0.3
    assert "Outing 7 was much slower" in " ".join(r.text for r in told.remarks)
    assert told.headline.difference == pytest.approx(0.42, abs=0.12)  # the plain means lie 0.1 apart


def test_sheets_in_turn_within_outings_are_told_by_differences_within() -> None:
    first = [e for k, level in enumerate((22.0, 25.0)) for e in outing(BASE, k, [level, level + 0.1])]
    second = [e for k, level in enumerate((22.5, 25.6)) for e in outing(LOWER, k, [level, level + 0.05])]
    told = compare(first, second).headline
    assert told.found is not None
    assert told.difference == pytest.approx(0.525, abs=0.05)
    assert (told.u95 or 9.0) < 0.3  # though the outings lie 3 m/s apart


def test_the_interval_is_never_narrower_than_the_measuring() -> None:
    twins = [[24.0, 24.001], [24.001, 24.0], [24.0, 24.0]]
    told = judged(twins, twins, u95=0.3).headline
    assert told.found is not None
    assert told.found.measurement_bound
    # Six two-ways a side, each within 0.3: the mean difference within 0.3 sqrt(2 / 6) (computed).
    assert told.u95 == pytest.approx(0.3 * math.sqrt(2 / 6), rel=0.02)


def test_figures_that_do_not_scatter_at_all_are_not_believed() -> None:
    told = judged([[24.0, 24.0], [24.0, 24.0]], [[24.0, 24.0], [24.0, 24.0]]).headline
    assert (told.verdict, told.reason) == (NOT_ENOUGH, "no-scatter")


def test_clean_passes_on_both_sides_say_that_nothing_was_seen() -> None:
    clean = [e for k in range(3) for e in passes(BASE, k, ripple_mps=0.0)]
    after = [e for k in range(3) for e in passes(LOWER, 9 + k, ripple_mps=0.0)]
    told = compare(clean, after).effect("ripple_mps")
    assert told is not None
    assert reason_text(told) == "no ripple of the speed was seen on either side"


def test_a_pack_running_down_is_allowed_for_by_its_voltage() -> None:
    def run(of: object, number: int, volts: list[float], gain: float) -> list:
        return outing(of, number, [24.0 + gain + 1.5 * (v - 25.0) for v in volts], rest_voltage_v=volts)  # type: ignore[arg-type]

    fresh, tired = [25.2, 25.0, 24.8], [24.9, 24.7, 24.5]
    first = [e for k in range(3) for e in run(BASE, k, [v + 0.01 * k for v in fresh], 0.02 * k)]
    second = [e for k in range(3) for e in run(LOWER, 9 + k, [v - 0.01 * k for v in tired], 0.4 - 0.02 * k)]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER)
    (adjusted,) = told.headline.found.adjusted  # type: ignore[union-attr]
    assert adjusted.covariate.key == "rest_voltage_v"
    assert adjusted.slope == pytest.approx(1.5, abs=0.1)
    assert told.headline.difference == pytest.approx(0.36, abs=0.05)  # the plain means lie 0.1 apart
    assert any(r.code == "rest_voltage_v" and r.adjusted for r in told.remarks)


def test_voltage_is_not_allowed_for_where_the_change_made_it() -> None:
    more = BASE.edit({"cells": Reading(8.0)}, name="8 cells")
    first = [
        e for k in range(3) for e in outing(BASE, k, [24.0, 23.8 + 0.01 * k], rest_voltage_v=[25.0, 24.0])
    ]
    second = [
        e for k in range(3) for e in outing(more, 9 + k, [29.0, 28.8 - 0.01 * k], rest_voltage_v=[25.0, 24.0])
    ]
    found = compare(first, second, before_sheet=BASE, after_sheet=more).headline.found
    assert found is not None
    assert [a.covariate.key for a in found.adjusted] == ["order"]


def test_different_water_wind_and_pack_are_said_aloud() -> None:
    speeds = [24.0, 24.1]
    first = [
        e for k in range(3) for e in outing(BASE, k, speeds, water="flat", wind_mps=0.5 + 0.1 * k, pack="A")
    ]
    second = [
        e
        for k in range(3)
        for e in outing(LOWER, 9 + k, speeds, water="chop", wind_mps=3.0 + 0.1 * k, pack="A")
    ]
    told = {r.code: r for r in compare(first, second, before_sheet=BASE, after_sheet=LOWER).remarks}
    assert "flat before, chop after" in told["water"].text
    assert "do not overlap" in told["wind_mps"].text
    assert "pack" not in told
    assert "time" in told  # all of one side came first


def test_wind_on_both_sides_is_adjusted_for() -> None:
    def run(of: object, start: int, winds: list[float], level: float) -> list:
        return [
            e
            for k, w in enumerate(winds)
            for e in outing(of, start + k, [level - 0.3 * w, level - 0.3 * w + 0.02 * (k % 2)], wind_mps=w)  # type: ignore[arg-type]
        ]

    told = compare(run(BASE, 0, [0.2, 1.0, 2.0, 1.4], 24.0), run(LOWER, 9, [1.5, 2.5, 3.5, 0.8], 24.5))
    assert told.headline.difference == pytest.approx(0.5, abs=0.03)
    assert any(r.code == "wind_mps" and r.adjusted for r in told.remarks)


def test_wind_and_warmth_are_told_in_the_readers_units() -> None:
    def run(of: SetupSheet, start: int, winds: list[float], air_c: float, level: float) -> list[Evidence]:
        return [
            e
            for k, w in enumerate(winds)
            for e in outing(of, start + k, [level - 0.3 * w, level - 0.3 * w + 0.02], wind_mps=w, air_c=air_c)
        ]

    told = compare(
        run(BASE, 0, [0.0, 2.0], 10.0, 24.0),
        run(LOWER, 9, [2.0, 4.0], 25.0, 24.5),
        before_sheet=BASE,
        after_sheet=LOWER,
    )
    text = " ".join(comparison_text(told, Units("km/h", "°F")).split())
    assert "Wind: 3.60 km/h before, 10.80 km/h after" in text
    assert "Air temperature: 50.00 °F before, 77.00 °F after" in text
    assert {r.code: r.text for r in told.remarks}["wind_mps"].startswith("Wind: 1.00 m/s before")


def test_a_slope_is_told_for_each_of_the_readers_units() -> None:
    def run(of: SetupSheet, start: int, winds: list[float], level: float) -> list[Evidence]:
        return [
            e
            for k, w in enumerate(winds)
            for e in outing(of, start + k, [level - 0.3 * w, level - 0.3 * w + 0.02 * (k % 2)], wind_mps=w)
        ]

    told = compare(run(BASE, 0, [0.2, 1.0, 2.0, 1.4], 24.0), run(LOWER, 9, [1.5, 2.5, 3.5, 0.8], 24.5))
    assert told.headline.found is not None
    adjusted = next(a for a in told.headline.found.adjusted if a.covariate.key == "wind_mps")
    slope = f"{adjusted.slope:+.2f}"  # m/s for each m/s is km/h for each km/h
    said = " ".join(basis_texts(told.headline, Units("km/h")))
    assert f"({slope} ± " in said
    assert "km/h for each km/h)" in said
    warm = Adjustment(next(c for c in COVARIATES if c.unit == "°C"), 0.9, 0.0)
    head = replace(told.headline, found=replace(told.headline.found, adjusted=(warm,)))  # type: ignore[type-var]
    assert any("(+0.500 m/s for each °F)" in t for t in basis_texts(head, Units("m/s", "°F")))


def test_warmth_is_never_adjusted_for_and_that_is_the_reason_given() -> None:
    def run(of: SetupSheet, start: int, warmth: list[float]) -> list[Evidence]:
        return [
            e for k, c in enumerate(warmth) for e in outing(of, start + k, [24.0, 24.1], air_c=c, water_c=c)
        ]

    first, second = run(BASE, 0, list(range(10, 30))), run(LOWER, 30, list(range(14, 34)))
    told = {r.code: r.text for r in compare(first, second, before_sheet=BASE, after_sheet=LOWER).remarks}
    for code in ("air_c", "water_c"):
        assert told[code].endswith("not adjusted for: a speed is never adjusted for it.")


def test_several_changed_items_cannot_be_told_apart() -> None:
    both = sheet("both", strut_depth_mm=2.5, strut_angle_deg=1.0)
    told = compare(outing(BASE, 0, [24.0]), outing(both, 1, [24.5]), before_sheet=BASE, after_sheet=both)
    assert "several-changes" in [r.code for r in told.remarks]


def test_equal_sheets_and_hair_wide_changes_are_said_aloud() -> None:
    again, hair = BASE.edit(name="again"), sheet("hair", strut_depth_mm=3.02)
    for other, code in ((again, "same-tune"), (hair, "within-gauge")):
        told = compare(
            outing(BASE, 0, [24.0]), outing(other, 1, [24.1]), before_sheet=BASE, after_sheet=other
        )
        assert code in [r.code for r in told.remarks]


def test_other_measures_are_higher_or_lower_and_passes_count_for_them() -> None:
    first = [e for k in range(3) for e in passes(BASE, k, slip=[0.15, 0.152, 0.149 + 0.001 * k, 0.151])]
    second = [e for k in range(3) for e in passes(LOWER, 9 + k, slip=[0.10, 0.102, 0.099 + 0.001 * k, 0.101])]
    told = compare(first, second, before_sheet=BASE, after_sheet=LOWER)
    slip = told.effect("slip")
    assert slip is not None
    assert slip.verdict == "lower"
    assert told.headline.verdict == NOT_ENOUGH
    assert reason_text(told.headline) == "there is no two-way before"
    assert MEASURES["peak_mps"].title in told.unmeasured


@pytest.mark.parametrize("care", [0.0, -1.0, math.nan])
def test_a_difference_that_matters_is_above_nothing(care: float) -> None:
    with pytest.raises(CallError, match="cannot be the smallest that matters"):
        compare([], [], care=care)


def test_one_group_cannot_stand_on_both_sides() -> None:
    group = outing(BASE, 0, [24.0, 24.1])
    with pytest.raises(CallError, match="stand on both sides"):
        compare(group, outing(BASE, 0, [24.0]))


def test_the_contract_is_plain_and_finite() -> None:
    told = judged([[24.0, 24.1], [24.2, 24.1]], [[25.0, 25.1], [25.2, 24.9]])
    table = json.loads(json.dumps(told.to_dict(), allow_nan=False))
    assert table["schema"] == "reciprocal-comparison/1"
    assert table["effects"][0]["low"] < table["effects"][0]["difference"] < table["effects"][0]["high"]
