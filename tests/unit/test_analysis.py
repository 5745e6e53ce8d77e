"""The whole way from logs to two-ways, and what is said where there are none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_tracks import HEADING_DEG, LAKE, OUT_ONLY, START, altered, made_track, rows

from sample_logs.simulator import Faults, Outing, Receiver, simulate_outing
from telemetry.analysis import Analysis, Request, analyse, read_and_analyse, rejudge
from telemetry.core.errors import CallError, LogError, RuleError
from telemetry.core.frames import Track, make_track
from telemetry.core.geo import LocalFrame

WHOLE = made_track(noise_mps=0.04)
Gates = tuple[tuple[float, float], tuple[float, float]]


def gates_at(start_m: float, distance_m: float, across_m: float = 0.0) -> Gates:
    h = np.radians(HEADING_DEG)
    along = np.array([start_m, start_m + distance_m])
    lat, lon = LAKE.to_geodetic(
        along * np.sin(h) + across_m * np.cos(h), along * np.cos(h) - across_m * np.sin(h)
    )
    return (float(lat[0]), float(lon[0])), (float(lat[1]), float(lon[1]))


@pytest.fixture(scope="module")
def outing() -> Outing:
    return simulate_outing(5, rate_hz=10.0, faults=Faults.usual(5))


@pytest.fixture(scope="module")
def whole(outing: Outing) -> Analysis:
    return analyse([outing.track])


def test_a_known_ride_gives_its_two_way() -> None:
    analysis = analyse([WHOLE])
    (two_way,) = analysis.two_ways
    assert two_way.passes == ("P1", "P2")
    assert two_way.average_mps == pytest.approx(24.5, abs=two_way.u95_mps)
    assert two_way.speeds_mps == pytest.approx((25.0, 24.0), abs=0.1)
    assert two_way.verdict == "counts"
    assert two_way.best
    assert analysis.notes == ()


def test_passes_are_numbered_and_dated_in_order_of_time(whole: Analysis, outing: Outing) -> None:
    assert [p.id for p in whole.passes] == ["P1", "P2", "P3", "P4"]
    for p in whole.passes:
        assert p.start_utc == outing.track.utc(p.start_s)
        assert p.start_utc < p.end_utc
    assert all(w.passes[0] < w.passes[1] for w in whole.two_ways)
    assert [w.id for w in whole.two_ways] == [f"T{k + 1}" for k in range(len(whole.two_ways))]


def test_the_best_is_the_highest_that_is_sure(whole: Analysis) -> None:
    lower_ends = [w.average_mps - w.u95_mps for w in whole.two_ways if w.verdict == "counts"]
    assert len(lower_ends) > 1
    assert lower_ends == sorted(lower_ends, reverse=True)
    assert [w.best for w in whole.two_ways] == [True] + [False] * (len(whole.two_ways) - 1)


def test_two_logs_of_one_outing_pair_across_logs() -> None:
    half = int(24.0 * 10)
    first, second = rows(WHOLE, slice(0, half)), rows(WHOLE, slice(half, None))
    (together,) = analyse([second, first]).two_ways  # given in any order
    (apart,) = analyse([WHOLE]).two_ways
    assert together.average_mps == pytest.approx(apart.average_mps, abs=0.02)
    assert together.verdict == "counts"
    elapsed = [next(c.detail for c in w.checks if c.name == "time window") for w in (together, apart)]
    assert elapsed[0].split(" s ")[0] == elapsed[1].split(" s ")[0]


def test_logs_that_overlap_in_time_are_not_paired_with_each_other() -> None:
    twin = made_track(noise_mps=0.05, file="twin.gpx")
    analysis = analyse([WHOLE, twin])
    logs = {p.id: p.log for p in analysis.passes}
    assert len(analysis.passes) == 4
    assert len(analysis.two_ways) == 2
    assert all(logs[w.passes[0]] == logs[w.passes[1]] for w in analysis.two_ways)


def test_logs_of_different_waters_are_not_paired() -> None:
    half = int(24.0 * 10)
    elsewhere = made_track(noise_mps=0.04, frame=LocalFrame(39.5, -36.25))
    analysis = analyse([rows(WHOLE, slice(0, half)), rows(elsewhere, slice(half, None))])
    assert len(analysis.passes) == 2
    assert analysis.two_ways == ()


def test_undated_logs_are_not_paired_across() -> None:
    half = int(24.0 * 10)
    undated = made_track(noise_mps=0.04, start_utc=None)
    analysis = analyse([rows(undated, slice(0, half)), rows(undated, slice(half, None))])
    assert len(analysis.passes) == 2
    assert analysis.two_ways == ()
    assert all(p.start_utc is None for p in analysis.passes)


def test_the_same_file_given_twice_is_used_once() -> None:
    track = made_track(noise_mps=0.04, sha256="a" * 64)
    analysis = analyse([track, replace(track, meta=replace(track.meta, file="copy.gpx"))])
    assert len(analysis.speed_logs) == 1
    assert analysis.notes == ("copy.gpx holds the same bytes as another file given: used once.",)


def without_positions(track: Track) -> Track:
    return make_track({"speed_mps": track.frame["speed_mps"].to_numpy()}, track.t_s, track.meta)


@pytest.mark.parametrize(
    ("track", "said"),
    [
        (made_track(((0, 0), (30, 0))), "no pass found"),
        (made_track(OUT_ONLY, noise_mps=0.04), "takes two passes in opposite directions, and 1 was found"),
        (without_positions(WHOLE), "has no positions, so the measured distance has no place"),
        (altered(WHOLE, fix=np.zeros(WHOLE.t_s.size)), "no sample with a usable speed or position"),
        (
            made_track((*OUT_ONLY, *((t + 20, v) for t, v in OUT_ONLY[2:])), noise_mps=0.04),
            "no two passes run opposite ways over the same 330 ft",
        ),
    ],
)
def test_where_there_is_no_two_way_the_notes_say_why(track: Track, said: str) -> None:
    analysis = analyse([track])
    assert analysis.two_ways == ()
    assert any(said in note for note in analysis.notes)


def test_too_short_a_shared_course_says_how_much_is_missing() -> None:
    analysis = analyse([WHOLE], Request(distance_m=400.0))
    assert analysis.two_ways == ()
    assert any("P1 and P2 share" in n and "400.000 m" in n for n in analysis.notes)


def test_gates_that_nobody_crossed_say_where_each_pass_ran() -> None:
    analysis = analyse([WHOLE], Request(gates=gates_at(1000.0, 100.0)))
    assert analysis.two_ways == ()
    assert sum("does not cross both given gates" in n for n in analysis.notes) == 2


def test_given_gates_set_the_distance_and_say_so() -> None:
    (two_way,) = analyse([WHOLE], Request(gates=gates_at(90.0, 120.0), distance_m=50.0)).two_ways
    assert two_way.gates_given
    assert two_way.distance_m == pytest.approx(120.0, abs=0.01)
    assert two_way.average_mps == pytest.approx(24.5, abs=two_way.u95_mps)


@pytest.mark.parametrize(
    ("request_", "error"),
    [
        (Request(distance_m=0.5), CallError),
        (Request(distance_m=6000.0), CallError),
        (Request(gates=((91.0, 0.0), (0.0, 0.0))), CallError),
        (Request(gates=((38.5, -36.25), (38.5, -36.25))), CallError),
        (Request(gates=((float("nan"), 0.0), (0.0, 0.0))), CallError),
        (Request(rule="nobody's"), RuleError),
    ],
)
def test_a_request_that_cannot_be_used_is_an_error(request_: Request, error: type[Exception]) -> None:
    with pytest.raises(error):
        analyse([WHOLE], request_)


REQUESTS = {
    "rule": Request(rule="land"),
    "rule with a distance": Request(rule="sixteenth-mile"),
    "distance": Request(distance_m=150.0),
    "distances": Request(distances_m=(60.0, 120.0)),
    "window": Request(rule="sixteenth-mile", window_s=20.0),
    "mark": Request(mark_mps=20.0),
}


@pytest.mark.parametrize("name", [*REQUESTS, "gates"])
def test_judging_again_equals_analysing_again(name: str, whole: Analysis, outing: Outing) -> None:
    asked = REQUESTS.get(name) or Request(gates=outing.truth.place_gates(120.0))
    again, afresh = rejudge(whole, asked), analyse([outing.track], asked)
    assert again.request == asked
    assert again.to_dict() == afresh.to_dict()
    assert again.to_dict() != whole.to_dict()


def test_judging_again_and_back_forgets_what_was_asked_between(whole: Analysis) -> None:
    there = rejudge(whole, Request(distance_m=4000.0))
    assert there.two_ways == ()
    assert there.notes
    assert rejudge(there, Request()).to_dict() == whole.to_dict()


@pytest.mark.parametrize("n", [1, 2, 3])
@pytest.mark.parametrize(
    "columns", [("speed_mps",), ("lat_deg", "lon_deg"), ("lat_deg", "lon_deg", "speed_mps")]
)
def test_the_shortest_logs_are_answered(n: int, columns: tuple[str, ...]) -> None:
    analysis = analyse([rows(made_track(columns=columns), slice(120, 120 + n))])
    assert analysis.passes == ()
    assert len(analysis.notes) == 2


def test_a_short_log_beside_a_whole_one_costs_it_nothing() -> None:
    analysis = analyse([WHOLE, rows(made_track(start_utc=START + pd.Timedelta(hours=1)), slice(0, 1))])
    assert len(analysis.two_ways) == 1


def test_across_the_antimeridian_nothing_changes() -> None:
    there = analyse([made_track(noise_mps=0.04, frame=LocalFrame(-17.0, 179.9995))])
    (two_way,), (here,) = there.two_ways, analyse([WHOLE]).two_ways
    assert two_way.average_mps == pytest.approx(here.average_mps, abs=1e-3)


def test_no_logs_at_all_give_an_empty_analysis() -> None:
    analysis = analyse([])
    assert (analysis.passes, analysis.two_ways, analysis.notes) == ((), (), ())


def test_a_file_that_cannot_be_used_is_named_and_the_rest_goes_on(tmp_path: Path) -> None:
    (tmp_path / "odd.bin").write_bytes(b"\x00\x01nothing\xff")
    steps: list[tuple[str, float]] = []
    analysis = read_and_analyse(
        [tmp_path / "odd.bin"], progress=lambda name, done: steps.append((name, done))
    )
    (error,) = analysis.errors
    assert isinstance(error, LogError)
    assert "odd.bin" in str(error)
    assert steps == [("reading odd.bin", 0.0)]


def test_a_log_of_positions_alone_is_answered_too() -> None:
    track = made_track(columns=("lat_deg", "lon_deg"))
    (two_way,) = analyse([track]).two_ways
    assert two_way.average_mps == pytest.approx(24.5, abs=two_way.u95_mps)


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 100.0])
def test_fast_noise_free_logs_are_solved(rate_hz: float) -> None:
    # Short steps of a quiet motion tie way and speed so tightly that float64 cannot solve an exact tie.
    outing = simulate_outing(
        2,
        receiver=Receiver(
            rate_hz=rate_hz,
            white_sd_mps=0.0,
            coloured_sd_mps=0.0,
            position_white_sd_m=0.0,
            position_walk_sd_m=0.0,
        ),
    )
    best = analyse([outing.track]).two_ways[0]
    i, j = (int(p[1:]) - 1 for p in best.passes)
    g1, g2 = ((g.lat_deg, g.lon_deg) for g in best.gates)
    assert best.average_mps == pytest.approx(outing.truth.mean_two_way_mps(i, j, g1, g2), abs=best.u95_mps)
