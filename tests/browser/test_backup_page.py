"""A logbook saved, taken in on another machine, and never lost by mistake, in a real browser."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from acts import AT_A_DESK, fits_the_screen, wait_until_settled
from logbooks import everything, small_log, with_fleet
from playwright.sync_api import Page, expect

from telemetry.logbook import open_logbook

pytestmark = pytest.mark.browser


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    """Another machine's logbook as a file."""
    with open_logbook(tmp_path / "theirs.sqlite") as theirs:
        with_fleet(theirs).import_outing([small_log()], "Kittiwake", "flat water")
        return theirs.backup(tmp_path / "theirs.zip").file


def taken(page: Page, file: Path) -> None:
    page.set_input_files("#restore-file input[type=file]", str(file))
    expect(page.locator("#restore-name")).to_contain_text(file.name)
    page.get_by_role("button", name="Take it in").click()


@AT_A_DESK
def test_a_backup_goes_round_and_nothing_is_lost_by_mistake(page: Page, backup: Path, tmp_path: Path) -> None:
    page.goto("/logbook")
    expect(page.locator("#book-count")).to_have_text("0 outings")
    page.get_by_text("Take a backup in").click()
    page.get_by_role("button", name="Take it in").click()
    expect(page.locator("#restore-error")).to_contain_text("Choose the backup's file first.")
    wrong = tmp_path / "holiday.zip"
    wrong.write_bytes(b"\x89PNG")
    taken(page, wrong)
    expect(page.locator("#restore-error")).to_contain_text("holiday.zip: it is no backup of a logbook")
    taken(page, backup)
    expect(page.locator("#restore-said")).to_contain_text("Taken in: 2 boats, 1 outing")
    expect(page.locator("#restore-error")).to_be_empty()
    expect(page.locator("#book-count")).to_have_text("1 outing")
    with open_logbook() as mine, open_logbook(tmp_path / "theirs.sqlite") as theirs:
        assert everything(mine) == everything(theirs)

    with page.expect_download() as saving:
        page.get_by_role("link", name="Save tables for other programs").click()
    saving.value.save_as(tmp_path / "tables.zip")
    with zipfile.ZipFile(tmp_path / "tables.zip") as archive:
        assert b"Kittiwake" in archive.read("boats.csv")
    with open_logbook() as mine:
        mine.add_boat("Heron")
    taken(page, backup)
    expect(page.locator("#restore-error")).to_contain_text("there are 3 boats and 1 outings in it")
    page.get_by_label("Write replace to lose what is there").fill("replace")
    page.get_by_role("button", name="Take it in").click()
    expect(page.locator("#restore-said")).to_contain_text("What was here before is kept in")
    with open_logbook() as mine:
        assert [boat.name for boat in mine.boats()] == ["Kittiwake", "Ünruh"]
    wait_until_settled(page)
    assert fits_the_screen(page)
