"""Navigation between pages, the same at the top of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dash import html

LINK: Final = "page-link"


def navigation(pages: Sequence[tuple[str, str]]) -> html.Nav:
    """List the pages as links.

    Parameters
    ----------
    pages : sequence of (str, str)
        Name and path of each page, in order.
    """
    links = [
        html.Li(html.A(name, href=path, id={"type": LINK, "path": path}, **{"aria-current": "false"}))
        for name, path in pages
    ]
    return html.Nav(html.Ul(links), className="pages", **{"aria-label": "Pages"})
