"""What is found and done at the bench, and how long a boat was under way."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the step."""
    op.create_table(
        "founds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("found_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name="fk_founds_boat_id_boats"),
        sa.PrimaryKeyConstraint("id", name="pk_founds"),
    )
    op.create_index("ix_founds_boat_id", "founds", ["boat_id"], unique=False)
    op.create_table(
        "services",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Text(), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name="fk_services_boat_id_boats"),
        sa.PrimaryKeyConstraint("id", name="pk_services"),
        sa.UniqueConstraint("boat_id", "task", name="uq_services_boat_id"),
    )
    op.create_table(
        "services_done",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("task", sa.Text(), nullable=False),
        sa.Column("done_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name="fk_services_done_boat_id_boats"),
        sa.PrimaryKeyConstraint("id", name="pk_services_done"),
    )
    op.create_index("ix_services_done_boat_id_task", "services_done", ["boat_id", "task"], unique=False)
    op.add_column("outings", sa.Column("under_way_s", sa.Double(), nullable=True))
