"""Looking closer at a long log's speed, in a real browser: few points far off, every sample close up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from acts import AT_A_DESK, choose, wait_until_settled
from made_tracks import OUT_AND_BACK, made_track
from playwright.sync_api import Page, expect

from dashboard.features.run.speed_figure import LINE_POINTS
from sample_logs.writers import to_csv

pytestmark = pytest.mark.browser

RATE_HZ = 25.0
BARS = 4  # two ends of the measured distance in each of two passes


@pytest.fixture(scope="module")
def long_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight minutes at 25 Hz, in which a boat goes out and back and then lies still."""
    file = tmp_path_factory.mktemp("log") / "long.csv"
    file.write_bytes(to_csv(made_track([*OUT_AND_BACK, (480.0, 0.0)], rate_hz=RATE_HZ, noise_mps=0.05)))
    return file


def drawn(page: Page) -> dict[str, Any]:
    """Tell which times the plot shows, and which samples of the smoothed speed and the logged one it has."""
    told: dict[str, Any] = page.evaluate(
        """() => {
            const plot = document.querySelector("#speed-time .js-plotly-plot");
            const ends = plot._fullLayout.xaxis._rl.map((end) => plot._fullLayout.xaxis.r2c(end));
            const of = (name) => Array.from(plot._fullData.find((t) => t.name === name).x)
              .map((x) => plot._fullLayout.xaxis.d2c(x));
            return { ends: ends, smoothed: of("smoothed"), logged: of("as logged") };
        }"""
    )
    return told


@AT_A_DESK
def test_close_up_every_sample_is_drawn_and_far_off_few(page: Page, long_log: Path) -> None:
    choose(page, long_log)
    dots = page.locator("#speed-time .scatterlayer .trace .points path.point")
    plot = page.locator("#speed-time .nsewdrag").first
    expect(plot).to_be_visible()
    expect(dots).to_have_count(BARS)  # so many logged samples are a line
    wait_until_settled(page)
    whole = drawn(page)
    assert len(whole["smoothed"]) <= LINE_POINTS + 2 < RATE_HZ * 480.0

    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    y = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.08 * box["width"], y)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.15 * box["width"], y, steps=4)
    page.mouse.up()
    expect(dots.nth(500)).to_be_attached()
    close = drawn(page)
    low, high = close["ends"]
    assert 25_000.0 < high - low < 45_000.0
    for name in ("smoothed", "logged"):
        seen = [x for x in close[name] if low <= x <= high]
        assert len(seen) == pytest.approx((high - low) / 1000.0 * RATE_HZ, abs=1.0)
        assert len(close[name]) <= 2 * LINE_POINTS

    # Another unit while looking closer: the same samples, in it.
    page.locator("#unit").get_by_text("km/h", exact=True).click()
    expect(page.locator("#speed-time .ytitle")).to_have_text("Speed [km/h]")
    assert drawn(page)["smoothed"] == close["smoothed"]

    plot.dblclick()
    expect(dots).to_have_count(BARS)
    assert drawn(page)["smoothed"] == whole["smoothed"]
