"""From files on disk to the answer on the screen, in a real browser, against the command line's answer."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import pytest
from acts import AT_A_DESK, ON_A_PHONE, choose, fits_the_screen, wait_until_settled
from answers import by_command_line
from playwright.sync_api import BrowserContext, Page, expect

from sample_logs import data_folder
from telemetry.core.units import speed_text

pytestmark = pytest.mark.browser

LOGS = (data_folder() / "four_passes.gpx", data_folder() / "four_passes_motor.csv")
FIGURE, VERDICT = "#two-way-figure", "#two-way-verdict"


def analysed(*arguments: str) -> dict[str, Any]:
    """Ask the command line about the same logs."""
    return by_command_line("analyse", *map(str, LOGS), *arguments)


def figure_of(answer: dict[str, Any], unit: str) -> str:
    best = answer["two_ways"][0]
    return speed_text(best["average_mps"], unit, best["u95_mps"])


def drop(page: Page, *files: Path) -> None:
    """Let go of files over the page's drop area."""
    payload = [
        {"name": file.name, "data": base64.b64encode(file.read_bytes()).decode("ascii")} for file in files
    ]
    transfer = page.evaluate_handle(
        """files => {
            const transfer = new DataTransfer();
            for (const file of files) {
                const bytes = Uint8Array.from(atob(file.data), c => c.charCodeAt(0));
                transfer.items.add(new File([bytes], file.name));
            }
            return transfer;
        }""",
        payload,
    )
    page.dispatch_event("#drop .drop-inside", "drop", {"dataTransfer": transfer})


@AT_A_DESK
def test_dropped_logs_give_the_command_lines_figure_and_a_changed_rule_changes_it(page: Page) -> None:
    page.locator("#unit").get_by_text("m/s", exact=True).click()
    drop(page, *LOGS)
    water, land = analysed("--rule", "water"), analysed("--rule", "land")
    expect(page.locator(FIGURE)).to_have_text(figure_of(water, "m/s"))
    expect(page.locator(VERDICT)).to_have_text(water["two_ways"][0]["verdict"])

    page.get_by_label("land", exact=True).check()
    assert figure_of(land, "m/s") != figure_of(water, "m/s")
    expect(page.locator(FIGURE)).to_have_text(figure_of(land, "m/s"))

    page.get_by_label("sixteenth-mile", exact=True).check()
    open_window = analysed("--rule", "sixteenth-mile")
    assert open_window["two_ways"][0]["verdict"] == "cannot tell"
    expect(page.locator(VERDICT)).to_have_text("cannot tell")
    expect(page.locator(".reasons")).to_contain_text("Time window: cannot tell")

    window = page.get_by_label("Time window of your rule book, minutes")
    window.fill("30")
    window.press("Enter")
    expect(page.locator(VERDICT)).to_have_text("counts")


@AT_A_DESK
def test_distance_and_gates_change_the_answer_as_on_the_command_line(page: Page) -> None:
    choose(page, *LOGS)
    expect(page.locator(FIGURE)).to_have_text(figure_of(analysed(), "mph"))
    page.locator("#distance").click()
    page.get_by_role("option", name="1/8 mile").click()
    expect(page.locator(FIGURE)).to_have_text(figure_of(analysed("--distance", "1/8 mi"), "mph"))

    page.locator("#distance").click()
    page.get_by_role("option", name="My own distance").click()
    own = page.get_by_role("textbox", name="My own distance")
    own.fill("90 furlongs")
    own.press("Enter")
    expect(page.get_by_text("is not a distance")).to_be_visible()
    own.fill("250 ft")
    own.press("Enter")
    expect(page.locator(FIGURE)).to_have_text(figure_of(analysed("--distance", "250 ft"), "mph"))

    page.get_by_role("button", name="Use these gates").first.click()
    gates = page.locator("#gates")
    expect(gates).not_to_have_value("")
    taken = analysed("--gates", gates.input_value())
    expect(page.locator(FIGURE)).to_have_text(figure_of(taken, "mph"))
    expect(page.locator(".gates-box").first).to_contain_text("given by you")
    page.get_by_role("button", name="Place them automatically").click()
    expect(page.locator(".gates-box").first).to_contain_text("placed automatically")


@ON_A_PHONE
def test_two_presses_on_the_plan_view_become_gates(page: Page) -> None:
    choose(page, LOGS[0])
    expect(page.locator("#plan .scatterlayer .trace").first).to_be_visible()
    wait_until_settled(page)
    page.get_by_role("button", name="Pick on the plan view").click()
    expect(page.locator("#pick-hint")).to_contain_text("first gate")
    page.locator("#plan").scroll_into_view_if_needed()
    for share in (0.35, 0.65):
        wait_until_settled(page)  # the first press draws the plan anew
        x, y = page.evaluate(
            """share => {
                const plot = document.querySelector("#plan .js-plotly-plot");
                const trace = plot._fullData.find(t => t.name === "passes out");
                const layout = plot._fullLayout, box = plot.getBoundingClientRect();
                const first = [...trace.y].findIndex(Number.isNaN);
                const i = Math.round(share * (first - 1));
                return [box.left + layout._size.l + layout.xaxis.d2p(trace.x[i]),
                        box.top + layout._size.t + layout.yaxis.d2p(trace.y[i])];
            }""",
            share,
        )
        page.mouse.move(x - 2, y)
        page.mouse.move(x, y)
        expect(page.locator("#plan .hoverlayer .hovertext").first).to_be_visible()
        page.mouse.click(x, y)
        if share < 0.5:
            expect(page.locator("#pick-hint")).to_contain_text("second gate")
    expect(page.locator("#gates")).not_to_have_value("")
    expect(page.locator(".gates-box").first).to_contain_text("given by you")
    picked = analysed("--gates", page.locator("#gates").input_value())
    expect(page.locator(FIGURE)).to_have_text(figure_of(picked, "mph"))


