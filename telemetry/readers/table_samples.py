"""What the first rows of a table tell beyond its headings.

Hemispheres in columns of their own, a latitude and a longitude in one cell, date-times under any heading, and
milliseconds beside a time of day are recognised by their cells.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from telemetry.readers.headings import SI_FACTOR, TIME_COLUMNS, Match
from telemetry.readers.table_cells import hemisphere_axis, is_pair
from telemetry.readers.table_layout import Layout, sample_rows

_SAMPLED_ROWS: Final = 40
_DATE_TIME: Final = re.compile(r"\s*\d{4}-?\d\d-?\d\d[T ]\s*\d\d:?\d\d")
_MILLISECONDS: Final = frozenset({"ms", "msec", "millis", "milliseconds", "millisecond", "millisekunden"})


@dataclass(frozen=True, slots=True)
class Samples:
    """What the cells say.

    Attributes
    ----------
    matches : tuple of Match
        Further columns that can be read.
    hemispheres : dict of str to int
        Positions of the columns that hold the hemisphere of ``lat_deg`` and ``lon_deg``.
    milliseconds : int or None
        Position of a column of milliseconds that belongs to another column's time.
    """

    matches: tuple[Match, ...] = ()
    hemispheres: Mapping[str, int] = field(default_factory=dict)
    milliseconds: int | None = None

    @property
    def positions(self) -> set[int]:
        """Positions of all columns that are read beside those named by their headings."""
        beside = {self.milliseconds} if self.milliseconds is not None else set()
        return {*self.hemispheres.values(), *beside, *(m.position for m in self.matches)}


def look_at_cells(text: str, layout: Layout, columns: Mapping[str, Match], left: frozenset[int]) -> Samples:
    """Look at the first rows of a table.

    Parameters
    ----------
    text : str
        The table.
    layout : Layout
    columns : mapping of str to Match
        What the headings name.
    left : frozenset of int
        Positions that the user wants left alone.
    """
    rows = sample_rows(text, layout, _SAMPLED_ROWS)
    named = {m.position for m in columns.values()}
    cells = {
        at: [row[at].strip() for row in rows if at < len(row) and row[at].strip()]
        for at in range(layout.width)
        if at not in left
    }
    free = {at: some for at, some in cells.items() if at not in named and some}
    matches: list[Match] = []
    hemispheres: dict[str, int] = {}
    for at, some in free.items():
        axis = hemisphere_axis(some)
        if axis is not None and axis in columns and axis not in hemispheres:
            hemispheres[axis] = at
    if not {"lat_deg", "lon_deg"} <= columns.keys():
        place = next((at for at, some in cells.items() if _most(some, is_pair)), None)
        if place is not None:
            matches += [_found(layout, place, "lat_deg", 0), _found(layout, place, "lon_deg", 1)]
    if not columns.keys() & (set(TIME_COLUMNS) - {"date"}):
        dated = next((at for at, some in free.items() if _most(some, _is_date_time)), None)
        if dated is not None:
            matches.append(_found(layout, dated, "clock", -1))
    return Samples(tuple(matches), hemispheres, _beside(layout, columns, cells))


def _found(layout: Layout, position: int, column: str, part: int) -> Match:
    heading = layout.headings[position] if position < len(layout.headings) else ""
    return Match(position, heading, column, *SI_FACTOR, "", 0, part)


def _is_date_time(cell: str) -> bool:
    return _DATE_TIME.match(cell) is not None


def _most(cells: Sequence[str], fits: Callable[[str], bool]) -> bool:
    """Check whether most of the cells have a form; one broken cell must not decide."""
    return 2 * sum(1 for cell in cells if fits(cell)) > len(cells)


def _beside(layout: Layout, columns: Mapping[str, Match], cells: Mapping[int, list[str]]) -> int | None:
    """Find whole milliseconds below 1000, under such a heading, beside a time of another column."""
    others = [m for name, m in columns.items() if name in ("utc", "clock")]
    for at, heading in enumerate(layout.headings):
        plain = re.sub(r"[\W_]+", "", heading.lower())
        some = cells.get(at, [])
        if (
            others
            and plain in _MILLISECONDS
            and some
            and all(re.fullmatch(r"\d{1,3}", cell) for cell in some)
        ):
            return at
    return None
