"""Print the server's time for laying passes over one another and for looking closer, through its own door.

``pytest -m benchmark -s tests/benchmarks/test_bench_overlay.py``
"""

from __future__ import annotations

import gzip
import json
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import dash
import pytest
from dash_client import DashClient
from made_tracks import long_log

from dashboard.app import Config, create_app
from dashboard.features.run.request_form import RequestForm
from dashboard.session.sessions import Sessions, new_token
from dashboard.session.uploads import read_upload
from telemetry.analysis import Request

pytestmark = pytest.mark.benchmark

RATE_HZ = 25.0
ROUNDS = 15
WANTED_MS = 150.0


@dataclass(frozen=True)
class Taken:
    """Medians of what one answer takes: by the clock, and of the processor, which others' work spares."""

    wall_ms: float
    own_ms: float


def taken(call: Callable[[], object]) -> Taken:
    call()
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter(), time.process_time()
        call()
        times.append((time.perf_counter() - begun[0], time.process_time() - begun[1]))
    return Taken(*(1000.0 * statistics.median(column) for column in zip(*times, strict=True)))


@pytest.mark.parametrize("samples", [36_000, 90_000])
def test_what_a_change_costs_the_server(samples: int, monkeypatch: pytest.MonkeyPatch) -> None:
    dash.page_registry.clear()
    sessions, token = Sessions(), new_token()
    session = sessions.open(token)
    session.put(read_upload("long.csv", long_log(samples, RATE_HZ), None))
    analysis = session.analysis(Request())
    assert analysis is not None
    assert analysis.speed_logs[0].motion.t_s.size == samples
    client = DashClient(create_app(Config(sessions)))
    start_ms = analysis.speed_logs[0].cleaned.track.meta.start_utc.timestamp() * 1000.0  # type: ignore[union-attr]
    told: dict[str, Any] = {
        "session.data": token,
        "unit.value": "mph",
        "asked.data": {name: getattr(RequestForm(), name) for name in RequestForm.__slots__},
        "overlay-passes.value": [f"tab.P{k + 1}" for k in range(10)],
        "overlay-over.value": "distance",
        "overlay-from.value": "peak",
        "speed-zoom.data": [start_ms, start_ms + 120_000.0],
    }
    assert len(analysis.passes) >= 10
    closer = told | {"overlay-zoom.data": [0.0, 20.0]}
    rows: dict[str, Callable[[], Any]] = {
        "10 passes over one another": lambda: client.call("lay_passes", told, "overlay-over.value"),
        "their plots closer": lambda: client.call("look_closer_at_passes", closer, "overlay-zoom.data"),
        "two minutes of the log closer": lambda: client.call("look_closer", told, "speed-zoom.data"),
        "the whole log again": lambda: client.call("look_closer", whole, "speed-zoom.data"),
    }
    whole = told | {"speed-zoom.data": None}
    print(f"\n{samples} samples at {RATE_HZ:g} Hz, {len(analysis.passes)} passes; wanted: {WANTED_MS:g} ms")
    for name, call in rows.items():
        print(f"  {name:30s} {_told(taken(call), call())}")
    last = taken(rows["the whole log again"])
    monkeypatch.setattr("dashboard.features.run.speed_figure.LINE_POINTS", samples * 10)
    unthinned = taken(rows["the whole log again"])
    print(f"  {'the whole log, every sample':30s} {_told(unthinned, rows['the whole log again']())}")
    print(f"  thinned, it takes {last.own_ms / unthinned.own_ms:.2f} of that")


def _told(took: Taken, answer: object) -> str:
    sent_kb = len(gzip.compress(json.dumps(answer).encode(), 6)) / 1000.0
    return f"{took.wall_ms:7.1f} ms, {took.own_ms:7.1f} ms of the processor, {sent_kb:6.0f} kB compressed"
