"""What was corrected by hand in an outing's logs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the step."""
    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("outing_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=True),
        sa.Column("end_s", sa.Double(), nullable=True),
        sa.Column("speed_sha256", sa.Text(), nullable=True),
        sa.Column("offset_s", sa.Double(), nullable=True),
        sa.Column("drift_ppm", sa.Double(), nullable=True),
        sa.Column("u95_s", sa.Double(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("made_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("back_utc", sa.DateTime(timezone=True), nullable=True),
        sa.Column("back_who", sa.Text(), nullable=False),
        sa.Column("back_why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outing_id"], ["outings.id"], name="fk_corrections_outing_id_outings", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_corrections"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_corrections_outing_id", "corrections", ["outing_id"], unique=False)
