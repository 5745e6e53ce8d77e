"""The sample logs are what the generator writes, small, described, and readable."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest

import sample_logs
from sample_logs.generate import SCENARIOS, build, write_all
from telemetry.core.frames import MotorLog, Track
from telemetry.core.geo import geodesic_m
from telemetry.readers import ReadOptions, read_log

DATA = sample_logs.data_folder()
NUMBER = re.compile(r"-?\d+(?:[.,]\d+)?")


@pytest.fixture(scope="module")
def rebuilt() -> dict[str, bytes]:
    return {name: content for scenario in SCENARIOS for name, content in build(scenario).items()}


def test_the_folder_holds_what_the_generator_writes_and_nothing_else(rebuilt):
    assert {p.name for p in DATA.iterdir()} == set(rebuilt)


def test_generating_twice_writes_the_same_bytes(rebuilt, tmp_path):
    paths = write_all(tmp_path / "again")
    assert {p.name: p.read_bytes() for p in paths} == rebuilt


def test_the_files_kept_are_the_files_generated(rebuilt):
    for name, content in rebuilt.items():
        kept = (DATA / name).read_bytes()
        if kept == content:
            continue
        # Another machine's mathematics library may round a last digit the other way. The text around the
        # numbers must still be the same, and the numbers equal but for that digit.
        assert not name.endswith(".fit"), name
        ours, theirs = content.decode("utf-8-sig"), kept.decode("utf-8-sig")
        if name.endswith(".nmea"):
            ours, theirs = (re.sub(r"\*[0-9A-F]{2}", "", text) for text in (ours, theirs))
        assert NUMBER.sub("#", ours) == NUMBER.sub("#", theirs), name
        a, b = (
            np.array([float(n.replace(",", ".")) for n in NUMBER.findall(text)]) for text in (ours, theirs)
        )
        np.testing.assert_allclose(a, b, rtol=2e-3, atol=0.11, err_msg=name)
        assert (a != b).mean() < 1e-3, name


def test_the_samples_are_small():
    assert sum(p.stat().st_size for p in DATA.iterdir()) < 5_000_000


def test_every_file_is_described():
    readme = (DATA.parent / "README.md").read_text(encoding="utf-8")
    for path in DATA.iterdir():
        assert f"`{path.name}`" in readme, path.name


def test_all_formats_are_there():
    assert {p.suffix for p in DATA.iterdir()} == {".gpx", ".fit", ".nmea", ".csv", ".json"}


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: s.name)
def test_logs_and_truth_belong_together(scenario):
    truth = json.loads((DATA / f"{scenario.name}_truth.json").read_text(encoding="utf-8"))
    assert truth["speed_logs"] == list(scenario.files)
    for name in truth["speed_logs"]:
        (track,) = read_log(DATA / name)
        assert isinstance(track, Track)
        assert track.meta.speed_source == "measured"
        assert track.meta.start_utc == pd.Timestamp(truth["start_utc"])
        for p in truth["passes"]:
            near = (track.t_s > p["peak_s"] - 0.6) & (track.t_s < p["peak_s"] + 0.6)
            # A receiver sees the peak within its errors; false spikes are no part of the comparison.
            seen = np.nanmedian(np.sort(track.column("speed_mps")[near])[-3:])
            assert seen == pytest.approx(p["peak_mps"], abs=0.7), name
    (motor,) = read_log(DATA / truth["motor_log"], ReadOptions(pole_pairs=truth["boat"]["pole_pairs"]))
    assert isinstance(motor, MotorLog)
    clock, boat = truth["motor_clock"], truth["boat"]
    at = motor.t_s * (1 + clock["drift_ppm"] * 1e-6) + clock["offset_s"]
    for p in truth["passes"]:
        held = (at >= p["held_1s_start_s"]) & (at <= p["held_1s_start_s"] + 1.0)
        pitched_mps = motor.column("rpm")[held].mean() / 60.0 * boat["pitch_mm"] / 1000.0
        assert 1.0 - p["held_1s_mps"] / pitched_mps == pytest.approx(p["slip"], abs=0.004)


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: s.name)
def test_the_two_way_of_the_truth_is_consistent(scenario):
    two_way = json.loads((DATA / f"{scenario.name}_truth.json").read_text(encoding="utf-8"))["two_way"]
    (g1, g2), (v1, v2) = two_way["gates"], two_way["speeds_mps"]
    apart_m = geodesic_m(g1["lat_deg"], g1["lon_deg"], g2["lat_deg"], g2["lon_deg"])
    assert apart_m == pytest.approx(100.584, abs=1e-5)
    assert two_way["mean_of_speeds_mps"] == pytest.approx((v1 + v2) / 2)
    assert two_way["mean_of_times_mps"] == pytest.approx(2 * v1 * v2 / (v1 + v2))


def test_the_samples_contain_what_their_stories_say():
    four, blow, porpoise = (
        json.loads((DATA / f"{s.name}_truth.json").read_text(encoding="utf-8")) for s in SCENARIOS
    )
    assert len(four["passes"]) == 4
    assert not four["spikes"]
    assert not four["dropouts"]
    assert not four["ride_events"]
    assert [e["kind"] for e in blow["ride_events"]] == ["porpoising", "blow-over"]
    in_pass = [
        s for s in blow["spikes"] if any(p["start_s"] < s["start_s"] < p["end_s"] for p in blow["passes"])
    ]
    assert in_pass
    assert in_pass[0]["speed_mps"] > max(p["peak_mps"] for p in blow["passes"])
    assert {d["kind"] for d in blow["dropouts"]} == {"gap", "held", "no fix"}
    assert [e["phase"] for e in porpoise["ride_events"]] == ["take-off"] * 4
    assert all(e["growth_per_s"] < 0 for e in porpoise["ride_events"])
