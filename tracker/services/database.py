"""Where the data lie."""

from __future__ import annotations

from pathlib import Path

from tracker.store.database import Store


class Database:
    """The database in use."""

    def __init__(self, store: Store) -> None:
        self._store = store

    @property
    def url_shown(self) -> str:
        """Where it is, with any password hidden."""
        return self._store.url

    @property
    def path(self) -> Path | None:
        """The file it is, if it is one."""
        return self._store.path
