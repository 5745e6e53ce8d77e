"""How a passphrase is come by: kept, from the environment, or asked for at the terminal."""

from __future__ import annotations

import getpass
import os
import sys
from typing import Final

from dashboard.auth.passphrase import SHORTEST, Passphrase
from telemetry.core.errors import CallError

VARIABLE: Final = "RECIPROCAL_PASSPHRASE"
_TRIES: Final = 3


def settled_passphrase(*, new: bool = False) -> Passphrase:
    """Return the passphrase to serve with, kept for the next time.

    Parameters
    ----------
    new : bool
        Whether another one takes the place of the one that is kept.

    Raises
    ------
    CallError
        If nobody can be asked, or what is given is no passphrase.
    SavedColumnsError
        If the kept one cannot be read, or the new one not be kept.
    """
    kept = None if new else Passphrase.kept()
    given = os.environ.get(VARIABLE)
    if kept is not None and (given is None or kept.is_said(given)):
        return kept
    made = Passphrase.of(given) if given is not None else _asked()
    made.keep()
    return made


def _asked() -> Passphrase:
    if not sys.stdin.isatty():
        raise CallError(
            "serving the local network needs a passphrase, and nobody is there to be asked",
            hint=f"run it once at a terminal, or set {VARIABLE}",
        )
    print(f"Choose the passphrase that readers on the network type: {SHORTEST} characters or more.")
    for _ in range(_TRIES):
        first = getpass.getpass("Passphrase: ")
        try:
            made = Passphrase.of(first)
        except CallError as error:
            print(error)
            continue
        if made.is_said(getpass.getpass("Once more: ")):
            return made
        print("The two differ.")
    raise CallError("no passphrase was chosen", hint="start again")
