"""Where the program keeps what it must not forget."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def home_folder() -> Path:
    """Find the folder of the logbook and of what was asked once: RECIPROCAL_HOME, else the user's data folder.

    The folder is not made here: who writes makes it, so that a mere look leaves nothing behind.
    """
    named = os.environ.get("RECIPROCAL_HOME")
    return Path(named).expanduser() if named else platformdirs.user_data_path("reciprocal", appauthor=False)
