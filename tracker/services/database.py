"""Where the data lie, and how much of them there is."""

from __future__ import annotations

from pathlib import Path

from tracker.domain.exchange import Contents, DatabaseFacts
from tracker.estimators import MODEL
from tracker.services.assessing import waiting_runs
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

    def contents(self) -> Contents:
        """Return how many records of each kind there are."""
        with self._store.reading() as records:
            return records.contents()

    def facts(self) -> DatabaseFacts:
        """Return everything there is to say about it."""
        with self._store.reading() as records:
            contents, size, schema = records.contents(), records.size_bytes(), records.schema_version()
        location = self._store.location
        return DatabaseFacts(
            kind="SQLite" if location.is_sqlite else "PostgreSQL",
            shown="" if location.in_memory else str(location.path or location.shown),
            size_bytes=size,
            schema=schema,
            model=MODEL,
            contents=contents,
            waiting_runs=waiting_runs(self._store),
        )
