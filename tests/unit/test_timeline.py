"""Putting stamps in order, and finding where a log is silent."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.cleaning.timeline import break_after_s, gap_findings, longest_increasing_run, stamp_findings

NAN = float("nan")


@pytest.mark.parametrize(
    ("stamps", "kept"),
    [
        ([0, 1, 2, 3], [0, 1, 2, 3]),
        ([0, 99, 1, 2], [0, 2, 3]),  # one stamp far ahead costs itself, not what follows
        ([50, 51, 0, 52, 53], [0, 1, 3, 4]),  # one far behind likewise
        ([0, 1, 1, 2], [0, 1, 3]),
        ([0, NAN, 1, NAN], [0, 2]),
        ([NAN, NAN], []),
        ([5], [0]),
        ([], []),
    ],
)
def test_the_most_samples_that_can_follow_one_another_are_kept(stamps: list[float], kept: list[int]) -> None:
    assert np.flatnonzero(longest_increasing_run(np.array(stamps, dtype=float))).tolist() == kept


def test_a_log_that_runs_backward_keeps_one_sample() -> None:
    assert longest_increasing_run(np.arange(10.0)[::-1]).sum() == 1


def test_each_stamp_left_out_has_its_reason_in_file_order() -> None:
    t = np.array([0.0, 1.0, NAN, 1.0, 2.0, 0.5, 3.0])
    findings, codes = stamp_findings(t, longest_increasing_run(t))
    assert codes == ["no-time", "duplicate", "backward-time"]
    assert {(f.code, f.count, f.start_s, f.end_s) for f in findings} == {
        ("no-time", 1, None, None),
        ("duplicate", 1, 1.0, 1.0),
        ("backward-time", 1, 0.5, 0.5),
    }


def test_duplicates_far_apart_are_findings_of_their_own() -> None:
    t = np.sort(np.r_[np.arange(100.0), 10.0, 10.0, 80.0])
    findings, codes = stamp_findings(t, longest_increasing_run(t))
    assert [(f.count, f.start_s, f.end_s) for f in findings] == [(2, 10.0, 10.0), (1, 80.0, 80.0)]
    assert codes == ["duplicate"] * 3


def test_a_bridged_gap_is_a_dropout_that_counts_what_is_missing() -> None:
    t = np.delete(np.arange(0, 100) / 10, slice(30, 37))
    findings, broken = gap_findings(t)
    assert [(f.code, f.count) for f in findings] == [("dropout", 7)]
    assert (findings[0].start_s, findings[0].end_s) == pytest.approx((2.9, 3.7))
    assert not broken.any()


def test_a_long_gap_breaks_the_log_at_its_step() -> None:
    t = np.r_[np.arange(0, 5, 0.1), np.arange(15, 20, 0.1)]
    findings, broken = gap_findings(t)
    assert [f.code for f in findings] == ["break"]
    assert np.flatnonzero(broken).tolist() == [49]


def test_what_breaks_a_log_grows_with_its_step() -> None:
    assert break_after_s(0.1) == break_after_s(1.0) == 5.0
    assert break_after_s(10.0) == break_after_s(86_400.0) == 30.0
    _, broken = gap_findings(np.array([0.0, 10.0, 20.0, 45.0, 55.0, 65.0]))
    assert not broken.any()


@pytest.mark.parametrize("t", [[], [3.0]])
def test_a_log_without_a_step_has_no_gap(t: list[float]) -> None:
    findings, broken = gap_findings(np.array(t))
    assert findings == []
    assert broken.size == 0


def test_stamps_that_jitter_are_no_gaps() -> None:
    t = np.arange(200) / 10 + np.random.default_rng(3).uniform(-0.02, 0.02, 200)
    assert gap_findings(t)[0] == []
