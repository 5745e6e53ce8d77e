"""Turning a log's bytes into text, whatever wrote them."""

from __future__ import annotations

import codecs

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def decode(data: bytes) -> tuple[str, str]:
    """Decode bytes by byte-order mark, zero bytes, UTF-8, and at last Latin-1, which takes anything.

    Returns
    -------
    text : str
        Without a byte-order mark.
    encoding : str
        Python's name of the encoding used.

    Examples
    --------
    >>> decode("Drehzahl;°C".encode("latin-1"))
    ('Drehzahl;°C', 'latin-1')
    """
    encoding = next((name for mark, name in _MARKS if data.startswith(mark)), "")
    if not encoding and len(data) >= 4:
        # Text in a Latin alphabet written as UTF-16 has a zero in every other byte.
        even, odd = data[:400:2].count(0), data[1:400:2].count(0)
        half = len(data[:400]) // 2
        encoding = "utf-16-le" if odd > 0.8 * half else "utf-16-be" if even > 0.8 * half else ""
    if encoding.startswith("utf-16"):
        return data.decode(encoding, errors="replace").lstrip("\ufeff"), encoding
    try:
        return data.decode("utf-8").lstrip("\ufeff"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def table_text(data: bytes) -> str:
    """Decode a table: plain line feeds, no NUL characters."""
    return decode(data)[0].replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
