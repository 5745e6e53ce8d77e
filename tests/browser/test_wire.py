"""How much the first page weighs on the wire, and with everything that its plots need.

Run with ``pytest -m benchmark -s``; bytes do not depend on how busy a machine is, so their bound is held.
"""

from __future__ import annotations

from typing import Any

import pytest
from acts import choose
from playwright.sync_api import Page, expect

from sample_logs import data_folder

pytestmark = [pytest.mark.browser, pytest.mark.benchmark]

MOST_BYTES = 1_500_000  # the project's own bound for the first page


class Wire:
    """Adds up what a page's answers weigh as sent: heads and compressed bodies."""

    def __init__(self, page: Page) -> None:
        self.names: dict[str, str] = {}
        self.bytes: dict[str, float] = {}
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.on("Network.requestWillBeSent", self._asked)
        session.on("Network.loadingFinished", self._came)

    @property
    def total(self) -> float:
        """The sum [byte]."""
        return sum(self.bytes.values())

    def _asked(self, event: dict[str, Any]) -> None:
        self.names[event["requestId"]] = event["request"]["url"].split("/", 3)[3].partition("?")[0]

    def _came(self, event: dict[str, Any]) -> None:
        self.bytes[event["requestId"]] = event["encodedDataLength"]

    def table(self) -> str:
        """The heaviest answers, a line each."""
        heaviest = sorted(self.bytes, key=lambda k: -self.bytes[k])[:8]
        return "\n".join(f"  {self.bytes[k] / 1e3:8.1f} kB  {self.names[k]}" for k in heaviest)


def test_the_first_page_is_light(context: Any) -> None:
    page = context.new_page()
    wire = Wire(page)
    page.goto("/")
    expect(page.get_by_role("button", name="Show me with sample logs")).to_be_visible()
    page.wait_for_load_state("networkidle")
    first = wire.total
    print(f"\nfirst page over the wire: {first / 1e3:.0f} kB (bound {MOST_BYTES / 1e3:.0f})\n{wire.table()}")
    choose(page, data_folder() / "four_passes.gpx")
    for plot in ("speed-time", "plan"):
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    more = wire.total - first
    print(f"with the first answer and its plots: {more / 1e3:.0f} kB more\n{wire.table()}")
    assert 200_000 < first <= MOST_BYTES
