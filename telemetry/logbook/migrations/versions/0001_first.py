"""Boats, sheets, and outings with their logs and analyses."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the step."""
    op.create_table(
        "boats",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("folded", sa.Text(), nullable=False),
        sa.Column("hull_kind", sa.Text(), nullable=False),
        sa.Column("length_m", sa.Double(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("limits", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("own_items", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("made_utc", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_boats"),
        sa.UniqueConstraint("folded", name="uq_boats_folded"),
        sa.UniqueConstraint("name", name="uq_boats_name"),
    )
    op.create_table(
        "logs",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("packing", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_logs"),
    )
    op.create_table(
        "sheets",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("parent_id", sa.Text(), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("made_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name="fk_sheets_boat_id_boats"),
        sa.ForeignKeyConstraint(["parent_id"], ["sheets.id"], name="fk_sheets_parent_id_sheets"),
        sa.PrimaryKeyConstraint("id", name="pk_sheets"),
    )
    op.create_index("ix_sheets_boat_id", "sheets", ["boat_id"], unique=False)
    op.create_table(
        "outings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat_id", sa.Integer(), nullable=False),
        sa.Column("sheet_id", sa.Text(), nullable=False),
        sa.Column("start_utc", sa.DateTime(timezone=True), nullable=True),
        sa.Column("when_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("place_folded", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("wind_mps", sa.Double(), nullable=True),
        sa.Column("wind_from_deg", sa.Double(), nullable=True),
        sa.Column("water", sa.Text(), nullable=False),
        sa.Column("air_c", sa.Double(), nullable=True),
        sa.Column("water_c", sa.Double(), nullable=True),
        sa.Column("pack", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("program_version", sa.Text(), nullable=False),
        sa.Column("pass_count", sa.Integer(), nullable=False),
        sa.Column("two_way_count", sa.Integer(), nullable=False),
        sa.Column("best_two_way_mps", sa.Double(), nullable=True),
        sa.Column("best_two_way_u95_mps", sa.Double(), nullable=True),
        sa.Column("best_verdict", sa.Text(), nullable=True),
        sa.Column("best_peak_mps", sa.Double(), nullable=True),
        sa.Column("best_peak_u95_mps", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["boat_id"], ["boats.id"], name="fk_outings_boat_id_boats"),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheets.id"], name="fk_outings_sheet_id_sheets"),
        sa.PrimaryKeyConstraint("id", name="pk_outings"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_outings_best_peak_mps", "outings", ["best_peak_mps"], unique=False)
    op.create_index("ix_outings_best_two_way_mps", "outings", ["best_two_way_mps"], unique=False)
    op.create_index(
        "ix_outings_boat_id_best_two_way_mps", "outings", ["boat_id", "best_two_way_mps"], unique=False
    )
    op.create_index("ix_outings_boat_id_when_utc", "outings", ["boat_id", "when_utc"], unique=False)
    op.create_index("ix_outings_place_folded", "outings", ["place_folded"], unique=False)
    op.create_index("ix_outings_program_version", "outings", ["program_version"], unique=False)
    op.create_index("ix_outings_sheet_id", "outings", ["sheet_id"], unique=False)
    op.create_index("ix_outings_when_utc", "outings", ["when_utc"], unique=False)
    op.create_index("ix_outings_start_utc", "outings", ["start_utc"], unique=False)
    op.create_table(
        "analyses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("outing_id", sa.Integer(), nullable=False),
        sa.Column("program_version", sa.Text(), nullable=False),
        sa.Column("made_utc", sa.DateTime(timezone=True), nullable=False),
        sa.Column("request", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outing_id"], ["outings.id"], name="fk_analyses_outing_id_outings", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_analyses"),
        sa.UniqueConstraint("outing_id", "program_version", name="uq_analyses_outing_id"),
    )
    op.create_table(
        "outing_logs",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("outing_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outing_id"], ["outings.id"], name="fk_outing_logs_outing_id_outings", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["sha256"], ["logs.sha256"], name="fk_outing_logs_sha256_logs"),
        sa.PrimaryKeyConstraint("sha256", name="pk_outing_logs"),
    )
    op.create_index("ix_outing_logs_outing_id", "outing_logs", ["outing_id"], unique=False)
    op.create_table(
        "passes",
        sa.Column("outing_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("pass_id", sa.Text(), nullable=False),
        sa.Column("start_utc", sa.DateTime(timezone=True), nullable=True),
        sa.Column("heading_deg", sa.Double(), nullable=True),
        sa.Column("way", sa.Text(), nullable=False),
        sa.Column("length_m", sa.Double(), nullable=False),
        sa.Column("peak_mps", sa.Double(), nullable=False),
        sa.Column("peak_u95_mps", sa.Double(), nullable=False),
        sa.Column("held_1s_mps", sa.Double(), nullable=True),
        sa.Column("held_1s_u95_mps", sa.Double(), nullable=True),
        sa.Column("distances", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("ripple_mps", sa.Double(), nullable=True),
        sa.Column("slip", sa.Double(), nullable=True),
        sa.Column("slip_u95", sa.Double(), nullable=True),
        sa.Column("peak_current_a", sa.Double(), nullable=True),
        sa.Column("motor_temp_c", sa.Double(), nullable=True),
        sa.Column("esc_temp_c", sa.Double(), nullable=True),
        sa.Column("rest_voltage_v", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["outing_id"], ["outings.id"], name="fk_passes_outing_id_outings", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("outing_id", "position", name="pk_passes"),
    )
    op.create_table(
        "two_ways",
        sa.Column("outing_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("two_way_id", sa.Text(), nullable=False),
        sa.Column("first_position", sa.Integer(), nullable=False),
        sa.Column("second_position", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("mean", sa.Text(), nullable=False),
        sa.Column("distance_m", sa.Double(), nullable=False),
        sa.Column("average_mps", sa.Double(), nullable=False),
        sa.Column("u95_mps", sa.Double(), nullable=False),
        sa.Column("u_independent_mps", sa.Double(), nullable=False),
        sa.Column("u_shared_mps", sa.Double(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("apart", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["outing_id"], ["outings.id"], name="fk_two_ways_outing_id_outings", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("outing_id", "position", name="pk_two_ways"),
    )
