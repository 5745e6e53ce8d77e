"""The moments in which the program is opened, at both sizes: from files on disk to the answer on the screen.

Each answer is the library's own, worked out here from the same files.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest
from acts import choose, fits_the_screen, wait_until_settled
from bench_boat import fill, sheet
from playwright.sync_api import BrowserContext, Page, expect
from seasons import BOAT

from dashboard.ui.badges import sentence
from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse
from telemetry.compare import MEASURES, Units, compare, next_trial, side_of
from telemetry.compare.wording import difference_text
from telemetry.core.units import distance_text, speed_text
from telemetry.logbook import Logbook, OutingSearch, open_logbook
from telemetry.motor.power import PowerOptions
from telemetry.motor.what_if import PowerTrainChange, operating_point, what_if
from telemetry.readers import ReadOptions
from telemetry.setup import (
    FoundMeasure,
    Reading,
    balance_text,
    compare_found,
    effect_text,
    parts_of_sheet,
    restoration_text,
    restoring_move,
    steps_back,
    toml_text,
)
from telemetry.setup import balance as balance_of
from telemetry.setup import balance_effect as effect_of
from telemetry.setup import moved as moved_part
from telemetry.statement import build_statement
from telemetry.text.ride_power import (
    clock_text,
    event_facts,
    event_title,
    pack_text,
    seen_events,
    what_if_rows,
)
from telemetry.twoway.mean import TwoWay

pytestmark = pytest.mark.browser

SPEED, MOTOR = (data_folder() / name for name in ("four_passes.gpx", "four_passes_motor.csv"))
FIGURE, VERDICT = "#two-way-figure", "#two-way-verdict"


@cache
def analysed(*files: Path) -> Analysis:
    return read_and_analyse(list(files), Request())


def best_of(analysis: Analysis) -> TwoWay:
    return next(two_way for two_way in analysis.two_ways if two_way.best)


def drawn(page: Page, *plots: str) -> None:
    for plot in plots:
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    wait_until_settled(page)
    assert fits_the_screen(page)


def test_back_from_the_water(page: Page) -> None:
    """Two logs in any order, a boat and a sheet made on the spot: one clock, the passes, the two-way."""
    page.goto("/logbook")
    page.get_by_role("textbox", name="or a new boat").fill("Quorrel")
    page.get_by_role("textbox", name="or a new sheet").fill("calm water")
    page.set_input_files("#book-drop input[type=file]", [str(MOTOR), str(SPEED)])
    for file in (SPEED, MOTOR):
        expect(page.locator("#book-logs")).to_contain_text(file.name)
    page.get_by_role("button", name="Add it to the logbook").click()
    expect(page.locator("#add-said")).to_contain_text("Added: outing 1 of Quorrel.")
    page.locator("#book-table a").first.click()
    expect(page.locator("#book-facts")).to_contain_text("calm water")
    page.get_by_role("button", name="Open its analysis").click()

    answer = analysed(SPEED, MOTOR)
    best, (joined,) = best_of(answer), answer.motors
    expect(page.locator(FIGURE)).to_have_text(speed_text(best.average_mps, "mph", best.u95_mps))
    expect(page.locator(VERDICT)).to_have_text(best.verdict)
    rows = page.locator("#passes tbody tr")
    expect(rows).to_have_count(len(answer.passes))
    for number, one in enumerate(answer.passes):
        expect(rows.nth(number)).to_contain_text(speed_text(one.peak_mps, "mph", one.peak_u95_mps))
    told = page.locator("#power-told")
    expect(told).to_contain_text(sentence(clock_text(joined.clock)))
    assert joined.power.pack is not None
    expect(told).to_contain_text(sentence(pack_text(joined.power.pack)))
    drawn(page, "speed-time", "plan", "power-time")


def test_did_it_count(page: Page, context: BrowserContext) -> None:
    """Open a two-way: one distance both ways, the rule, each check with its evidence, and a page to print."""
    choose(page, SPEED)
    answer = analysed(SPEED)
    best = best_of(answer)
    opened = page.locator("#two-ways .two-way-body")
    expect(opened).to_contain_text(
        f"Over {distance_text(best.distance_m)}, mean {best.mean}, rule {best.rule}"
    )
    for time_s, speed, u95 in zip(best.times_s, best.speeds_mps, best.speed_u95_mps, strict=True):
        expect(opened).to_contain_text(f"{time_s:.3f} s")
        expect(opened).to_contain_text(speed_text(speed, "mph", u95))
    checks = opened.locator(".checks > li")
    expect(checks).to_have_count(len(best.checks))
    for number, check in enumerate(best.checks):
        expect(checks.nth(number)).to_contain_text(check.result)
        expect(checks.nth(number)).to_contain_text(sentence(check.detail))
    with context.expect_page() as opening:
        page.get_by_role("link", name="Statement to print").click()
    stated, printed = build_statement(answer), opening.value
    figure = speed_text(best.average_mps, "mph", best.u95_mps)
    assert figure in stated.to_text()
    expect(printed.locator(".figure")).to_contain_text(figure)
    expect(printed.locator(".verdict")).to_contain_text(stated.verdict)
    assert fits_the_screen(printed)


@pytest.mark.parametrize("file", ["blow_over.nmea", "porpoising.csv"])
def test_why_did_it_go_over(page: Page, file: str) -> None:
    """The ride: what swung, how fast it grew, the sudden stop and what came before it."""
    log = data_folder() / file
    choose(page, log)
    events = seen_events(analysed(log).ride)
    assert {"shown", "possible"} & {event.verdict for event in events}
    rows = page.locator("#ride-events .checks > li")
    expect(rows).to_have_count(len(events))
    for number, event in enumerate(events):
        for told in (event_title(event), event_facts(event, "mph"), event.why):
            expect(rows.nth(number)).to_contain_text(sentence(told)[:-1] if told else "")
    drawn(page, "ripple-time", "ripple-spectrum")


class TestOfASeason:
    """What is asked of a logbook that holds a season."""

    @pytest.fixture
    def dashboard_logbook(self, season_url: str) -> str:
        return season_url

    def test_did_the_change_help(self, page: Page, season_url: str) -> None:
        """Two sheets: what changed, the effect with its interval, and what to try next."""
        page.goto("/before-and-after")
        page.locator("#compare-before").click()
        page.get_by_role("option", name="Strut 3.0 mm").click()
        with open_logbook(season_url) as book:
            evidence = book.evidence(BOAT)
            sheets = {one.sheet_id: one for one in book.sheets(BOAT)}
            ids = [book.sheet(name, BOAT).sheet_id for name in ("Strut 3.0 mm", "Strut 2.0 mm")]
        before, after = (side_of(evidence, sheets, sheet_id, ()) for sheet_id in ids)
        answer = compare(
            before.evidence,
            after.evidence,
            before_sheet=before.sheet,
            after_sheet=after.sheet,
            names=(before.name, after.name),
            history=evidence,
        )
        head = answer.effects[0]
        assert head.difference is not None
        shown = difference_text(MEASURES["two_way_mps"], head.difference, Units(), head.u95)
        expect(page.locator("#compare-figure")).to_have_text(shown)
        expect(page.locator("#compare-verdict")).to_have_text(head.verdict)
        expect(page.locator("#compare-changed")).to_contain_text("Strut depth: 3 mm → 2 mm")
        expect(page.locator("#compare-effects .annotation").first).to_contain_text(head.verdict)
        expect(page.locator("#next-verdict")).to_have_text(next_trial(evidence, sheets).verdict)
        wait_until_settled(page)
        assert fits_the_screen(page)


def test_at_the_bench(page: Page, tmp_path: Path) -> None:
    """A sheet's file and two measures: what moved beyond what the gauge can tell, and the steps back."""
    bench_sheet_from_disk(page, tmp_path)
    page.get_by_text("All together", exact=True).click()  # a phone begins with one at a time
    found = FoundMeasure("Kestrel", {"strut_depth_mm": Reading(6.1), "strut_angle_deg": Reading(1.8)})
    verdicts = compare_found(sheet(), found)
    for item in verdicts:
        if item.item.name in found.readings:
            row = page.locator(".found-row", has_text=item.item.title)
            fill(page, f"{item.item.title} as found", f"{found.value(item.item.name):g}")
            expect(row.locator(".found-verdict")).to_contain_text(item.verdict)
            expect(row.locator(".found-verdict")).to_contain_text(sentence(item.why()))
    assert {row.verdict for row in verdicts} >= {"moved", "as set"}
    steps = page.locator("#bench-steps .step")
    expected = steps_back(sheet(), found, sheet())
    expect(steps).to_have_count(len(expected))
    for number, step in enumerate(expected):
        expect(steps.nth(number)).to_contain_text(step.text())
    wait_until_settled(page)
    assert fits_the_screen(page)


