"""Format rows of cells as aligned plain text."""

from __future__ import annotations

from collections.abc import Sequence


def text_table(rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> list[str]:
    """Align rows of cells under their first row, two blanks between columns.

    Parameters
    ----------
    rows : sequence of sequence of str
       Rows of equal length; the first holds the headings.
    right : sequence of int
       Columns to align on the right.
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "  "
        + "  ".join(
            cell.rjust(w) if i in right else cell.ljust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
