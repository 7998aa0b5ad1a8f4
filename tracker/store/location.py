"""Where the database lies: a file, memory or a PostgreSQL server, told from its URL and checked before it is opened."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

from platformdirs import user_data_dir
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from tracker.errors import StoreError

FOLDER_NAME = "pack-health-tracker"
FILE_NAME = "logbook.sqlite3"

FILE_MAGIC = b"SQLite format 3\0"
APPLICATION_ID = 0x50686C54
"""Written into the head of every file of ours, so that another program's database is never mistaken for one."""

_HOW = "write sqlite:///FILE or postgresql://USER@HOST/DATABASE"


@dataclass(frozen=True, slots=True)
class Location:
    """A place a database may lie in."""

    url: URL
    path: Path | None
    """The file, when it is one."""
    in_memory: bool = False

    @property
    def is_sqlite(self) -> bool:
        """Whether it is an SQLite database."""
        return self.url.get_backend_name() == "sqlite"

    @property
    def shown(self) -> str:
        """The URL with the password hidden."""
        return self.url.render_as_string(hide_password=True)


def default_path() -> Path:
    """Return the file used when no database is named: in the place the platform keeps a user's data."""
    return Path(user_data_dir(FOLDER_NAME, appauthor=False)) / FILE_NAME


def locate(url: str | None) -> Location:
    """Read a database URL; without one, take the file in the user's data folder and make that folder.

    Raises
    ------
    StoreError
        When it is not a URL of SQLite or PostgreSQL, or names a file that cannot be one of ours.
    """
    if url is None:
        path = default_path()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"the folder {path.parent} cannot be made: {error.strerror}; name a database elsewhere: {_HOW}.") from error
        return at_path(path)
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError) as error:
        raise StoreError(f"the database given is not a URL; {_HOW}.") from error
    backend = parsed.get_backend_name()
    if backend == "sqlite":
        return _sqlite(parsed)
    if backend in ("postgresql", "postgres"):
        return _postgresql(parsed)
    raise StoreError(f"the database '{backend}' is not one this program can use; {_HOW}.")


def at_path(path: Path) -> Location:
    """Return the location of an SQLite file, checked."""
    path = Path(os.path.abspath(path.expanduser()))  # noqa: PTH100 - resolve() would replace a link by its target in messages
    _check_file(path)
    return Location(URL.create("sqlite", database=str(path)), path)


def _sqlite(parsed: URL) -> Location:
    if parsed.get_driver_name() not in ("pysqlite", ""):
        raise StoreError(f"the driver '{parsed.get_driver_name()}' is not one this program can use; write sqlite:///FILE.")
    database = parsed.database or ""
    if parsed.host:
        raise StoreError("an SQLite URL has three slashes before a relative file and four before one from the root: sqlite:///FILE.")
    if database in ("", ":memory:") or parsed.query.get("mode") == "memory":
        return Location(URL.create("sqlite"), None, in_memory=True)
    if database.startswith("file:"):
        database = unquote(database.removeprefix("file:"))
    return at_path(Path(database))


def _postgresql(parsed: URL) -> Location:
    if parsed.drivername in ("postgresql", "postgres"):
        parsed = parsed.set(drivername="postgresql+psycopg")
    if not parsed.database:
        raise StoreError(f"the PostgreSQL URL names no database; {_HOW}.")
    return Location(parsed, None)


def _check_file(path: Path) -> None:
    folder = path.parent
    if not folder.is_dir():
        raise StoreError(f"the folder {folder} does not exist; make it first, or name a file elsewhere.")
    if path.is_dir():
        raise StoreError(f"{path} is a folder; name a file in it.")
    # SQLite keeps files of its own beside the database, so the folder must be writable as well.
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StoreError(f"the folder {folder} cannot be written; change its rights, or name a file elsewhere.")
    if not path.exists():
        return
    if not os.access(path, os.R_OK | os.W_OK):
        raise StoreError(f"the file {path} cannot be read and written; change its rights, or name another.")
    if not path.is_file():
        raise StoreError(f"{path} is not an ordinary file; name another.")
    head = read_head(path)
    if head and not is_ours(head):
        what = "an SQLite database of another program" if head.startswith(FILE_MAGIC) else "not a database"
        raise StoreError(f"the file {path} is {what}; nothing was changed; name another file.")


def read_head(path: Path) -> bytes:
    """Return the first bytes of a file, in which an SQLite database says whose it is."""
    try:
        with path.open("rb") as file:
            return file.read(100)
    except OSError as error:
        raise StoreError(f"the file {path} cannot be read: {error.strerror}.") from error


def is_ours(head: bytes) -> bool:
    """Tell whether a file that begins so is an SQLite database made by this program."""
    # Bytes 68 to 71 are the application's number: SQLite, Database File Format, section 1.3.15, sqlite.org/fileformat2.html.
    return head.startswith(FILE_MAGIC) and head[68:72] == APPLICATION_ID.to_bytes(4, "big")
