"""What axe-core finds on every page, filled with something to show.

Each test ends, as all browser tests do, by holding that no console complained and no other host was asked.
"""

from __future__ import annotations

import pytest
from acts import AT_A_DESK, wait_until_settled
from conftest import SIZES
from playwright.sync_api import Page, expect
from violations import serious_violations
from visits import PATHS, open_statement, visit

pytestmark = pytest.mark.browser


@pytest.fixture
def dashboard_logbook(season_url: str) -> str:
    """A season, so that every page has something to show."""
    return season_url


@AT_A_DESK
@pytest.mark.parametrize("path", PATHS)
def test_axe_finds_nothing_serious_on_a_page_in_any_light_and_size(page: Page, path: str) -> None:
    visit(page, path)
    found = serious_violations(page)
    for look in ("sunlight", "the dark"):
        page.get_by_role("button", name="Page in").click()
        expect(page.get_by_role("button", name=f"Page in {look}")).to_be_visible()
        wait_until_settled(page)
        found += serious_violations(page, colours_alone=True)
    width, height = SIZES["phone"]
    page.set_viewport_size({"width": width, "height": height})
    wait_until_settled(page)
    found += serious_violations(page)
    assert "\n".join(dict.fromkeys(found)) == ""


@AT_A_DESK
def test_axe_finds_nothing_serious_in_a_statement(page: Page) -> None:
    assert "\n".join(serious_violations(open_statement(page))) == ""


@AT_A_DESK
def test_axe_does_find_what_is_wrong(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.evaluate("document.querySelector('.brand').style.color = '#dddddd'")
    assert any("color-contrast" in line for line in serious_violations(page))