def test_what_if_i_move_the_pack(page: Page, tmp_path: Path) -> None:
    """The pack elsewhere: the centre of gravity then, and the move that restores the old one."""
    bench_sheet_from_disk(page, tmp_path)
    told = page.locator("#balance-told")
    parts = parts_of_sheet(sheet(), {"pack": (150.0, 220.0)})
    old = balance_of(parts)
    expect(told).to_contain_text(balance_text(old))
    fill(page, "What if: place, pack", "200")
    after = moved_part(parts, "pack", 200.0)
    expect(told).to_contain_text(effect_text(effect_of(parts, after)))
    expect(told).to_contain_text(balance_text(balance_of(after)))
    fill(page, "May go from, pack", "150")
    fill(page, "to, pack", "220")
    fill(page, "Wanted centre of gravity", f"{old.cog_mm.value:.2f}")
    expect(told).to_contain_text(restoration_text(restoring_move(after, round(old.cog_mm.value, 2))))
    drawn(page, "balance-drawing")


def bench_sheet_from_disk(page: Page, folder: Path) -> None:
    file = folder / "calm.toml"
    file.write_text(toml_text(sheet().to_dict()), encoding="utf-8")
    page.goto("/bench")
    page.set_input_files("#bench-file input[type=file]", str(file))
    expect(page.locator("#bench-said")).to_contain_text("Kestrel: calm")


