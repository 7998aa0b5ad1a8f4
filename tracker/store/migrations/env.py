"""How migrations run; Alembic executes this file with the connection that `tracker.store.schema` hands it."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from tracker.store.columns import Finite, NameWords, Numbers, Utc, Whole, Words
from tracker.store.schema import VERSION_TABLE
from tracker.store.tables import Base

# A migration describes the past, so it may not change with the program: our kinds of column are written as the plain ones below them.
_PLAIN = {
    Utc: "sa.DateTime(timezone=True)",
    Finite: "sa.Double()",
    Whole: "sa.Integer()",
    NameWords: 'sa.Text().with_variant(sa.Text(collation="C"), "postgresql")',
    Words: "sa.Text()",
    Numbers: "sa.Text()",
}


def render(kind: str, item: Any, _autogenerate: AutogenContext) -> str | Literal[False]:
    """Return a kind of column as it is to be written in a migration."""
    return _PLAIN.get(type(item), False) if kind == "type" else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    version_table=VERSION_TABLE,
    render_as_batch=True,
    render_item=render,
    compare_type=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
