"""The command line run as its user runs it, in a process of its own, on the sample logs."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from sample_logs import data_folder
from telemetry.core.units import SPEED_UNITS

SAMPLES = data_folder()
FOUR_PASSES = [str(SAMPLES / name) for name in ("four_passes.gpx", "four_passes_motor.csv")]


def run(*argv: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "telemetry.cli", *argv],
        capture_output=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        timeout=120,
    )


@pytest.fixture(scope="module")
def contract() -> dict[str, Any]:
    done = run("analyse", *FOUR_PASSES, "--json")
    assert done.returncode == 0, done.stderr.decode()

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    document: dict[str, Any] = json.loads(done.stdout, parse_constant=refuse)
    return document


# The output contract: keys may be added, none removed.
KEYS = {
    "": {"schema", "logs", "clock", "passes", "two_ways", "ride", "power"},
    "logs": {
        *("file", "kind", "format", "samples", "rate_hz", "start_utc", "end_utc", "speed_source", "findings"),
    },
    "findings": {"code", "message", "count", "start_s", "end_s"},
    "passes": {
        *("id", "start_utc", "end_utc", "heading_deg", "peak_mps", "peak_u95_mps", "held_1s_mps"),
        *("distances", "takeoff", "motor"),
    },
    "distances": {"distance_m", "speed_mps", "u95_mps", "start_utc", "end_utc"},
    "takeoff": {"start_utc", "end_utc"},
    "two_ways": {
        *("id", "passes", "rule", "distance_m", "mean", "speeds_mps", "average_mps", "u95_mps", "verdict"),
        *("checks", "gates"),
    },
    "checks": {"name", "result", "detail"},
    "gates": {"lat_deg", "lon_deg"},
}


def parts(value: Any, name: str = "") -> list[tuple[str, dict[str, Any]]]:
    """Every object of a JSON document with the name of the key that holds it."""
    if isinstance(value, list):
        return [part for one in value for part in parts(one, name)]
    if not isinstance(value, dict):
        return []
    return [(name, value), *(part for key, held in value.items() for part in parts(held, key))]


def test_the_contract_has_all_its_keys(contract: dict[str, Any]) -> None:
    assert contract["schema"] == "reciprocal-analysis/1"
    seen = set()
    for name, held in parts(contract):
        if name in KEYS:
            seen.add(name)
            assert KEYS[name] <= set(held), f"{name or 'the document'} lacks {KEYS[name] - set(held)}"
    assert {"", "logs", "findings", "passes", "distances", "takeoff", "two_ways", "checks", "gates"} <= seen


def test_times_are_utc_with_fractions(contract: dict[str, Any]) -> None:
    times = [
        text
        for _, held in parts(contract)
        for key, text in held.items()
        if key in ("start_utc", "end_utc") and text is not None
    ]
    assert len(times) > 10
    for text in times:
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z", text)


def test_the_words_are_those_of_the_contract(contract: dict[str, Any]) -> None:
    assert {log["kind"] for log in contract["logs"]} == {"speed", "motor"}
    for two_way in contract["two_ways"]:
        assert two_way["verdict"] in ("counts", "does not count", "cannot tell")
        assert {check["result"] for check in two_way["checks"]} <= {"met", "not met", "cannot tell"}
        assert len(two_way["passes"]) == len(two_way["speeds_mps"]) == len(two_way["gates"]) == 2


def test_the_table_and_the_contract_name_the_same_best_two_way(contract: dict[str, Any]) -> None:
    best = contract["two_ways"][0]
    done = run("analyse", *FOUR_PASSES, "--unit", "m/s")
    assert done.returncode == 0
    first = done.stdout.decode().splitlines()[0]
    assert f"{best['average_mps']:.3f} ± {best['u95_mps']:.3f} m/s" in first
    assert " + ".join(best["passes"]) in first
    assert first.endswith(best["verdict"])


def test_the_four_passes_are_found_and_their_average_is_the_truth(contract: dict[str, Any]) -> None:
    truth = json.loads((SAMPLES / "four_passes_truth.json").read_text(encoding="utf-8"))
    assert len(contract["passes"]) == len(truth["passes"]) == 4
    gates = ",".join(str(gate[k]) for gate in truth["two_way"]["gates"] for k in ("lat_deg", "lon_deg"))
    done = run("analyse", *FOUR_PASSES, f"--gates={gates}", "--json")
    pair = json.loads(done.stdout)["two_ways"]
    (same,) = (t for t in pair if t["passes"] == ["P1", "P2"])
    # Twice the stated half-width: one sample outing misses its 95 % interval once in twenty.
    assert abs(same["average_mps"] - truth["two_way"]["mean_of_speeds_mps"]) <= 2 * same["u95_mps"]


def test_a_bad_log_is_named_and_the_good_one_reported(tmp_path: Path) -> None:
    junk = tmp_path / "junk.gpx"
    junk.write_bytes(bytes(range(256)) * 16)
    done = run("analyse", FOUR_PASSES[0], str(junk), str(tmp_path / "absent.fit"))
    assert done.returncode == 1
    assert done.stdout.decode().startswith("Best two-way: ")
    complaints = done.stderr.decode().splitlines()
    assert len(complaints) == 2
    assert str(junk) in complaints[0]
    assert "absent.fit" in complaints[1]
    assert all("Fix: " in line for line in complaints)


@pytest.mark.parametrize(
    ("content", "json_asked"),
    [
        (b"", True),
        (b"\0" * 5000, True),
        (b"a,b\n1,2\n", True),
        (b"a,b\n1,2\n", False),
        (b"$GPRMC,\n" * 50, True),
        (b"<gpx></gpx>", True),
    ],
)
def test_nothing_usable_is_a_sentence_and_a_status(content: bytes, json_asked: bool, tmp_path: Path) -> None:
    file = tmp_path / "log.bin"
    file.write_bytes(content)
    done = run("analyse", str(file), *(["--json"] if json_asked else []))
    assert done.returncode == 1
    assert done.stderr.decode().startswith(f"reciprocal: {file}")
    assert b"Traceback" not in done.stderr
    assert b"fault of the program" not in done.stderr
    if json_asked:
        assert json.loads(done.stdout)["passes"] == []


@pytest.mark.parametrize("code_page", ["cp437", "cp1252", "cp932", "ascii"])
def test_an_old_code_page_is_no_reason_to_fail(code_page: str) -> None:
    done = run("analyse", FOUR_PASSES[0], PYTHONIOENCODING=code_page)
    assert done.returncode == 0, done.stderr.decode()
    assert b"Best two-way" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="the shell's pipe is the POSIX one")
def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    command = f'"{sys.executable}" -m telemetry.cli analyse "{FOUR_PASSES[0]}" --json | head -n 1'
    done = subprocess.run(["sh", "-c", command], capture_output=True, check=False, timeout=120)
    assert done.stdout == b"{\n"
    assert done.stderr == b""


def test_the_demo_ends_by_itself_where_nobody_watches() -> None:
    done = run("demo")
    out = done.stdout.decode()
    assert done.returncode == 0, done.stderr.decode()
    assert out.count("\nLogs\n") == 3
    assert any("± " in line and unit in line for line in out.splitlines() for unit in SPEED_UNITS)
