"""Every command with its name, one sentence of help, and the module that implements it.

The command line starts from this list alone. Only the command that is called has its module imported, so that
``--help``, a wrong call or a small command does not wait for what an analysis or a logbook takes to load.
"""

from __future__ import annotations

import argparse
from argparse import Namespace
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Final

Command = Callable[[Namespace], int]
Commands = Mapping[str, tuple[Command, Callable[[argparse.ArgumentParser], object]]]
"""The interface of a command's module: the function that runs it and the one that adds its arguments."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A command of the list.

    Attributes
    ----------
    name : str
        As typed.
    text : str
        What it does, in one sentence.
    module : str
        Which module of this package has it in its ``COMMANDS``.
    """

    name: str
    text: str
    module: str

    def fill(self, parser: argparse.ArgumentParser) -> None:
        """Add the command's arguments and its function to its parser."""
        commands: Commands = import_module(f"{__package__}.{self.module}").COMMANDS
        run, add_arguments = commands[self.name]
        add_arguments(parser)
        parser.set_defaults(run=run)


CATALOGUE: Final = (
    Entry("analyse", "Read an outing's logs; report passes and two-ways.", "analysing_arguments"),
    Entry("rules", "List the built-in rules, with their conditions and sources.", "analysing_arguments"),
    Entry("statement", "Write a one-page statement of a two-way as text, HTML or PDF.", "statement"),
    Entry(
        "what-if",
        "Estimate what another propeller, pack or motor would do, from a measured pass of this boat.",
        "analysing_arguments",
    ),
    Entry("formats", "List the log formats that can be read.", "analysing_arguments"),
    Entry(
        "headings",
        "Write a file that names a table's columns, ready to edit, for --headings.",
        "analysing_arguments",
    ),
    Entry("maps", "List or forget the saved meanings of tables' columns.", "analysing_arguments"),
    Entry("guide", "Print a topic of the user's guide, or list the topics.", "analysing_arguments"),
    Entry("add", "Add an outing's logs to the logbook; report its passes and two-ways.", "logbook_arguments"),
    Entry("boats", "List the boats; add or edit one.", "logbook_arguments"),
    Entry("outings", "Search, sort and list the outings of the logbook.", "logbook_arguments"),
    Entry("show", "Show an outing with its analysis; write its original logs.", "logbook_arguments"),
    Entry("correct", "Correct the data of an outing, or its logs by hand.", "logbook_arguments"),
    Entry("remove", "Remove an outing and its logs from the logbook.", "logbook_arguments"),
    Entry(
        "refresh",
        "Analyse again the outings that another version of the program analysed.",
        "logbook_arguments",
    ),
    Entry("backup", "Write the whole logbook into one file.", "logbook_arguments"),
    Entry("restore", "Restore a backup into the logbook.", "logbook_arguments"),
    Entry("copies", "List the copies of the logbook that are made after each outing.", "logbook_arguments"),
    Entry("export", "Write CSV tables and one JSON document for other programs.", "logbook_arguments"),
    Entry("sheet", "Show, list, create or compare setup sheets.", "bench_arguments"),
    Entry(
        "bench",
        "Compare a boat as found with its sheet, and print the card to set it again.",
        "bench_arguments",
    ),
    Entry("strut", "Compute strut angle and depth from two heights over a base.", "bench_arguments"),
    Entry("balance", "Compute the centre of gravity, and the effect of a move or swap.", "bench_arguments"),
    Entry("service", "List the service due on a boat by runs, hours and date.", "bench_arguments"),
    Entry("compare", "Show whether a setup change helped, and how sure that is.", "compare_arguments"),
    Entry("history", "Show a boat's speed against one setup item.", "compare_arguments"),
    Entry("next", "Suggest one change to try next, or give the reason for none.", "compare_arguments"),
    Entry("serve", "Serve the dashboard on this machine until Ctrl-C.", "analysing_arguments"),
    Entry(
        "demo",
        "Load the sample logs into a temporary logbook, report them, then serve the dashboard.",
        "demo",
    ),
)
