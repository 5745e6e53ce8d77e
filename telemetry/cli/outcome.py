"""How a command ends, and how it says what could not be used."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from telemetry.core.errors import ReciprocalError

DONE, SOME_INPUT_UNUSED, WRONG_CALL = 0, 1, 2
INTERRUPTED = 130  # what a shell itself reports for Ctrl-C


def complain(errors: Iterable[ReciprocalError]) -> None:
    """Name on stderr what could not be used or done."""
    for error in errors:
        print(f"reciprocal: {error}", file=sys.stderr)


def note(text: str) -> None:
    """Say on stderr what is good to know and nobody's mistake."""
    print(f"reciprocal: {text}", file=sys.stderr)
