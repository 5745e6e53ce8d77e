"""The bench in a real browser: what moved, the way back, the card, the balance, the service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from acts import AT_A_DESK, ON_A_PHONE, fits_the_screen, wait_until_settled
from bench_boat import fill, sheet
from playwright.sync_api import BrowserContext, Locator, Page, expect

from telemetry.logbook import open_logbook
from telemetry.setup import Reading, toml_text

pytestmark = pytest.mark.browser


@pytest.fixture
def bench(context: BrowserContext) -> Iterator[Page]:
    """The page with a boat of two sheets in the logbook."""
    with open_logbook() as book:
        book.add_boat("Kestrel")
        calm = book.add_sheet(sheet())
        book.add_sheet(calm.edit({"strut_depth_mm": Reading(3.5)}, name="rough"))
    opened = context.new_page()
    opened.goto("/bench")
    expect(opened.locator("#bench-said")).to_contain_text("Kestrel: rough")
    opened.get_by_text("All together", exact=True).click()
    expect(opened.get_by_label("Strut depth as found")).to_be_visible()
    yield opened
    assert fits_the_screen(opened)
    # An answer that is cut off leaves the server an open file, which another test would hear of.
    wait_until_settled(opened)


def verdict(page: Page, item: str) -> Locator:
    return page.locator(".found-row", has_text=item).locator(".found-verdict")


@ON_A_PHONE
def test_a_boat_is_measured_item_by_item(bench: Page) -> None:
    bench.get_by_text("One at a time", exact=True).click()
    progress, found = bench.locator("#bench-progress"), bench.locator(".found-row-now .found-verdict")
    expect(progress).to_have_text("1 of 6, 0 measured")
    expect(bench.locator(".found-row:visible")).to_have_count(1)
    bench.get_by_role("textbox", name="Lengths with").fill("0.05")
    bench.get_by_role("textbox", name="Lengths with").blur()
    for _ in range(3):
        bench.get_by_role("button", name="Next", exact=True).click()
    expect(progress).to_have_text("4 of 6, 0 measured")
    depth, more = bench.get_by_label("Strut depth as found"), bench.get_by_label("Strut depth: more")
    expect(depth).to_be_focused()
    expect(bench.locator("#item-drawing")).to_contain_text("+ depth")
    expect(bench.get_by_role("textbox", name="Gauge for Strut depth")).to_have_attribute(
        "placeholder", "0.05 mm"
    )
    more.click()  # the first press takes what was set
    expect(depth).to_have_value("3.5")
    expect(found).to_contain_text("as set")
    more.click()
    more.click()
    expect(depth).to_have_value("3.6")  # by the gauge's own step
    depth.press("ArrowDown")
    expect(depth).to_have_value("3.55")
    depth.fill("6.1")
    depth.press("Enter")
    expect(progress).to_have_text("5 of 6, 1 measured")
    angle = bench.get_by_label("Strut angle as found")
    expect(angle).to_be_focused()
    angle.fill("1.8")
    angle.blur()
    bench.get_by_role("button", name="Strut angle: turn its sign").click()
    expect(angle).to_have_value("-1.8")
    bench.get_by_role("button", name="Skip").click()
    expect(progress).to_have_text("6 of 6, 1 measured")
    bench.get_by_role("button", name="Previous").click()
    bench.get_by_role("button", name="Previous").click()
    expect(found).to_contain_text("moved")
    expect(found).to_contain_text("differs by 2.6 mm")
    expect(bench.locator("#bench-counts")).to_have_text("1 moved, 0 as set, 5 cannot tell")
    expect(bench.locator("#bench-steps")).to_contain_text("from 6.1 mm to 3.5 mm")

    # The gauge is named once, and so is the way of measuring: both are there again.
    bench.reload()
    expect(bench.get_by_role("textbox", name="Lengths with")).to_have_value("0.05")
    expect(bench.locator("#bench-measuring")).to_have_class("bench-one")
    expect(bench.locator("#bench-counts")).to_have_text("1 moved, 0 as set, 5 cannot tell")
    bench.get_by_text("All together", exact=True).click()
    expect(bench.locator("#bench-measuring")).to_have_class("bench-all")
    bench.reload()
    expect(bench.locator("#bench-counts")).to_be_visible()
    expect(bench.locator("#bench-measuring")).to_have_class("bench-all")


@ON_A_PHONE
def test_what_was_measured_is_judged_brought_back_and_printed(bench: Page) -> None:
    steps, card = bench.locator("#bench-steps"), bench.locator("#bench-card")
    fill(bench, "Strut depth as found", "deep")
    expect(bench.get_by_text("'deep' is not a measured value.")).to_be_visible()
    fill(bench, "Strut depth as found", "6.1")
    expect(bench.get_by_text("'deep' is not a measured value.")).to_have_count(0)
    expect(verdict(bench, "Strut depth")).to_contain_text("moved")
    expect(verdict(bench, "Strut depth")).to_contain_text("differs by 2.6 mm")
    expect(verdict(bench, "Tab gap, left inner")).to_contain_text("cannot tell")
    fill(bench, "Tab gap, left inner as found", "3.0")
    expect(verdict(bench, "Tab gap, left inner")).to_contain_text("as set")
    fill(bench, "Gauge for Tab gap, left inner", "0.5")
    expect(verdict(bench, "Tab gap, left inner")).to_contain_text("use a finer gauge")
    expect(steps).to_contain_text("Straighten and tighten first: strut and bracket")
    expect(steps).to_contain_text("from 6.1 mm to 3.5 mm (caliper). Raise the strut, by 2.6 mm")

    bench.get_by_role("textbox", name="Bring it back to").click()
    bench.get_by_role("option", name="calm").click()
    expect(steps).to_contain_text("from 6.1 mm to 3 mm")
    expect(card).to_contain_text("Raise the strut, by 3.1 mm")
    expect(card).to_be_hidden()
    bench.emulate_media(media="print")
    expect(card).to_be_visible()
    expect(card).to_contain_text("live while a pack is connected")
    expect(bench.get_by_role("heading", name="Balance")).to_be_hidden()
    bench.emulate_media(media="screen")


DISC_PLACE = """(number) => {
  const drawing = document.querySelector("#balance-drawing");
  const middle = (what) => { const box = what.getBoundingClientRect(); return box.x + box.width / 2; };
  const ticks = [...drawing.querySelectorAll(".xtick text")];
  const tick = (text) => middle(ticks.find((one) => one.textContent === text));
  const disc = middle(drawing.querySelector(".points").querySelectorAll("path")[number]);
  return 300 * (disc - tick("0")) / (tick("300") - tick("0"));
}"""
"""Where the disc of a part stands, counted from 0, by the drawing's own scale [mm]."""


