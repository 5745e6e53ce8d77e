"""Where a logbook is: a file on this machine, or a database named by URL."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from telemetry.core.errors import LogbookError
from telemetry.core.paths import home_folder

VARIABLE: Final = "RECIPROCAL_LOGBOOK"
FILE_NAME: Final = "logbook.sqlite"
_DRIVERS: Final = {
    "sqlite": "sqlite",
    "sqlite+pysqlite": "sqlite",
    "postgres": "postgresql+psycopg",
    "postgresql": "postgresql+psycopg",
    "postgresql+psycopg": "postgresql+psycopg",
}


def resolve(url: str | Path | None = None) -> URL:
    """Turn what the user said into a database's URL.

    Parameters
    ----------
    url : str or Path, optional
        The path of a SQLite file, a ``sqlite:///`` URL or a ``postgresql://`` URL; without it what
        RECIPROCAL_LOGBOOK says, else a file in the program's own folder.

    Raises
    ------
    LogbookError
        If it is a URL of something else, or of a SQLite database that is no file.

    Examples
    --------
    >>> resolve("lake.sqlite").drivername, resolve("postgresql://bench/boats").drivername
    ('sqlite', 'postgresql+psycopg')
    """
    named = str(url) if url is not None else os.environ.get(VARIABLE, "")
    if not named:
        return URL.create("sqlite", database=str(home_folder() / FILE_NAME))
    if "://" not in named:
        return URL.create("sqlite", database=str(Path(named).expanduser()))
    try:
        parsed = make_url(named)
        driver = _DRIVERS[parsed.drivername]
    except (ArgumentError, ValueError, KeyError):
        raise LogbookError(
            "this is no address of a logbook",
            file=named.partition("://")[0] + "://...",
            hint="give a file, or postgresql://USER@HOST/DATABASE",
        ) from None
    if driver == "sqlite" and parsed.database in (None, "", ":memory:"):
        raise LogbookError("a logbook in memory would be forgotten", file=named, hint="name a file")
    return parsed.set(drivername=driver)


def shown(url: URL) -> str:
    """Name a logbook in a message: the file's path, or the URL without its password."""
    return str(url.database) if url.drivername == "sqlite" else url.render_as_string(hide_password=True)
