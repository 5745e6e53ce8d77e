"""Take pictures of every page: ``python tests/browser/screenshots.py [FOLDER]``.

With a folder, each page is taken at a phone's and a desk's size, in light, sunlight and the dark, with a
statement and the page of the passphrase. Without one, README's are taken again where they stand.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

sys.path.append(str(Path(__file__).resolve().parents[1] / "support"))

import dash
from conftest import CHROMIUM_ARGS, SIZES
from playwright.sync_api import Browser, Page, sync_playwright
from seasons import season_logbook
from visits import PATHS, open_statement, visit

from dashboard.app import Config, create_app, make_server
from dashboard.auth import Passphrase
from telemetry.statement import find_chromium

PICTURES: Final = Path(__file__).resolve().parents[2] / "dashboard" / "pictures"
OF_README: Final = (
    *("after_the_water_desk", "after_the_water_phone", "overlay_desk"),
    *("bench_phone", "history_desk", "statement_desk"),
)
LOOKS: Final = ("light", "sunlight", "dark")
_SCALES: Final = {"phone": 1.0, "desk": 0.75}  # a picture of a desk's page is looked at in a column of text


@contextmanager
def served(config: Config) -> Iterator[str]:
    """Serve a dashboard and give its address."""
    dash.page_registry.clear()
    serving = make_server(create_app(config), "127.0.0.1", 0)
    threading.Thread(target=serving.run, daemon=True).start()
    yield f"http://127.0.0.1:{serving.effective_port}"
    serving.close()


def opened(browser: Browser, size: str, address: str) -> Page:
    width, height = SIZES[size]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        has_touch=size == "phone",
        base_url=address,
        device_scale_factor=_SCALES[size],
    )
    context.set_default_timeout(120_000)
    return context.new_page()


def take(page: Page, folder: Path, name: str) -> None:
    page.mouse.move(0, 0)
    page.evaluate("window.scrollTo(0, 0)")
    file = folder / f"{name}.png"
    page.screenshot(path=file, animations="disabled")
    print(f"{file}: {file.stat().st_size / 1000:.0f} kB", flush=True)


def take_pages(browser: Browser, address: str, folder: Path, wanted: tuple[str, ...] | None) -> None:
    """Take every page, and a statement, or those that are wanted."""
    for size in SIZES:
        for path in PATHS:
            name = f"{path.strip('/').replace('-', '_') or 'after_the_water'}_{size}"
            if wanted is None or name in wanted:
                page = opened(browser, size, address)
                visit(page, path)
                for look in LOOKS if wanted is None else LOOKS[:1]:
                    take(page, folder, name if look == "light" else f"{name}_{look}")
                    page.get_by_role("button", name="Page in").click()
                    page.wait_for_load_state("networkidle")
                page.context.close()
        if wanted is None or f"statement_{size}" in wanted:
            page = opened(browser, size, address)
            printed = open_statement(page)
            printed.set_viewport_size(page.viewport_size)
            take(printed, folder, f"statement_{size}")
            page.context.close()


def main() -> None:
    """Write the pictures."""
    wanted = None if len(sys.argv) > 1 else OF_README
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home, sync_playwright() as playwright:
        os.environ["RECIPROCAL_HOME"] = home
        browser = playwright.chromium.launch(executable_path=find_chromium(), args=list(CHROMIUM_ARGS))
        with served(Config(logbook=season_logbook(Path(home)))) as address:
            take_pages(browser, address, folder, wanted)
        if wanted is None:
            with served(Config(passphrase=Passphrase.of("four quiet words float"))) as address:
                for size in SIZES:
                    page = opened(browser, size, address)
                    page.goto("/")
                    take(page, folder, f"login_{size}")
        browser.close()


if __name__ == "__main__":
    main()
