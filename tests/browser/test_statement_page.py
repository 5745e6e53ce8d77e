"""From files on disk to the printed statement, in a real browser, against the library's answer."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from acts import AT_A_DESK, choose, fits_the_screen
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pypdf import PdfReader

from sample_logs import data_folder
from telemetry.analysis import Analysis, Request, read_and_analyse
from telemetry.core.errors import LogError
from telemetry.core.frames import Finding
from telemetry.setup import ITEMS, Reading, SetupSheet
from telemetry.statement import PAPERS, Statement, build_statement, print_pdf
from telemetry.twoway.mean import Check
from telemetry.twoway.rules import load_rule

pytestmark = pytest.mark.browser

LOG = data_folder() / "four_passes.gpx"


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return read_and_analyse([LOG], Request())


@AT_A_DESK
def test_an_opened_two_way_shows_its_statement_and_saves_it(
    page: Page, context: BrowserContext, analysis: Analysis
) -> None:
    choose(page, LOG)
    with context.expect_page() as opening:
        page.get_by_role("link", name="Statement to print").click()
    shown = opening.value
    expect(shown.get_by_role("heading", level=1)).to_have_text("Two-way statement")
    best = build_statement(analysis)
    (two_way,) = (w for w in analysis.two_ways if w.best)
    mph, mps = (
        f"{two_way.average_mps / unit_mps:.{digits}f} ± {two_way.u95_mps / unit_mps:.{digits}f}"
        for unit_mps, digits in ((0.44704, 2), (1.0, 3))
    )
    expect(shown.locator(".figure")).to_have_text(f"{mph} mph {mps} m/s")
    assert f"{mph} mph  ({mps} m/s)" in best.to_text()
    expect(shown.locator(".verdict")).to_contain_text("counts")
    expect(shown.get_by_text(analysis.speed_logs[0].cleaned.track.meta.sha256)).to_be_visible()
    expect(shown.get_by_role("img")).to_have_count(2)
    assert fits_the_screen(shown)
    with page.expect_download() as saving:
        page.get_by_role("link", name="Save as a file").click()
    saved = Path(saving.value.path()).read_text(encoding="utf-8")
    assert saving.value.suggested_filename == "two-way-2025-06-14-T1.html"
    assert saved == context.request.get(shown.url).text()


def test_a_saved_statement_opens_without_the_program(
    browser: Browser, analysis: Analysis, tmp_path: Path
) -> None:
    file = tmp_path / "statement.html"
    file.write_text(build_statement(analysis).to_html(), encoding="utf-8")
    said: list[str] = []
    asked: list[str] = []
    context = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    opened = context.new_page()
    opened.on("console", lambda message: said.append(message.text))
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto(file.as_uri())
    expect(opened.locator(".figure")).to_contain_text("70.82")
    assert opened.locator(".verdict").bounding_box()["width"] < 390  # type: ignore[index]
    context.close()
    assert said == []
    assert asked == [file.as_uri()]


def fullest(analysis: Analysis) -> Statement:
    """As much as a statement can ever have to say, all of it at length."""
    (log,) = analysis.speed_logs
    codes = ("false-spike", "dropout", "duplicate", "no-fix", "held-speed", "position-jump")
    findings = [Finding(code, "a long story of what was found " * 5, 3, 0.0, 1e6) for code in codes]
    findings += [
        Finding(code, "of the whole log " * 12, 1) for code in ("no-checksum", "no-date", "stray-text")
    ]
    findings += [Finding("cut-by-hand", "cut out for a long reason " * 20, 3, 0.0, 1e6) for _ in range(9)]
    meta = replace(log.cleaned.track.meta, file=f"{'long_' * 40}.gpx")
    cleaned = replace(log.cleaned, findings=tuple(findings), track=replace(log.cleaned.track, meta=meta))
    by_hand = Check("nothing corrected by hand", "cannot tell", "P1: 36 samples cut out by hand " * 12)
    failed = tuple(
        replace(
            t,
            verdict="does not count",
            checks=tuple(replace(c, result="not met") for c in (*t.checks, by_hand)),
        )
        for t in analysis.two_ways
    )
    rule = replace(
        load_rule("water"),
        name="name " * 30,
        title="title " * 90,
        source="source " * 200,
        notes="notes " * 200,
    )
    request = Request(rule=rule, mark_mps=40.0, window_s=60.0)
    items = [name for name, item in ITEMS.items() if item.is_measured and not name.startswith("strut_height")]
    readings = {name: Reading(min(max(1.0, ITEMS[name].low), ITEMS[name].high)) for name in items}
    return build_statement(
        replace(
            analysis,
            request=request,
            speed_logs=(replace(log, cleaned=cleaned, read=replace(log.read, meta=meta)),),
            two_ways=failed,
            errors=tuple(LogError("none of the known formats " * 6, file=f"{k}.txt") for k in range(9)),
        ),
        "T4",
        sheet=SetupSheet("Quorrel " * 12, readings, name="calm water " * 10),
        conditions={f"condition {k}": "what the user says at length " * 4 for k in range(15)},
    )


@pytest.mark.parametrize("paper", PAPERS)
def test_a_statement_is_one_page_of_either_paper_however_much_there_is_to_say(
    browser: Browser, analysis: Analysis, paper: str
) -> None:
    context = browser.new_context()
    opened = context.new_page()
    nothing = build_statement(replace(analysis, two_ways=(), notes=("no two passes " * 20,) * 9))
    for made in (build_statement(analysis), fullest(analysis), nothing):
        opened.set_content(made.to_html())
        printed = PdfReader(io.BytesIO(opened.pdf(format=paper, print_background=True)))
        assert len(printed.pages) == 1
        text = " ".join(printed.pages[0].extract_text().split())
        assert made.verdict in text
        assert made.version in text
        assert "only officials of a sanctioning body decide a record" in text
    context.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_of_the_command_line_is_one_page_of_the_paper_asked_for(
    browser: Browser, analysis: Analysis, paper: str
) -> None:
    printed = PdfReader(io.BytesIO(print_pdf(build_statement(analysis).to_html(paper))))
    (page,) = printed.pages
    # A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in; a point is 1/72 in.
    width, height = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612.0, 792.0)}[paper]
    assert float(page.mediabox.width) == pytest.approx(width, abs=1.0)
    assert float(page.mediabox.height) == pytest.approx(height, abs=1.0)
    assert "70.82" in page.extract_text()
