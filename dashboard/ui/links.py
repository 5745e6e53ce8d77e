"""Addresses with a page's choices in the query, which each page reads back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final
from urllib.parse import urlencode

BENCH: Final = "/bench"
COMPARE: Final = "/before-and-after"
HISTORY: Final = "/history"
GUIDE: Final = "/guide"
LOGBOOK: Final = "/logbook"
BACKUP: Final = "/logbook/backup"
EXPORT: Final = "/logbook/export"
OVERLAY: Final = "/overlay"


def _with(path: str, **chosen: str | int | None) -> str:
    query = urlencode({name: value for name, value in chosen.items() if value not in (None, "")})
    return f"{path}?{query}" if query else path


def bench_address(boat: str | None, sheet_id: str | None = None, back_to: str | None = None) -> str:
    """Return the address of a boat on the bench, of its sheet as last set, and of the one to return to.

    Examples
    --------
    >>> bench_address("Kestrel", "ab12"), bench_address(None)
    ('/bench?boat=Kestrel&sheet=ab12', '/bench')
    """
    return _with(BENCH, boat=boat, sheet=sheet_id, back=back_to)


def compare_address(boat: str | None, before: str | None = None, after: str | None = None) -> str:
    """Return the address that compares two sheets of a boat."""
    return _with(COMPARE, boat=boat, before=before, after=after)


def history_address(boat: str | None) -> str:
    """Return the address of a boat's history."""
    return _with(HISTORY, boat=boat)


def logbook_address(boat: str | None) -> str:
    """Return the address of a boat's outings."""
    return _with(LOGBOOK, boat=boat)


def outing_address(outing_id: int) -> str:
    """Return the address of an outing's page."""
    return _with(LOGBOOK, outing=outing_id)


def overlay_address(keys: Iterable[str]) -> str:
    """Return the address of an overlay of passes.

    Examples
    --------
    >>> overlay_address(["12.P1", "tab.P3"])
    '/overlay?pass=12.P1,tab.P3'
    """
    return f"{OVERLAY}?pass={','.join(keys)}"


def guide_link(topic: str) -> str:
    """Return the address of a topic of the guide."""
    return _with(GUIDE, topic=topic)
