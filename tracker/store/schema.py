"""The schema's versions: which one a database has, and bringing it to the newest with Alembic, configured here."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

from tracker.errors import StoreError

if TYPE_CHECKING:
    from alembic.config import Config

VERSION_TABLE = "pack_tracker_version"
_FILE = re.compile(r"(\d{4})_\w+\.py")

# Alembic keeps the migration under way in a module's globals, so one thread at a time may migrate.
_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True)
class Schema:
    """The migrations in one folder."""

    folder: Path = Path(__file__).parent / "migrations"

    @property
    def versions(self) -> tuple[str, ...]:
        """Numbers of all migrations, oldest first; read from the files' names, so that opening a database costs little."""
        return tuple(sorted(match.group(1) for path in (self.folder / "versions").iterdir() if (match := _FILE.fullmatch(path.name))))

    @property
    def newest(self) -> str:
        """Number of the newest migration."""
        return self.versions[-1]

    def upgrade(self, connection: Connection, to: str = "head") -> None:
        """Bring the database up to a version inside the transaction the connection has begun."""
        from alembic import command

        with _one_at_a_time:
            command.upgrade(self._config(connection), to)
        _check_references(connection)

    def downgrade(self, connection: Connection, to: str) -> None:
        """Bring the database down to a version inside the transaction the connection has begun."""
        from alembic import command

        with _one_at_a_time:
            command.downgrade(self._config(connection), to)
        _check_references(connection)

    def differences(self, connection: Connection) -> list[object]:
        """Return what a migrated database still lacks of the tables in code, or has too much."""
        from alembic.autogenerate import compare_metadata
        from alembic.migration import MigrationContext

        from tracker.store.tables import Base

        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE, "compare_type": True})
        return list(compare_metadata(context, Base.metadata))

    def write(self, connection: Connection, words: str) -> None:
        """Write a new migration from what the database lacks of the tables in code."""
        from alembic import command

        with _one_at_a_time:
            command.revision(self._config(connection), words, autogenerate=True, rev_id=f"{int((self.versions or ('0',))[-1]) + 1:04d}")

    def _config(self, connection: Connection) -> Config:
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(self.folder).replace("%", "%%"))
        config.set_main_option("file_template", "%%(rev)s_%%(slug)s")
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        return config


def version_of(connection: Connection) -> str | None:
    """Return the version of the schema a database has; None when it is empty.

    Raises
    ------
    StoreError
        When another program's tables stand where ours belong.
    """
    present = set(inspect(connection).get_table_names())
    if VERSION_TABLE in present:
        version: str | None = connection.scalar(text(f"SELECT version_num FROM {VERSION_TABLE}"))  # noqa: S608 - a constant of ours
        return version
    from tracker.store.tables import Base

    foreign = sorted(present & set(Base.metadata.tables))
    if foreign:
        raise StoreError(f"the database holds tables of another program ({', '.join(foreign)}); name an empty one.")
    return None


def _check_references(connection: Connection) -> None:
    # On SQLite foreign keys are not enforced while tables are made anew, so they are checked before the migration counts.
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
        if broken is not None:
            raise StoreError(f"the database was left as it is: after the change of its schema a row of '{broken[0]}' would name nothing.")
