"""Passes of several outings together, in a real browser, against the library's numbers."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from acts import AT_A_DESK, ON_A_PHONE, choose, fits_the_screen, wait_until_settled
from playwright.sync_api import Locator, Page, expect
from seasons import BOAT

from sample_logs import data_folder
from telemetry.core.units import SPEED_UNITS, speed_text
from telemetry.logbook import open_logbook
from telemetry.pass_overlay import SPEED, Abscissa, AlignedPass, Anchor, align, pass_curves, read_at

pytestmark = pytest.mark.browser

KEYS = ("1.P1", "1.P2", "5.P1")
LOG = data_folder() / "four_passes.gpx"


@pytest.fixture
def dashboard_logbook(season_url: str) -> str:
    """The season, for the server of these tests."""
    return season_url


def by_the_library(url: str, over: Abscissa, start: Anchor) -> tuple[AlignedPass, ...]:
    """Lay the same passes as the page does."""
    with open_logbook(url) as book:
        analyses = {number: book.analysed(number) for number in (1, 5)}
    named = (key.split(".") for key in KEYS)
    return align([pass_curves(analyses[int(n)], [p])[0] for n, p in named], over, start).laid


def opened(page: Page, **how: str) -> Page:
    page.goto(f"/overlay?pass={','.join(KEYS)}" + "".join(f"&{k}={v}" for k, v in how.items()))
    expect(page.locator("#overlay-readings tbody tr")).to_have_count(3)
    expect(page.locator("#overlay-plots .scatterlayer .trace").first).to_be_visible()
    wait_until_settled(page)
    return page


def speeds(page: Page) -> Locator:
    return page.locator("#overlay-readings tbody td:nth-child(2)")


def place_of(page: Page) -> float:
    told = re.fullmatch(r"At (-?[\d.]+) (?:m|s)", page.locator("#overlay-place").inner_text())
    assert told is not None
    return float(told[1])


def shown_together(page: Page) -> tuple[float, list[str]]:
    """The place and the speeds of one moment: a pointer that rests on a plot may still move the cursor."""
    place, told = page.evaluate(
        """() => [
            document.querySelector("#overlay-place").innerText,
            Array.from(document.querySelectorAll("#overlay-readings td:nth-child(2)"), (td) => td.innerText),
        ]"""
    )
    return float(place.split(" ")[1]), told


def put_cursor(page: Page, keys: str, times: int = 1) -> None:
    thumb = page.get_by_role("slider", name="Place of the cursor")
    thumb.focus()
    for _ in range(times):
        thumb.press(keys)


def holds_the_library_s(page: Page, laid: tuple[AlignedPass, ...], unit: str = "mph") -> None:
    """Hold the table's speeds to what the library reads at the place that is shown."""
    place, all_shown = shown_together(page)
    for one, shown in zip(laid, all_shown, strict=True):
        # The place is shown to a hundredth: what the library reads over that hundredth holds what is shown.
        reads = [read_at(one, SPEED, place + by) for by in (-0.005, 0.0, 0.005)]
        known = [read for read in reads if read is not None]
        if shown == "–":
            assert None in reads
            continue
        value, *half = (float(part) for part in shown.split(" ± "))
        in_unit = [SPEED_UNITS[unit].from_si(read.value) for read in known]
        assert min(in_unit) - 0.06 <= value <= max(in_unit) + 0.06
        halves = [None if read.u95 is None else read.u95 / SPEED_UNITS[unit].factor_si for read in known]
        if half:
            told = [one for one in halves if one is not None]
            assert min(told) - 0.011 <= half[0] <= max(told) + 0.011
        else:
            assert None in halves


