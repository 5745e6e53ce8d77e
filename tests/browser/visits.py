"""Every page of the dashboard, brought to where it has something to show."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from playwright.sync_api import Page, expect

from dashboard.app import _PAGES

__all__ = ["PATHS", "STATEMENT", "open_statement", "visit"]

# Taken from the app itself, so that no new page is forgotten by the tests that go through all of them.
PATHS: Final = tuple(page.PATH for page in _PAGES)
STATEMENT: Final = "statement"


def after_the_water(page: Page) -> None:
    """Load the sample logs and wait for what they are worth."""
    page.get_by_role("button", name="Try the sample logs").click()
    expect(page.locator("#two-way-figure")).to_be_visible()
    for plot in ("speed-time", "plan"):
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    page.get_by_text("Correct by hand", exact=True).click()
    page.get_by_label("From", exact=True).fill("2")
    page.get_by_label("To", exact=True).fill("4")
    page.get_by_role("button", name="Cut out").click()
    expect(page.locator("#hand-done li")).to_be_visible()


def bench(page: Page) -> None:
    """Wait for the sheet's items, and measure one."""
    field = page.get_by_label(re.compile("as found$")).and_(page.locator(":visible")).first
    field.fill("6.1")
    field.blur()
    expect(page.locator("#bench-steps")).not_to_be_empty()


def before_and_after(page: Page) -> None:
    """Wait for the comparison of two sheets."""
    expect(page.locator("#compare-effects .annotation").first).to_be_visible()


def logbook(page: Page) -> None:
    """Open the latest outing."""
    page.locator("#book-table a").first.click()
    expect(page.locator("#book-facts")).to_contain_text("Outing")


def overlay(page: Page) -> None:
    """Lay two passes of the first outing over one another."""
    page.goto("/overlay?pass=1.P1,1.P2")
    for plot in ("overlay-plots", "overlay-plan"):
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()


def guide(page: Page) -> None:
    """Open the topic with the widest tables."""
    page.get_by_role("navigation", name="Topics").get_by_role("link").first.click()
    expect(page.locator("#guide table").first).to_be_visible()


def history(page: Page) -> None:
    """Wait for a boat's plot and for what is advised, which has a plot only where a step is worth trying."""
    expect(page.locator("#history-outings .scatterlayer .trace").first).to_be_visible()
    expect(page.locator("#history-advice-told")).not_to_be_empty()


_FILLED: Final[dict[str, Callable[[Page], None]]] = {
    "/": after_the_water,
    "/bench": bench,
    "/before-and-after": before_and_after,
    "/guide": guide,
    "/history": history,
    "/logbook": logbook,
    "/overlay": overlay,
}


def visit(page: Page, path: str) -> None:
    """Open a page and fill it as far as one of ours can be filled."""
    page.goto(path)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    _FILLED.get(path, lambda _: None)(page)
    page.wait_for_load_state("networkidle")


def open_statement(page: Page) -> Page:
    """Load the sample logs and open the statement of their best two-way beside them."""
    visit(page, "/")
    with page.context.expect_page() as opening:
        page.get_by_role("link", name="Statement to print").click()
    expect(opening.value.get_by_role("heading", level=1)).to_have_text("Two-way statement")
    return opening.value
