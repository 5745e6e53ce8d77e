"""Print a page to PDF with an installed Chromium, offline."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from telemetry.core.errors import CallError

PAPERS: Final = ("A4", "letter")
CHROMIUM_VARIABLE: Final = "RECIPROCAL_CHROMIUM"
_NAMES: Final = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome", "chrome", "msedge")
_LONGEST_S: Final = 90.0
_ANY_BROWSER: Final = "write it as .html and print that from any browser"


def find_chromium() -> str | None:
    """Find a Chromium: the one named in RECIPROCAL_CHROMIUM, else the first on the path."""
    named = os.environ.get(CHROMIUM_VARIABLE)
    return named or next((found for name in _NAMES if (found := shutil.which(name))), None)


def print_pdf(html: str) -> bytes:
    """Print a self-contained page.

    Raises
    ------
    CallError
        If there is no Chromium or it prints nothing; the hint is to print the page from any browser.
    """
    chromium = find_chromium()
    if chromium is None:
        raise CallError("printing a PDF needs Chromium, which was not found", hint=_ANY_BROWSER)
    with tempfile.TemporaryDirectory(prefix="reciprocal-", ignore_cleanup_errors=True) as folder:
        page, pdf = Path(folder, "statement.html"), Path(folder, "statement.pdf")
        page.write_text(html, encoding="utf-8")
        try:
            done = subprocess.run(
                [chromium, *_flags(folder), f"--print-to-pdf={pdf}", page.as_uri()],
                check=False,
                capture_output=True,
                timeout=_LONGEST_S,
            )
        except OSError as error:
            raise CallError(f"{chromium} cannot be started: {error.strerror}", hint=_ANY_BROWSER) from None
        except subprocess.TimeoutExpired:
            raise CallError(
                f"{chromium} printed nothing within {_LONGEST_S:g} s", hint=_ANY_BROWSER
            ) from None
        if done.returncode or not pdf.is_file():
            raise CallError(f"{chromium} ended with status {done.returncode} and no PDF", hint=_ANY_BROWSER)
        return pdf.read_bytes()


def _flags(folder: str) -> list[str]:
    flags = [
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--host-resolver-rules=MAP * ~NOTFOUND",  # no network: neither the page nor the browser needs it
        f"--user-data-dir={folder}",
        "--no-pdf-header-footer",
    ]
    # Chromium refuses to start as root with its sandbox; the page has no script to isolate.
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return [*flags, "--no-sandbox"] if is_root else flags
