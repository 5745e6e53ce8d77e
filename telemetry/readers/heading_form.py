"""A heading map to edit: every heading of a table with its first values and what it is taken for."""

from __future__ import annotations

import json
import shlex
from pathlib import PurePath
from typing import Final

from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS
from telemetry.core.sanitize import LABEL, cut, shortened
from telemetry.readers.base import ReadOptions
from telemetry.readers.headings import IGNORE, RPM_COLUMNS, TIME_COLUMNS, Match, best, match
from telemetry.readers.table_layout import find_layout, sample_rows
from telemetry.readers.table_samples import look_at_cells
from telemetry.readers.text import table_text

_SHOWN_VALUES: Final = 3
_SHOWN_NAMES: Final = 200
_EXAMPLE: Final = '"V GPS" = "speed_mps:km/h"'


def form_name(file: str) -> str:
    """Name of the file that :func:`heading_form` is written to."""
    return f"{PurePath(file).stem}.headings.toml"


def form_hint(file: str, example: str = _EXAMPLE) -> str:
    """Explain how to name the columns of a table: the command, and a line to copy."""
    name = shlex.quote(shortened(PurePath(file).name, LABEL))
    form = shlex.quote(form_name(shortened(PurePath(file).name, LABEL)))
    return (
        f"run `reciprocal headings {name}`, edit the file that it writes, and add `--headings {form}`; "
        f"a line of it reads {example}"
    )


def example_line(heading: str, column: str) -> str:
    """Write one line of a heading map, which is TOML."""
    return f"{_quoted(heading)} = {_quoted(column)}"


def heading_form(data: bytes, file: str, options: ReadOptions) -> str:
    """Write a heading map for a table, ready to edit, as TOML.

    Parameters
    ----------
    data : bytes
        The table.
    file : str
        Its name.
    options : ReadOptions
        What was said before, which goes before the program's own guesses.

    Raises
    ------
    DamagedLogError, ColumnMapNeededError
        If no line of headings can be found.
    """
    text = table_text(data)
    layout = find_layout(text, file)
    said = options.about(layout.headings, layout.units)
    columns = best(match(layout.headings, layout.units, said.columns))
    samples = look_at_cells(text, layout, columns, frozenset())
    rows = sample_rows(text, layout, _SHOWN_VALUES)
    guesses = {m.position: m for m in (*columns.values(), *samples.matches) if m.part < 0}
    lines = _preamble(file)
    seen: set[str] = set()
    for at, heading in enumerate(layout.headings):
        if not heading:
            continue
        values = [row[at].strip() for row in rows if at < len(row) and row[at].strip()]
        shown = ", ".join(cut(values, _SHOWN_VALUES, LABEL)) or "no value in the first rows"
        line = example_line(heading, _target(guesses.get(at), said.columns.get(heading)))
        if at in samples.positions:
            line = f"# {line}  # read by its cells as it is: leave this line out"
        elif heading in seen:
            line = f"# {line}  # the same heading stands above"
        lines += ["", f"# first values: {_one_line(shown)}{_remark(guesses.get(at))}", line]
        seen.add(heading)
    return "\n".join(lines) + "\n"


def _preamble(file: str) -> list[str]:
    name = _one_line(PurePath(file).name)
    columns = dict.fromkeys((*TIME_COLUMNS, *TRACK_COLUMNS, *MOTOR_COLUMNS, *RPM_COLUMNS))
    return [
        f"# The columns of {name}. Edit what stands after each =, then run",
        f"#   reciprocal analyse {shlex.quote(name)} --headings {shlex.quote(form_name(name))}",
        f'# Write "column", "column:unit" or "{IGNORE}"; what is said here is kept for tables like this one.',
        f"# Columns: {', '.join(columns)}",
    ]


def _target(guess: Match | None, said: str | None) -> str:
    if said is not None:
        return said
    if guess is None:
        return IGNORE
    return f"{guess.column}:{guess.unit}" if guess.unit else guess.column


def _remark(guess: Match | None) -> str:
    if guess is None:
        return "; not recognised"
    if guess.column == "speed_mps" and not guess.unit:
        return "; no unit stated: write speed_mps:km/h, speed_mps:mph, speed_mps:kn or speed_mps:m/s"
    return ""


def _quoted(text: str) -> str:
    """Write a TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _one_line(text: str) -> str:
    return " ".join(shortened(text, _SHOWN_NAMES).split())
