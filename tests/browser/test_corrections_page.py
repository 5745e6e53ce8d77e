"""Correcting by hand in a real browser: mark, cut, restore, shift a clock; the answer is the library's."""

from __future__ import annotations

import re
from typing import Any

import pytest
from acts import AT_A_DESK, choose, fits_the_screen, wait_until_settled
from answers import by_command_line
from playwright.sync_api import Page, expect

from sample_logs import data_folder
from telemetry.core.units import speed_text

pytestmark = pytest.mark.browser

SPEED, MOTOR = data_folder() / "four_passes.gpx", data_folder() / "four_passes_motor.csv"
FIGURE = "#two-way-figure"


def figure_of(*options: str) -> str:
    """The figure that the command line gives with the same corrections."""
    answer: dict[str, Any] = by_command_line("analyse", str(SPEED), str(MOTOR), *options)
    best = answer["two_ways"][0]
    return speed_text(best["average_mps"], "mph", best["u95_mps"])


def opened(page: Page) -> None:
    choose(page, SPEED, MOTOR)
    expect(page.locator(FIGURE)).to_have_text(figure_of())
    page.get_by_text("Correct by hand", exact=True).click()


@AT_A_DESK
def test_a_stretch_written_by_keyboard_is_cut_out_and_restored(page: Page) -> None:
    opened(page)
    plain = figure_of()
    page.get_by_label("From", exact=True).fill("17:41:00")
    page.get_by_label("To", exact=True).fill("17:41:12")
    page.get_by_label("Reason (optional)").fill("the wake of a ferry")
    page.get_by_role("button", name="Cut out").press("Enter")
    expect(page.locator("#hand-done li")).to_contain_text("17:41:00.00 to 17:41:12.00 UTC")
    expect(page.locator("#hand-done li")).to_contain_text("the wake of a ferry")
    cut = figure_of("--cut", f"{SPEED.name}:17:41:00..17:41:12:the wake of a ferry")
    assert cut != plain
    expect(page.locator(FIGURE)).to_have_text(cut)
    expect(page.locator("#two-ways")).to_contain_text("Nothing corrected by hand")
    expect(page.locator("#speed-time")).to_contain_text("cut by hand")
    assert fits_the_screen(page)

    page.get_by_role("button", name=re.compile("^Restore: Cut")).click()
    expect(page.locator("#hand-done li")).to_have_count(0)
    expect(page.locator(FIGURE)).to_have_text(plain)


@AT_A_DESK
def test_what_is_no_stretch_is_said_beside_the_fields(page: Page) -> None:
    opened(page)
    page.get_by_role("button", name="Cut out").click()
    expect(page.locator("#hand-said")).to_contain_text("No stretch is marked")
    page.get_by_label("From", exact=True).fill("soon")
    page.get_by_label("To", exact=True).fill("17:41:12")
    page.get_by_role("button", name="Cut out").click()
    expect(page.locator("#hand-said")).to_contain_text("'soon' is not a time")
    page.get_by_label("From", exact=True).fill("17:40:40")
    page.get_by_role("button", name="Restore: it was real").click()
    expect(page.locator("#hand-said")).to_contain_text("Nothing was excluded there")
    expect(page.locator("#hand-done li")).to_have_count(0)


@AT_A_DESK
def test_a_stretch_is_marked_on_the_plot(page: Page) -> None:
    opened(page)
    wait_until_settled(page)
    page.get_by_role("button", name="Mark on the plot").click()
    plot = page.locator("#speed-time .nsewdrag").first
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    left, middle = box["x"] + 0.48 * box["width"], box["y"] + 0.5 * box["height"]
    page.mouse.move(left, middle)
    page.mouse.down()
    page.mouse.move(left + 60, middle + 10, steps=6)
    page.mouse.up()
    expect(page.get_by_label("From", exact=True)).to_have_value(re.compile(r"^17:41:\d\d\.\d\d$"))
    start, end = (page.get_by_label(name, exact=True).input_value() for name in ("From", "To"))
    assert start < end
    page.get_by_role("button", name="Cut out").click()
    expect(page.locator("#hand-done li")).to_contain_text(f"{start} to {end} UTC")
    expect(page.get_by_label("From", exact=True)).to_have_value("")
    expect(page.locator("#speed-time .selectionlayer path")).to_have_count(0)


@AT_A_DESK
def test_the_motor_logs_clock_is_shifted_by_steps_and_set_back(page: Page) -> None:
    opened(page)
    clock = page.locator("#area-clock")
    expect(clock.locator("#clock-told")).to_contain_text("Automatic.")
    own = float(clock.locator("#clock-offset").input_value())
    clock.get_by_role("button", name="Move the motor log 1 s later").click()
    expect(clock.locator("#clock-offset")).to_have_value(f"{own + 1.0:.3f}".rstrip("0"))
    clock.get_by_role("button", name="Move the motor log 0.05 s earlier").click()
    expect(clock.locator("#clock-told")).to_contain_text("Your setting differs by 0.95 s.")
    expect(clock.locator("#clock-told")).to_contain_text("from the automatic estimate")
    expect(page.locator("#power-told")).to_contain_text("Clock matched by hand")
    expect(clock.locator("#clock-view .js-plotly-plot")).to_be_visible()
    assert fits_the_screen(page)

    clock.get_by_role("button", name="Back to automatic").click()
    expect(clock.locator("#clock-told")).to_contain_text("Automatic.")
    expect(clock.locator("#clock-offset")).to_have_value(f"{own:.3f}".rstrip("0"))
    expect(page.locator("#power-told")).not_to_contain_text("by hand")