@AT_A_DESK
def test_the_balance_and_then_other_units_and_signs(bench: Page) -> None:
    told = bench.locator("#balance-told")
    expect(told).to_contain_text("centre of gravity 269.2 ± 0.3 mm")
    fill(bench, "What if: place, pack", "200")
    expect(told).to_contain_text("276.5 ± 0.3 mm")  # CHECKS.md, computed
    fill(bench, "May go from, pack", "150")
    fill(bench, "to, pack", "220")
    fill(bench, "Wanted centre of gravity", "269.17")
    expect(told).to_contain_text("pack back by 20.0 mm")
    expect(bench.locator("#balance-drawing .annotation", has_text="pack back 20.0 mm")).to_be_visible()
    expect(bench.locator("#balance-drawing .annotation", has_text="as set 269.2 mm")).to_be_visible()
    expect(bench.locator("#balance-drawing .annotation", has_text="what if 276.5 mm")).to_be_visible()
    wait_until_settled(bench)
    assert bench.evaluate(DISC_PLACE, 1) == pytest.approx(200.0, abs=1.0)  # as it is drawn, not as told
    fill(bench, "Wanted centre of gravity", "400")
    expect(told).to_contain_text("No move within the ranges")

    # The words change and the verdict does not; what was typed means what it meant.
    fill(bench, "Strut angle as found", "1.0")
    expect(verdict(bench, "Strut angle")).to_contain_text("moved")
    bench.locator(".units summary").click()
    bench.locator("#length-unit").get_by_text("thou", exact=True).click()
    bench.locator(".units summary").click()
    expect(bench.locator(".found-row", has_text="Strut depth")).to_contain_text("137.8 thou")
    expect(bench.get_by_label("What if: place, pack")).to_have_value("200 mm")
    bench.get_by_text("strut angle", exact=True).click()
    expect(bench.get_by_label("Strut angle as found")).to_have_value("-1")
    expect(verdict(bench, "Strut angle")).to_contain_text("moved")
    expect(bench.locator("#bench-steps")).to_contain_text("from -1 deg to -1.8 deg")
    expect(bench.locator("#bench-steps")).to_contain_text("Raise the propeller end, by 0.8 deg")
    expect(bench.locator("#sign-words")).to_contain_text("propeller end is the lower end")


