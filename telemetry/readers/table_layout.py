"""How a table is written: its delimiter, decimal mark, line of headings, units and first row of values."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from typing import Final

from telemetry.core.errors import ColumnMapNeededError, DamagedLogError
from telemetry.readers.headings import is_unit

_DELIMITERS: Final = ("\t", ";", ",")
_LOOKED_AT_LINES: Final = 120
_LONGEST_LINE: Final = 60_000
_MAX_COLUMNS: Final = 1000
_VALUE: Final = re.compile(r"\s*(?:[NSEW]\s*)?[-+]?[.,]?\d")
_DECIMAL_COMMA: Final = re.compile(r"\s*[-+]?\d+,\d+\s*")


@dataclass(frozen=True, slots=True)
class Layout:
    """How one table is written.

    Attributes
    ----------
    delimiter, decimal : str
        One character each.
    headings : tuple of str
        As they stand in the file.
    units : tuple of str
        The row of units under them; empty where there is none.
    heading_line : int
        Line number of the headings, from 1.
    width : int
        Cells in the first row of values.
    body_at : int
        Offset in the text of the first row of values.
    """

    delimiter: str
    decimal: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    heading_line: int
    width: int
    body_at: int


def find_layout(text: str, file: str) -> Layout:
    """Find out how a table is written from its first lines, whose ends must be plain line feeds.

    Raises
    ------
    DamagedLogError
        If its lines or columns are beyond anything a logger writes, or it has no row of values.
    ColumnMapNeededError
        If no line of headings stands above the values.
    """
    lines = _first_lines(text, file)
    delimiter, width = _delimiter(lines)
    if width > _MAX_COLUMNS:
        raise DamagedLogError(
            f"it has more than {_MAX_COLUMNS} columns", file=file, hint="export fewer quantities"
        )
    rows = [_cells(line, delimiter) for line in lines]
    # Loggers end rows, or only the headings, with a delimiter too many; preambles are shorter or wider.
    fits = [abs(len(cells) - width) <= 1 and len(cells) > 1 for cells in rows]
    first = next((i for i, cells in enumerate(rows) if fits[i] and _has_values(cells)), None)
    if first is None:
        raise DamagedLogError("no row of values stands below its headings", file=file, hint="record again")
    above = [i for i in range(first) if fits[i] and any(cell.strip() for cell in rows[i])]
    units: tuple[str, ...] = ()
    if len(above) > 1 and all(is_unit(cell) for cell in rows[above[-1]]):
        units = tuple(rows[above.pop()])
    if not above:
        raise ColumnMapNeededError(
            "no line of headings stands above its values",
            headings=(),
            file=file,
            place=f"line {first + 1}",
            hint="add one line that names the columns, each with its unit",
        )
    body = [cells for i, cells in enumerate(rows[first:], first) if fits[i]]
    comma = delimiter != "," and any(_DECIMAL_COMMA.fullmatch(cell) for cells in body for cell in cells)
    return Layout(
        delimiter,
        "," if comma else ".",
        tuple(cell.strip() for cell in rows[above[-1]][: len(rows[first])]),
        units,
        above[-1] + 1,
        len(rows[first]),
        sum(len(line) + 1 for line in lines[:first]),
    )


def sample_rows(text: str, layout: Layout, count: int) -> list[list[str]]:
    """Return the cells of the first rows of values."""
    lines = text[layout.body_at : layout.body_at + count * _LONGEST_LINE].split("\n", count)[:count]
    return [_cells(line, layout.delimiter) for line in lines if line.strip()]


def _first_lines(text: str, file: str) -> list[str]:
    lines: list[str] = []
    at = 0
    while len(lines) < _LOOKED_AT_LINES and at < len(text):
        end = text.find("\n", at, at + _LONGEST_LINE)
        if end < 0:
            if len(text) - at > _LONGEST_LINE:
                raise DamagedLogError(
                    f"a line is longer than {_LONGEST_LINE} characters",
                    file=file,
                    place=f"line {len(lines) + 1}",
                    hint="check that it is a table with one sample a line",
                )
            end = len(text)
        lines.append(text[at:end])
        at = end + 1
    return lines


def _delimiter(lines: list[str]) -> tuple[str, int]:
    """Find the delimiter that cuts most lines into one same number of cells, and that number."""
    choices = []
    for delimiter in _DELIMITERS:
        counts = Counter(len(_cells(line, delimiter)) for line in lines if delimiter in line)
        width, agreeing = max(counts.items(), key=lambda item: (item[1], item[0]), default=(1, 0))
        choices.append((agreeing, delimiter, width))
    # max keeps the first of equals: a tab or semicolon decides before a comma, which may be a decimal mark.
    _, delimiter, width = max(choices, key=lambda choice: choice[0])
    return delimiter, width


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def _has_values(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell.strip()]
    return bool(filled) and 2 * sum(1 for cell in filled if _VALUE.match(cell)) >= len(filled)
