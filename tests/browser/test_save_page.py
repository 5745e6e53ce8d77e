"""Several logs at once, each with its own state; the outing kept with boat and sheet made on the spot."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest
from acts import AT_A_DESK, choose, fits_the_screen, wait_until_settled
from playwright.sync_api import Page, expect

from sample_logs import data_folder
from telemetry import readers
from telemetry.analysis import read_and_analyse
from telemetry.core.frames import Log
from telemetry.core.progress import report
from telemetry.core.units import speed_text
from telemetry.logbook import open_logbook
from telemetry.readers import ReadOptions, gpx

pytestmark = pytest.mark.browser

SPEED, MOTOR = (data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv"))


@pytest.fixture
def hour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A log that takes half a minute to read: our own walk is done before one can press."""

    def slowly(data: bytes, file: str, options: ReadOptions) -> tuple[Log, ...]:
        if file.endswith("hour.gpx"):
            for k in range(600):
                report(k / 600)  # which ends the reading once it is cancelled
                time.sleep(0.05)
        return gpx.READER.read(data, file, options)

    patient = tuple(replace(r, read=slowly) if r.name == "gpx" else r for r in readers.READERS)
    monkeypatch.setattr(readers, "READERS", patient)
    file = tmp_path / "hour.gpx"
    # Larger than the others, which are therefore read first.
    file.write_bytes(SPEED.read_bytes().replace(b"2025-06-14", b"2025-06-15") + b"\n" * 2_000_000)
    return file


def answered(page: Page) -> None:
    best = next(w for w in read_and_analyse([SPEED]).two_ways if w.best)
    expect(page.locator("#two-way-figure")).to_have_text(speed_text(best.average_mps, "mph", best.u95_mps))


@AT_A_DESK
def test_each_of_several_logs_shows_its_own_state_and_a_long_one_is_cancelled(
    page: Page, hour: Path, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.gpx"
    bad.write_bytes(b"<gpx><trk>")
    choose(page, hour, MOTOR, bad, SPEED)
    jobs = page.locator("#water-jobs")
    row = jobs.locator("li", has_text="hour.gpx")
    expect(row.get_by_text("Reading", exact=True)).to_be_visible()
    expect(row.get_by_role("progressbar", name="hour.gpx: share done")).to_be_visible()
    # While it is read the others are there, each with what is to be said of it, and the page answers.
    files = page.locator("#files")
    expect(files.locator("li", has_text="four_passes.gpx")).to_contain_text("GPX speed log")
    expect(files.locator("li", has_text="bad.gpx").get_by_role("alert")).to_be_visible()
    page.get_by_role("button", name="Cancel hour.gpx").click()
    expect(row).to_contain_text("Cancelled: nothing was saved.")
    answered(page)
    expect(files).not_to_contain_text("hour.gpx")
    expect(page.locator("#power-told")).to_contain_text("Clock matched by")
    wait_until_settled(page)
    assert fits_the_screen(page)
    page.get_by_role("button", name="Remove hour.gpx from the list").click()
    expect(jobs).to_be_empty()


@AT_A_DESK
def test_an_outing_is_kept_with_a_boat_and_a_sheet_made_on_the_spot(page: Page) -> None:
    choose(page, SPEED, MOTOR)
    answered(page)
    page.locator(".units summary").click()
    page.locator("#temperature-unit").get_by_text("°F", exact=True).click()
    page.locator("#length-unit").get_by_text("in", exact=True).click()
    page.locator(".units summary").click()
    wait_until_settled(page)
    form = page.locator(".area-keep")
    form.get_by_role("button", name="Save this outing in the logbook").click()
    expect(page.locator("#keep-error")).to_contain_text("the outing has no boat")
    form.get_by_role("textbox", name="or a new boat").fill("Quorrel")
    form.get_by_role("textbox", name="Its hull").fill("outrigger")
    form.get_by_role("textbox", name="Hull length [in]").fill("34")
    form.get_by_role("textbox", name="or a new sheet").fill("calm water")
    form.get_by_text("What changed since that sheet").click()
    form.get_by_role("textbox", name="What changed").click()
    page.get_by_role("option", name="Propeller pitch", exact=True).click()
    page.keyboard.press("Escape")
    form.get_by_role("textbox", name="Propeller pitch [in]").fill("2.5")
    form.get_by_role("textbox", name="Air [°F]").fill("68")
    form.get_by_role("textbox", name="Note").fill("first run")
    form.get_by_role("button", name="Save this outing in the logbook").click()
    expect(page.locator("#keep-said")).to_contain_text("Added: outing 1 of Quorrel. Setup sheet calm water")
    expect(page.locator("#pitch-mm")).to_have_value("2.5")  # in the unit chosen
    expect(page.locator("#keep-boat")).to_have_value("Quorrel")
    answered(page)
    wait_until_settled(page)
    assert fits_the_screen(page)

    page.locator("#keep-said").get_by_role("link", name="outing 1").click()
    facts = page.locator("#book-facts")
    expect(facts).to_contain_text("calm water")
    expect(facts).to_contain_text("68.0 °F")
    with open_logbook() as logbook:
        (outing,) = logbook.outings()
        boat, sheet = logbook.boat("Quorrel"), logbook.sheet(outing.sheet_id)
    assert (boat.hull_kind, boat.length_m) == ("outrigger", pytest.approx(0.8636))
    assert sheet.value("prop_pitch_mm") == pytest.approx(63.5)
    assert (outing.conditions.air_c, outing.conditions.note) == (pytest.approx(20.0), "first run")


@AT_A_DESK
def test_an_outings_rule_and_distance_come_with_its_analysis(page: Page) -> None:
    choose(page, SPEED)
    answered(page)
    page.get_by_label("land", exact=True).check()
    page.locator("#distance").click()
    page.get_by_role("option", name="1/8 mile").click()
    figure = page.locator("#two-way-figure")
    best = next(w for w in read_and_analyse([SPEED]).two_ways if w.best)
    expect(figure).not_to_have_text(speed_text(best.average_mps, "mph", best.u95_mps))
    wait_until_settled(page)
    form = page.locator(".area-keep")
    form.get_by_role("textbox", name="or a new boat").fill("Quorrel")
    form.get_by_role("textbox", name="or a new sheet").fill("calm water")
    form.get_by_role("button", name="Save this outing in the logbook").click()
    expect(page.locator("#keep-said")).to_contain_text("Added: outing 1")
    expect(figure).to_be_visible()
    shown = figure.inner_text()
    page.goto("/logbook?outing=1")
    page.get_by_role("button", name="Open its analysis").click()
    expect(page.get_by_label("land", exact=True)).to_be_checked()
    expect(page.locator("#distance")).to_have_value("1/8 mile")
    expect(figure).to_have_text(shown)


@AT_A_DESK
def test_a_limit_of_ones_own_is_judged(page: Page) -> None:
    choose(page, SPEED, MOTOR)
    answered(page)
    expect(page.locator("#power-told")).to_contain_text("Clock matched by")
    expect(page.locator("#power-told")).not_to_contain_text("your own limit")
    page.get_by_text("Your own limits").click()
    limit = page.get_by_role("textbox", name="Highest current [A]")
    limit.fill("10")
    limit.press("Enter")
    expect(page.locator("#power-told")).to_contain_text("your own limit")
