"""A statement as plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from telemetry.core.text_table import text_table
from telemetry.statement.sections import sections
from telemetry.statement.wording import TITLE, closing, day, headline
from telemetry.text.run import ESTIMATE

if TYPE_CHECKING:
    from telemetry.statement.facts import Statement

_WIDTH: Final = 100


def statement_text(s: Statement) -> str:
    """Format a statement as plain text."""
    head = headline(s)
    figure = f"{head.figure} ± {head.uncertainty} {head.unit}  ({head.si})" if head.figure else "No two-way"
    blocks = [
        f"{TITLE}, {day(s)}\n\n{figure}\n{head.verdict.upper()}. {head.plain}",
        _wrapped([*head.reasons, *head.about, ESTIMATE]),
    ]
    for section in sections(s):
        if section.key in ("setup", "conditions"):
            line = "; ".join(": ".join(row) for row in section.rows)
            lines = [_wrapped([line])]
        elif section.head and section.key != "checks":
            lines = text_table([section.head, *section.rows])
        else:
            lines = [_wrapped([": ".join(row) for row in section.rows])]
        blocks.append("\n".join([section.title, *lines]))
    return "\n\n".join([*blocks, closing(s)]) + "\n"


def _wrapped(lines: Iterable[str]) -> str:
    return "\n".join(
        textwrap.fill(line, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)
        for line in lines
    )
