"""The two-way statement: one page about one two-way, as text, as a self-contained page and as a PDF."""

from telemetry.statement.facts import LogFacts, Statement, StatementPass, Trace, build_statement
from telemetry.statement.page import content_policy
from telemetry.statement.printing import PAPERS, find_chromium, print_pdf

__all__ = [
    "PAPERS",
    "LogFacts",
    "Statement",
    "StatementPass",
    "Trace",
    "build_statement",
    "content_policy",
    "find_chromium",
    "print_pdf",
]
