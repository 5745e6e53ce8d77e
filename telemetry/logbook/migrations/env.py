"""Alembic's way in: the connection comes from the caller, inside the caller's transaction."""

from alembic import context

from telemetry.logbook.migrations import VERSION_TABLE
from telemetry.logbook.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    version_table=VERSION_TABLE,
    compare_type=True,
    render_as_batch=True,  # SQLite cannot alter most of a table in place
)
context.run_migrations()
