"""What a person does on any page."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Page

# Where the size of the screen decides nothing of what a test is about.
AT_A_DESK: Final = pytest.mark.parametrize("context", ["desk"], indirect=True)
ON_A_PHONE: Final = pytest.mark.parametrize("context", ["phone"], indirect=True)


def choose(page: Page, *files: Path) -> None:
    """Choose files with the page's file chooser."""
    page.set_input_files("#drop input[type=file]", [str(file) for file in files])


def wait_until_settled(page: Page) -> None:
    """Wait until no plot is still to come: each one that does moves what lies below it."""
    page.wait_for_load_state("networkidle")


def fits_the_screen(page: Page) -> bool:
    """Tell whether nothing makes the page wider than the screen."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))
