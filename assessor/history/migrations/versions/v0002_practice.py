"""The practice log, and what sound levels need: calibration, lines, children."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the log and the calibrations."""
    flags = (("player", "child"), ("device", "line"))
    for table, column in flags:
        with op.batch_alter_table(table) as batch:
            batch.add_column(
                sa.Column(
                    column, sa.Boolean(), nullable=False, server_default=sa.false()
                )
            )
    with op.batch_alter_table("take") as batch:
        batch.add_column(sa.Column("a_level_dbfs", sa.Float(), nullable=True))
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("device_id", sa.Integer(), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("meter_dba", sa.Float(), nullable=False),
        sa.Column("a_level_dbfs", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_calibration"),
        sa.ForeignKeyConstraint(
            ["device_id"],
            ["device.id"],
            name="fk_calibration_device_id_device",
            ondelete="CASCADE",
        ),
        sa.UniqueConstraint(
            "device_id", "measured_at", name="uq_calibration_device_id_measured_at"
        ),
    )
    op.create_table(
        "session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("player_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("felt", sa.String(), nullable=False),
        sa.Column("strain", sa.Integer(), nullable=True),
        sa.Column("level_dba", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_session"),
        sa.ForeignKeyConstraint(
            ["player_id"], ["player.id"], name="fk_session_player_id_player"
        ),
        sa.UniqueConstraint(
            "player_id", "started_at", name="uq_session_player_id_started_at"
        ),
    )
