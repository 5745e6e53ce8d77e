"""A real browser at a real server; every test ends with an empty console and no word to another host."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import dash
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright
from waitress import wasyncore

from dashboard.app import Config, create_app, make_server
from dashboard.session.sessions import Sessions
from telemetry.statement import find_chromium

expect.set_options(timeout=30_000)  # a busy machine is no defect of the page
SIZES = {"phone": (390, 844), "desk": (1440, 900)}
CHROMIUM_ARGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@dataclass
class Watch:
    """What a browser context said on its consoles and whom it asked."""

    host: str
    console: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def follow(self, context: BrowserContext) -> None:
        """Listen to every page of a context."""
        context.on("console", lambda m: self.console.append(f"{m.type}: {m.text}"))
        context.on("weberror", lambda e: self.console.append(f"error: {e.error}"))
        context.on("request", self._ask)
        context.on("response", self._hear)

    def _ask(self, request: object) -> None:
        url = urlsplit(request.url)  # type: ignore[attr-defined]
        if url.scheme not in {"data", "blob"} and url.netloc != self.host:
            self.foreign.append(url.geturl())

    def _hear(self, response: object) -> None:
        if response.status >= 400:  # type: ignore[attr-defined]
            self.failed.append(f"{response.status} {response.url}")  # type: ignore[attr-defined]

    def assert_clean(self) -> None:
        """Hold that nothing was complained about, no answer failed and no other host was asked."""
        assert self.console == []
        assert self.failed == []
        assert self.foreign == []


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    path = find_chromium()
    if path is None:
        reason = "no Chromium found: install one, or name it in RECIPROCAL_CHROMIUM"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    running = playwright.chromium.launch(executable_path=path, args=list(CHROMIUM_ARGS))
    yield running
    running.close()


def close(serving: Any) -> None:
    """Close a server's connections, with the files behind long answers, and then its sockets."""
    for channel in list(serving.active_channels.values()):
        channel.handle_close()
    wasyncore.close_all(serving._map, ignore_all=True)


@pytest.fixture
def dashboard_logbook() -> str | None:
    """Which logbook the dashboard shows; tests of a page with a history name another."""
    return None


@pytest.fixture
def dashboard_config(dashboard_logbook: str | None) -> Config:
    """How the dashboard is set up; tests of who is let in name another way."""
    return Config(Sessions(), logbook=dashboard_logbook)


@pytest.fixture
def dashboard_host() -> str:
    """The address on which the dashboard listens."""
    return "127.0.0.1"


@pytest.fixture
def server(dashboard_config: Config, dashboard_host: str) -> Iterator[str]:
    """Serve a dashboard of its own on a free port; what it logs is printed with a failing test."""
    dash.page_registry.clear()
    serving = make_server(create_app(dashboard_config), dashboard_host, 0)
    thread = threading.Thread(target=serving.run, daemon=True)
    thread.start()
    yield f"http://{dashboard_host}:{serving.effective_port}"
    # Answers under way are finished first; then the loop that owns the sockets closes them, since one closed
    # from here outlives its test as a warning in another.
    serving.task_dispatcher.shutdown()
    try:
        serving.trigger.pull_trigger(lambda: close(serving))
    except OSError:  # the loop has shut its own trigger, and nobody waits on its sockets any more
        close(serving)
    thread.join(timeout=10)
    dash.page_registry.clear()


@pytest.fixture
def watch(server: str) -> Watch:
    """What the browser complains of; a test that provokes something takes it out again."""
    return Watch(urlsplit(server).netloc)


@pytest.fixture(params=SIZES)
def context(
    browser: Browser, server: str, watch: Watch, request: pytest.FixtureRequest
) -> Iterator[BrowserContext]:
    width, height = SIZES[request.param]
    opened = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=request.param == "phone", base_url=server
    )
    opened.set_default_timeout(30_000)
    watch.follow(opened)
    yield opened
    opened.close()
    watch.assert_clean()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    opened = context.new_page()
    opened.goto("/")
    return opened
