"""Where the program keeps what it must not forget, and how a file is put in its place."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import platformdirs


def home_folder() -> Path:
    """Find the folder of the logbook and of kept answers: RECIPROCAL_HOME, else the user's data folder.

    The folder is not made here: who writes makes it, so that a mere look leaves nothing behind.
    """
    named = os.environ.get("RECIPROCAL_HOME")
    return Path(named).expanduser() if named else platformdirs.user_data_path("reciprocal", appauthor=False)


@contextmanager
def atomic_write(file: Path, *, private: bool = False) -> Iterator[IO[bytes]]:
    """Write a file next to its place and rename it onto it at the end: nobody ever sees a part of it.

    Parameters
    ----------
    file : Path
    private : bool
        Whether nobody but its owner may read it; else it gets the mode that new files of this user get.

    Raises
    ------
    OSError
        If it cannot be written; what was there before then still is.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_name(f"{file.stem}-{secrets.token_hex(8)}.new")
    mode = 0o600 if private else 0o666
    stream = open(beside, "x+b", opener=lambda path, flags: os.open(path, flags, mode))  # noqa: SIM115
    try:
        with stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(file)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
