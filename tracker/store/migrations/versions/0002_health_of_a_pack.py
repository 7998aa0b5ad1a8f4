"""Health of a pack beside what was learned of it.

A migration is never changed once a released program has carried it. It takes nothing from `tracker`, it keeps every
row, and it goes down as well as up. On SQLite a table is changed inside `op.batch_alter_table`.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a database of the version before to this one."""
    with op.batch_alter_table("pack_knowledge") as table:
        table.add_column(sa.Column("health", sa.Text(), nullable=True, comment="JSON, how the pack stands by it"))


def downgrade() -> None:
    """Bring a database of this version back to the one before."""
    with op.batch_alter_table("pack_knowledge") as table:
        table.drop_column("health")
