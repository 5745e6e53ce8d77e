"""What a person cuts out, restores or sets: what follows, what is told of it, and that it can be undone."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_tracks import altered, made_track

from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, analyse, read_and_analyse, rejudge
from telemetry.cleaning.clean import clean
from telemetry.cleaning.corrections import ByHand, ClockByHand, Correction, Cut, Restored, log_key
from telemetry.core.errors import CallError
from telemetry.core.frames import Track
from telemetry.readers import ReadOptions
from telemetry.statement import build_statement

LOG = "made.gpx"


@cache
def sample() -> Analysis:
    files = [data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv")]
    return read_and_analyse(files, options=ReadOptions(pole_pairs=3))


def corrected(analysis: Analysis, *corrections: Correction) -> Analysis:
    return rejudge(analysis, replace(analysis.request, by_hand=ByHand().with_(*corrections)))


def as_text(analysis: Analysis) -> str:
    return json.dumps(analysis.to_dict(), sort_keys=True)


def sample_cut(start_s: float, end_s: float, why: str = "") -> Cut:
    return Cut(log_key(sample().speed_logs[0].read.meta), start_s, end_s, why)


def spiked() -> Track:
    """Out and back at 25 and 24 m/s, with one sample of the way out read as 33 m/s."""
    track = made_track()
    speed = track.frame["speed_mps"].to_numpy().copy()
    speed[120] = 33.0
    return altered(track, speed_mps=speed)


@pytest.mark.parametrize(
    ("start_s", "end_s"), [(36.0, 36.4), (38.0, 46.0), (-10.0, 1e6), (100.05, 100.06), (0.0, 60.0)]
)
def test_a_cut_taken_away_gives_back_every_bit(start_s: float, end_s: float) -> None:
    cut = corrected(sample(), sample_cut(start_s, end_s, "towed"))
    back = rejudge(cut, sample().request)
    assert as_text(back) == as_text(sample())
    for before, after in zip(sample().speed_logs, back.speed_logs, strict=True):
        assert before.cleaned.track.frame.equals(after.cleaned.track.frame)
        assert before.cleaned.cut.equals(after.cleaned.cut)
        assert np.array_equal(before.motion.speed_mps, after.motion.speed_mps, equal_nan=True)


@pytest.mark.parametrize(("start_s", "end_s"), [(36.0, 36.4), (38.0, 46.0), (0.0, 60.0)])
def test_correcting_an_analysis_is_analysing_with_the_correction(start_s: float, end_s: float) -> None:
    request = Request(by_hand=ByHand().with_(sample_cut(start_s, end_s)))
    logs = [*(log.read for log in sample().speed_logs), *sample().motor_logs]
    assert as_text(rejudge(sample(), request)) == as_text(analyse(logs, request))


def test_only_the_log_that_is_corrected_is_examined_anew() -> None:
    files = [data_folder() / name for name in ("four_passes.gpx", "four_passes_second_recorder.fit")]
    both = read_and_analyse(files)
    first, second = both.speed_logs
    cut = corrected(both, Cut(log_key(first.read.meta), 30.0, 45.0))
    assert cut.speed_logs[0] is not first
    assert cut.speed_logs[1] is second
    untouched = [m for p, m in zip(both.passes, both.measured, strict=True) if p.log == 1]
    kept = [m for p, m in zip(cut.passes, cut.measured, strict=True) if p.log == 1]
    assert all(a is b for a, b in zip(untouched, kept, strict=True))
    assert len(cut.passes) == len(both.passes) - 1
    assert as_text(rejudge(cut, both.request)) == as_text(both)


def test_a_cut_counts_as_silence_of_its_length() -> None:
    """The same samples never logged give the same motion, passes and two-ways."""
    track = made_track()
    cut = clean(track, by_hand=ByHand().with_(Cut(LOG, 12.0, 14.0)))
    t_s = track.t_s
    silent = Track(track.frame[(t_s < 12.0) | (t_s > 14.0)], track.meta)
    without = clean(silent)
    assert cut.track.frame.equals(without.track.frame)
    assert cut.stretches == without.stretches
    assert np.array_equal(cut.speed_ok, without.speed_ok)
    gone = cut.cut[cut.cut["code"] == "cut-by-hand"]
    assert gone["t_s"].tolist() == pytest.approx(np.arange(12.0, 14.05, 0.1))
    assert gone["speed_mps"].tolist() == pytest.approx([25.0] * 21)


def test_a_cut_is_told_with_its_span_count_and_reason() -> None:
    cleaned = clean(made_track(), by_hand=ByHand().with_(Cut(LOG, 12.0, 14.0, "the boat was lifted out")))
    (finding,) = cleaned.findings
    assert (finding.code, finding.count) == ("cut-by-hand", 21)
    assert (finding.start_s, finding.end_s) == pytest.approx((11.9, 14.1))
    assert finding.message == "cut by hand, 12.00 to 14.00 s: the boat was lifted out"


def test_a_long_cut_parts_a_pass_and_is_told_as_a_break() -> None:
    whole = analyse([made_track(((0, 0), (6, 0), (10, 25), (30, 25), (34, 0), (40, 0)))])
    assert len(whole.passes) == 1
    parted = corrected(whole, Cut(LOG, 17.0, 22.5))
    first, second = parted.passes
    assert first.end_s < 17.0 < 22.5 < second.start_s
    for one in parted.passes:  # a pass that ends at a cut says so
        (finding,) = one.findings
        assert finding.message.endswith("nothing is measured across it")


def test_half_a_pass_cut_out_leaves_the_other_half_measured() -> None:
    p = sample().passes[1]
    middle_s = 0.5 * (p.start_s + p.end_s)
    cut = corrected(sample(), sample_cut(p.start_s - 20.0, middle_s))
    half = cut.passes[1]
    assert half.start_s >= middle_s
    assert abs(half.peak_mps - p.peak_mps) < half.peak_u95_mps + p.peak_u95_mps
    others = [q for q in cut.passes if q.id != half.id]
    for before, after in zip((q for q in sample().passes if q.id != p.id), others, strict=True):
        assert before.peak_mps == pytest.approx(after.peak_mps, abs=0.5 * before.peak_u95_mps)


def test_a_cut_between_the_gates_is_no_figure_that_counts_and_stands_in_the_statement() -> None:
    best = next(t for t in sample().two_ways if t.best)
    enter_s = best.crossings_s[0][0]
    cut = corrected(sample(), sample_cut(enter_s + 0.8, enter_s + 1.1, "spray on the aerial"))
    same = next(t for t in cut.two_ways if t.passes == best.passes)
    check = next(c for c in same.checks if c.name == "nothing corrected by hand")
    assert (check.result, same.verdict) == ("cannot tell", "cannot tell")
    assert "spray on the aerial" in check.detail
    stated = build_statement(cut, same.id)
    assert any("spray on the aerial" in text for _, text in stated.corrections)
    page = stated.to_html()
    assert "Corrected by hand in these logs" in page
    assert "spray on the aerial" in stated.to_text()


def test_a_statement_names_first_what_was_cut_between_its_gates() -> None:
    best = next(t for t in sample().two_ways if t.best)
    enter_s = best.crossings_s[0][0]
    cut = corrected(
        sample(), sample_cut(2.0, 4.0, "early"), sample_cut(enter_s + 0.8, enter_s + 1.1, "between")
    )
    same = next(t for t in cut.two_ways if t.passes == best.passes)
    (_, first), (_, second) = build_statement(cut, same.id).corrections
    assert first.endswith("between")
    assert second.endswith("early")


def test_a_cut_outside_the_gates_is_named_and_lets_the_figure_count() -> None:
    best = next(t for t in sample().two_ways if t.best)
    cut = corrected(sample(), sample_cut(2.0, 6.0))
    same = next(t for t in cut.two_ways if t.passes == best.passes)
    check = next(c for c in same.checks if c.name == "nothing corrected by hand")
    assert (check.result, same.verdict) == ("met", best.verdict)
    assert "1 elsewhere in its log" in check.detail
    assert build_statement(cut, same.id).corrections


def test_logs_as_they_came_have_no_such_check_and_no_such_section() -> None:
    names = {c.name for t in sample().two_ways for c in t.checks}
    assert "nothing corrected by hand" not in names
    assert "Corrected by hand" not in build_statement(sample()).to_html()


def test_a_spike_restored_is_used_and_told_with_both_reasons() -> None:
    before = clean(spiked())
    (judged,) = [f for f in before.findings if f.code == "false-spike"]
    after = clean(spiked(), by_hand=ByHand().with_(Restored(LOG, 11.9, 12.1, "a gust")))
    assert not before.speed_ok[120]
    assert after.speed_ok.all()
    (finding,) = after.findings
    assert (finding.code, finding.count, finding.start_s) == ("restored-by-hand", 1, judged.start_s)
    assert "false-spike" in finding.message
    assert finding.message.endswith("restored by hand as real: a gust")
    assert judged.message.partition(":")[0] in finding.message
    assert after.cut.empty


def test_a_restored_spike_leaves_the_verdict_on_every_other_sample() -> None:
    """Judged as if nobody had said anything: a restored value accuses no other."""
    track = spiked()
    speed = track.frame["speed_mps"].to_numpy().copy()
    speed[330] = 0.2
    track = altered(track, speed_mps=speed)
    before = clean(track)
    after = clean(track, by_hand=ByHand().with_(Restored(LOG, 11.9, 12.1)))
    changed = np.flatnonzero(before.speed_ok != after.speed_ok)
    assert changed.tolist() == [120]


def test_what_the_receiver_itself_gave_up_is_not_restored() -> None:
    track = made_track()
    fix = np.ones(track.t_s.size)
    fix[100:110] = 0
    cleaned = clean(altered(track, fix=fix), by_hand=ByHand().with_(Restored(LOG, 9.0, 12.0)))
    assert not cleaned.speed_ok[100:110].any()
    assert [f.count for f in cleaned.findings if f.code == "restored-by-hand"] == [0]


def test_restored_values_between_the_gates_are_a_persons_word() -> None:
    plain = analyse([made_track()])
    judged = analyse([spiked()])
    assert [t.verdict for t in judged.two_ways] == [t.verdict for t in plain.two_ways] == ["counts"]
    (enter_s, leave_s) = judged.two_ways[0].crossings_s[0]
    assert enter_s < 12.0 < leave_s  # the spike at 12 s is between the gates
    (restored,) = corrected(judged, Restored(LOG, 11.9, 12.1)).two_ways
    assert restored.verdict == "cannot tell"


def own() -> tuple[str, str, float, float]:
    (motor,) = sample().motors
    key = log_key(sample().speed_logs[0].read.meta)
    return log_key(motor.log.meta), key, motor.clock.offset_s, motor.clock.drift_ppm


def test_a_clock_set_by_hand_is_trusted_and_told_beside_the_programs_own() -> None:
    motor, speed, offset_s, drift_ppm = own()
    (joined,) = corrected(
        sample(), ClockByHand(motor, speed, offset_s + 0.05, drift_ppm, why="by ear")
    ).motors
    assert (joined.clock.method, joined.clock.trusted) == ("by hand", True)
    assert joined.clock.offset_s == offset_s + 0.05
    # 0.1 s by eye, and the steps of a 10 Hz and of the motor log's rate, each uniform.
    steps = [1.0 / log.rate_hz for log in (joined.log, sample().speed_logs[0].read)]
    assert joined.clock.u95_s == pytest.approx(np.hypot(0.1, 1.96 * np.hypot(*steps) / 12**0.5), rel=1e-3)
    assert joined.own == sample().motors[0].clock
    assert joined.apart_s == pytest.approx(0.05)
    assert joined.findings == ()
    assert "by ear" in joined.clock.why
    assert "the automatic estimate is 0.05 s away" in joined.clock.why


def test_a_clock_far_from_a_trusted_estimate_is_told_as_a_finding() -> None:
    motor, speed, offset_s, drift_ppm = own()
    analysis = corrected(sample(), ClockByHand(motor, speed, offset_s + 2.0, drift_ppm, 0.1))
    told = analysis.to_dict()
    (log,) = [log for log in told["logs"] if log["kind"] == "motor"]
    (finding,) = [f for f in log["findings"] if f["code"] == "clock-contradicted"]
    assert "2.00 s" in finding["message"]
    assert told["motors"][0]["apart_s"] == pytest.approx(2.0)
    assert told["motors"][0]["own_clock"] == sample().motors[0].clock.to_dict()
    assert told["by_hand"]["clocks"][0]["u95_s"] == 0.1


def test_power_follows_a_clock_set_by_hand_and_goes_back_with_it() -> None:
    motor, speed, offset_s, drift_ppm = own()
    by_hand = corrected(sample(), ClockByHand(motor, speed, offset_s + 3.0, drift_ppm))
    before, after = (a.motors[0].power.of("P1") for a in (sample(), by_hand))
    assert before is not None
    assert after is not None
    assert before != after
    assert as_text(rejudge(by_hand, sample().request)) == as_text(sample())


def test_an_untrusted_join_is_overruled_by_hand() -> None:
    motor, speed, _, _ = own()
    cut = [sample_cut(0.0, p.start_s) for p in sample().passes[-1:]]
    refused = corrected(sample(), *cut)
    assert not refused.motors[0].clock.trusted
    by_hand = corrected(sample(), *cut, ClockByHand(motor, speed, -22.47))
    assert by_hand.motors[0].clock.trusted
    assert "there is no automatic match" in by_hand.motors[0].clock.why
    assert by_hand.motors[0].findings == ()


def test_the_contract_lists_what_was_corrected() -> None:
    told = corrected(sample(), sample_cut(2.0, 6.0, "launching")).to_dict()
    (cut,) = told["by_hand"]["cuts"]
    assert (cut["start_s"], cut["end_s"], cut["why"]) == (2.0, 6.0, "launching")
    assert cut["start_utc"].endswith("Z")
    documents = (sample().to_dict(), told)
    before, after = (next(log for log in d["logs"] if log["kind"] == "speed") for d in documents)
    for name in ("samples", "start_utc", "end_utc", "rate_hz"):  # the log itself is what it was
        assert before[name] == after[name]


def test_a_whole_log_cut_out_is_still_a_log() -> None:
    whole = corrected(sample(), sample_cut(-1.0, 1e5))
    assert whole.passes == ()
    assert any("cannot tell any speed" in note for note in whole.notes)
    (speed,) = [log for log in whole.to_dict()["logs"] if log["kind"] == "speed"]
    assert speed["samples"] == len(sample().speed_logs[0].read.frame)


@pytest.mark.parametrize(
    "wrong",
    [
        Cut(LOG, 5.0, 5.0),
        Cut(LOG, 6.0, 5.0),
        Cut(LOG, float("nan"), 5.0),
        Restored(LOG, 0.0, float("inf")),
        Cut(LOG, 1.0, 2.0, "x" * 301),
        ClockByHand("m", LOG, float("nan")),
        ClockByHand("m", LOG, 1.0, u95_s=0.0),
    ],
)
def test_what_nobody_can_mean_is_refused(wrong: Correction) -> None:
    with pytest.raises(CallError):
        ByHand().with_(wrong)


def test_the_same_correction_twice_is_one_and_the_last_clock_holds() -> None:
    cut = Cut(LOG, 1.0, 2.0)
    assert ByHand().with_(cut, cut).cuts == ByHand().with_(cut).with_(cut).cuts == (cut,)
    first, second, other = (ClockByHand(log, LOG, s) for log, s in (("m", 1.0), ("m", 2.0), ("n", 3.0)))
    for both in (ByHand().with_(first, other).with_(second), ByHand().with_(first, second, other)):
        assert set(both.clocks) == {second, other}
        assert both.clock_of("m") == second
        assert both.without(second).clock_of("m") is None