def test_what_if_i_change_the_prop(page: Page) -> None:
    """A larger propeller: rpm, current and speed from this boat's own measured load."""
    boat = json.loads((data_folder() / "four_passes_truth.json").read_text(encoding="utf-8"))["boat"]
    known = {name: boat[name] for name in ("pitch_mm", "diameter_mm", "kv_rpm_per_v", "cells")}
    page.goto("/")
    choose(page, SPEED, MOTOR)
    expect(page.locator("#power-told")).to_contain_text("Clock matched")
    wait_until_settled(page)
    motor = page.locator("#files > li", has_text=MOTOR.name)
    motor.get_by_role("textbox", name="Pole pairs of the motor").fill(f"{boat['pole_pairs']:g}")
    motor.get_by_role("button", name="Read it again").click()
    expect(motor).to_contain_text("How its columns are read")
    for name, value in known.items():
        field = page.locator(f"#{name.removesuffix('_rpm_per_v').replace('_', '-')}")
        field.fill(f"{value:g}")
        field.press("Enter")
    larger = 1.1 * boat["diameter_mm"]
    page.locator("#new-diameter-mm").fill(f"{larger:g}")
    page.locator("#new-diameter-mm").press("Enter")

    options = PowerOptions(**known)
    read = ReadOptions(pole_pairs=boat["pole_pairs"])
    (joined,) = read_and_analyse([SPEED, MOTOR], Request(power=options), read).motors
    told = page.locator("#what-if-told")
    expect(told).to_contain_text("Best second of")
    shown = told.locator("th").first.inner_text().removeprefix("Best second of ")
    measured = joined.power.of(shown)
    assert measured is not None
    point = operating_point(measured, joined.power.pack, options)
    _, *rows = what_if_rows(what_if(point, PowerTrainChange(diameter_mm=larger)), "mph")
    cells = told.locator("tbody tr")
    expect(cells).to_have_count(len(rows))
    for number, row in enumerate(rows):
        expect(cells.nth(number)).to_have_text("".join(row))
    wait_until_settled(page)
    assert fits_the_screen(page)


def test_months_later(page: Page, season_url: str, tmp_path: Path) -> None:
    """A backup's file on another machine: the boat's best two-way, its sheet, its history, what is due."""
    with open_logbook(season_url) as book:
        book.backup(tmp_path / "season.zip")
        best, due = best_outing(book), book.service(BOAT)
    page.goto("/logbook")
    page.get_by_text("Take a backup in").click()
    page.set_input_files("#restore-file input[type=file]", str(tmp_path / "season.zip"))
    expect(page.locator("#restore-name")).to_contain_text("season.zip")
    page.get_by_role("button", name="Take it in").click()
    expect(page.locator("#restore-said")).not_to_be_empty()
    page.goto(f"/history?boat={BOAT}")
    expect(page.locator("#history-best-figure")).to_have_text(best)
    pressing = [row for row in due if row.verdict in ("due", "soon")]
    for row in pressing:
        expect(page.locator("#history-due-told")).to_contain_text(row.task.title)
    drawn(page, "history-outings")


def best_outing(book: Logbook) -> str:
    best = book.outings(OutingSearch(boat=BOAT, sort="two-way", limit=1))[0]
    two_way = max(
        (one for one in book.two_ways(BOAT) if one.outing_id == best.id), key=lambda one: one.average_mps
    )
    return speed_text(two_way.average_mps, "mph", two_way.u95_mps)
