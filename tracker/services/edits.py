"""Adding, changing, renaming, retiring and deleting anything written down, and taking that back."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.domain.changes import Change, Key, Kind, Record
from tracker.errors import ConflictError, InputError, NotFoundError
from tracker.services.as_driven import mark_driven
from tracker.services.assessing import assess_and_save
from tracker.services.fitting import shares_problem
from tracker.services.noting import once
from tracker.services.saving import forget, remove_record, save_record
from tracker.store.database import Store
from tracker.store.records import Records
from tracker.store.steps import Step
from tracker.store.taking_back import take_back


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
                raise NotFoundError(f"no change {change_id[:60]!r} is kept; the newest 500 are; look at the list of changes.")
            if noted.change.undone:
                return noted.change
            steps = take_back(records, noted)
            _check_whole(records, noted.change, steps)
            _bring_up(records, steps)
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


def _check_whole(records: Records, change: Change, steps: Iterable[Step]) -> None:
    """Refuse to put back what would no longer fit with what was written down since."""
    try:
        for name in records.packs_in(steps):
            records.check_readings(name)
    except InputError as error:
        raise ConflictError(f"this cannot be taken back: {change.words}. {error}") from error
    controllers = {each.name: each for each in records.controllers()}
    touched = set(records.vehicles_in(steps))
    for vehicle in records.vehicles():
        words = shares_problem(vehicle, controllers) if vehicle.name in touched else None
        if words:
            raise ConflictError(f"this cannot be taken back: {change.words}. Since then other load shares were given: {words}")


def _bring_up(records: Records, steps: tuple[Step, ...]) -> None:
    """Mark stale what was estimated from what the steps touched, and estimate at once where runs or charges themselves came or went."""
    packs = records.packs_in(steps)
    for name in packs:
        forget(records, name)
    mark_driven(records, records.vehicles_in(steps))
    if steps and steps[0].table in ("run", "charge"):
        assess_and_save(records, packs)
