"""Every command by name, with one sentence, and the module that knows the rest.

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
"""What a command's module tells by name: what runs it, and what puts its arguments into a parser."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A command of the list.

    Attributes
    ----------
    name : str
        As it is typed.
    text : str
        What it does, in one sentence.
    module : str
        Which module of this package has it in its ``COMMANDS``.
    """

    name: str
    text: str
    module: str

    def fill(self, parser: argparse.ArgumentParser) -> None:
        """Put the command's arguments into its parser, and what runs it."""
        commands: Commands = import_module(f"{__package__}.{self.module}").COMMANDS
        run, add_arguments = commands[self.name]
        add_arguments(parser)
        parser.set_defaults(run=run)


CATALOGUE: Final = (
    Entry("analyse", "Read an outing's logs; report passes and two-ways.", "analysing_arguments"),
    Entry("rules", "List the rules that ship, with their conditions and sources.", "analysing_arguments"),
    Entry("statement", "State one two-way on one page: as text, HTML or PDF.", "statement"),
    Entry(
        "what-if",
        "Compute what another propeller, pack or motor would do, from a measured pass of this boat.",
        "analysing_arguments",
    ),
    Entry("formats", "List what can be read.", "analysing_arguments"),
    Entry("maps", "List what was once said of tables' columns, or forget it.", "analysing_arguments"),
    Entry("add", "Put an outing's logs into the logbook; report what they are worth.", "logbook_arguments"),
    Entry("boats", "List the boats; add one, or correct what is recorded about it.", "logbook_arguments"),
    Entry("outings", "List the outings of the logbook, found and sorted.", "logbook_arguments"),
    Entry("show", "Show an outing with its analysis; write its logs out again.", "logbook_arguments"),
    Entry("correct", "Correct what is recorded about an outing.", "logbook_arguments"),
    Entry("remove", "Take an outing out of the logbook, with its logs.", "logbook_arguments"),
    Entry("refresh", "Analyse again what another version of the program analysed.", "logbook_arguments"),
    Entry("backup", "Write the whole logbook into one file.", "logbook_arguments"),
    Entry("restore", "Take a backup into the logbook.", "logbook_arguments"),
    Entry("export", "Write CSV tables and one JSON document for other programs.", "logbook_arguments"),
    Entry("sheet", "Show a setup sheet, list a boat's, make the next, tell two apart.", "bench_arguments"),
    Entry(
        "bench",
        "Say what moved since a boat was set, and write the card to bring it back.",
        "bench_arguments",
    ),
    Entry("strut", "Compute strut angle and depth from two heights over a base.", "bench_arguments"),
    Entry("balance", "Compute the centre of gravity, and what a move or swap does to it.", "bench_arguments"),
    Entry("service", "Say what is due on a boat by runs, hours and date.", "bench_arguments"),
    Entry("compare", "Return whether a change of a boat's setup helped, and how sure.", "compare_arguments"),
    Entry("history", "Lay a boat's speed against one item of its setup sheets.", "compare_arguments"),
    Entry("next", "Advise one change worth trying next, or say why not.", "compare_arguments"),
    Entry("serve", "Serve the dashboard on this machine until Ctrl-C.", "analysing_arguments"),
    Entry(
        "demo",
        "Put the sample logs into a throw-away logbook, report them, then serve the dashboard with them.",
        "demo",
    ),
)
