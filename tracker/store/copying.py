"""A copy of everything in one file, made while others write, and back again after it has been checked."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Connection, Integer, LargeBinary, Table, delete, func, insert, select, text

from tracker.domain.progress import Progress
from tracker.errors import StoreError
from tracker.store.database import Store, open_location
from tracker.store.location import at_path, default_path, is_ours, read_head
from tracker.store.tables import Base

_ROWS_AT_A_TIME = 5_000
_LARGE_ROWS_AT_A_TIME = 4
"""Of a table whose rows may hold megabytes."""


def backup(store: Store, file: Path, progress: Progress | None = None) -> Path:
    """Copy the database into one SQLite file, as it stands at this moment whatever others write meanwhile.

    The file appears whole or not at all; an earlier copy of the same name is replaced.
    """
    file = Path(os.path.abspath(file.expanduser()))  # noqa: PTH100 - a link stays a link
    _check_target(store, file)
    with _folder_beside(file.parent) as folder:
        copy = folder / "copy.sqlite3"
        if store.location.is_sqlite:
            with store.raw_sqlite() as source:
                _copy_file(source, copy)
        else:
            with open_location(at_path(copy)) as target, store.reading() as seen, target.writing() as written:
                _copy_rows(seen.connection, written.connection, progress)
        _make_single(copy)
        _check_whole(copy, file)
        try:
            copy.replace(file)
        except OSError as error:
            raise StoreError(f"the copy cannot be put at {file}: {error.strerror}.") from error
    return file


def restore(store: Store, file: Path, progress: Progress | None = None) -> None:
    """Replace everything in the database by what a copy holds, in one transaction, after the copy has been checked."""
    with opened_copy(file) as source, source.reading() as seen, store.writing() as written:
        _replace_rows(seen.connection, written.connection, progress)


def replace_all(store: Store, file: Path, progress: Progress | None = None) -> Path:
    """Restore a copy, and return a copy of what it replaced; nothing can be written between the two and be in neither."""
    if store.location.in_memory:  # there is but one connection, which cannot be read beside its own writing
        kept = copy_aside(store, progress)
        restore(store, file, progress)
        return kept
    with opened_copy(file) as source, source.reading() as seen, store.writing() as written:
        kept = copy_aside(store, progress)
        _replace_rows(seen.connection, written.connection, progress)
    return kept


@contextmanager
def opened_copy(file: Path) -> Iterator[Store]:
    """Lend what a copy holds as a database of its own, after it has been checked.

    A copy of an older schema is brought up to date first, on a copy of the copy; the file given is never changed.

    Raises
    ------
    StoreError
        When the file is not one of ours, is damaged or is newer than this program.
    """
    file = file.expanduser()
    if not file.is_file():
        raise StoreError(f"the file {file} does not exist; name a copy made by 'backup'.")
    if not is_ours(read_head(file)):
        raise StoreError(f"the file {file} is not a copy made by this program; name a copy made by 'backup'.")
    with tempfile.TemporaryDirectory(prefix="pack-tracker-") as name:
        copy = Path(name) / "copy.sqlite3"
        try:
            with closing(sqlite3.connect(f"file:{quote(str(file.resolve()))}?mode=ro", uri=True)) as source:
                _copy_file(source, copy)
        except sqlite3.Error as error:
            raise StoreError(f"the file {file} is damaged ({error}); name another copy.") from error
        _check_whole(copy, file)
        with open_location(at_path(copy)) as opened:
            yield opened


def copy_aside(store: Store, progress: Progress | None = None) -> Path:
    """Copy everything to a name of its own beside the database, or in the user's data folder where the database is not a file."""
    near = store.path or default_path()
    stamp = datetime.now().astimezone().strftime("%Y-%m-%d-%H%M%S")
    number, file = 1, near.with_name(f"{near.stem}.replaced-{stamp}.sqlite3")
    while file.exists():
        number += 1
        file = near.with_name(f"{near.stem}.replaced-{stamp}-{number}.sqlite3")
    if store.path is None:
        file.parent.mkdir(parents=True, exist_ok=True)
    return backup(store, file, progress)


def _check_target(store: Store, file: Path) -> None:
    if not file.parent.is_dir():
        raise StoreError(f"the folder {file.parent} does not exist; make it first, or name a file elsewhere.")
    if file.is_dir():
        raise StoreError(f"{file} is a folder; name a file in it.")
    if not file.exists():
        return
    if store.path is not None and file.samefile(store.path):
        raise StoreError(f"{file} is the database itself; name another file for its copy.")
    head = read_head(file)
    if head and not is_ours(head):
        raise StoreError(f"{file} exists and is not a copy made by this program; it was left as it is; name another file.")


@contextmanager
def _folder_beside(parent: Path) -> Iterator[Path]:
    # A file is only replaced in one step by another on the same disk, so the copy grows in a folder beside its place.
    try:
        folder = tempfile.TemporaryDirectory(prefix=".pack-tracker-", dir=parent)
    except OSError as error:
        raise StoreError(f"the folder {parent} cannot be written: {error.strerror}; name a file elsewhere.") from error
    with folder as name:
        yield Path(name)


def _copy_file(source: sqlite3.Connection, copy: Path) -> None:
    try:
        with closing(sqlite3.connect(copy)) as target:
            source.backup(target)
    except sqlite3.OperationalError as error:
        raise StoreError(f"the copy could not be made: {error}; nothing was changed.") from error


def _make_single(copy: Path) -> None:
    """Leave everything in the one file and on the disk, with no journal beside it."""
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
    with copy.open("rb+") as file:
        os.fsync(file.fileno())


def _check_whole(copy: Path, named: Path) -> None:
    try:
        with closing(sqlite3.connect(copy)) as connection:
            said = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
            loose = connection.execute("PRAGMA foreign_key_check").fetchone()
    except sqlite3.Error as error:
        raise StoreError(f"{named} is damaged ({error}); nothing was changed; name another copy.") from error
    if said != "ok":
        raise StoreError(f"{named} is damaged ({said}); nothing was changed; name another copy.")
    if loose is not None:
        raise StoreError(f"{named} is damaged (a row of '{loose[0]}' names a record that is not there); nothing was changed; name another.")


def _replace_rows(source: Connection, target: Connection, progress: Progress | None) -> None:
    for table in reversed(Base.metadata.sorted_tables):
        target.execute(delete(table))
    _copy_rows(source, target, progress)
    if target.dialect.name == "postgresql":
        for table in Base.metadata.sorted_tables:
            _count_on(target, table)


def _copy_rows(source: Connection, target: Connection, progress: Progress | None) -> None:
    tables = Base.metadata.sorted_tables
    total = sum(source.scalar(select(func.count()).select_from(table)) or 0 for table in tables)
    done = 0
    for table in tables:
        large = any(isinstance(column.type, LargeBinary) for column in table.columns)
        at_once = _LARGE_ROWS_AT_A_TIME if large else _ROWS_AT_A_TIME
        rows = source.execution_options(yield_per=at_once).execute(select(table)).mappings()
        for part in rows.partitions(at_once):
            target.execute(insert(table), [dict(row) for row in part])
            done += len(part)
            if progress is not None:
                progress("copying", done, total)


def _count_on(target: Connection, table: Table) -> None:
    """Rows copied with their numbers do not move PostgreSQL's counters; the next new row must get a number of its own."""
    if "id" in table.c and isinstance(table.c.id.type, Integer):
        highest = target.scalar(select(func.max(table.c.id))) or 0
        target.execute(text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :next, false)"), {"name": table.name, "next": highest + 1})
