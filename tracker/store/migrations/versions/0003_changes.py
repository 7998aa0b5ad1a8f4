"""What was done to the logbook, so that it can be taken back.

A migration is never changed once a released program has carried it. It takes nothing from `tracker`, it keeps every
row, and it goes down as well as up. On SQLite a table is changed inside `op.batch_alter_table`.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a database of the version before to this one."""
    op.create_table(
        "change",
        sa.Column(
            "id",
            sa.Text().with_variant(sa.Text(collation="C"), "postgresql"),
            nullable=False,
            comment="given by who asked for it, or made",
        ),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False, comment="UTC, each later than the one before"),
        sa.Column("words", sa.Text(), nullable=False, comment="what was done"),
        sa.Column("asked", sa.Text(), nullable=False, comment="digest of what was asked for"),
        sa.Column("steps", sa.Text(), nullable=False, comment="JSON, the rows touched as they were before and after"),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True, comment="when it was taken back, UTC"),
        sa.CheckConstraint("at >= '1900-01-01 00:00:00+00' AND at < '2200-01-01 00:00:00+00'", name=op.f("ck_change_at")),
        sa.CheckConstraint(
            "undone_at >= '1900-01-01 00:00:00+00' AND undone_at < '2200-01-01 00:00:00+00'", name=op.f("ck_change_undone_at")
        ),
        sa.CheckConstraint("length(id) BETWEEN 1 AND 200", name=op.f("ck_change_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
        comment="what was done to the logbook, the newest alone; can be taken back",
    )
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_change_at"), ["at"], unique=False)


def downgrade() -> None:
    """Bring a database of this version back to the one before."""
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_change_at"))

    op.drop_table("change")
