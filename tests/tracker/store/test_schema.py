"""Limits and round trip: migrations make exactly the tables in code, go down and up, and keep every row."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, create_engine, inspect, text

from tests.tracker.store import builders as b
from tracker.errors import StoreError
from tracker.store.database import Store, open_store
from tracker.store.schema import VERSION_TABLE, Schema, version_of
from tracker.store.tables import Base

NEWEST = Schema().newest
NEXT = f"{int(NEWEST) + 1:04d}"

SECOND = """
import sqlalchemy as sa
from alembic import op

revision = "{next}"
down_revision = "{newest}"


def upgrade() -> None:
    with op.batch_alter_table("pack", recreate="always" if op.get_bind().dialect.name == "sqlite" else "never") as batch:
        batch.add_column(sa.Column("maker", sa.Text(), nullable=True))
    op.execute("UPDATE pack SET maker = 'unknown'")
    {more}


def downgrade() -> None:
    with op.batch_alter_table("pack") as batch:
        batch.drop_column("maker")
"""


def later(folder: Path, more: str = "") -> Schema:
    """The migrations of an invented later version of the program, which makes the table of packs anew."""
    copied = folder / "later"
    shutil.copytree(Schema().folder, copied)
    (copied / "versions" / f"{NEXT}_maker.py").write_text(SECOND.format(more=more, next=NEXT, newest=NEWEST))
    return Schema(copied)


@contextmanager
def migrating(store: Store) -> Iterator[Connection]:
    with store._engine.connect() as connection, connection.execution_options(access="migrate").begin():
        yield connection


def filled(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        records.save_estimates("Tug 1", [(b.START, b.estimate())])
        records.save_findings("Tug 1", [b.FINDING])


def test_a_fresh_database_has_the_newest_version(store: Store) -> None:
    with store.reading() as records:
        assert version_of(records.connection) == Schema().newest


def test_no_migration_is_missing(store: Store) -> None:
    with store.reading() as records:
        assert Schema().differences(records.connection) == []


def test_versions_are_numbered_without_a_gap() -> None:
    versions = Schema().versions
    assert versions == tuple(f"{number:04d}" for number in range(1, len(versions) + 1))


def constraints(connection: Connection) -> dict[str, Any]:
    """All that keeps impossible rows out, which the comparison of columns does not look at."""
    seen = inspect(connection)
    found: dict[str, Any] = {}
    for table in Base.metadata.tables:
        found[table] = {
            "check": sorted((c["name"], c["sqltext"]) for c in seen.get_check_constraints(table)),
            "unique": sorted((c["name"], c["column_names"]) for c in seen.get_unique_constraints(table)),
            "foreign": sorted(
                (c["name"], c["constrained_columns"], c["referred_table"], c["options"]) for c in seen.get_foreign_keys(table)
            ),
            "index": sorted((i["name"], i["column_names"]) for i in seen.get_indexes(table)),
            "primary": seen.get_pk_constraint(table)["constrained_columns"],
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in seen.get_columns(table)],
        }
    return found


def test_migrations_make_the_same_constraints_as_the_tables_in_code(store: Store) -> None:
    with store.writing() as records:
        migrated = constraints(records.connection)
        Base.metadata.drop_all(records.connection)
        Base.metadata.create_all(records.connection)
        assert constraints(records.connection) == migrated


def test_down_to_nothing_and_up_again(store: Store) -> None:
    with migrating(store) as connection:
        Schema().downgrade(connection, "base")
        assert set(inspect(connection).get_table_names()) == {VERSION_TABLE}
    with migrating(store) as connection:
        Schema().upgrade(connection)
        assert Schema().differences(connection) == []


def test_a_later_version_keeps_every_row(url: str, tmp_path: Path) -> None:
    """Making a table anew on SQLite would set off the cascades and take the runs' estimates with it."""
    with open_store(url) as store:
        filled(store)
        with store.reading() as records:
            before, logbook = records.counts(), records.logbook()
    with open_store(url, schema=later(tmp_path)) as store:
        with store.reading() as records:
            assert records.counts() == before
            assert records.logbook() == logbook
            assert records.connection.scalar(text("SELECT maker FROM pack")) == "unknown"
        with migrating(store) as connection:
            later_schema = Schema(tmp_path / "later")
            later_schema.downgrade(connection, NEWEST)
            assert Schema().differences(connection) == []
    with open_store(url) as store, store.reading() as records:
        assert records.logbook() == logbook


def test_an_older_file_is_copied_aside_first(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'club.sqlite3'}"
    with open_store(url) as store:
        filled(store)
        with store.reading() as records:
            logbook = records.logbook()
    (tmp_path / f"club.before-{NEXT}.sqlite3").write_text("taken")
    open_store(url, schema=later(tmp_path)).close()
    assert (tmp_path / f"club.before-{NEXT}.sqlite3").read_text() == "taken"
    aside = tmp_path / f"club.before-{NEXT}-2.sqlite3"
    with open_store(f"sqlite:///{aside}") as store, store.reading() as records:
        assert version_of(records.connection) == NEWEST
        assert records.logbook() == logbook


def test_a_file_of_the_same_version_is_not_copied(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'club.sqlite3'}"
    open_store(url).close()
    open_store(url).close()
    assert [path.name for path in tmp_path.iterdir()] == ["club.sqlite3"]


def test_a_migration_that_fails_leaves_everything_as_it_was(url: str, tmp_path: Path) -> None:
    with open_store(url) as store:
        filled(store)
        with store.reading() as records:
            before, logbook = constraints(records.connection), records.logbook()
    with pytest.raises(StoreError, match="no_such_table"):
        open_store(url, schema=later(tmp_path, more='op.execute("INSERT INTO no_such_table VALUES (1)")'))
    with open_store(url) as store, store.reading() as records:
        assert constraints(records.connection) == before
        assert records.logbook() == logbook


def test_a_migration_that_leaves_a_row_naming_nothing_is_undone(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'club.sqlite3'}"
    with open_store(url) as store:
        filled(store)
    with pytest.raises(StoreError, match="would name nothing"):
        open_store(url, schema=later(tmp_path, more='op.execute("DELETE FROM pack")'))
    with open_store(url) as store, store.reading() as records:
        assert records.packs() == (b.FULL_PACK,)


def test_a_database_of_a_newer_program_is_left_alone(url: str, tmp_path: Path) -> None:
    open_store(url, schema=later(tmp_path)).close()
    with pytest.raises(StoreError, match=rf"newer version of this program \(its schema is {NEXT}, this version knows up to {NEWEST}\)"):
        open_store(url)
    with open_store(url, schema=Schema(tmp_path / "later")) as store, store.reading() as records:
        assert version_of(records.connection) == NEXT


def test_a_new_migration_is_written_in_plain_kinds_of_column(tmp_path: Path) -> None:
    """A migration that took our kinds of column from the program would change with it."""
    copied = tmp_path / "empty"
    shutil.copytree(Schema().folder, copied)
    for written in (copied / "versions").glob("0*.py"):
        written.unlink()
    with create_engine("sqlite://").begin() as connection:
        Schema(copied).write(connection, "the first tables")
    words = (copied / "versions" / "0001_the_first_tables.py").read_text()
    assert "tracker." not in words
    for table in Base.metadata.tables:
        assert f'"{table}"' in words or f"'{table}'" in words
