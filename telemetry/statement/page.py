"""A statement as one self-contained page: no script, no request, its own style, inline drawings."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from telemetry.core.sanitize import shortened
from telemetry.statement.drawing import plan_svg, speed_svg
from telemetry.statement.sections import sections, volume
from telemetry.statement.wording import TITLE, closing, day, headline
from telemetry.text.run import ESTIMATE

if TYPE_CHECKING:
    from telemetry.statement.facts import Statement

_SIGNS: Final = {
    "counts": "✓",
    "met": "✓",
    "does not count": "✕",
    "not met": "✕",
    "cannot tell": "?",
}
# The more text, the smaller the type, so that a statement stays one page; tests print the fullest.
_SIZES: Final = ((2600, "roomy"), (3300, "close"), (4100, "small"))
_SMALLEST: Final = "smallest"
_KINDS: Final = {"✓": "yes", "✕": "no", "?": "open"}


def statement_page(s: Statement, paper: str | None) -> str:
    """Render the page; without a paper size it fits any paper."""
    style = _style(paper)
    drawings = (Markup(plan_svg(s)), Markup(speed_svg(s))) if s.ways else ()
    page: str = _template().render(
        title=TITLE,
        day=day(s),
        boat=shortened(s.sheet.boat, 40) if s.sheet else "",
        head=headline(s),
        estimate=ESTIMATE,
        sections={section.key: section for section in sections(s)},
        drawings=drawings,
        closing=closing(s),
        size=next((name for most, name in _SIZES if volume(s) <= most), _SMALLEST),
        signs=_SIGNS,
        kinds=_KINDS,
        style=Markup(style),
        policy=content_policy(style),
    )
    return page


def content_policy(style: str | None = None) -> str:
    """Return the content security policy of a page: its own style and nothing else.

    Parameters
    ----------
    style : str, optional
        The text of its style element; without it that of a page for any paper.
    """
    digest = hashlib.sha256((_style(None) if style is None else style).encode()).digest()
    own_style = f"'sha256-{base64.b64encode(digest).decode()}'"
    return f"default-src 'none'; style-src {own_style}; img-src data:; base-uri 'none'; form-action 'none'"


def _style(paper: str | None) -> str:
    text = resources.files("telemetry.statement").joinpath("templates/statement.css").read_text("utf-8")
    return f"\n{text}" + (f"@page {{ size: {paper}; }}\n" if paper else "")


@cache
def _template() -> Any:
    # Every value is escaped unless it is markup: only the drawings and the style are.
    environment = Environment(
        loader=PackageLoader("telemetry.statement"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("statement.html")
