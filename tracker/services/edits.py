"""Adding, changing, renaming, retiring and deleting anything written down, and taking that back."""

from __future__ import annotations

from tracker.domain.changes import Change, Key, Kind, Record
from tracker.errors import NotFoundError
from tracker.services.noting import once
from tracker.services.saving import remove_record, save_record
from tracker.services.undoing import bring_up, undo_change
from tracker.store.changes import KEPT
from tracker.store.database import Store


class Edits:
    """Everything that can be done to the logbook one record at a time, each with a way back."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def save(self, record: Record, *, replacing: Key | None = None, change_id: str | None = None) -> Change:
        """Store a new record, or change the one named by `replacing`, also its name or time; what hangs on it stays with it.

        The same `change_id` with the same record again does nothing and returns the change noted the first time.

        Raises
        ------
        FieldErrors
            By column, when the record cannot be.
        ConflictError
            When another record of that key is stored, or `change_id` stands for another change.
        NotFoundError
            When the record to be changed, or one that it names, is not stored.
        """
        with self._store.writing() as records:
            return once(records, change_id, ("save", record, replacing), lambda: save_record(records, record, replacing))

    def remove(self, kind: Kind, key: Key, *, change_id: str | None = None) -> Change:
        """Delete a record: a pack with its runs and charges, a controller with its bench tests.

        ConflictError when a vehicle or controller is still in use; NotFoundError when there is no such record.
        """
        with self._store.writing() as records:
            return once(records, change_id, ("remove", kind, key), lambda: remove_record(records, kind, key))

    def undo(self, change_id: str) -> Change:
        """Put everything a change touched back as it was; what was taken back before stays so.

        ConflictError, saying what, when something it touched has been changed since; NotFoundError when it is not known.
        """
        with self._store.writing() as records:
            noted = records.noted_change(change_id)
            if noted is None:
                raise NotFoundError(f"no change {change_id[:60]!r} is kept; the newest {KEPT} are; look at the list of changes.")
            if noted.change.undone:
                return noted.change
            bring_up(records, undo_change(records, noted))
            found = records.noted_change(change_id)
            return noted.change if found is None else found.change

    def done(self, change_id: str) -> Change | None:
        """Return the change of that id, if it was done."""
        with self._store.reading() as records:
            noted = records.noted_change(change_id)
        return None if noted is None else noted.change

    def recent(self, limit: int = 20) -> tuple[Change, ...]:
        """Return the last changes, newest first."""
        with self._store.reading() as records:
            return records.changes(limit)

    def last(self) -> Change | None:
        """Return the newest change that was not taken back."""
        with self._store.reading() as records:
            return records.last_change()
