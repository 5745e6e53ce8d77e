"""Clean text from files and users before it is shown.

All text that comes from files and users passes here on its way into a message or a statement: no control
character and no character that changes the direction of writing reaches a terminal or a page, and no text
is longer than its place.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

# A statement is one page: long text from files and users is cut, with a mark.
LONG: Final = 260
SHORT: Final = 120
LABEL: Final = 60

# Names that Windows reserves for devices, with any suffix.
# Source: "Naming Files, Paths, and Namespaces", Microsoft Learn; from memory.
_DEVICE: Final = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])\s*(\.|$)", re.IGNORECASE)
# What makes a spreadsheet take a cell for a formula, or for the mark that keeps it from doing so.
# Source: "CSV Injection", OWASP; from memory.
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
_NOT_IN_NAMES: Final = frozenset('<>:"|?*')
_MAX_NAME_BYTES: Final = 180  # most file systems take 255; a number may still be added
_MAX_SUFFIX_CHARS: Final = 12


def sanitize(text: str) -> str:
    r"""Put a text on one line and replace control and direction characters by a mark.

    Examples
    --------
    >>> sanitize("a\x1b[2Jb\u202egpx.\n  c")
    'a�[2Jb�gpx. c'
    """
    kept = "".join(" " if c.isspace() else c if c.isprintable() else "�" for c in text)
    return " ".join(kept.split())


def shortened(text: str, longest: int) -> str:
    """Clean a text and shorten it; the middle is cut, since a file's suffix says what it is.

    Examples
    --------
    >>> shortened("a_very_long_name_indeed.gpx", 12)
    'a_very_….gpx'
    """
    plain = sanitize(text)
    if len(plain) <= longest:
        return plain
    end = longest // 3
    return f"{plain[: longest - end - 1].rstrip()}…{plain[-end:].lstrip()}"


def cut(texts: Iterable[str], most: int, longest: int = SHORT) -> tuple[str, ...]:
    """Return at most this many texts and the number of further ones.

    Parameters
    ----------
    texts : iterable of str
        The texts.
    most : int
        Highest number of texts to return.
    longest : int
        Highest length of each [characters].
    """
    all_texts = [shortened(text, longest) for text in texts]
    more = len(all_texts) - most
    return (*all_texts[:most], *([f"and {more} more"] if more > 0 else []))


def safe_file_name(name: str, default: str = "log") -> str:
    r"""Return a name that can be written into any folder of any system, and not outside it.

    Only the part after the last separator is kept. Colons, control characters, characters that change the
    direction of writing and those that Windows forbids become underscores; dots and spaces at the ends are
    removed, a device name gets an underscore in front, and an over-long name is cut before its suffix.

    Examples
    --------
    >>> safe_file_name("../../etc/passwd"), safe_file_name("C:\\run\\NUL.csv"), safe_file_name("C:run.gpx")
    ('passwd', '_NUL.csv', 'C_run.gpx')
    >>> safe_file_name(".. "), safe_file_name("Lauf 3 (süd).gpx")
    ('log', 'Lauf 3 (süd).gpx')
    """
    text = name.encode("utf-8", "replace").decode()
    last = text.replace("\\", "/").rstrip("/ .").rpartition("/")[2]
    plain = "".join("_" if c in _NOT_IN_NAMES or not c.isprintable() else c for c in last)
    plain = _within_bytes(plain.strip(". "))
    if _DEVICE.match(plain):
        plain = _within_bytes(f"_{plain}")
    return plain or default


def _within_bytes(name: str) -> str:
    stem, dot, suffix = name.rpartition(".")
    if not dot or len(suffix) > _MAX_SUFFIX_CHARS:
        stem, suffix = name, ""
    ending = dot + suffix if suffix else ""
    room = _MAX_NAME_BYTES - len(ending.encode())
    return stem.encode()[:room].decode(errors="ignore").rstrip(". ") + ending


def distinct_names(names: Iterable[str]) -> list[str]:
    """Append numbers to names that a folder could not hold together, even ignoring case.

    Examples
    --------
    >>> distinct_names(["run.gpx", "RUN.gpx", "run.gpx", "run-2.gpx"])
    ['run.gpx', 'RUN-2.gpx', 'run-3.gpx', 'run-2-2.gpx']
    """
    taken: set[str] = set()
    given = []
    for name in names:
        stem, dot, suffix = name.rpartition(".")
        if not dot:
            stem, suffix = name, ""
        tried, number = name, 1
        while tried.casefold() in taken:
            number += 1
            tried = f"{stem}-{number}{dot}{suffix}"
        taken.add(tried.casefold())
        given.append(tried)
    return given


def csv_cell(value: object) -> object:
    """Return a value for a cell of a CSV file that no spreadsheet takes for a formula.

    A text that begins as a formula does gets an apostrophe before it, and so does one that begins with an
    apostrophe: :func:`text_of_csv_cell` takes exactly one away. Numbers stay as they are.

    Examples
    --------
    >>> csv_cell("=1+1"), csv_cell("'quoted"), csv_cell("flat water"), csv_cell(-1.5)
    ("'=1+1", "''quoted", 'flat water', -1.5)
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA_STARTS) else value


def text_of_csv_cell(cell: str) -> str:
    """Return the text that :func:`csv_cell` made a cell of.

    Examples
    --------
    >>> text_of_csv_cell("'=1+1"), text_of_csv_cell("''quoted"), text_of_csv_cell("flat water")
    ('=1+1', "'quoted", 'flat water')
    """
    return cell.removeprefix("'")