@AT_A_DESK
def test_each_file_has_its_own_findings_or_error_and_can_be_removed(page: Page, tmp_path: Path) -> None:
    holiday = tmp_path / "holiday.gpx"
    holiday.write_text("no log at all", encoding="utf-8")
    choose(page, data_folder() / "blow_over.nmea", holiday)
    files = page.locator("#files > li")
    expect(files).to_have_count(2)
    # The browser hands files over in an order of its own, so each is found by its name.
    log, other = files.filter(has_text="blow_over.nmea"), files.filter(has_text="holiday.gpx")
    expect(log).to_contain_text("NMEA speed log")
    log.get_by_text("findings").click()
    expect(log.locator(".findings li").first).to_be_visible()
    expect(other.get_by_role("alert")).to_contain_text("none of the known formats")
    page.get_by_role("button", name="Remove holiday.gpx").click()
    expect(files).to_have_count(1)
    page.get_by_role("button", name="Remove blow_over.nmea").click()
    expect(page.get_by_role("button", name="Try the sample logs")).to_be_visible()
    choose(page, data_folder() / "blow_over.nmea")
    expect(files).to_have_count(1)


@AT_A_DESK
def test_a_table_that_explains_nothing_is_read_once_its_columns_are_named(page: Page, tmp_path: Path) -> None:
    table = tmp_path / "odd.csv"
    rows = "".join(f"{i / 10},{min(i, 90) / 3 if i < 150 else 2:.2f}\n" for i in range(300))
    table.write_text("wann,vgps\n" + rows, encoding="utf-8")
    choose(page, table)
    for heading, meaning in (("wann", "Time since the start [s]"), ("vgps", "Speed over ground [m/s]")):
        page.get_by_role("textbox", name=heading).click()
        page.get_by_role("option", name=meaning).click()
    page.get_by_role("button", name="Read it again").click()
    expect(page.locator("#files")).to_contain_text("CSV speed log")
    expect(page.locator(VERDICT)).to_contain_text("cannot tell")
    expect(page.locator(FIGURE)).to_contain_text("mph")


@AT_A_DESK
def test_the_unit_is_kept_and_a_reload_finds_the_logs_again(page: Page) -> None:
    page.get_by_role("button", name="Try the sample logs").click()
    expect(page.locator(FIGURE)).to_contain_text("mph")
    page.locator("#unit").get_by_text("kn", exact=True).click()
    expect(page.locator(FIGURE)).to_have_text(figure_of(analysed(), "kn"))
    page.reload()
    expect(page.locator(FIGURE)).to_have_text(figure_of(analysed(), "kn"))


@AT_A_DESK
def test_another_tab_does_not_see_the_logs(page: Page, context: BrowserContext) -> None:
    page.get_by_role("button", name="Try the sample logs").click()
    expect(page.locator("#files > li")).to_have_count(2)
    other = context.new_page()
    other.goto("/")
    expect(other.get_by_role("button", name="Try the sample logs")).to_be_visible()
    expect(other.locator("#files > li")).to_have_count(0)


def test_nothing_is_wider_than_the_screen_and_the_plots_are_drawn(page: Page) -> None:
    page.get_by_role("button", name="Try the sample logs").click()
    for plot in ("speed-time", "plan"):
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    wait_until_settled(page)
    assert fits_the_screen(page)


@AT_A_DESK
def test_the_page_can_be_used_from_the_keyboard(page: Page) -> None:
    page.get_by_role("button", name="Try the sample logs").focus()
    page.keyboard.press("Enter")
    expect(page.locator(FIGURE)).to_contain_text("mph")
    # The answer can stand before its section is shown, and what is hidden takes no focus.
    expect(page.locator(".area-controls")).to_be_visible()
    rule = page.get_by_label("water", exact=True)
    rule.focus()
    expect(rule).to_be_focused()
    page.keyboard.press("ArrowDown")
    expect(page.locator("#answer")).to_contain_text("Rule: land")


@AT_A_DESK
def test_sunlight_and_dark_are_one_key_away_redraw_the_plots_and_are_kept(page: Page) -> None:
    page.get_by_role("button", name="Try the sample logs").click()
    line = page.locator("#speed-time .scatterlayer .trace path.js-line").nth(1)
    light = line.evaluate("e => getComputedStyle(e).stroke")
    thin = line.evaluate("e => getComputedStyle(e).strokeWidth")
    page.get_by_role("button", name="Page in light").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Page in sunlight")).to_be_focused()
    expect(line).not_to_have_css("stroke", light)
    sunlit = line.evaluate("e => getComputedStyle(e).stroke")
    thick = line.evaluate("e => getComputedStyle(e).strokeWidth")
    assert float(thick.removesuffix("px")) > float(thin.removesuffix("px"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Page in the dark")).to_be_focused()
    expect(line).not_to_have_css("stroke", sunlit)
    page.reload()
    expect(page.get_by_role("button", name="Page in the dark")).to_be_visible()
    expect(page.locator("html")).to_have_attribute("data-mantine-color-scheme", "dark")
