from dataclasses import replace

import analysis_fixture as made
import numpy as np
import pandas as pd
import pytest

from dashboard.features.run.speed_figure import cut_reasons, speed_time
from dashboard.ui.direction import arrow, directions
from dashboard.ui.downsample import RESAMPLED
from dashboard.ui.palette import DARK, LIGHT
from telemetry.core.units import SPEED_UNITS

MPH = SPEED_UNITS["mph"]


def named(figure, name):
    return next(trace for trace in figure.data if trace.name == name)


def test_smoothed_speed_and_passes_are_in_the_users_unit() -> None:
    whole = made.analysis()
    figure = speed_time(whole, whole.two_ways[0], MPH)
    assert max(named(figure, "smoothed").y) == pytest.approx(30.0 / 0.44704)
    assert named(figure, "passes out").line.color == LIGHT.out
    assert named(figure, "passes back").line.color == LIGHT.back
    assert set(named(figure, "passes back").text) == {"P2"}
    assert figure.layout.yaxis.title.text == "Speed [mph]"
    assert [a.text for a in figure.layout.annotations] == ["<b>P1</b> →", "<b>P2</b> ←"]


def test_the_time_axis_shows_utc_where_the_log_knows_its_day_and_seconds_where_not() -> None:
    whole = made.analysis()
    dated = speed_time(whole, None, MPH)
    assert dated.layout.xaxis.type == "date"
    assert dated.layout.shapes[0].x0 == (made.START + pd.Timedelta(seconds=20)).timestamp() * 1000
    plain = speed_time(made.undated(whole), None, MPH)
    assert plain.layout.shapes[0].x0 == 20.0
    assert plain.layout.xaxis.title.text == "Time from the log's first sample [s]"


def test_a_cut_out_spike_is_shown_with_its_reason_without_squeezing_the_plot() -> None:
    whole = made.analysis()
    figure = speed_time(whole, None, MPH)
    cut = named(figure, "cut out")
    assert len(cut.x) == 2
    assert cut.customdata[0][0] == "178.95 mph"  # 80 m/s, the value as logged
    assert cut.customdata[0][1] == made.SPIKE.message
    assert set(cut.marker.symbol) == {"triangle-up"}
    assert max(cut.y) < figure.layout.yaxis.range[1] < 90
    assert np.nanmax(named(figure, "as logged").y) < 70  # a cut sample is not among the raw ones


def test_a_cut_sample_without_a_finding_still_gets_a_reason() -> None:
    log = made.speed_log()
    assert cut_reasons(replace(log, cleaned=replace(log.cleaned, findings=()))) == ["false spike"] * 2


def test_the_measured_distance_is_marked_in_both_passes_of_the_chosen_two_way() -> None:
    whole = made.analysis()
    bars = [t for t in speed_time(whole, whole.two_ways[0], MPH).data if t.name == "T1 measured distance"]
    assert [bar.y[0] for bar in bars] == pytest.approx([30.0 / 0.44704, 29.0 / 0.44704])
    assert [(bar.x[1] - bar.x[0]) / 1000 for bar in bars] == pytest.approx([3.3528, 3.4684])
    assert not [t for t in speed_time(whole, None, MPH).data if "measured" in t.name]


def test_a_break_in_the_log_breaks_the_line() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    parted = replace(log, cleaned=replace(log.cleaned, stretches=((0, 500), (500, 1200))))
    figure = speed_time(replace(whole, speed_logs=(parted,)), None, MPH)
    line = named(figure, "smoothed")
    assert len(line.y) == 1201
    assert np.flatnonzero(np.isnan(line.y)).tolist() == [500]


def test_a_pause_of_days_between_two_logs_is_left_out() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    meta = replace(log.cleaned.track.meta, start_utc=made.START + pd.Timedelta(days=6))
    later = replace(log, cleaned=replace(log.cleaned, track=replace(log.cleaned.track, meta=meta)))
    figure = speed_time(replace(whole, speed_logs=(log, later)), None, MPH)
    (pause,) = figure.layout.xaxis.rangebreaks
    assert pause.bounds == ("2026-06-13T09:32:59.900", "2026-06-19T09:29:00.000")
    assert not speed_time(whole, None, MPH).layout.xaxis.rangebreaks


def test_a_pause_inside_a_log_is_left_out_too() -> None:
    whole = made.analysis()
    log = whole.speed_logs[0]
    track = log.cleaned.track
    t_s = np.where(np.arange(1200) < 600, track.t_s, track.t_s + 7200.0)
    frame = track.frame.set_index(pd.Index(t_s, name="t_s"))
    cleaned = replace(log.cleaned, track=replace(track, frame=frame), stretches=((0, 600), (600, 1200)))
    parted = replace(log, cleaned=cleaned, motion=replace(log.motion, t_s=t_s))
    figure = speed_time(replace(whole, speed_logs=(parted,)), None, MPH)
    assert len(figure.layout.xaxis.rangebreaks) == 1


def test_take_offs_are_hatched_down_to_zero() -> None:
    hatch = named(speed_time(made.analysis(), None, MPH), "take-offs out")
    assert hatch.fillpattern.shape == "/"
    assert (hatch.y[0], hatch.y[-1]) == (0.0, 0.0)
    assert (hatch.x[-1] - hatch.x[0]) / 1000 == pytest.approx(4.0)


def test_an_hour_at_10_hz_is_thinned_and_keeps_its_passes() -> None:
    whole = made.analysis()
    long = replace(whole, speed_logs=(made.speed_log(36_000),))
    figure = speed_time(long, None, MPH)
    assert len(named(figure, "smoothed").x) < 3500
    assert np.count_nonzero(np.isfinite(named(figure, "passes out").y)) == 121


def test_what_is_looked_at_shows_every_sample_and_the_rest_stays_coarse() -> None:
    whole = made.analysis()
    long = replace(whole, speed_logs=(made.speed_log(36_000),))
    at_s = made.START.timestamp() + np.array([15.0, 80.0])
    window = (at_s[0] * 1000.0, at_s[1] * 1000.0)
    far = speed_time(long, None, MPH)
    near = speed_time(long, None, MPH, window=window)
    assert named(far, "as logged").mode == "lines"
    assert named(near, "as logged").mode == "markers"
    for name in ("smoothed", "as logged"):
        x = np.asarray(named(near, name).x)
        assert np.count_nonzero((x >= window[0]) & (x <= window[1])) == 651
        assert x.size < 4500
    assert [t.name for t in near.data if t.meta == RESAMPLED] == [
        "as logged",
        "smoothed",
        "passes out",
        "passes back",
    ]


def test_nothing_loaded_says_so() -> None:
    empty = replace(made.analysis(), speed_logs=(), passes=(), two_ways=())
    assert speed_time(empty, None, MPH).layout.annotations[0].text == "No speed log yet"


def test_dark_surroundings_change_the_ink() -> None:
    figure = speed_time(made.analysis(), None, MPH, DARK, coarse=True)
    assert named(figure, "smoothed").line.color == DARK.ink
    assert figure.layout.dragmode is False


def test_directions_follow_the_first_pass_and_survive_an_unknown_heading() -> None:
    unknown = made.one_pass("P3", 90.0, float("nan"), 20.0)
    assert directions((*made.analysis().passes, unknown)) == {"P1": "out", "P2": "back", "P3": "out"}
    assert directions(()) == {}
    assert arrow(float("nan")) == ""
    assert [arrow(h) for h in (0, 45, 90, 180, 270, 337.6)] == ["↑", "↗", "→", "↓", "←", "↑"]
