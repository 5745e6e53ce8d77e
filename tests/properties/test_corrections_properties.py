"""Whatever is cut out by hand: nothing raises, nothing is measured across it, and all of it can be undone."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st
from made_tracks import rows

from sample_logs.simulator import simulate_outing
from telemetry.analysis import Analysis, analyse, rejudge
from telemetry.cleaning.corrections import ByHand, Cut, Restored, log_key
from telemetry.cleaning.timeline import break_after_s


@cache
def analysed() -> Analysis:
    """A minute of an outing with faults in it, so that cutting it again and again is quick."""
    track = simulate_outing(8, rate_hz=10.0).track
    return analyse([rows(track, slice(200, 1000))])


KEY = log_key(analysed().speed_logs[0].read.meta)
END_S = float(analysed().speed_logs[0].read.t_s[-1])
STARTS = st.floats(-2.0, END_S + 2.0)
LENGTHS = st.sampled_from([0.05, 0.3, 1.0, 4.0, 5.5, 12.0, 60.0, 1000.0])
CUTS = st.builds(lambda start_s, length_s: Cut(KEY, start_s, start_s + length_s), STARTS, LENGTHS)
BACK = st.builds(lambda start_s, length_s: Restored(KEY, start_s, start_s + length_s), STARTS, LENGTHS)


@settings(max_examples=40)
@given(st.lists(CUTS, min_size=1, max_size=4), st.lists(BACK, max_size=2))
def test_cuts_never_raise_are_never_measured_across_and_go_without_a_trace(
    cuts: list[Cut], restored: list[Restored]
) -> None:
    by_hand = ByHand().with_(*cuts, *restored)
    cut = rejudge(analysed(), replace(analysed().request, by_hand=by_hand))
    json.dumps(cut.to_dict(), allow_nan=False)
    log = cut.speed_logs[0]
    longest_s = break_after_s(1.0 / log.read.rate_hz)
    told = [f for f in log.cleaned.findings if f.code == "cut-by-hand" and f.count]
    for finding in told:
        assert finding.start_s is not None
        assert finding.end_s is not None
        if finding.end_s - finding.start_s <= longest_s + 1e-9:
            continue
        spans = [(p.start_s, p.end_s) for p in cut.passes]
        spans += [(d.start_s, d.end_s) for p in cut.passes for d in p.distances]
        spans += [span for t in cut.two_ways for span in t.crossings_s]
        for start_s, end_s in spans:
            assert end_s <= finding.start_s + 1e-6 or start_s >= finding.end_s - 1e-6
    used = log.cleaned.track.t_s[log.cleaned.speed_ok | log.cleaned.position_ok]
    assert not any(((used >= c.start_s) & (used <= c.end_s)).any() for c in by_hand.cuts)
    back = rejudge(cut, analysed().request)
    assert json.dumps(back.to_dict()) == json.dumps(analysed().to_dict())
