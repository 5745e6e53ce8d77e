"""Format findings: one by one, but many of a kind together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard.ui.badges import sentence
from telemetry.core.frames import Finding, group_by_code

_SINGLY: Final = 3


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """Format each finding with its place in the log; more than three of a kind share a line."""
    lines: list[str] = []
    for code, kind in group_by_code(findings).items():
        if len(kind) <= _SINGLY:
            lines += [sentence(f"{f.message}{_place([f])}") for f in kind]
        else:
            name = code.replace("-", " ")
            heading = sentence(f"{name} in {len(kind)} places")
            lines.append(f"{heading} The first: {kind[0].message}{_place(kind)}.")
    return lines


def _place(kind: Sequence[Finding]) -> str:
    count = sum(f.count for f in kind)
    said = [f"{count} samples"] if count > 1 else []
    times = [t for f in kind for t in (f.start_s, f.end_s) if t is not None]
    if times:
        first, last = min(times), max(times)
        said.append(f"at {first:.1f} s" if last - first < 0.05 else f"{first:.1f} to {last:.1f} s")
    return f" ({', '.join(said)})" if said else ""
