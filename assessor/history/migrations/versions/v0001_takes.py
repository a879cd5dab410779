"""Players, devices, licks, takes and their results."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    for name in ("player", "device"):
        op.create_table(
            name,
            sa.Column("id", sa.Integer(), nullable=False),
            sa.Column("name", sa.String(), nullable=False),
            sa.PrimaryKeyConstraint("id", name=f"pk_{name}"),
            sa.UniqueConstraint("name", name=f"uq_{name}_name"),
        )
    op.create_table(
        "lick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("tempo_bpm", sa.Float(), nullable=False),
        sa.Column("notes", sa.Integer(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("sheet", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_lick"),
        sa.UniqueConstraint("digest", name="uq_lick_digest"),
    )
    _take()
    op.create_table(
        "result",
        sa.Column("take_id", sa.Integer(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("take_id", name="pk_result"),
        sa.ForeignKeyConstraint(
            ["take_id"], ["take.id"], name="fk_result_take_id_take", ondelete="CASCADE"
        ),
    )


def _take() -> None:
    op.create_table(
        "take",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("player_id", sa.Integer(), nullable=False),
        sa.Column("lick_id", sa.Integer(), nullable=False),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("duration_s", sa.Float(), nullable=False),
        sa.Column("file", sa.String(), nullable=False),
        sa.Column("copy", sa.String(), nullable=True),
        sa.Column("tool_version", sa.String(), nullable=False),
        sa.Column("summary", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_take"),
        *(
            sa.ForeignKeyConstraint(
                [f"{name}_id"], [f"{name}.id"], name=f"fk_take_{name}_id_{name}"
            )
            for name in ("player", "lick", "device")
        ),
        sa.UniqueConstraint(
            "player_id", "lick_id", "digest", name="uq_take_player_id_lick_id_digest"
        ),
    )
    for name in ("player", "lick"):
        columns = [f"{name}_id", "recorded_at"]
        op.create_index(f"ix_take_{name}_id_recorded_at", "take", columns)
