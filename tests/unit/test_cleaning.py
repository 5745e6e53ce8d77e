"""Every kind of fault is set aside with its reason; nothing good is lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from honesty_study import outing_of
from made_tracks import HEADING_DEG, LAKE, OUT_AND_BACK, START, altered, made_track, rows

from sample_logs.simulator import BlowOver, Faults, Outing, RideScript, simulate_outing
from telemetry.cleaning.clean import Cleaned, clean
from telemetry.core.frames import Finding, LogMeta, Track, make_track

SEEDS = range(5)


def spoilt(seed: int, **faults: Any) -> tuple[Outing, Cleaned]:
    outing = simulate_outing(seed, rate_hz=10.0, faults=Faults(**faults))
    return outing, clean(outing.track)


def inside(cleaned: Cleaned, start_s: float, end_s: float) -> np.ndarray:
    t = cleaned.track.t_s
    return (t > start_s - 1e-6) & (t < end_s + 1e-6)


def touching(cleaned: Cleaned, code: str, start_s: float, end_s: float) -> list[Finding]:
    return [f for f in cleaned.findings if f.code == code and f.touches(start_s, end_s)]


def assert_whole(cleaned: Cleaned) -> None:
    """Every row is set aside with a code, and findings count exactly what was set aside."""
    t = cleaned.track.t_s
    rejected = ~cleaned.speed_ok | ~cleaned.position_ok
    assert set(t[rejected].round(6)) <= set(cleaned.cut["t_s"].round(6))
    for f in cleaned.findings:
        if f.code == "false-spike":
            assert f.start_s is not None
            assert f.end_s is not None
            assert f.count == inside(cleaned, f.start_s, f.end_s).sum()
            assert not cleaned.speed_ok[inside(cleaned, f.start_s, f.end_s)].any()


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0, 25.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_of_a_clean_log_nothing_is_set_aside(rate_hz: float, seed: int) -> None:
    cleaned = clean(simulate_outing(seed, rate_hz=rate_hz).track)
    assert cleaned.speed_ok.all()
    assert cleaned.position_ok.all()
    assert cleaned.findings == ()
    assert cleaned.cut.empty
    assert cleaned.stretches == ((0, cleaned.track.t_s.size),)


@pytest.mark.parametrize("kind", ["single", "several", "ramped", "at_rest", "lying"])
@pytest.mark.parametrize("seed", SEEDS)
def test_false_speeds_are_set_aside_and_hardly_any_good_ones_with_them(kind: str, seed: int) -> None:
    outing, cleaned = spoilt(seed, **{kind: 2})
    assert outing.spikes
    true = outing.truth.at("speed_mps", cleaned.track.t_s - outing.receiver.lag_s)
    wrong = np.abs(cleaned.track.frame["speed_mps"].to_numpy() - true)
    # Beside the false ones a sample may stand out by no more than a shoulder of the spike.
    assert wrong[cleaned.speed_ok].max() < 5.0
    good = np.ones(wrong.size, dtype=bool)
    for spike in outing.spikes:
        assert touching(cleaned, "false-spike", spike.start_s, spike.end_s)
        good &= ~inside(cleaned, spike.start_s, spike.end_s)
    assert (good & ~cleaned.speed_ok).sum() <= (20 if kind == "lying" else 8)
    assert_whole(cleaned)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_wild_first_fixes_lose_speed_and_position(seed: int) -> None:
    outing, cleaned = spoilt(seed, first_fix=True)
    (spike,) = outing.spikes
    wild = inside(cleaned, spike.start_s, spike.end_s)
    # The third position is off by 15 m only.
    assert not cleaned.position_ok[:2].any()
    assert cleaned.position_ok[wild.sum() :].all()
    # Of a false start that dies away one sample can pass for the boat coming to rest.
    assert (cleaned.speed_ok & wild).sum() <= 1
    assert not cleaned.speed_ok[0]
    assert {f.code for f in cleaned.findings} == {"position-jump", "false-spike"}
    assert len(cleaned.stretches) == 1


@pytest.mark.parametrize("seed", SEEDS)
def test_a_gap_is_a_finding_that_counts_the_missing(seed: int) -> None:
    outing, cleaned = spoilt(seed, gaps=2)
    found = [(f.start_s, f.end_s, f.count) for f in cleaned.findings if f.code == "dropout"]
    true = [(g.start_s, g.end_s, round((g.end_s - g.start_s) * 10) - 1) for g in outing.dropouts]
    assert found == [pytest.approx(x) for x in true]
    assert cleaned.speed_ok.all()
    assert len(cleaned.stretches) == 1


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_without_a_fix_and_no_others_are_set_aside(seed: int) -> None:
    outing, cleaned = spoilt(seed, no_fix=2)
    lost = np.zeros(cleaned.track.t_s.size, dtype=bool)
    for gap in outing.dropouts:
        lost |= inside(cleaned, gap.start_s + 0.05, gap.end_s - 0.05)
    assert (cleaned.speed_ok == ~lost).all()
    assert (cleaned.position_ok == ~lost).all()
    assert sum(f.count for f in cleaned.findings if f.code == "no-fix") == lost.sum()


@pytest.mark.parametrize("seed", SEEDS)
def test_repeated_fixes_are_set_aside_while_under_way(seed: int) -> None:
    outing, cleaned = spoilt(seed, held=2)
    held = np.zeros(cleaned.track.t_s.size, dtype=bool)
    for gap in outing.dropouts:
        held |= inside(cleaned, gap.start_s + 0.05, gap.end_s - 0.05)
    moving = cleaned.track.frame["speed_mps"].to_numpy() > 2.0
    assert (cleaned.speed_ok == ~(held & moving)).all()
    assert sum(f.count for f in cleaned.findings if f.code == "frozen-fix") == (held & moving).sum()


@pytest.mark.parametrize(
    ("kind", "codes"),
    [
        ("duplicates", {"duplicate"}),
        ("backward", {"duplicate", "backward-time"}),
        ("frozen", {"duplicate"}),
    ],
)
@pytest.mark.parametrize("seed", SEEDS)
def test_stamps_out_of_order_cost_their_own_rows_only(kind: str, codes: set[str], seed: int) -> None:
    outing, cleaned = spoilt(seed, **{kind: 2})
    clean_rows = simulate_outing(seed, rate_hz=10.0).track.t_s.size
    left_out = outing.track.t_s.size - cleaned.track.t_s.size
    assert (np.diff(cleaned.track.t_s) > 0).all()
    assert 2 <= left_out == len(cleaned.cut)
    assert cleaned.track.t_s.size >= clean_rows - 8
    assert set(cleaned.cut["code"]) <= codes
    assert sum(f.count for f in cleaned.findings if f.code in codes) == left_out


@pytest.mark.parametrize("seed", SEEDS)
def test_after_a_blow_over_the_tumble_is_cut_and_the_ride_before_it_kept(seed: int) -> None:
    outing = simulate_outing(seed, rate_hz=10.0, ride=RideScript(blow_over=BlowOver(pass_index=1)))
    cleaned = clean(outing.track)
    flew_s = outing.ride_events[0].start_s
    assert cleaned.speed_ok[cleaned.track.t_s < flew_s - 0.5].all()
    (tumble,) = outing.spikes
    assert not cleaned.speed_ok[inside(cleaned, tumble.start_s, tumble.end_s)].any()


def crash(stop_s: float) -> Track:
    return made_track(
        ((0, 0), (6, 0), (10, 30), (16, 30), (16 + stop_s, 0), (30, 0)), noise_mps=0.03, rate_hz=10.0
    )


@pytest.mark.parametrize("stop_s", [0.05, 0.2, 0.4, 0.8])
def test_a_sudden_stop_that_lasts_is_no_false_speed(stop_s: float) -> None:
    cleaned = clean(crash(stop_s))
    t = cleaned.track.t_s
    assert cleaned.speed_ok[(t <= 16.0) | (t >= 16.0 + stop_s)].all()
    assert cleaned.position_ok.all()


def test_a_steady_speed_printed_coarsely_is_kept_where_positions_go_on() -> None:
    track = made_track(rate_hz=5.0)
    cleaned = clean(altered(track, speed_mps=np.round(track.frame["speed_mps"].to_numpy())))
    assert cleaned.speed_ok.all()


def test_a_speed_held_for_seconds_while_nothing_says_the_boat_goes_on_is_used_once() -> None:
    cleaned = clean(made_track(columns=["speed_mps"]))
    t = cleaned.track.t_s
    cruise = (t >= 10.0) & (t <= 18.0)
    assert cleaned.speed_ok[cruise].sum() == 1
    assert cleaned.speed_ok[t < 10.0].all()
    assert [f.code for f in cleaned.findings] == ["held-speed"] * 2


def test_a_boat_at_rest_repeats_its_fix_and_is_believed() -> None:
    cleaned = clean(made_track())
    assert cleaned.speed_ok.all()
    assert cleaned.position_ok.all()


def test_a_position_that_stands_still_under_way_is_set_aside_and_the_speed_kept() -> None:
    track = made_track(noise_mps=0.05)
    lat, lon = (track.frame[c].to_numpy().copy() for c in ("lat_deg", "lon_deg"))
    lat[120:130], lon[120:130] = lat[119], lon[119]
    cleaned = clean(altered(track, lat_deg=lat, lon_deg=lon))
    assert not cleaned.position_ok[120:130].any()
    assert cleaned.position_ok.sum() == lat.size - 10
    assert cleaned.speed_ok.all()
    assert [(f.code, f.count) for f in cleaned.findings] == [("frozen-position", 10)]


def leapt(size_m: float, part: slice) -> Track:
    track = made_track(noise_mps=0.05)
    lat, lon = (track.frame[c].to_numpy() for c in ("lat_deg", "lon_deg"))
    east, north = LAKE.to_local(lat, lon)
    north = north.copy()
    north[part] += size_m
    lat, lon = LAKE.to_geodetic(east, north)
    return altered(track, lat_deg=lat, lon_deg=lon)


def test_positions_that_leap_away_and_back_are_set_aside() -> None:
    cleaned = clean(leapt(80.0, slice(130, 138)))
    assert np.flatnonzero(~cleaned.position_ok).tolist() == list(range(130, 138))
    assert cleaned.speed_ok.all()
    assert [(f.code, f.count) for f in cleaned.findings] == [("position-jump", 8)]
    assert len(cleaned.stretches) == 1


def test_positions_that_leap_and_stay_break_the_log_there() -> None:
    cleaned = clean(leapt(80.0, slice(130, None)))
    assert cleaned.stretches == ((0, 130), (130, cleaned.track.t_s.size))
    (found,) = (f for f in cleaned.findings if f.code == "position-break")
    assert (found.start_s, found.end_s) == (12.9, 13.0)
    assert "jumps by 81 m and stays" in found.message  # 80 m aside and 2.5 m on
    # The way across the leap denies the speeds beside it.
    assert np.abs(cleaned.track.t_s[~cleaned.speed_ok] - 13.0).max(initial=0.0) <= 1.0
    assert cleaned.position_ok.all()


@pytest.mark.parametrize("column", ["hdop", "satellites", "fix"])
def test_what_the_receiver_says_of_its_own_fix_is_believed(column: str) -> None:
    track = made_track(noise_mps=0.05)
    values = np.full(track.t_s.size, {"hdop": 0.9, "satellites": 12.0, "fix": 1.0}[column])
    values[100:105] = {"hdop": 30.0, "satellites": 2.0, "fix": 0.0}[column]
    values[105:110] = np.nan  # not said: no reason to doubt
    cleaned = clean(altered(track, **{column: values}))
    assert np.flatnonzero(~cleaned.speed_ok).tolist() == list(range(100, 105))
    assert [(f.code, f.count, f.start_s, f.end_s) for f in cleaned.findings] == [("no-fix", 5, 10.0, 10.4)]


def test_a_log_that_never_counts_satellites_keeps_its_fixes() -> None:
    track = made_track(noise_mps=0.05)
    assert clean(altered(track, satellites=np.zeros(track.t_s.size))).speed_ok.all()


def test_a_silence_of_seconds_parts_the_log() -> None:
    track = made_track(noise_mps=0.05)
    keep = (track.t_s < 20.0) | (track.t_s > 26.0)
    data = {c: track.frame[c].to_numpy()[keep] for c in track.frame.columns}
    cleaned = clean(make_track(data, track.t_s[keep], LogMeta("x", "made", START)))
    assert len(cleaned.stretches) == 2
    assert [f.code for f in cleaned.findings] == ["break"]


def test_no_value_is_changed_and_the_readers_findings_stay_first() -> None:
    said = Finding("bad-checksum", "one line", 1)
    track = made_track(noise_mps=0.05).with_findings([said])
    cleaned = clean(leapt(80.0, slice(130, 138)).with_findings([said]))
    assert cleaned.findings[0] == said
    assert len(cleaned.findings) == 2
    assert cleaned.track.frame["speed_mps"].equals(track.frame["speed_mps"])


def test_set_aside_samples_are_listed_with_place_speed_and_reason() -> None:
    track = made_track(noise_mps=0.05)
    speed = track.frame["speed_mps"].to_numpy().copy()
    speed[120] = 70.0
    cleaned = clean(altered(track, speed_mps=speed))
    (row,) = cleaned.cut.itertuples()
    assert (row.t_s, row.speed_mps, row.code) == (12.0, 70.0, "false-spike")
    assert row.lat_deg == track.frame["lat_deg"].iloc[120]


@pytest.mark.parametrize("n", [1, 2, 3, 4])
@pytest.mark.parametrize(
    "columns", [("speed_mps",), ("lat_deg", "lon_deg"), ("lat_deg", "lon_deg", "speed_mps")]
)
def test_the_shortest_logs_pass(n: int, columns: tuple[str, ...]) -> None:
    cleaned = clean(rows(made_track(columns=columns), slice(120, 120 + n)))
    assert cleaned.stretches == ((0, n),)
    assert cleaned.findings == ()


def test_a_log_of_positions_alone_is_judged_by_its_leaps() -> None:
    track = made_track(columns=("lat_deg", "lon_deg"))
    cleaned = clean(track)
    assert cleaned.position_ok.all()
    assert not cleaned.speed_ok.any()
    east, north = LAKE.to_local(track.frame["lat_deg"].to_numpy(), track.frame["lon_deg"].to_numpy())
    east[140] += 60.0
    lat, lon = LAKE.to_geodetic(east, north)
    leapt_once = clean(altered(track, lat_deg=lat, lon_deg=lon))
    assert np.flatnonzero(~leapt_once.position_ok).tolist() == [140]


def test_a_log_across_the_antimeridian_leaps_nowhere() -> None:
    east_of_it = type(LAKE)(-17.0, 179.9995)
    track = made_track(OUT_AND_BACK, frame=east_of_it, noise_mps=0.05)
    assert track.frame["lon_deg"].max() > 179.9
    assert track.frame["lon_deg"].min() < -179.9
    cleaned = clean(track)
    assert cleaned.position_ok.all()
    assert cleaned.findings == ()


def test_a_wild_position_does_not_make_room_for_itself() -> None:
    track = made_track(columns=("lat_deg", "lon_deg"))
    lon = track.frame["lon_deg"].to_numpy().copy()
    lon[140] += 120.0
    assert np.flatnonzero(~clean(altered(track, lon_deg=lon)).position_ok).tolist() == [140]


@pytest.mark.parametrize(
    ("seed", "rate_hz"),
    [(5017, 25.0), (5032, 25.0), (31002, 25.0), (5016, 1.0), (5039, 1.0), (5046, 1.0), (40113, 1.0)],
)
def test_beside_false_speeds_neither_a_foot_is_left_nor_a_good_one_taken(seed: int, rate_hz: float) -> None:
    # At 25 Hz the positions cut the spike and left its foot, 1.3 and 1.9 m/s too high, or a lone sample
    # before it ended the search for its foot, 3.4 m/s too high; at 1 Hz the two good speeds after a spike on
    # the corner went with it, and the pass lost its top.
    outing = outing_of(seed, rate_hz, "false spikes")
    cleaned = clean(outing.track)
    true_mps = outing.truth.at("speed_mps", cleaned.track.t_s - outing.receiver.lag_s)
    off_mps = np.abs(cleaned.track.frame["speed_mps"].to_numpy() - true_mps)
    amid = np.zeros(off_mps.size, dtype=bool)
    for one in outing.passes:
        amid |= (cleaned.track.t_s > one.start_s) & (cleaned.track.t_s < one.end_s)
    assert off_mps[amid & cleaned.speed_ok].max() < 1.2
    assert np.mean(cleaned.speed_ok[amid & (off_mps < 0.5)]) > 0.98


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0, 25.0])
@pytest.mark.parametrize("carried", [True, False])
def test_a_position_that_a_false_speed_carries_along_is_set_aside_with_it_and_no_other(
    rate_hz: float, carried: bool
) -> None:
    corners = [(0.0, 3.0), (20.0, 3.0), (24.0, 40.0), (34.0, 40.0), (38.0, 3.0), (50.0, 3.0)]
    track = made_track(corners, rate_hz=rate_hz, noise_mps=0.03)
    t = track.t_s
    false = (t > 28.3) & (t < 29.3)
    way_m = np.where(false, np.cumsum(20.0 * false) / rate_hz, 0.0) * carried
    moved = made_track(corners, rate_hz=rate_hz)
    east_m, north_m = LAKE.to_local(*(moved.frame[c].to_numpy() for c in ("lat_deg", "lon_deg")))
    h = np.radians(HEADING_DEG)
    lat, lon = LAKE.to_geodetic(east_m + way_m * np.sin(h), north_m + way_m * np.cos(h))
    speed = track.frame["speed_mps"].to_numpy() + 20.0 * false
    cleaned = clean(altered(track, speed_mps=speed, lat_deg=lat, lon_deg=lon))
    assert (~cleaned.speed_ok).tolist() == false.tolist()
    astray = false & (way_m > 1.0)
    assert astray.any() == carried
    assert not cleaned.position_ok[astray].any()
    assert cleaned.position_ok[~false].all()
    assert carried or cleaned.position_ok.all()
    assert any("moves the position" in f.message for f in cleaned.findings) is carried


def test_a_stamp_that_cannot_be_read_takes_no_finding_from_its_place() -> None:
    track = make_track(
        {"speed_mps": [1.0, 999.0, 2.0, 999.0]}, [0.0, 1.0, 2.0, np.nan], LogMeta("made", "made")
    )
    (finding,) = (f for f in track.findings if f.code == "out-of-range")
    assert (finding.start_s, finding.end_s) == (1.0, 1.0)
    assert finding.touches(0.0, 3.0)
