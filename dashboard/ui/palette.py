"""The colours, each with one meaning, for light and dark surroundings.

Okabe and Ito's eight colours stay apart under the common colour vision deficiencies; no meaning rests on
colour alone: directions carry an arrow and an id, verdicts an icon and a word, cut samples a cross.

References
----------
.. [1] M. Okabe, K. Ito, Color Universal Design (2008), https://jfly.uni-koeln.de/color/
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

FONT: Final = "'Atkinson Hyperlegible Next', system-ui, sans-serif"


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """One surrounding's colours by meaning."""

    paper: str
    ink: str
    quiet: str
    grid: str
    raw: str
    out: str
    back: str

    def of(self, direction: Literal["out", "back"]) -> str:
        """Return a direction's colour."""
        return self.out if direction == "out" else self.back


LIGHT: Final = Palette(
    paper="#ffffff",
    ink="#10151a",
    quiet="#4a545e",
    grid="#dfe4e8",
    raw="#9aa5ae",
    out="#0072B2",  # blue
    back="#D55E00",  # vermillion
)
DARK: Final = Palette(
    paper="#14191e",
    ink="#f2f5f7",
    quiet="#b4bec7",
    grid="#2f3840",
    raw="#6d7883",
    out="#56B4E9",  # sky blue: the light relative of blue
    back="#E69F00",  # orange: the light relative of vermillion
)
SUNLIGHT: Final = Palette(
    paper="#ffffff",
    ink="#000000",
    quiet="#000000",
    grid="#8f9ba5",
    raw="#4a545e",
    out="#004F80",  # blue and vermillion, dark enough to stand against glare
    back="#9C3D00",
)


def seen_by(surroundings: Mapping[str, bool] | None) -> tuple[Palette, bool]:
    """Parse what the browser reports: its palette, and whether the pointer is a finger."""
    report = surroundings or {}
    palette = DARK if report.get("dark") else SUNLIGHT if report.get("sun") else LIGHT
    return palette, bool(report.get("coarse"))


def with_alpha(colour: str, alpha: float) -> str:
    """Format ``#rrggbb`` as a CSS rgba colour.

    Examples
    --------
    >>> with_alpha("#0072B2", 0.1)
    'rgba(0,114,178,0.1)'
    """
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha})"
