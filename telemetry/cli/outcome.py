"""How a command ends, and how it reports inputs that cannot be used."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from telemetry.core.errors import ReciprocalError

DONE, SOME_INPUT_UNUSED, WRONG_CALL = 0, 1, 2
INTERRUPTED = 130  # what a shell itself reports for Ctrl-C


def complain(errors: Iterable[ReciprocalError]) -> None:
    """Print on stderr an input or task that failed."""
    for error in errors:
        print(f"reciprocal: {error}", file=sys.stderr)


def note(text: str) -> None:
    """Print on stderr a note that is not an error."""
    print(f"reciprocal: {text}", file=sys.stderr)
