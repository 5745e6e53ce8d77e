"""Where the program keeps what it must not forget, and how a file is put in its place."""

from __future__ import annotations

import os
import tempfile
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
def written_whole(file: Path) -> Iterator[IO[bytes]]:
    """Write a file beside its place and rename it onto it at the end: nobody ever sees a part of it.

    Raises
    ------
    OSError
        If it cannot be written; what was there before then still is.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    descriptor, beside = tempfile.mkstemp(dir=file.parent, prefix=f"{file.stem}-", suffix=".new")
    try:
        with os.fdopen(descriptor, "w+b") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        Path(beside).replace(file)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
