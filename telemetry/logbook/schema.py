"""Bringing a logbook's tables to what this version of the program expects."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from telemetry.core.errors import LogbookError
from telemetry.logbook.migrations import HEAD, VERSION_TABLE

_STEPS = Path(__file__).with_name("migrations")


def config(connection: Connection | None = None) -> Config:
    """Return Alembic's settings, for a connection that the caller holds."""
    settings = Config()
    settings.set_main_option("script_location", str(_STEPS).replace("%", "%%"))
    settings.set_main_option("path_separator", "os")
    settings.attributes["connection"] = connection
    return settings


def revision_of(connection: Connection) -> str | None:
    """Return the step at which a logbook's tables stand; None where there are none."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    return None if found is None else str(found)


def steps() -> list[str]:
    """Return the names of all steps, the first one first."""
    scripts = ScriptDirectory.from_config(config())
    return [script.revision for script in scripts.walk_revisions()][::-1]


def check_known(revision: str, where: str) -> None:
    """Refuse tables, or a backup of them, that a later version of the program made.

    Raises
    ------
    LogbookError
    """
    if revision not in steps():
        raise LogbookError(
            f"a newer version of the program made it (its tables stand at {revision}, this one knows {HEAD})",
            file=where,
            hint="update the program",
        )


def bring_up(connection: Connection, where: str, to: str = HEAD) -> None:
    """Take the steps that are missing, in the caller's transaction, which is a writer's.

    Raises
    ------
    LogbookError
        If the tables are from a newer version, or another program's.
    """
    revision = revision_of(connection)
    if revision == to:
        return
    if revision is None:
        if inspect(connection).get_table_names():
            raise LogbookError(
                "it holds the tables of another program",
                file=where,
                hint="give the logbook a file or a database of its own",
            )
    else:
        check_known(revision, where)
    command.upgrade(config(connection), to)
