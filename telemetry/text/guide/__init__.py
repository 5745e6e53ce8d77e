"""The user's guide: the same Markdown files for ``reciprocal guide`` and for the page "Guide"."""

from __future__ import annotations

from importlib import resources
from typing import Final

from telemetry.core.errors import CallError

TOPICS: Final = {
    "analyse": "Analyse an outing",
    "reading": "Log formats and column headings",
    "columns": "Columns of the speed and motor tables",
    "findings": "What the codes of findings mean",
    "numbers": "How sure a number is",
    "ride": "How it rode",
    "power": "The power train and what-if",
    "corrections": "Corrections by hand",
    "logbook": "The logbook, backups and export",
    "dashboard": "The dashboard, also on a phone",
    "overlay": "Overlay passes",
    "bench": "At the bench",
    "compare": "Before and after, history, next trial",
    "archive": "A whole archive of logs",
    "safety": "Before you run",
}
"""Titles by the topics' names, in the order of reading."""


def topic_text(name: str) -> str:
    """Return a topic's Markdown.

    Parameters
    ----------
    name : str
        A key of :data:`TOPICS`.

    Raises
    ------
    CallError
        If there is no such topic.
    """
    if name not in TOPICS:
        raise CallError(f"the guide has no topic '{name}'", hint=f"choose one of {', '.join(TOPICS)}")
    return resources.files("telemetry.text.guide").joinpath(f"{name}.md").read_text(encoding="utf-8")


def contents_text() -> str:
    """List the topics with their titles."""
    width = max(map(len, TOPICS))
    lines = [f"  {name:<{width}}  {title}" for name, title in TOPICS.items()]
    return "\n".join(["Guide: `reciprocal guide TOPIC` prints one topic", *lines])
