"""The logbook: boats, setup sheets, outings with their logs byte for byte, and what was made of them.

>>> from telemetry.logbook import open_logbook
>>> with open_logbook("lake.sqlite") as logbook:  # doctest: +SKIP
...     logbook.boats()
()
"""

from __future__ import annotations

from pathlib import Path

from telemetry.logbook.backup import Backup
from telemetry.logbook.logbook import Logbook
from telemetry.logbook.pass_list import SavedPass
from telemetry.logbook.records import (
    Boat,
    Conditions,
    Imported,
    NamedLog,
    Outing,
    OutingSearch,
    SavedCorrection,
    SavedIncident,
    SavedTwoWay,
    StoredLog,
)
from telemetry.logbook.services import ServiceDone

__all__ = [
    "Backup",
    "Boat",
    "Conditions",
    "Imported",
    "Logbook",
    "NamedLog",
    "Outing",
    "OutingSearch",
    "SavedCorrection",
    "SavedIncident",
    "SavedPass",
    "SavedTwoWay",
    "ServiceDone",
    "StoredLog",
    "open_logbook",
]


def open_logbook(url: str | Path | None = None) -> Logbook:
    """Open a logbook, and make it where there is none.

    Parameters
    ----------
    url : str or Path, optional
        The path of a SQLite file, or a ``postgresql://`` URL; without it what RECIPROCAL_LOGBOOK says, else a
        file in the program's folder.

    Returns
    -------
    Logbook
        To be closed, or used in a ``with`` statement.

    Raises
    ------
    LogbookError
        If it cannot be opened or made, is another program's, or comes from a newer version of this one.
    """
    return Logbook(url)
