"""${message.capitalize().rstrip(".")}.

A migration is never changed once a released program has carried it. It takes nothing from `tracker`, it keeps every
row, and it goes down as well as up. On SQLite a table is changed inside `op.batch_alter_table`.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op${"\n" + imports if imports else ""}

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    """Bring a database of the version before to this one."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Bring a database of this version back to the one before."""
    ${downgrades if downgrades else "pass"}
