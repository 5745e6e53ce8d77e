"""One boat months later: the numbers are the command line's, and the way back leads to the bench."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from acts import AT_A_DESK, fits_the_screen, wait_until_settled
from playwright.sync_api import Page, expect
from seasons import BOAT

from telemetry.cli import main
from telemetry.compare import MEASURES, Units
from telemetry.compare.wording import value_text
from telemetry.core.units import speed_text
from telemetry.logbook import OutingSearch, open_logbook
from telemetry.setup import Reading

pytestmark = pytest.mark.browser


@pytest.fixture
def dashboard_logbook(season_url: str, tmp_path: Path) -> str:
    """The season, and after it a sheet that nobody ran yet."""
    url = str(tmp_path / "months.sqlite")
    with open_logbook(season_url) as season, open_logbook(url) as book:
        book.restore(season.backup(tmp_path / "season.zip").file)
        deep = {"strut_depth_mm": Reading(3.5)}
        (last,) = book.sheets(BOAT)[-1:]
        book.add_sheet(last.edit(deep, name="Deep again", made_utc=datetime(2025, 7, 1, tzinfo=UTC)))
    return url


@AT_A_DESK
def test_a_boat_is_opened_months_later_and_its_best_tune_put_back(
    page: Page, dashboard_logbook: str, capsys: pytest.CaptureFixture[str]
) -> None:
    page.get_by_role("link", name="History").click()
    with open_logbook(dashboard_logbook) as book:
        (best,) = book.outings(OutingSearch(boat=BOAT, sort="two-way", limit=1))
        two_ways = book.two_ways(BOAT)
    assert best.best_two_way_mps is not None
    figure = speed_text(best.best_two_way_mps, "mph", best.best_two_way_u95_mps)
    expect(page.locator("#history-best-figure")).to_have_text(figure)
    expect(page.locator("#history-best")).to_contain_text("counts")
    # Every two-way, the best peak of each of six outings, and the ring around the best.
    expect(page.locator("#history-outings .point")).to_have_count(len(two_ways) + 6 + 1)
    assert main(["history", BOAT, "--logbook", dashboard_logbook, "--json"]) == 0
    for point in json.loads(capsys.readouterr().out)["points"]:
        mean = value_text(MEASURES["two_way_mps"], point["mean"], Units(), point["u95"])
        expect(page.locator("#history-sheets-told")).to_contain_text(mean)
    expect(page.locator("#history-trial")).to_contain_text("No step is advised")
    expect(page.locator("#history-advice-told")).to_contain_text("Leave it at Strut 2.0 mm")
    expect(page.locator("#history-due-told")).to_contain_text("Fail-safe")
    wait_until_settled(page)
    assert fits_the_screen(page)
    assert page.url.endswith(f"/history?boat={BOAT}")

    expect(page.locator("#history-steps")).to_contain_text("Strut depth: from 3.5 mm to 2 mm")
    page.get_by_role("link", name="Set the best setup at the bench").click()
    expect(page.locator("#bench-said")).to_contain_text("Deep again")
    expect(page.locator("#bench-targets")).to_have_value(re.compile("^Strut 2.0 mm"))
    wait_until_settled(page)


@AT_A_DESK
def test_the_statement_of_the_best_two_way_is_a_link_away(page: Page) -> None:
    page.goto(f"/history?boat={BOAT}")
    figure = page.locator("#history-best-figure .value")
    expect(figure).to_be_visible()
    with page.expect_popup() as opening:
        page.get_by_role("link", name="Statement to print").click()
    expect(opening.value.locator("body")).to_contain_text(figure.inner_text())
    wait_until_settled(page)


@AT_A_DESK
@pytest.mark.parametrize("path", ["/history", "/bench", "/before-and-after"])
def test_an_address_that_asks_for_a_boat_that_is_not_there_is_told(page: Page, path: str) -> None:
    page.goto(f"{path}?boat=Nobody")
    expect(page.locator("#notice")).to_have_text("There is no boat Nobody in this logbook.")
    expect(page.get_by_role("textbox", name="Boat", exact=True)).to_have_value(BOAT)
    wait_until_settled(page)
