"""What axe-core finds on every page, filled with something to show.

axe-core is Deque's open set of checks of the Web Content Accessibility Guidelines (W3C), published on npm.
The package ``axe-playwright-python`` carries its file, so that Python alone is enough.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from acts import AT_A_DESK, wait_until_settled
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from visits import PATHS, open_statement, visit

pytestmark = pytest.mark.browser

# Levels A and AA of WCAG 2.0 to 2.2, and what axe itself holds to be good practice.
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_OPTIONS = {"runOnly": {"type": "tag", "values": _TAGS}, "resultTypes": ["violations"]}
_WORST = frozenset({"serious", "critical"})


@pytest.fixture
def dashboard_logbook(season_url: str) -> str:
    """A season, so that every page has something to show."""
    return season_url


def told(violation: dict[str, Any]) -> Iterator[str]:
    """Write one violation: what, where and why, a line a place."""
    for node in violation["nodes"]:
        why = "; ".join(check["message"] for kind in ("any", "all", "none") for check in node[kind])
        yield f"{violation['impact']} {violation['id']}: {node['target']} {node['html'][:150]} ({why})"


def serious_violations(page: Page) -> list[str]:
    page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
    page.evaluate("for (const change of document.getAnimations()) change.finish()")  # of colours, half way
    found = Axe().run(page, options=_OPTIONS).response
    assert found["testEngine"]["name"] == "axe-core"
    return [line for one in found["violations"] if one["impact"] in _WORST for line in told(one)]


@pytest.mark.parametrize("path", PATHS)
def test_axe_finds_nothing_serious_on_a_page_in_any_light(page: Page, path: str) -> None:
    visit(page, path)
    found = serious_violations(page)
    # The looks differ in colours alone, which are the same at every size.
    for look in ("sunlight", "the dark") if page.viewport_size["width"] > 1000 else ():
        page.get_by_role("button", name="Page in").click()
        expect(page.get_by_role("button", name=f"Page in {look}")).to_be_visible()
        wait_until_settled(page)
        found += serious_violations(page)
    assert "\n".join(dict.fromkeys(found)) == ""


def test_axe_finds_nothing_serious_in_a_statement(page: Page) -> None:
    assert "\n".join(serious_violations(open_statement(page))) == ""


@AT_A_DESK
def test_axe_does_find_what_is_wrong(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.evaluate("document.querySelector('.brand').style.color = '#dddddd'")
    assert any("color-contrast" in line for line in serious_violations(page))