@AT_A_DESK
def test_what_is_kept_is_in_the_logbook(bench: Page) -> None:
    bench.get_by_text("An item for this boat only").click()
    bench.locator("#own-title").fill("Wing height")
    bench.get_by_role("button", name="Add it").click()
    fill(bench, "Wing height as found", "40")
    fill(bench, "Strut depth as found", "6.1")
    expect(verdict(bench, "Strut depth")).to_contain_text("moved")
    bench.get_by_role("button", name="Save as found").click()
    expect(bench.locator("#bench-done")).to_contain_text("Kestrel as found, 2 measures")
    bench.get_by_label("Name of the next sheet").fill("deep")
    bench.get_by_role("button", name="Save these values as the next sheet").click()
    expect(bench.locator("#bench-done")).to_contain_text("Kestrel, deep")
    expect(bench.locator("#bench-said")).to_contain_text("Kestrel: deep")
    expect(verdict(bench, "Strut depth")).to_contain_text("as set")
    expect(verdict(bench, "Wing height")).to_contain_text("as set")

    row = bench.locator(".service-row", has_text="Hinge slop")
    expect(row).to_contain_text("cannot tell")
    bench.get_by_role("button", name="Hinge slop: done now").click()
    expect(row).to_contain_text("not due")
    expect(row).to_contain_text("common practice, no source")
    bench.get_by_text("This boat's own interval").click()
    bench.get_by_role("textbox", name="Every days").fill("7")
    bench.get_by_role("button", name="Keep it").click()
    expect(bench.locator(".service-row", has_text="Fail-safe")).to_contain_text("Every 7 days")
    with open_logbook() as book:
        assert [one.name for one in book.sheets("Kestrel")] == ["calm", "rough", "deep"]
        assert [one.value("strut_depth_mm") for one in book.founds("Kestrel")] == [6.1]
        assert [item.name for item in book.boat("Kestrel").own_items] == ["wing_height_mm"]


@AT_A_DESK
def test_without_a_logbook_a_file_or_a_new_boat_lies_on_the_bench(page: Page, tmp_path: Path) -> None:
    file = tmp_path / "calm.toml"
    file.write_text(toml_text(sheet().to_dict()), encoding="utf-8")
    page.goto("/bench")
    said = page.locator("#bench-said")
    expect(said).to_contain_text("No sheet yet")
    page.set_input_files("#bench-file input[type=file]", str(file))
    expect(said).to_contain_text("Kestrel: calm")
    page.get_by_text("All together", exact=True).click()
    fill(page, "Strut depth as found", "3")
    expect(verdict(page, "Strut depth")).to_contain_text("as set")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("boat = 3", encoding="utf-8")
    page.set_input_files("#bench-file input[type=file]", str(wrong))
    expect(page.locator("#bench-file-error")).to_contain_text("wrong.toml")

    page.get_by_text("Add a new boat").click()
    page.get_by_label("Its name").fill("Heron")
    page.get_by_role("button", name="Begin", exact=True).click()
    expect(said).to_contain_text("Heron: no sheet yet")
    fill(page, "Strut depth as found", "2.5")
    expect(verdict(page, "Strut depth")).to_contain_text("The sheet has no value.")
    page.get_by_label("Name of the next sheet").fill("first")
    page.get_by_role("button", name="Save these values as the next sheet").click()
    expect(said).to_contain_text("Heron: first")
    assert fits_the_screen(page)
    wait_until_settled(page)
