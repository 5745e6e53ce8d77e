"""Small badges that never rely on one sign: icon and word, arrow and id, number and uncertainty."""

from __future__ import annotations

import math
from typing import Final

from dash import html

from dashboard.ui.direction import Direction, arrow
from telemetry.core.units import speed_text
from telemetry.passes.find import Pass
from telemetry.twoway.mean import CheckResult, TwoWayVerdict

_ICONS: Final[dict[str, str]] = {
    "counts": "check",
    "does not count": "cross",
    "cannot tell": "question",
    "met": "check",
    "not met": "cross",
}


def icon(name: str) -> html.Span:
    """Draw one of the icons in the style sheet, hidden from screen readers."""
    return html.Span(className=f"glyph glyph-{name}", **{"aria-hidden": "true"})


def verdict_mark(verdict: TwoWayVerdict | CheckResult) -> html.Span:
    """Format a verdict or a check's result as icon and word."""
    kind = _ICONS[verdict]
    return html.Span([icon(kind), verdict], className=f"verdict verdict-{kind}")


def speed_value(
    speed_mps: float, unit: str, u95_mps: float | None = None, *, large: bool = False
) -> html.Span:
    """Format a speed with its 95 % uncertainty; the same digits as on the command line."""
    text = speed_text(speed_mps, unit, u95_mps).removesuffix(f" {unit}")
    value, _, uncertainty = text.partition(" ± ")
    parts = [html.Span(value, className="value")]
    if uncertainty:
        parts += [" ", html.Span(f"± {uncertainty}", className="u95")]
    parts += [" ", html.Span(unit, className="unit")]
    return html.Span(parts, className="speed speed-large" if large else "speed")


def pass_mark(one: Pass, direction: Direction) -> html.Span:
    """Format a pass with the arrow of its heading, in its direction's colour."""
    return html.Span([one.id, " ", arrow(one.heading_deg)], className=f"pass-mark {direction}")


def heading_text(heading_deg: float) -> str:
    """Format a heading in degrees, or "not in the log"."""
    return "not in the log" if math.isnan(heading_deg) else f"{heading_deg:.0f}°"


def sentence(text: str) -> str:
    """Format a reason as a sentence: capital first, full stop last."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"
