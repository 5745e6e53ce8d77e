"""Which outings share a day, and which groups of evidence are linked through days, outings or places.

A day is a stretch of outings at one place without a night between them: starts less than nine hours apart
belong to one day. Boats are run in daylight, so that this gives the local date without a time zone.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from telemetry.compare.evidence import Evidence
from telemetry.core.frames import IntArray

NIGHT: Final = timedelta(hours=9)
MAX_DAY: Final = timedelta(hours=20)
_NO_DATE: Final = datetime.max.replace(tzinfo=UTC)


def place_of(evidence: Evidence) -> str:
    """Return the place that a piece of evidence was run at; empty where it is unknown."""
    return str(evidence.covariates.get("place") or "")


def numbered(keys: Sequence[Hashable]) -> IntArray:
    """Assign numbers to keys from 0 in order of their first appearance, shape (n,)."""
    number = {key: k for k, key in enumerate(dict.fromkeys(keys))}
    return np.array([number[key] for key in keys], dtype=np.int64)


def day_of_outings(evidence: Sequence[Evidence]) -> dict[str | int, int]:
    """Assign numbers to the days of outings from 0 in order of time.

    Parameters
    ----------
    evidence : sequence of Evidence

    Returns
    -------
    dict of outing to int
        Outings without a date come last, each on a day of its own.
    """
    outings = {e.outing_id: e for e in evidence}
    ordered = sorted(outings.values(), key=lambda e: e.outing_utc or _NO_DATE)
    days: dict[str | int, int] = {}
    open_days: dict[
        str, tuple[int, datetime, datetime]
    ] = {}  # of each place: number, first start, last start
    count = 0
    for e in ordered:
        place, start = place_of(e), e.outing_utc
        known = open_days.get(place)
        if start is None or known is None or start - known[2] >= NIGHT or start - known[1] >= MAX_DAY:
            number, first = count, start
            count += 1
        else:
            number, first = known[0], known[1]
        days[e.outing_id] = number
        if start is not None:
            open_days[place] = (number, first or start, start)
    return days


def components(first: IntArray, second: IntArray) -> tuple[int, IntArray]:
    """Find what is linked in the graph that joins two groupings of the same rows.

    Parameters
    ----------
    first, second : ndarray of int, shape (n,)
        Two groupings of the rows, each numbered from 0.

    Returns
    -------
    int
        Number of connected components.
    ndarray of int
        Component of each group of the first grouping.
    """
    size = int(first.max()) + 1
    total = size + int(second.max()) + 1
    graph = coo_array((np.ones(first.size), (first, size + second)), shape=(total, total))
    count, label = connected_components(graph, directed=False)
    return int(count), np.asarray(label[:size], dtype=np.int64)
