"""The command line ``reciprocal``: the parser, and one place where every error becomes a message.

Exit status: 0 done, 1 some input could not be used (named on stderr; the rest is still reported),
2 wrong call.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from telemetry import __version__
from telemetry.cli.catalogue import CATALOGUE
from telemetry.cli.outcome import DONE, INTERRUPTED, SOME_INPUT_UNUSED, WRONG_CALL, complain
from telemetry.core.errors import CallError, LogError, ReciprocalError, fault_text
from telemetry.core.sanitize import LABEL, SHORT, shortened

__all__ = ["build_parser", "main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    for stream in (sys.stdout, sys.stderr):
        # An old Windows code page lacks some of our signs; a question mark there is better than a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    argv = shielded(sys.argv[1:] if argv is None else argv)
    named = next((word for word in argv if not word.startswith("-")), "")
    args = build_parser(named).parse_args(argv)
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except ReciprocalError as error:
        complain([error])
        return SOME_INPUT_UNUSED if isinstance(error, LogError) else WRONG_CALL
    except BrokenPipeError:
        # The reader of our output (`| head`) closed the pipe: that is not an error, and the interpreter's own
        # flush at exit must not report one.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:
        if isinstance(error, UnicodeEncodeError) and error.reason == "surrogates not allowed":
            complain([_no_letters(error)])
            return WRONG_CALL
        if sys.flags.dev_mode:  # python -X dev -m telemetry.cli ... shows the traceback
            raise
        print(f"reciprocal: {fault_text(error)}", file=sys.stderr)
        return SOME_INPUT_UNUSED
    return status


def _no_letters(error: UnicodeEncodeError) -> CallError:
    """Return the word that holds bytes of another encoding; only a file name can."""
    word = shortened(error.object[max(0, error.start - LABEL) : error.end + LABEL], SHORT)
    return CallError(f"'{word}' is not valid text in this encoding", hint="write it in UTF-8")


def build_parser(named: str | None = None) -> argparse.ArgumentParser:
    """Build the parser of the command line.

    Parameters
    ----------
    named : str, optional
        The command that is called: only it gets its arguments. Without it, all commands do.
    """
    parser = argparse.ArgumentParser(
        prog="reciprocal",
        description="Run analyser for fast electric RC boats: logs in, passes and two-way averages out.",
        epilog="Exit status: 0 done, 1 some input could not be used, 2 wrong call.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"reciprocal {__version__}")
    subparsers = parser.add_subparsers(required=True, metavar="COMMAND", title="commands")
    for entry in CATALOGUE:
        sub = subparsers.add_parser(entry.name, help=entry.text, description=entry.text, allow_abbrev=False)
        if named in {None, entry.name}:
            entry.fill(sub)
    return parser


def shielded(argv: Sequence[str]) -> list[str]:
    """Join ``--gates`` to its value, since argparse takes the minus of a southern latitude for an option.

    Examples
    --------
    >>> shielded(["analyse", "a.gpx", "--gates", "-33.1,151.2,-33.2,151.2"])
    ['analyse', 'a.gpx', '--gates=-33.1,151.2,-33.2,151.2']
    """
    args = list(argv)
    if "--gates" in args[:-1]:
        at = args.index("--gates")
        args[at : at + 2] = [f"--gates={args[at + 1]}"]
    return args
