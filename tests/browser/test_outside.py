"""No page asks another host for anything, and nothing that tried to would pass unseen.

Every browser test ends by holding that no other host was asked and no console said anything; every page and a
statement are gone through in test_accessibility.py. Here the watching itself is put to the test.
"""

from __future__ import annotations

import pytest
from acts import AT_A_DESK
from conftest import Watch
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser

ELSEWHERE = "http://192.0.2.1/"  # an address for documentation, RFC 5737


@AT_A_DESK
def test_a_word_to_another_host_is_stopped_by_the_policy_and_seen(page: Page, watch: Watch) -> None:
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.evaluate(f"fetch('{ELSEWHERE}').catch(() => null)")
    page.evaluate(
        f"new Promise((done) => {{ const i = new Image(); i.onerror = done; i.src = '{ELSEWHERE}'; }})"
    )
    assert any("connect-src" in line for line in watch.console)
    assert any("img-src" in line for line in watch.console)
    watch.console.clear()
    watch.foreign.clear()
