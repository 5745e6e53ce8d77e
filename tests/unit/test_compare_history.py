"""A boat's history against one item, and the next trial out of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from compare_fixture import BASE, outing, passes, sheet

from telemetry.compare import MEASURES, Advice, Evidence, Stops, boat_history, next_trial
from telemetry.compare.history import Level, levels
from telemetry.compare.posterior import Mixture
from telemetry.compare.recommend import MIN_TEXT, Family, _what_forbids
from telemetry.compare.rules_of_thumb import ADVISED, CAUTIONS, TRIES
from telemetry.core.errors import CallError
from telemetry.setup import ITEMS, OwnItem, Reading, SetupSheet


def level_of(sheet_id: str) -> Level:
    """A level of 30 m/s known to 0.1."""
    found = Mixture(np.array([30.0]), np.array([0.1]), np.array([1.0]), 5.0)
    return Level(sheet_id=sheet_id, count=2, outings=2, days=2, mean=30.0, found=found, first_utc=None)


def tried(
    depths: Sequence[float], speed: Callable[[float], float], outings: int = 2, name: str = "strut_depth_mm"
) -> tuple[list[Evidence], dict[str, SetupSheet]]:
    """A history of sheets that differ by one item."""
    rng = np.random.default_rng(3)
    evidence: list[Evidence] = []
    sheets: dict[str, SetupSheet] = {}
    for k, depth in enumerate(depths):
        one = sheet(f"{name} {depth:g}", **{name: depth})
        sheets[one.sheet_id] = one
        for n in range(outings):
            level = speed(depth) + rng.normal(0.0, 0.05)
            evidence += outing(one, 10 * k + n, list(level + rng.normal(0.0, 0.05, 3)))
    return evidence, sheets


def rising(depth_mm: float) -> float:
    """Faster the higher the strut."""
    return 26.0 - 0.8 * (depth_mm - 1.0)


def test_points_lie_by_the_items_value_with_their_evidence() -> None:
    evidence, sheets = tried([3.0, 2.0, 2.5], rising)
    told = boat_history(evidence, sheets, "strut_depth_mm")
    assert [p.reading.value for p in told.points if p.reading] == [2.0, 2.5, 3.0]
    assert [(p.level.count, p.level.outings) for p in told.points] == [(6, 2)] * 3
    assert all(p.level.u95 is not None and abs(p.level.mean - rising(d)) < 2 * p.level.u95
               for p, d in zip(told.points, (2.0, 2.5, 3.0), strict=True))  # fmt: skip
    assert told.best is told.points[0]
    assert all(p.also == () for p in told.points)
    assert json.loads(json.dumps(told.to_dict(), allow_nan=False))["best_sheet"] == "strut_depth_mm 2"


def test_without_an_item_the_tune_is_told_in_order_of_time() -> None:
    evidence, sheets = tried([3.0, 2.0, 2.5], rising)
    told = boat_history(evidence, sheets)
    assert [p.sheet for p in told.points] == ["strut_depth_mm 3", "strut_depth_mm 2", "strut_depth_mm 2.5"]
    assert [step.changed for step in told.steps] == [(), (), ("Strut depth",), (), ("Strut depth",), ()]


def test_outings_without_a_date_come_last() -> None:
    evidence, sheets = tried([3.0, 2.5], rising)
    lost = [replace(e, outing_utc=None) for e in evidence if e.outing_id in (0, 1)]
    told = boat_history([*lost, *(e for e in evidence if e.outing_id not in (0, 1))], sheets)
    assert [step.outing_utc is None for step in told.steps] == [False, False, True, True]


def test_one_lucky_outing_is_not_the_best_sheet() -> None:
    evidence, sheets = tried([3.0, 2.5], rising, outings=4)
    lucky = sheet("lucky", strut_depth_mm=1.0)
    evidence += outing(lucky, 99, [rising(2.5) + 0.06])
    told = boat_history(evidence, sheets | {lucky.sheet_id: lucky})
    assert told.best is not None
    assert told.best.sheet == "strut_depth_mm 2.5"


def test_the_packs_voltage_is_not_taken_off_where_the_sheets_differ_by_the_pack() -> None:
    few, many = sheet("4 cells", cells=4.0), sheet("6 cells", cells=6.0)
    sheets = {one.sheet_id: one for one in (few, many)}
    rng = np.random.default_rng(1)
    evidence: list[Evidence] = []
    for k in range(8):
        one, full_v, level = ((few, 16.6, 30.0), (many, 24.9, 34.0))[k % 2]
        volts = [full_v - 0.15 * n for n in range(4)]
        shared = rng.normal(0.0, 0.1)
        speeds = [level + shared + 1.2 * (v - full_v) + rng.normal(0.0, 0.05) for v in volts]
        evidence += outing(one, k, speeds, rest_voltage_v=volts)
    told = boat_history(evidence, sheets, "cells")
    assert told.best is not None
    assert told.best.sheet == "6 cells"
    for point in told.points:
        plain = [e.values["two_way_mps"] for e in evidence if e.sheet_id == point.level.sheet_id]
        assert point.level.mean == pytest.approx(np.mean(plain), abs=0.05)
    drifts = levels(
        MEASURES["two_way_mps"], evidence
    ).of_sheets  # told nothing of the sheets, it would be turned over
    assert drifts[0].mean > drifts[1].mean


def test_single_outings_give_means_without_intervals() -> None:
    evidence, sheets = tried([3.0, 2.5], rising, outings=1)
    told = boat_history(evidence, sheets)
    assert [p.level.u95 for p in told.points] == [None, None]
    assert told.best is None


def test_other_items_that_differ_are_named() -> None:
    evidence, sheets = tried([3.0, 2.5], rising)
    other = sheet("other", strut_depth_mm=2.0, prop_pitch_mm=63.0)
    evidence += [e for n in range(2) for e in outing(other, 90 + n, [20.0, 20.1, 20.0 + 0.1 * n])]
    told = boat_history(evidence, sheets | {other.sheet_id: other}, "strut_depth_mm")
    assert {p.sheet: p.also for p in told.points}["other"] == ("Propeller pitch",)


@pytest.mark.parametrize(
    ("item", "measure", "word"),
    [("rudder_depth_mm", "two_way_mps", "no sheet"), (None, "joy", "not a measure")],
)
def test_what_is_not_there_is_refused(item: str | None, measure: str, word: str) -> None:
    evidence, sheets = tried([3.0, 2.5], rising)
    with pytest.raises(CallError, match=word):
        boat_history(evidence, sheets, item, measure)


def test_a_rising_response_is_followed_by_one_step_and_no_more() -> None:
    evidence, sheets = tried([3.0, 2.5, 2.0], rising)
    told = next_trial(evidence, sheets)
    assert told.verdict == "try"
    trial = told.trial
    assert trial is not None
    assert (trial.item.name, trial.start, trial.value, trial.step) == ("strut_depth_mm", 2.0, 1.5, 0.5)
    assert trial.beyond
    assert any("watch the bow" in caution for caution in trial.cautions)
    assert trial.u95 > trial.best_u95  # surer of what was run than of what was not


def test_a_peak_in_the_middle_is_stayed_at() -> None:
    evidence, sheets = tried([3.0, 2.5, 2.0, 1.5, 1.0], lambda d: 26.0 - 3.0 * (d - 2.0) ** 2, outings=3)
    assert next_trial(evidence, sheets).verdict in ("leave it", "run the best again")


@pytest.mark.parametrize(
    ("depths", "outings", "has"),
    [
        ([3.0, 2.5], 3, "2 values"),
        ([3.0], 4, "no item was tried"),
        ([3.0, 2.5, 2.0], 1, "no sheet has been run"),
    ],
)
def test_below_the_stated_amount_it_is_too_little_and_practice_is_listed(
    depths: list[float], outings: int, has: str
) -> None:
    told = next_trial(*tried(depths, rising, outings))
    assert told.verdict == "too little to advise"
    assert has in told.reason
    assert MIN_TEXT in told.reason
    assert told.trial is None
    assert told.tries == TRIES["speed"]
    assert told.to_dict()["tries_source"] == "common practice, no source"


def with_passes(told: tuple[list[Evidence], dict[str, SetupSheet]], **figures: list[float]) -> Advice:
    """Add passes with one figure for each sheet, in order, and ask for the next trial."""
    evidence, sheets = told
    for k, one in enumerate(sheets.values()):
        evidence = evidence + passes(one, 10 * k, **{key: values[k] for key, values in figures.items()})
    return next_trial(evidence, sheets, stops=Stops(ripple_mps=0.3))


def test_ripple_on_the_best_sheet_comes_before_speed() -> None:
    told = with_passes(tried([3.0, 2.5, 2.0], rising), ripple_mps=[0.1, 0.2, 0.4])
    assert (told.verdict, told.symptom, told.trial) == ("leave it", "ripple", None)
    assert told.tries == TRIES["ripple"]


def test_a_way_that_rippled_is_not_gone_again() -> None:
    fast_low = tried([3.0, 2.5, 2.0], lambda d: 26.0 - 3.0 * (d - 2.45) ** 2, outings=3)
    freely, held = (
        with_passes(fast_low, ripple_mps=[0.1, 0.1, 0.1]),
        with_passes(fast_low, ripple_mps=[0.5, 0.1, 0.5]),
    )
    assert freely.held_back == ()
    assert held.trial is None


def test_more_propeller_needs_known_and_cool_temperatures() -> None:
    pitches = tried([58.0, 60.0, 62.0], lambda p: 20.0 + 0.4 * (p - 58.0), name="prop_pitch_mm")
    blind = next_trial(*pitches)
    assert blind.trial is None
    assert any("neither heat nor current is known" in text for text in blind.held_back)
    hot = with_passes(pitches, motor_temp_c=[60.0, 70.0, 84.0])
    assert hot.symptom == "heat"
    assert hot.trial is None
    cool = with_passes(pitches, motor_temp_c=[40.0, 45.0, 50.0])
    assert cool.trial is not None
    assert cool.trial.value == 64.0


def test_what_is_bought_or_charged_is_never_advised() -> None:
    told = next_trial(*tried([4.0, 5.0, 6.0], lambda n: 20.0 + n, name="cells"))
    assert told.verdict == "too little to advise"
    assert not {"cells", "charge_cell_v", "kv_rpm_per_v", "timing_deg"} & set(ADVISED)


def test_advised_items_are_of_the_catalogue() -> None:
    assert set(ADVISED) <= set(ITEMS)
    assert {name for name, _ in CAUTIONS} <= set(ADVISED)
    assert {t.item for tries in TRIES.values() for t in tries if t.item} <= set(ITEMS)


@pytest.mark.parametrize(
    ("name", "way"),
    [(name, 1) for name in ADVISED if name.startswith("tab_gap")]
    + [(name, -1) for name in ADVISED if name.startswith("tab_preload")],
)
def test_less_tab_is_never_advised_without_its_caution(name: str, way: int) -> None:
    assert "bow" in CAUTIONS[name, way]


@pytest.mark.parametrize("depths", [(0.0, 0.3, 0.6, 0.9), (2.1, 2.4, 2.7, 3.0), (-3.0, -2.7, -2.4, -2.1)])
def test_a_sheet_two_steps_away_that_rippled_forbids_the_step_whatever_the_fractions(
    depths: tuple[float, ...],
) -> None:
    known, sheets, members = [], {}, []
    for k, depth in enumerate(depths):
        one = sheet(f"{depth:g}", strut_depth_mm=depth)
        sheets[one.sheet_id] = one
        known += passes(one, k, ripple_mps=2.0 if k == 3 else 0.1)
        members.append((depth, level_of(one.sheet_id)))
    family = Family(item=ITEMS["strut_depth_mm"], start=depths[1], members=tuple(members))
    value = family.start + family.step
    said = _what_forbids(family, value, 1, known, known, Stops(ripple_mps=0.5), sheets)
    assert "rippled beyond your threshold" in said
    known = [e for e in known if e.sheet_id != members[3][1].sheet_id]
    assert _what_forbids(family, value, 1, known, known, Stops(ripple_mps=0.5), sheets) == ""


def test_candidates_hold_what_was_tried_and_go_one_step_beyond_whatever_the_fractions() -> None:
    for first in range(-60, 60):
        tried_mm = [round(0.05 * first + 0.3 * k, 4) for k in range(3)]
        level = level_of("s")
        family = Family(
            item=ITEMS["strut_depth_mm"], start=tried_mm[1], members=tuple((v, level) for v in tried_mm)
        )
        found = family.candidates
        for value in tried_mm:
            assert min(abs(value - other) for other in found) < 1e-8
        assert found[0] >= tried_mm[0] - family.step - 1e-8
        assert found[-1] <= tried_mm[-1] + family.step + 1e-8
        assert len(set(found)) == len(found)


def test_a_boats_own_item_is_advised_as_well() -> None:
    own = OwnItem(name="wing_height_mm", title="Wing height", unit="mm", matters=1.0)
    evidence: list[Evidence] = []
    sheets: dict[str, SetupSheet] = {}
    for k, height in enumerate((10.0, 12.0, 14.0)):
        one = BASE.edit({"wing_height_mm": Reading(height)}, name=f"wing {height}", own=[own])
        sheets[one.sheet_id] = one
        for n in range(2):
            evidence += outing(one, 10 * k + n, [24.0 + 0.3 * k, 24.02 + 0.3 * k + 0.03 * n, 24.05 + 0.3 * k])
    told = next_trial(evidence, sheets)
    assert told.trial is not None
    assert told.trial.value == 16.0


def test_a_care_of_nothing_is_refused() -> None:
    with pytest.raises(CallError, match="must be greater than zero"):
        next_trial(*tried([3.0], rising), care=0.0)


def test_an_outing_is_worth_most_where_it_may_gain_and_is_unsure() -> None:
    """Where the answer is known and no better, one more outing is worth nothing or less."""
    evidence, sheets = tried([3.0, 2.5, 2.0], rising, outings=3)
    told = next_trial(evidence, sheets)
    assert told.trial is not None
    assert told.trial.worth > 0.0
    assert told.trial.gain == pytest.approx(told.trial.expected - told.trial.best, abs=1e-6)


def test_equal_sheets_are_drawn_together() -> None:
    """The best of several that are alike is not stated as far above them as it came out."""
    rng = np.random.default_rng(12)
    evidence, sheets, plain = [], {}, []
    for k in range(6):
        one = BASE.edit({"prop_name": Reading(f"P{k}")}, name=f"P{k}")
        sheets[one.sheet_id] = one
        speeds = [list(25.0 + rng.normal(0.0, 0.2) + rng.normal(0.0, 0.2, 3)) for _ in range(3)]
        plain.append(np.mean(speeds))
        for n, values in enumerate(speeds):
            evidence += outing(one, 6 * n + k, values)
    told = boat_history(evidence, sheets)
    assert told.best is not None
    assert told.best.level.mean < max(plain) - 0.05
    assert told.best.level.chance_best is not None
    assert told.best.level.chance_best < 0.7
    assert "best of 6" in told.to_dict()["summary"]
