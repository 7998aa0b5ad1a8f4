"""Opening the database, and its transactions: one a call of `reading` or `writing`."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Hashable, Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import QueuePool

from tracker.errors import StoreError
from tracker.store.kept import FileVersion, Kept
from tracker.store.location import APPLICATION_ID, Location, locate
from tracker.store.records import Records
from tracker.store.schema import Schema, version_of
from tracker.store.wording import plain, plain_errors

WAIT_S = 15.0
"""How long a writer waits for another to finish before it gives up."""

_POSTGRES_LOCK = 0x50686C54
"""Number under which writers on PostgreSQL queue, one at a time as on SQLite; any number will do."""


class Store:
    """An open database."""

    def __init__(self, engine: Engine, location: Location, wait_s: float = WAIT_S) -> None:
        self._engine = engine
        self.location = location
        self.kept = Kept()
        """What was read and holds for as long as nothing is written."""
        self._file = None if location.path is None else FileVersion(location.path, wait_s)

    @property
    def url(self) -> str:
        """Where it lies, with the password hidden."""
        return self.location.shown

    @property
    def path(self) -> Path | None:
        """The file it is, if it is one."""
        return self.location.path

    @contextmanager
    def reading(self) -> Iterator[Records]:
        """One transaction that sees the database as it stood when it began, whatever others write meanwhile."""
        with plain_errors(), self._engine.connect() as connection:
            options: dict[str, Any] = {"access": "read"}
            if not self.location.is_sqlite:
                options |= {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
            seen = self._seen(connection)
            with connection.execution_options(**options).begin():
                yield Records(connection, seen)

    @contextmanager
    def writing(self) -> Iterator[Records]:
        """One transaction that may change the database; any exception inside undoes all of it.

        There is one writer at a time: what is read inside is still so when it is written. In memory, where there is
        but one connection, it must not be nested in another transaction.
        """
        with plain_errors(), self._engine.begin() as connection:
            yield Records(connection)

    def _seen(self, connection: Connection) -> Callable[[], Hashable | None]:
        """How to tell the version of what a transaction on this connection, not begun yet, is going to see."""
        if self._file is not None:
            version = self._file.now()
            return lambda: version
        if self.location.is_sqlite:
            return lambda: None
        return cache(lambda: connection.scalar(text("SELECT pg_current_snapshot()::text")))

    def close(self) -> None:
        """Close all connections."""
        if self._file is not None:
            self._file.close()
        self._engine.dispose()

    @contextmanager
    def raw_sqlite(self) -> Iterator[sqlite3.Connection]:
        """Lend a plain connection to an SQLite database, for copying: one of its own to a file, the one there is in memory."""
        if self.path is not None:
            with closing(sqlite3.connect(self.path, timeout=WAIT_S)) as connection:
                yield connection
            return
        lent = self._engine.raw_connection()
        try:
            if not isinstance(lent.driver_connection, sqlite3.Connection):
                raise StoreError(f"{self.url} is not an SQLite database.")
            yield lent.driver_connection
        finally:
            lent.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


def open_store(url: str | None = None, *, schema: Schema | None = None, wait_s: float = WAIT_S) -> Store:
    """Open the database at that URL, or the one in the user's data folder, making or bringing up its tables as needed.

    An SQLite file of an older schema is copied aside before it is changed.

    Raises
    ------
    StoreError
        In plain words: no such URL, driver, folder or server, another program's file, or a schema newer than this program's.
    """
    return open_location(locate(url), schema=schema, wait_s=wait_s)


def open_location(location: Location, *, schema: Schema | None = None, wait_s: float = WAIT_S) -> Store:
    """Open the database at a location already checked."""
    if location.path is not None:
        _mark_as_ours(location.path)
    engine = _engine(location, wait_s)
    try:
        _bring_up(engine, location, schema or Schema())
    except DBAPIError as error:
        engine.dispose()
        if not location.is_sqlite:
            raise StoreError(f"the PostgreSQL server cannot be used at {location.shown}: {plain(error)}") from error
        raise plain(error) from error
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, location, wait_s)


def _mark_as_ours(path: Path) -> None:
    """Write our number into the head of a new file before anything else, so that even a half-made one is known as ours."""
    if path.exists() and path.stat().st_size:
        return
    try:
        connection = sqlite3.connect(path, timeout=WAIT_S)
        try:
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise StoreError(f"the file {path} cannot be made: {error}; look at the rights of its folder.") from error


def _engine(location: Location, wait_s: float) -> Engine:
    options: dict[str, Any] = {"poolclass": QueuePool, "pool_timeout": wait_s}
    if location.is_sqlite:
        options["connect_args"] = {"timeout": wait_s, "check_same_thread": False}
    else:
        options |= {"pool_pre_ping": True}
    if location.in_memory:
        # The database lives and dies with its connection, so there is one, taken in turns.
        options |= {"pool_size": 1, "max_overflow": 0}
    try:
        engine = create_engine(location.url, **options)
    except (ImportError, NoSuchModuleError) as error:
        raise StoreError(
            f"the driver for '{location.url.drivername}' is not installed; install this program with its extra 'postgres' "
            "and write the URL as postgresql://USER@HOST/DATABASE."
        ) from error
    except (ArgumentError, TypeError, ValueError) as error:
        raise StoreError(f"the database URL {location.shown} cannot be used: {error}.") from error
    if engine.dialect.is_async:
        raise StoreError(f"the driver '{location.url.drivername}' cannot be used; write postgresql://USER@HOST/DATABASE.")
    if location.is_sqlite:
        _set_up_sqlite(engine, wait_s, in_memory=location.in_memory)
    else:
        _set_up_postgresql(engine, wait_s)
    return engine


def _set_up_sqlite(engine: Engine, wait_s: float, *, in_memory: bool) -> None:
    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _record: object) -> None:
        # Transactions are begun below, in words; Python's own guessing when to begin would leave the first reads outside.
        connection.isolation_level = None
        for pragma in (
            f"busy_timeout={int(wait_s * 1000)}",
            "journal_mode=WAL",
            # What was answered with "stored" outlives a loss of power; NORMAL would only keep the file whole.
            "synchronous=FULL",
        ):
            connection.execute(f"PRAGMA {pragma}")
        if in_memory:
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        access = connection.get_execution_options().get("access", "write")
        # Both hold between transactions only. Tables are made anew while migrating, which would set off the cascades.
        connection.exec_driver_sql(f"PRAGMA foreign_keys={'OFF' if access == 'migrate' else 'ON'}")
        connection.exec_driver_sql(f"PRAGMA query_only={'ON' if access == 'read' else 'OFF'}")
        # A deferred transaction that turns from reading to writing fails at once when another writes; an immediate one waits.
        connection.exec_driver_sql("BEGIN" if access == "read" else "BEGIN IMMEDIATE")


def _set_up_postgresql(engine: Engine, wait_s: float) -> None:
    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("access", "write") != "read":
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(wait_s * 1000)}")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_POSTGRES_LOCK}, hashtext(current_schema()))")


def _bring_up(engine: Engine, location: Location, schema: Schema) -> None:
    with engine.connect() as connection, connection.execution_options(access="read").begin():
        version = version_of(connection)
    if version == schema.newest:
        return
    with engine.connect() as connection, connection.execution_options(access="migrate").begin():
        version = version_of(connection)  # another may have brought it up meanwhile
        if version is not None and version not in schema.versions:
            raise StoreError(
                f"the database {location.shown} was written by a newer version of this program (its schema is {version}, "
                f"this version knows up to {schema.newest}); install the newer version, or name another database."
            )
        if version == schema.newest:
            return
        if version is not None and location.path is not None:
            _copy_aside(location.path, schema.newest)
        schema.upgrade(connection)


def _copy_aside(path: Path, newest: str) -> Path:
    """Copy a file that is about to be changed, under a name that says before what."""
    number, aside = 1, path.with_name(f"{path.stem}.before-{newest}{path.suffix}")
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.stem}.before-{newest}-{number}{path.suffix}")
    source, target = sqlite3.connect(path), sqlite3.connect(aside)
    try:
        source.backup(target)
    except sqlite3.Error as error:
        raise StoreError(f"{path} could not be copied to {aside} before its schema changes ({error}); it was left as it is.") from error
    finally:
        target.close()
        source.close()
    return aside
