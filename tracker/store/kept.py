"""What was read is kept for as long as nothing in the database has changed, by whichever program.

Every reading transaction knows a *version* of what it sees. Two of the same version see the same, so what the one has
read the other need not read again:

- in an SQLite file, `PRAGMA data_version` on a connection that never writes: it changes with every commit of any other
  connection of this program or another. It is asked for before the transaction begins, so what is read may be newer than
  its version says, never older.
- on PostgreSQL, the transaction's own snapshot, which says which transactions it sees.
- in memory there is none, and nothing is kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Hashable
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar, cast

from tracker.store.records import Records

Found = TypeVar("Found")
MOST_KEPT = 16


class Kept:
    """What was read of one version, the newest asked for."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._version: Hashable | None = None
        self._found: dict[Hashable, Any] = {}

    def read(self, records: Records, what: Hashable, make: Callable[[], Found]) -> Found:
        """What `make` reads, kept under `what`; it must depend on nothing but the database, and never be changed by who gets it."""
        version = records.version
        if version is None:
            return make()
        with self._lock:
            if self._version == version and what in self._found:
                return cast(Found, self._found[what])
        found = make()
        with self._lock:
            if self._version != version or len(self._found) >= MOST_KEPT:
                self._version, self._found = version, {}
            self._found[what] = found
        return found


class FileVersion:
    """The version of an SQLite file."""

    def __init__(self, path: Path, wait_s: float) -> None:
        self._path, self._wait_s = path, wait_s
        self._lock = Lock()
        self._watching: sqlite3.Connection | None = None
        self._file, self._opened = (0, 0), 0

    def now(self) -> Hashable:
        """The version as it is now."""
        with self._lock:
            status = self._path.stat()
            file = (status.st_dev, status.st_ino)
            if self._watching is None or file != self._file:
                self._close()
                self._watching = sqlite3.connect(self._path, timeout=self._wait_s, check_same_thread=False, isolation_level=None)
                self._file, self._opened = file, self._opened + 1
            return (self._opened, self._watching.execute("PRAGMA data_version").fetchone()[0])

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._close()

    def _close(self) -> None:
        if self._watching is not None:
            self._watching.close()
            self._watching = None
