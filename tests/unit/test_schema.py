"""The JSON contract: its keys, its types, its times."""

from __future__ import annotations

import json
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest
from made_tracks import altered, made_track, rows

from sample_logs.simulator import Faults, simulate_outing
from telemetry.analysis import Request, analyse
from telemetry.core.frames import utc_text
from telemetry.schema import ANALYSIS_SCHEMA

UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
KEYS = {
    "": {"schema", "logs", "clock", "passes", "two_ways", "ride", "power"},
    "logs": {
        "file", "kind", "format", "samples", "rate_hz", "start_utc", "end_utc", "speed_source", "findings",
    },
    "findings": {"code", "message", "count", "start_s", "end_s"},
    "passes": {
        "id", "start_utc", "end_utc", "heading_deg", "peak_mps", "peak_u95_mps", "held_1s_mps", "distances",
        "takeoff", "motor",
    },
    "distances": {"distance_m", "speed_mps", "u95_mps", "start_utc", "end_utc"},
    "takeoff": {"start_utc", "end_utc"},
    "two_ways": {
        "id", "passes", "rule", "distance_m", "mean", "speeds_mps", "average_mps", "u95_mps", "verdict",
        "checks", "gates",
    },
    "checks": {"name", "result", "detail"},
    "gates": {"lat_deg", "lon_deg"},
}  # fmt: skip


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    outing = simulate_outing(4, rate_hz=10.0, faults=Faults(single=2, gaps=1, duplicates=3))
    return analyse([outing.track, outing.motor]).to_dict()


def dicts(tree: Any, under: str = "") -> list[tuple[str, dict[str, Any]]]:
    """Every dictionary of a tree with the key it hangs under."""
    found: list[tuple[str, dict[str, Any]]] = []
    if isinstance(tree, dict):
        found.append((under, tree))
        for key, value in tree.items():
            found += dicts(value, key)
    elif isinstance(tree, list):
        for item in tree:
            found += dicts(item, under)
    return found


def test_every_key_of_the_contract_is_there(told: dict[str, Any]) -> None:
    seen = set()
    for under, one in dicts(told):
        if under in KEYS:
            assert KEYS[under] <= set(one), under
            seen.add(under)
    assert seen == set(KEYS)
    assert told["schema"] == ANALYSIS_SCHEMA == "reciprocal-analysis/1"
    assert [log["kind"] for log in told["logs"]] == ["speed", "motor"]


def test_it_is_plain_json_without_a_nan(told: dict[str, Any]) -> None:
    again = json.loads(json.dumps(told, allow_nan=False))
    assert again["two_ways"] == told["two_ways"]
    assert again["logs"] == told["logs"]
    assert [p["distances"] for p in again["passes"]] == [p["distances"] for p in told["passes"]]


def test_every_time_is_utc_with_z_and_fractions(told: dict[str, Any]) -> None:
    times = [v for _, d in dicts(told) for k, v in d.items() if k.endswith("_utc")]
    assert sum(t is not None for t in times) > 20
    assert all(t is None or UTC.fullmatch(t) for t in times)


def test_verdicts_and_results_use_the_agreed_words(told: dict[str, Any]) -> None:
    for two_way in told["two_ways"]:
        assert two_way["verdict"] in ("counts", "does not count", "cannot tell")
        assert two_way["mean"] in ("of speeds", "of times")
        assert {c["result"] for c in two_way["checks"]} <= {"met", "not met", "cannot tell"}
        assert len(two_way["gates"]) == len(two_way["passes"]) == len(two_way["speeds_mps"]) == 2


def test_samples_count_what_the_file_holds_also_what_was_left_out(told: dict[str, Any]) -> None:
    outing = simulate_outing(4, rate_hz=10.0, faults=Faults(single=2, gaps=1, duplicates=3))
    assert told["logs"][0]["samples"] == outing.track.t_s.size
    assert told["logs"][0]["rate_hz"] == pytest.approx(10.0)


def test_undated_logs_give_null_for_every_utc() -> None:
    told = analyse([made_track(noise_mps=0.04, start_utc=None)]).to_dict()
    times = [v for _, d in dicts(told) for k, v in d.items() if k.endswith("_utc")]
    assert times
    assert set(times) == {None}
    assert told["passes"][0]["start_s"] == pytest.approx(8.4, abs=0.2)
    json.dumps(told, allow_nan=False)


@pytest.mark.parametrize(
    "track",
    [
        made_track(columns=("speed_mps",), noise_mps=0.04),
        made_track(columns=("lat_deg", "lon_deg")),
        rows(made_track(), slice(0, 1)),
        rows(made_track(), slice(0, 3)),
        altered(made_track(), fix=np.zeros(501)),
        altered(made_track(), hdop=np.full(501, np.nan)),
    ],
    ids=["speeds", "positions", "one sample", "three samples", "all cut", "no hdop"],
)
def test_poor_logs_are_plain_json_too(track: Any) -> None:
    told = analyse([track], Request(distances_m=(30.0,))).to_dict()
    assert json.loads(json.dumps(told, allow_nan=False)) == told


def test_a_heading_that_is_not_known_is_null() -> None:
    told = analyse([made_track(columns=("speed_mps",), noise_mps=0.04)]).to_dict()
    assert [p["heading_deg"] for p in told["passes"]] == [None, None]


def test_other_zones_are_turned_into_utc() -> None:
    assert utc_text(pd.Timestamp("2026-06-13T11:30:00.5+02:00")) == "2026-06-13T09:30:00.500000Z"
    assert utc_text(None) is None
