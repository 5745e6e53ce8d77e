"""Print the server's time for one change on the first page, with an hour at 10 Hz loaded.

``pytest -m benchmark -s tests/benchmarks/test_bench_dashboard.py``. A change's time is that of every callback
that it sets off, posted one after the other as a browser posts them, and nothing is asked twice.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count
from typing import Any

import dash
import pytest
from dash_client import DashClient
from made_tracks import long_log

from dashboard.app import Config, create_app
from dashboard.features.run.request_form import USERS_OWN, RequestForm, gates_text
from dashboard.session.sessions import Sessions, new_token
from dashboard.session.uploads import read_upload
from telemetry.analysis import Request
from telemetry.readers import read_bytes

pytestmark = pytest.mark.benchmark

SAMPLES, RATE_HZ = 36_000, 10.0
ROUNDS = 11
WANTED_MS = 150.0  # the project's own bound for the median
PAGE = "dashboard.features.run.layout"


def median_ms(act: Callable[[], object]) -> tuple[float, float]:
    """Median time by the clock and of this process alone, which others' work spares [ms]."""
    act()
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter(), time.process_time()
        act()
        times.append((time.perf_counter() - begun[0], time.process_time() - begun[1]))
    wall, own = (1000.0 * statistics.median(column) for column in zip(*times, strict=True))
    return wall, own


class Changing:
    """A page with a log loaded, of which one thing after another is changed."""

    def __init__(self) -> None:
        dash.page_registry.clear()
        sessions, token = Sessions(workers=0), new_token()
        session = sessions.open(token)
        session.put(read_upload("long.csv", long_log(SAMPLES, RATE_HZ), None))
        analysis = session.analysis(Request())
        assert analysis is not None
        assert analysis.speed_logs[0].motion.t_s.size == SAMPLES
        self.client = DashClient(create_app(Config(sessions)))
        self.passes, self.two_ways = len(analysis.passes), len(analysis.two_ways)
        self.gates = analysis.two_ways[0].gates
        self.told: dict[str, Any] = {
            "session.data": token,
            "unit.value": "mph",
            "length-unit.value": "mm",
            "temperature-unit.value": "°C",
            "rule.value": "water",
            "distance.value": RequestForm().distance,
            "two-ways.value": "T1",
            "two-ways-page.value": 1,
            "ride-pass.value": "P1",
            "what-if-pass.value": "P1",
            "picked.data": [],
            "surroundings.data": {"dark": False, "coarse": False},
        }
        self._windows = count(31)

    def changed(self, name: str, value: Any) -> None:
        """Change one value, ask anew, and take every answer that follows."""
        self.told[name] = value
        # A window of its own each time, so that no answer lies ready from the last time.
        self.told["window.value"] = next(self._windows)
        (ask,) = (key for key in self.client.followers(name, PAGE) if "asked.data" in key)
        answer = self.client.post(ask, self.told, name)
        stores = [store for store in ("asked", "driven", "measured") if store in answer]
        self.told |= {f"{store}.data": answer[store]["data"] for store in stores}
        for store in stores:
            self.follow(f"{store}.data")

    def follow(self, name: str) -> None:
        """Call what one value's change sets off."""
        for key in self.client.followers(name, PAGE):
            self.client.post(key, self.told, name)


def test_what_a_change_costs_the_server() -> None:
    page = Changing()
    page.changed("rule.value", "water")
    rules, units = alternating("land", "water"), alternating("km/h", "mph")
    metres, steps = count(80), count(1)

    def another_rule() -> None:
        page.changed("rule.value", next(rules))

    def another_distance() -> None:
        page.told["distance.value"] = USERS_OWN
        page.changed("own-distance.value", f"{next(metres)} m")

    def other_gates() -> None:
        a, b = page.gates
        moved = replace(a, lat_deg=a.lat_deg + 1e-7 * next(steps))
        page.changed("gates.value", gates_text(((moved.lat_deg, moved.lon_deg), (b.lat_deg, b.lon_deg))))

    def another_unit() -> None:
        page.told["unit.value"] = next(units)
        page.follow("unit.value")

    data = long_log(SAMPLES, RATE_HZ)
    _, yardstick_ms = median_ms(lambda: read_bytes(data, "long.csv"))
    print(f"\n{SAMPLES} samples at {RATE_HZ:g} Hz, {page.passes} passes, {page.two_ways} two-ways")
    print(f"wanted: {WANTED_MS:g} ms; reading the same table takes {yardstick_ms:.0f} ms of the processor")
    for name, act in (
        ("another rule", another_rule),
        ("another distance", another_distance),
        ("other gates", other_gates),
        ("another unit", another_unit),
    ):
        wall, own = median_ms(act)
        over = "" if own <= WANTED_MS else f", more than {WANTED_MS:g}"
        shown = f"{wall:7.1f} ms, {own:7.1f} ms of the processor{over}"
        print(f"  {name:20s} {shown}; {own / yardstick_ms:.2f} times the reading")


def alternating(*values: str) -> Iterator[str]:
    """Give the values in turn, for ever."""
    while True:
        yield from values
