"""Recordings of runs.

A migration is never changed once a released program has carried it. It takes nothing from `tracker`, it keeps every
row, and it goes down as well as up. On SQLite a table is changed inside `op.batch_alter_table`.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring a database of the version before to this one."""
    op.create_table(
        "trace",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False, comment="readings"),
        sa.Column("span_s", sa.Double(), nullable=False, comment="from the first reading to the last [s]"),
        sa.Column("cells", sa.Integer(), nullable=False, comment="cells recorded one by one"),
        sa.Column("file_name", sa.Text(), nullable=False, comment="of the file it was read from"),
        sa.Column(
            "summary_version",
            sa.Text().with_variant(sa.Text(collation="C"), "postgresql"),
            nullable=False,
            comment="version of the method that made the summary",
        ),
        sa.Column("summary", sa.Text(), nullable=False, comment="what the recording shows, as a JSON object"),
        sa.Column("digest", sa.Text(), nullable=False, comment="SHA-256 of the payload"),
        sa.Column("payload", sa.LargeBinary(), nullable=False, comment="its columns, see tracker/store/trace_codec.py"),
        sa.CheckConstraint("cells BETWEEN 0 AND 100 AND cells = CAST(cells AS INTEGER)", name=op.f("ck_trace_cells")),
        sa.CheckConstraint("rows BETWEEN 1 AND 2000000000 AND rows = CAST(rows AS INTEGER)", name=op.f("ck_trace_rows")),
        sa.CheckConstraint("span_s BETWEEN 0 AND 1e+09", name=op.f("ck_trace_span_s")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_trace_run_id_run"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", name=op.f("pk_trace")),
        comment="recordings of runs",
    )


def downgrade() -> None:
    """Bring a database of this version back to the one before."""
    op.drop_table("trace")
