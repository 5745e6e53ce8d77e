"""What the command line says of the same logs, asked in this process."""

from __future__ import annotations

import contextlib
import io
import json
from functools import cache
from typing import Any

from telemetry.cli import main


@cache
def by_command_line(command: str, *arguments: str) -> dict[str, Any]:
    """Return what a command prints with ``--json``."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        assert main([command, *arguments, "--json"]) == 0
    answer: dict[str, Any] = json.loads(printed.getvalue())
    return answer
