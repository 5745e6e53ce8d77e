"""Where a pass ends in a crash: seen by its speeds, by the place where the boat lies, or by nothing."""

from __future__ import annotations

import numpy as np
import pytest
from made_tracks import LAKE, altered, made_track

from telemetry.analysis import Analysis, analyse
from telemetry.cleaning.clean import clean
from telemetry.core.frames import Track, make_track
from telemetry.kinematics.whole_log import smooth_log
from telemetry.passes.crash import Deceleration, find_sudden_stop

FULL_MPS = 30.0
CRASH_S = 18.4
# Rest, full speed from 10 s on, a dead stop, and then the boat lies there.
CORNERS = ((0, 0), (6, 0), (10, FULL_MPS), (CRASH_S, FULL_MPS), (CRASH_S + 0.3, 0), (46, 0))
RUN_OUT = ((0, 0), (6, 0), (10, FULL_MPS), (CRASH_S, FULL_MPS), (CRASH_S + 6.0, 4.0), (46, 4.0))


def tumbling(track: Track, first_s: float, wild_mps: tuple[float, ...], lost_s: float = 4.0) -> Track:
    """Let speeds and positions run wild from a moment on, then lose the fix for some seconds."""
    t = track.t_s
    v = track.frame["speed_mps"].to_numpy().copy()
    east, north = LAKE.to_local(track.frame["lat_deg"].to_numpy(), track.frame["lon_deg"].to_numpy())
    wild = np.flatnonzero(t >= first_s - 1e-9)[: len(wild_mps)]
    v[wild] = wild_mps
    east[wild] += 25.0 * (-1.0) ** np.arange(wild.size)
    lat, lon = LAKE.to_geodetic(east, north)
    after = (t > t[wild[-1]]) & (t <= t[wild[-1]] + lost_s)
    v[after], lat[after], lon[after] = np.nan, np.nan, np.nan
    return altered(track, speed_mps=v, lat_deg=lat, lon_deg=lon)


def silent(track: Track, after_s: float, until_s: float) -> Track:
    """Leave out the samples between two moments."""
    kept = (track.t_s <= after_s + 1e-9) | (track.t_s >= until_s - 1e-9)
    data = {name: track.frame[name].to_numpy()[kept] for name in track.frame.columns}
    return make_track(data, track.t_s[kept], track.meta)


def fall_of(track: Track) -> Deceleration | None:
    cleaned = clean(track)
    return find_sudden_stop(cleaned, smooth_log(cleaned, LAKE), (10.0, 18.0), FULL_MPS)


def word_of(analysis: Analysis) -> tuple[str, str]:
    (row,) = [e for e in analysis.ride if e.kind == "blow-over"]
    return row.verdict, row.why


def test_a_fall_is_seen_by_the_speeds_of_a_dense_log() -> None:
    track = made_track(CORNERS)
    fall = fall_of(track)
    assert fall is not None
    assert fall.seen_by == "speed"
    assert track.t_s[fall.before] == pytest.approx(CRASH_S, abs=0.06)
    assert fall.to_mps < 1.0
    assert fall.signs == ("the boat then only drifts",)


def test_a_boat_that_runs_out_did_not_crash() -> None:
    assert fall_of(made_track(RUN_OUT)) is None
    assert fall_of(made_track(RUN_OUT, rate_hz=1.0)) is None


def test_one_sample_a_second_tells_a_crash_by_where_the_boat_lies() -> None:
    # Between 18 s and 19 s it stops; from 19 s on the receiver tumbles, so that no speed shows the fall.
    track = tumbling(made_track(CORNERS, rate_hz=1.0), 19.0, (48.0, 35.0, 41.0))
    fall = fall_of(track)
    assert fall is not None
    assert (fall.seen_by, fall.before) == ("place", 18)
    assert fall.way_m == pytest.approx(0.4 * FULL_MPS + 0.15 * FULL_MPS, abs=0.5)
    verdict, why = word_of(analyse([track]))
    assert verdict == "shown"
    assert "is next seen at rest 17 m from there" in why


def test_a_boat_that_is_not_seen_again_leaves_its_crash_untold() -> None:
    track = tumbling(made_track(CORNERS, rate_hz=1.0), 19.0, (48.0, 35.0, 41.0), lost_s=60.0)
    fall = fall_of(track)
    assert fall is not None
    assert (fall.seen_by, fall.before) == ("nothing", 18)
    verdict, why = word_of(analyse([track]))
    assert verdict == "cannot tell"
    assert "the speed is lost at 30.0 m/s" in why


def test_false_speeds_of_a_boat_that_goes_on_are_no_crash() -> None:
    track = tumbling(made_track(RUN_OUT, rate_hz=1.0), 19.0, (48.0,), lost_s=0.0)
    assert fall_of(track) is None


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_a_pass_ends_at_its_crash_and_its_figures_allow_for_what_was_not_seen(rate_hz: float) -> None:
    track = tumbling(made_track(CORNERS, rate_hz=rate_hz, noise_mps=0.04), 19.0, (48.0, 35.0, 41.0))
    (only,) = analyse([track]).passes
    assert only.end_s == pytest.approx(CRASH_S, abs=1.0 / rate_hz)
    assert only.end_s <= CRASH_S + 1e-9
    assert abs(only.peak_mps - FULL_MPS) <= only.peak_u95_mps
    assert abs(only.held_1s_mps - FULL_MPS) <= only.held_1s_u95_mps
    assert only.peak_u95_mps < 1.0


def test_speeds_beside_the_tumble_are_kept() -> None:
    track = tumbling(made_track(CORNERS, rate_hz=5.0), 18.8, (48.0, 35.0, 41.0))
    cleaned = clean(track)
    before = (track.t_s > 10.0) & (track.t_s < CRASH_S + 0.01)
    assert cleaned.speed_ok[before].all()


def test_a_gap_at_the_start_of_a_pass_hides_no_crash_at_its_end() -> None:
    slower = ((0, 0), (6, 0), (10, FULL_MPS), (CRASH_S, FULL_MPS), (CRASH_S + 1.16, 1.0), (46, 1.0))
    fall = fall_of(silent(made_track(slower), 10.0, 11.2))
    assert fall is not None
    assert (fall.seen_by, fall.signs) == ("speed", ("the boat then only drifts",))


@pytest.mark.parametrize(
    ("after_s", "until_s", "signs"),
    [
        (20.4, 20.6, ()),
        (17.2, CRASH_S, ()),
        (20.4, 22.4, ("the log falls silent",)),
    ],
)
def test_a_missing_sample_or_a_gap_before_the_fall_is_no_silence(
    after_s: float, until_s: float, signs: tuple[str, ...]
) -> None:
    ploughs_on = ((0, 0), (6, 0), (10, FULL_MPS), (CRASH_S, FULL_MPS), (CRASH_S + 0.5, 6.0), (46, 6.0))
    fall = fall_of(silent(made_track(ploughs_on), after_s, until_s))
    assert fall is not None
    assert tuple(s for s in fall.signs if s == "the log falls silent") == signs
