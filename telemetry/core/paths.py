"""Where the program stores its data, and atomic writing of files."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import platformdirs


def home_folder() -> Path:
    """Return the folder of the logbook and of saved answers: RECIPROCAL_HOME, else the user's data folder.

    The folder is created only on writing, so that a mere look leaves nothing behind.
    """
    named = os.environ.get("RECIPROCAL_HOME")
    return Path(named).expanduser() if named else platformdirs.user_data_path("reciprocal", appauthor=False)


@contextmanager
def atomic_write(file: Path, *, private: bool = False) -> Iterator[IO[bytes]]:
    """Write a temporary file in the same folder and rename it: no reader ever sees a part of it.

    Parameters
    ----------
    file : Path
    private : bool
        Whether only its owner may read it; else it gets the default mode of this user's new files.

    Raises
    ------
    OSError
        If it cannot be written; an existing file is then unchanged.
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
