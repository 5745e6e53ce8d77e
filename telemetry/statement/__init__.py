"""The two-way statement: one page about one two-way, as text, as a self-contained page and as a PDF."""

from telemetry.statement.facts import LogFacts, Statement, Trace, Way, statement
from telemetry.statement.page import content_policy
from telemetry.statement.printing import PAPERS, find_chromium, printed_pdf

__all__ = [
    "PAPERS",
    "LogFacts",
    "Statement",
    "Trace",
    "Way",
    "content_policy",
    "find_chromium",
    "printed_pdf",
    "statement",
]