@AT_A_DESK
def test_the_cursor_reads_what_the_library_reads(page: Page, season_url: str) -> None:
    laid = by_the_library(season_url, "time", "peak")
    opened(page, over="time", **{"from": "peak"})
    expect(page.locator("#overlay-place")).to_have_text("At 0.00 s")
    for k, one in enumerate(laid):
        read = read_at(one, SPEED, 0.0)
        assert read is not None
        expect(speeds(page).nth(k)).to_have_text(
            speed_text(read.value, "mph", read.u95).removesuffix(" mph"), use_inner_text=True
        )
    first = speeds(page).first.inner_text().split(" ")[0]
    expect(page.locator("#overlay-speeds")).to_contain_text(f"A {first}")
    # With the keyboard, a step at a time.
    put_cursor(page, "ArrowLeft", 12)
    expect(page.locator("#overlay-place")).not_to_have_text("At 0.00 s")
    holds_the_library_s(page, laid)
    # With a pointer or a finger, on any of the plots: every one of them shows it.
    plot = page.locator("#overlay-plots .nsewdrag").nth(1)
    plot.scroll_into_view_if_needed()
    before = place_of(page)
    plot.click(position={"x": (plot.bounding_box() or {})["width"] * 0.5, "y": 40})
    expect(page.locator("#overlay-place")).not_to_have_text(f"At {before:.2f} s")
    holds_the_library_s(page, laid)
    rows = page.locator("#overlay-plots .nsewdrag").count()
    assert rows >= 5
    expect(page.locator("#overlay-plots .shapelayer path")).to_have_count(1 + 1 + 3 * rows)  # nought, cursor
    expect(page.locator("#overlay-plan .shapelayer path")).to_have_count(3)
    # And from above.
    put_cursor(page, "Home")
    expect(page.locator("#overlay-readings tbody td").first).to_have_text(re.compile(r"^\d|–"))
    plan = page.locator("#overlay-plan .nsewdrag").first
    plan.scroll_into_view_if_needed()
    box = plan.bounding_box()
    assert box is not None
    plan.click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    holds_the_library_s(page, laid)
    assert fits_the_screen(page)


@ON_A_PHONE
def test_the_unit_once_chosen_holds_here_too(page: Page, season_url: str) -> None:
    laid = by_the_library(season_url, "distance", "take-off")
    opened(page)
    page.locator("#unit").get_by_text("km/h", exact=True).click()
    expect(page.locator("#overlay-readings thead")).to_contain_text("Speed [km/h]")
    wait_until_settled(page)
    put_cursor(page, "ArrowRight", 10)
    holds_the_library_s(page, laid, "km/h")


@AT_A_DESK
def test_passes_are_found_by_any_words_and_the_address_keeps_them(page: Page) -> None:
    page.goto("/overlay")
    field = page.locator("#overlay-passes")
    field.click()
    field.fill("2.0 strut p3 bramblin")
    page.get_by_role("option", name=re.compile("P3, .*Strut 2.0 mm")).first.click()
    field.fill("outing 1, p2")
    page.get_by_role("option", name=re.compile(f"P2, {BOAT}, outing 1,")).first.click()
    page.keyboard.press("Escape")
    expect(page.locator("#overlay-readings tbody tr")).to_have_count(2)
    expect(page.locator("#overlay-sheets")).to_contain_text("Strut depth: 2 mm → 3 mm")
    page.locator("#overlay-over").get_by_text("Time of day").click()
    expect(page.locator("#overlay-remarks")).to_contain_text("These are 2 days")
    expect(page.locator("#overlay-place")).to_contain_text("UTC")
    expect(page.locator("#overlay-from")).to_be_disabled()
    wait_until_settled(page)
    kept = parse_qs(urlsplit(page.url).query)
    assert kept["over"] == ["day"]
    page.reload()
    expect(page.locator("#overlay-readings tbody tr")).to_have_count(2)
    expect(page.locator("#overlay-remarks")).to_contain_text("These are 2 days")
    wait_until_settled(page)
    assert parse_qs(urlsplit(page.url).query) == kept


@AT_A_DESK
def test_a_pass_comes_from_the_table_of_passes_and_from_an_outing(page: Page) -> None:
    choose(page, Path(LOG))
    page.locator("#passes").get_by_role("link", name="overlay").nth(2).click()
    expect(page.locator("#overlay-readings tbody th")).to_contain_text("P3, this tab, four_passes.gpx")
    expect(page.locator("#overlay-sheets")).to_contain_text("no sheet recorded")
    page.goto("/logbook?outing=2")
    page.get_by_role("link", name="together").click()
    expect(page.locator("#overlay-readings tbody tr").nth(3)).to_be_visible()
    expect(page.locator("#overlay-sheets")).to_contain_text("Same sheet:")
    wait_until_settled(page)
    assert fits_the_screen(page)


@AT_A_DESK
def test_what_cannot_be_laid_is_said(page: Page) -> None:
    page.goto("/overlay?pass=1.P1,1.P99,tab.P1,nonsense")
    expect(page.locator("#overlay-readings tbody tr")).to_have_count(1)
    said = page.locator("#overlay-remarks")
    expect(said).to_contain_text("outing 1 has no pass P99")
    expect(said).to_contain_text("no log is loaded in this tab")
    expect(said).to_contain_text("this names no pass")
