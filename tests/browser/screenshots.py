"""Take the pictures of the pages again: ``python tests/browser/screenshots.py [FOLDER]``.

Each page is shown with the sample logs, at a phone's and a desk's size, light and dark. README's picture is
one of them.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from conftest import CHROMIUM_ARGS, SIZES
from playwright.sync_api import Page, expect, sync_playwright

from dashboard.app import Config, create_app, make_server
from telemetry.statement import find_chromium

PICTURES = Path(__file__).resolve().parents[2] / "dashboard" / "pictures"


def shown(page: Page, address: str, *, dark: bool) -> None:
    """Bring the first page to where its answer and both plots stand."""
    page.goto(address)
    for _ in range(2 * dark):
        page.get_by_role("button", name="Page in").click()
    page.get_by_role("button", name="Show me with sample logs").click()
    expect(page.locator("#two-way-figure")).to_be_visible()
    for plot in ("speed-time", "plan"):
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    page.wait_for_load_state("networkidle")
    page.mouse.move(0, 0)
    page.evaluate("window.scrollTo(0, 0)")


def statement_taken(page: Page, file: Path) -> Path:
    """Take the whole statement of the two-way that is open."""
    with page.expect_popup() as opening:
        page.get_by_role("link", name="Statement to print").click()
    opening.value.set_viewport_size(page.viewport_size)
    opening.value.screenshot(path=file, full_page=True)
    return file


def main() -> None:
    """Write the pictures."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    folder.mkdir(parents=True, exist_ok=True)
    serving = make_server(create_app(Config()), "127.0.0.1", 0)
    threading.Thread(target=serving.run, daemon=True).start()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_ARGS))
        for name, (width, height) in SIZES.items():
            for dark in (False, True):
                page = browser.new_page(viewport={"width": width, "height": height})
                page.set_default_timeout(60_000)
                shown(page, f"http://127.0.0.1:{serving.effective_port}", dark=dark)
                file = folder / f"after_the_water_{name}{'_dark' if dark else ''}.png"
                page.screenshot(path=file)
                print(file)
                if not dark:
                    print(statement_taken(page, folder / f"statement_{name}.png"))
                page.close()
        browser.close()
    serving.close()


if __name__ == "__main__":
    main()
