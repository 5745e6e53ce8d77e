"""The passphrase in a real browser, over the machine's own network address where it has one."""

from __future__ import annotations

from contextlib import suppress

import pytest
from acts import ON_A_PHONE, choose, fits_the_screen, wait_until_settled
from conftest import Watch
from playwright.sync_api import BrowserContext, Page, TimeoutError, expect
from violations import serious_violations

from dashboard.app import Config
from dashboard.auth import Passphrase, reader_of_request
from dashboard.auth.lan_addresses import own_addresses
from dashboard.auth.passphrase import Cost
from dashboard.session.sessions import Sessions
from sample_logs import data_folder

pytestmark = pytest.mark.browser

SAID = "four quiet words float"


@pytest.fixture
def dashboard_config(dashboard_logbook: str | None) -> Config:
    sessions = Sessions(reader=reader_of_request)
    return Config(sessions, passphrase=Passphrase.of(SAID, Cost(2**4, 1, 1)), logbook=dashboard_logbook)


@pytest.fixture
def dashboard_host() -> str:
    # A browser trusts loopback more than a plain address: it sends other headers and keeps other rules.
    return next(iter(own_addresses()), "127.0.0.1")


def say(page: Page, passphrase: str) -> None:
    page.get_by_label("Passphrase").fill(passphrase)
    page.get_by_role("button", name="Log in").click()


def take_out(watch: Watch, status: int) -> None:
    """Hold that one answer failed as it should, and forget it."""
    (failed,) = watch.failed
    assert failed.startswith(f"{status} ")
    (said,) = watch.console
    assert str(status) in said
    watch.failed.clear()
    watch.console.clear()


@ON_A_PHONE
def test_a_wrong_passphrase_the_right_one_work_and_logging_out(page: Page, watch: Watch) -> None:
    expect(page.get_by_role("heading", name="Say the passphrase")).to_be_visible()
    expect(page.get_by_label("Passphrase")).to_be_focused()
    assert fits_the_screen(page)
    say(page, "not these words at all")
    expect(page.get_by_role("alert")).to_have_text("That is not the passphrase.")
    assert fits_the_screen(page)
    assert serious_violations(page) == []
    take_out(watch, 403)

    say(page, SAID)
    expect(page.get_by_role("heading", name="How fast did it really go")).to_be_visible()
    wait_until_settled(page)
    choose(page, data_folder() / "four_passes.gpx")
    expect(page.locator("#two-way-figure")).to_be_visible()
    wait_until_settled(page)
    for plot in ("speed-time", "plan"):  # until it is drawn, a plot is as wide as it likes
        expect(page.locator(f"#{plot} .scatterlayer .trace").first).to_be_visible()
    assert fits_the_screen(page)

    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("status")).to_have_text("You are logged out.")
    page.goto("/")
    expect(page.get_by_label("Passphrase")).to_be_visible()


@ON_A_PHONE
def test_a_page_left_open_asks_again_when_the_login_has_ended(
    page: Page, context: BrowserContext, watch: Watch
) -> None:
    say(page, SAID)
    expect(page.get_by_role("button", name="Try the sample logs")).to_be_visible()
    wait_until_settled(page)
    context.clear_cookies()
    # On a busy machine what the page still asks of itself leads it away before it is pressed.
    with suppress(TimeoutError):
        page.get_by_role("button", name="Try the sample logs").click(timeout=3_000)
    expect(page.get_by_label("Passphrase")).to_be_visible()
    expect(page.get_by_role("status")).to_contain_text("Log in again.")
    assert {failed[:4] for failed in watch.failed} == {"401 "}
    watch.failed.clear()
    watch.console.clear()


@ON_A_PHONE
def test_two_readers_see_their_own_logs_only(page: Page, context: BrowserContext, server: str) -> None:
    say(page, SAID)
    wait_until_settled(page)
    choose(page, data_folder() / "four_passes.gpx")
    expect(page.locator("#two-way-figure")).to_be_visible()
    wait_until_settled(page)
    browser = context.browser
    assert browser is not None
    with browser.new_context(base_url=server) as other:
        second = other.new_page()
        second.goto("/")
        say(second, SAID)
        expect(second.get_by_role("button", name="Try the sample logs")).to_be_visible()
        # The first one's name of a tab, as if it had been read over the shoulder.
        token = page.evaluate("sessionStorage.getItem('session')")
        assert token
        second.evaluate("token => sessionStorage.setItem('session', token)", token)
        second.reload()
        expect(second.get_by_role("button", name="Try the sample logs")).to_be_visible()
        expect(second.locator("#two-way-figure")).to_have_count(0)
        wait_until_settled(second)


@ON_A_PHONE
def test_too_many_tries_are_told_to_wait(page: Page, watch: Watch) -> None:
    for _ in range(3):
        say(page, "not these words at all")
        expect(page.get_by_role("alert")).to_have_text("That is not the passphrase.")
    say(page, SAID)
    expect(page.get_by_role("alert")).to_contain_text("Too many wrong tries. Wait")
    assert [failed[:3] for failed in watch.failed] == ["403", "403", "403", "429"]
    watch.failed.clear()
    watch.console.clear()
