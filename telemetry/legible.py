"""Foreign words made fit to show.

Whatever comes out of files and from the user passes here on its way into a message or a statement: no
control character and no sign that turns the direction of writing reaches a terminal or a page, and no text is
longer than its place.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

# A statement is one page: what files and users write at length is cut, with a mark that it was.
LONG: Final = 260
SHORT: Final = 120
LABEL: Final = 60


def legible(text: str) -> str:
    r"""Put a text on one line, every sign that steers a terminal or the writing's direction marked.

    Examples
    --------
    >>> legible("a\x1b[2Jb\u202egpx.\n  c")
    'a�[2Jb�gpx. c'
    """
    kept = "".join(" " if c.isspace() else c if c.isprintable() else "�" for c in text)
    return " ".join(kept.split())


def shortened(text: str, longest: int) -> str:
    """Make a text legible and no longer than this; the middle goes, as a file's ending says what it is.

    Examples
    --------
    >>> shortened("a_very_long_name_indeed.gpx", 12)
    'a_very_….gpx'
    """
    plain = legible(text)
    if len(plain) <= longest:
        return plain
    end = longest // 3
    return f"{plain[: longest - end - 1].rstrip()}…{plain[-end:].lstrip()}"


def cut(texts: Iterable[str], most: int, longest: int = SHORT) -> tuple[str, ...]:
    """Take so many texts and say how many more there are."""
    all_texts = [shortened(text, longest) for text in texts]
    more = len(all_texts) - most
    return (*all_texts[:most], *([f"and {more} more"] if more > 0 else []))
