"""Adding, finding, opening, correcting and removing outings, in a real browser."""

from __future__ import annotations

from pathlib import Path

import pytest
from acts import AT_A_DESK, fits_the_screen, wait_until_settled
from logbooks import BOAT, OTHER_BOAT, small_log, with_fleet
from playwright.sync_api import BrowserContext, Page, expect

from sample_logs import data_folder
from telemetry.analysis import read_and_analyse
from telemetry.core.units import speed_text
from telemetry.logbook import Conditions, open_logbook

pytestmark = pytest.mark.browser

SPEED, MOTOR = (data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv"))


@pytest.fixture
def book(context: BrowserContext) -> Page:
    opened = context.new_page()
    opened.goto("/logbook")
    expect(opened.locator("#book-count")).to_have_text("0 outings")
    return opened


def choose(page: Page, *files: Path) -> None:
    page.set_input_files("#book-drop input[type=file]", [str(file) for file in files])


def add(page: Page, *files: Path) -> None:
    choose(page, *files)
    for file in files:
        expect(page.locator("#book-logs")).to_contain_text(file.name)
    page.get_by_role("button", name="Add it to the logbook").click()


@AT_A_DESK
def test_an_outing_is_added_with_a_boat_and_sheet_made_on_the_spot(book: Page) -> None:
    book.get_by_role("textbox", name="or a new boat").fill("Quorrel")
    book.get_by_role("textbox", name="or a new sheet").fill("calm water")
    book.locator("#add-place").fill("Long Lake")
    add(book, SPEED, MOTOR)
    expect(book.locator("#add-said")).to_contain_text("Added: outing 1 of Quorrel.")
    expect(book.locator("#book-count")).to_have_text("1 outing")
    best = next(w for w in read_and_analyse([SPEED]).two_ways if w.best)
    table = book.locator("#book-table")
    expect(table).to_contain_text(speed_text(best.average_mps, "mph", best.u95_mps))
    expect(table).to_contain_text("Long Lake")
    expect(book.locator("#book-logs")).to_be_empty()
    with open_logbook() as logbook:
        assert {log.data for log in logbook.logs(1)} == {SPEED.read_bytes(), MOTOR.read_bytes()}

    # The same logs once more: said, and nothing is added.
    add(book, SPEED)
    expect(book.locator("#add-error")).to_contain_text("in the logbook already, in outing 1")
    expect(book.locator("#book-count")).to_have_text("1 outing")
    wait_until_settled(book)
    assert fits_the_screen(book)


@AT_A_DESK
def test_what_is_missing_is_said_beside_the_button_and_the_navigation_leads_away(book: Page) -> None:
    book.get_by_role("button", name="Add it to the logbook").click()
    expect(book.locator("#add-error")).to_contain_text("there is no log to add")
    add(book, SPEED)
    expect(book.locator("#add-error")).to_contain_text("the outing has no boat")
    book.get_by_role("button", name=f"Remove {SPEED.name}").click()
    expect(book.locator("#book-logs")).to_be_empty()

    pages = book.get_by_role("navigation", name="Pages")
    expect(pages.get_by_role("link", name="Logbook")).to_have_attribute("aria-current", "page")
    pages.get_by_role("link", name="After the water").click()
    expect(pages.get_by_role("link", name="After the water")).to_have_attribute("aria-current", "page")
    expect(pages.get_by_role("link", name="Logbook")).to_have_attribute("aria-current", "false")


def fill(page: Page) -> None:
    """Put two outings of two boats into the logbook, and load the page again."""
    with open_logbook() as logbook:
        with_fleet(logbook)
        logbook.import_outing([SPEED], BOAT, "flat water", Conditions("Long Lake", pack="blue 6s"))
        logbook.import_outing([small_log()], OTHER_BOAT, "first", Conditions("North Basin"))
    page.reload()
    expect(page.locator("#book-count")).to_have_text("2 outings")


@AT_A_DESK
def test_outings_are_found_and_sorted(book: Page) -> None:
    fill(book)
    rows = book.locator("#book-table tbody tr")
    expect(rows.first).to_contain_text("North Basin")  # the latest first
    book.get_by_role("switch", name="Lowest or earliest first").check(force=True)
    expect(rows.first).to_contain_text("Long Lake")
    book.locator("#book-sort").click()
    book.get_by_role("option", name="Best two-way").click()
    expect(rows.first).to_contain_text("North Basin")
    book.get_by_role("textbox", name="Words").fill("blue lake")
    expect(book.locator("#book-count")).to_have_text("1 outing")
    expect(rows.first).to_contain_text("Long Lake")
    book.get_by_role("textbox", name="Words").fill("")
    expect(book.locator("#book-count")).to_have_text("2 outings")
    book.locator("#book-boat").click()
    book.get_by_role("option", name="Kittiwake").click()
    expect(book.locator("#book-count")).to_have_text("1 outing")
    expect(book.locator("#book-story")).to_contain_text("Best two-way")
    book.get_by_text("Correct what is said of this boat").click()
    book.get_by_role("textbox", name="Hull", exact=True).fill("outrigger")
    book.get_by_role("textbox", name="Hottest motor [°C]").fill("75")
    book.get_by_role("button", name="Keep it", exact=True).click()
    expect(book.locator("#book-story")).to_contain_text("outrigger")
    with open_logbook() as logbook:
        limits = logbook.boat(BOAT).limits
    assert (limits.motor_temp_c, limits.own) == (75.0, ("motor_temp_c",))
    wait_until_settled(book)
    assert fits_the_screen(book)


@AT_A_DESK
def test_an_outing_is_opened_corrected_analysed_and_removed(book: Page) -> None:
    fill(book)
    book.get_by_role("link", name="2025-06-14 17:40").click()
    facts = book.locator("#book-facts")
    expect(facts).to_contain_text("Outing 1")
    expect(facts).to_contain_text("blue 6s")
    book.get_by_text("Correct what is said of it").click()
    expect(book.locator("#edit-place")).to_have_value("Long Lake")
    book.locator("#edit-place").fill("Longer Lake")
    book.get_by_role("button", name="Keep the correction").click()
    expect(facts).to_contain_text("Longer Lake")
    wait_until_settled(book)
    assert fits_the_screen(book)

    book.get_by_role("button", name="Open its analysis").click()
    best = next(w for w in read_and_analyse([SPEED]).two_ways if w.best)
    expect(book.locator("#two-way-figure")).to_have_text(speed_text(best.average_mps, "mph", best.u95_mps))
    expect(book.locator("#pitch-mm")).to_have_value("63")  # as its setup sheet says

    book.goto("/logbook?outing=1")
    book.on("dialog", lambda dialog: dialog.accept())
    book.get_by_role("button", name="Remove it").click()
    expect(book.locator("#book-count")).to_have_text("1 outing")
    expect(book.locator("#book-outing")).to_be_hidden()
    book.goto("/logbook?outing=1")
    expect(book.locator("#book-facts")).to_contain_text("no outing 1")


@AT_A_DESK
def test_a_backup_is_saved_and_is_the_whole_logbook(book: Page, tmp_path: Path) -> None:
    fill(book)
    with book.expect_download() as saving:
        book.get_by_role("link", name="Save a backup").click()
    file = tmp_path / "backup.zip"
    saving.value.save_as(file)
    with open_logbook(tmp_path / "other.sqlite") as other, open_logbook() as logbook:
        other.restore(file)
        assert other.outings() == logbook.outings()
