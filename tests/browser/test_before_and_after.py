"""Before and after in a real browser, against the command line's answer."""

from __future__ import annotations

import json

import pytest
from acts import AT_A_DESK, fits_the_screen, wait_until_settled
from playwright.sync_api import Page, expect
from seasons import BOAT

from telemetry.cli import main
from telemetry.compare import MEASURES, Units
from telemetry.compare.wording import difference_text

pytestmark = pytest.mark.browser


@pytest.fixture
def dashboard_logbook(season_url: str) -> str:
    """The season, for the server of these tests."""
    return season_url


def by_command_line(capsys: pytest.CaptureFixture[str], season_url: str, before: str, after: str) -> str:
    """Ask the command line about the same two sheets, and write the difference as the page does."""
    assert main(["compare", BOAT, before, after, "--logbook", season_url, "--json"]) == 0
    (head, *_) = json.loads(capsys.readouterr().out)["effects"]
    half = head["high"] - head["difference"]
    return difference_text(MEASURES["two_way_mps"], head["difference"], Units(), half)


@AT_A_DESK
def test_two_sheets_are_compared_as_on_the_command_line(
    page: Page, season_url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    page.goto("/before-and-after")
    expect(page.locator("#compare-figure")).to_have_text(
        by_command_line(capsys, season_url, "Strut 2.5 mm", "Strut 2.0 mm")
    )
    page.locator("#compare-before").click()
    page.get_by_role("option", name="Strut 3.0 mm").click()
    expect(page.locator("#compare-figure")).to_have_text(
        by_command_line(capsys, season_url, "Strut 3.0 mm", "Strut 2.0 mm")
    )
    expect(page.locator("#compare-verdict")).to_have_text("faster")
    expect(page.locator("#compare-changed")).to_contain_text("Strut depth: 3 mm → 2 mm")
    expect(page.locator("#compare-effects .annotation").first).to_contain_text("faster")
    expect(page.locator("#compare-history .point")).to_have_count(4)  # three sheets, and the best one's ring
    expect(page.locator("#compare-best")).to_contain_text("Best sheet: Strut 2.0 mm")
    expect(page.locator("#next-verdict")).to_have_text("leave it")
    expect(page.locator("#compare-advice")).to_contain_text("Leave it at Strut 2.0 mm")
    wait_until_settled(page)
    assert fits_the_screen(page)
    page.get_by_text("The same in numbers").click()
    expect(page.locator(".compare-table tbody tr")).to_have_count(9)
    assert fits_the_screen(page)


@AT_A_DESK
def test_units_and_what_matters_change_the_answer(page: Page) -> None:
    page.goto("/before-and-after")
    expect(page.locator("#compare-figure")).to_contain_text("mph")
    page.locator("#unit").get_by_text("km/h", exact=True).click()
    expect(page.locator("#compare-figure")).to_contain_text("km/h")
    care = page.get_by_label("Smallest difference that matters")
    care.fill("0.1")
    care.press("Enter")
    expect(page.locator("#compare-answer")).not_to_contain_text("by less than matters")
    care.fill("9")
    care.press("Enter")
    expect(page.locator("#compare-answer")).to_contain_text("is less than matters to you")


def test_the_page_is_reached_from_the_first_one(page: Page) -> None:
    page.get_by_role("link", name="Before and after").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Did the change help?")
    expect(page.get_by_role("link", name="Before and after")).to_have_attribute("aria-current", "page")
