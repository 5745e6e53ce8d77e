"""What axe-core finds wrong with a page.

axe-core is Deque's open set of checks of the Web Content Accessibility Guidelines (W3C), published on npm.
The package ``axe-playwright-python`` carries its file, so that Python alone is enough.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

# Levels A and AA of WCAG 2.0 to 2.2, and what axe itself holds to be good practice.
_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
_EVERYTHING = {"type": "tag", "values": _TAGS}
_COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
_WORST = frozenset({"serious", "critical"})


def told(violation: dict[str, Any]) -> Iterator[str]:
    """Write one violation: what, where and why, a line a place."""
    for node in violation["nodes"]:
        why = "; ".join(check["message"] for kind in ("any", "all", "none") for check in node[kind])
        yield f"{violation['impact']} {violation['id']}: {node['target']} {node['html'][:150]} ({why})"


def serious_violations(page: Page, *, colours_alone: bool = False) -> list[str]:
    """Say what is seriously wrong with a page as it stands; its colours alone take a tenth of the time."""
    page.evaluate("for (const folded of document.querySelectorAll('details')) folded.open = true")
    page.evaluate("for (const change of document.getAnimations()) change.finish()")  # of colours, half way
    options = {"runOnly": _COLOURS if colours_alone else _EVERYTHING, "resultTypes": ["violations"]}
    found = Axe().run(page, options=options).response
    assert found["testEngine"]["name"] == "axe-core"
    return [line for one in found["violations"] if one["impact"] in _WORST for line in told(one)]
