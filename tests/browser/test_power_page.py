"""What the page asks of a table and of the power train, and what it makes of the answers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from acts import AT_A_DESK, choose, fits_the_screen, wait_until_settled
from playwright.sync_api import BrowserContext, Page, expect

from sample_logs import data_folder

pytestmark = pytest.mark.browser

BOAT = json.loads((data_folder() / "four_passes_truth.json").read_text(encoding="utf-8"))["boat"]
SPEED, MOTOR = (data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv"))


def odd_table(folder: Path, name: str) -> Path:
    table = folder / name
    rows = "".join(f"{i / 10},{min(i, 90) / 3 if i < 150 else 2:.2f}\n" for i in range(300))
    table.write_text("wann,vgps\n" + rows, encoding="utf-8")
    return table


@AT_A_DESK
def test_columns_named_once_are_known_in_every_later_session(
    page: Page, context: BrowserContext, tmp_path: Path
) -> None:
    choose(page, odd_table(tmp_path, "first.csv"))
    for heading, meaning in (("wann", "Time since the start [s]"), ("vgps", "Speed over ground [m/s]")):
        page.get_by_role("textbox", name=heading).click()
        page.get_by_role("option", name=meaning).click()
    page.get_by_role("button", name="Read it again").click()
    expect(page.locator("#files")).to_contain_text("CSV speed log")
    later = context.new_page()
    later.goto("/")
    choose(later, odd_table(tmp_path, "second.csv"))
    expect(later.locator("#files")).to_contain_text("CSV speed log")
    later.get_by_text("finding").first.click()
    expect(later.locator("#files .findings")).to_contain_text("Read as tables with these headings were")
    # The way it is read can be looked at, and taken back.
    later.get_by_text("How its columns are read").click()
    later.get_by_text("Name its columns").click()
    expect(later.get_by_role("textbox", name="vgps")).to_have_value("Speed over ground [m/s]")
    wait_until_settled(later)
    assert fits_the_screen(later)
    later.get_by_role("textbox", name="vgps").click()
    later.get_by_role("option", name="Speed over ground [km/h]").click()
    later.get_by_role("button", name="Read it again").click()
    later.reload()
    later.get_by_text("How its columns are read").click()
    later.get_by_text("Name its columns").click()
    expect(later.get_by_role("textbox", name="vgps")).to_have_value("Speed over ground [km/h]")


@AT_A_DESK
def test_electrical_rpm_alone_asks_for_the_motor(page: Page, tmp_path: Path) -> None:
    table = tmp_path / "turns.csv"
    rows = "".join(f"{i},47.0,{8 + i / 1e4},7.6,60000\n" for i in range(60))
    table.write_text("t_s,lat,lon,Speed [m/s],eRPM\n" + rows, encoding="utf-8")
    choose(page, table)
    expect(page.locator("#files")).to_contain_text("CSV speed log")
    poles = page.get_by_role("textbox", name="Pole pairs of the motor")
    poles.fill("2")
    page.get_by_role("textbox", name="Gear ratio").fill("1.5")
    page.get_by_role("button", name="Read it again").click()
    expect(page.locator("#files")).to_contain_text("CSV motor log")
    expect(page.locator("#files")).to_contain_text("How its columns are read")


@AT_A_DESK
def test_temperatures_are_shown_in_the_unit_chosen_and_it_is_kept(page: Page) -> None:
    choose(page, SPEED, MOTOR)
    told = page.locator("#power-told")
    expect(told.locator("td[data-head='motor °C: start, end, after']").first).to_be_visible()
    page.locator(".units summary").click()
    page.locator("#temperature-unit").get_by_text("°F", exact=True).click()
    heads = told.locator("td[data-head='motor °F: start, end, after']")
    expect(heads.first).to_be_visible()
    expect(page.locator("#power-time")).to_contain_text("Temperature [°F]")
    page.reload()
    expect(heads.first).to_be_visible()
