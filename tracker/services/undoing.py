"""Taking back what was done to the logbook, and bringing up to date what was worked out from it."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.domain.changes import Change
from tracker.errors import ConflictError, InputError
from tracker.services.as_driven import mark_driven
from tracker.services.assessing import assess_and_save
from tracker.services.fitting import shares_problem
from tracker.services.saving import forget
from tracker.store.changes import NotedChange
from tracker.store.records import Records
from tracker.store.steps import Step
from tracker.store.taking_back import take_back


def undo_change(records: Records, noted: NotedChange) -> tuple[Step, ...]:
    """Take a change back, and return what that put back; ConflictError, saying what, when something of it has been changed since."""
    steps = take_back(records, noted)
    _check_whole(records, noted.change, steps)
    return steps


def bring_up(records: Records, steps: tuple[Step, ...]) -> None:
    """Mark stale what was estimated from what the steps touched, and estimate at once where runs or charges themselves came or went."""
    packs = records.packs_in(steps)
    for name in packs:
        forget(records, name)
    mark_driven(records, records.vehicles_in(steps))
    if steps and steps[0].table in ("run", "charge"):
        assess_and_save(records, packs)


def _check_whole(records: Records, change: Change, steps: Iterable[Step]) -> None:
    """Refuse to put back what would no longer fit with what was written down since."""
    try:
        for name in records.packs_in(steps):
            records.check_readings(name)
    except InputError as error:
        raise ConflictError(f"this cannot be taken back: {change.words}. Now {error}") from error
    controllers = {each.name: each for each in records.controllers()}
    touched = set(records.vehicles_in(steps))
    for vehicle in records.vehicles():
        words = shares_problem(vehicle, controllers) if vehicle.name in touched else None
        if words:
            raise ConflictError(f"this cannot be taken back: {change.words}. Since then other load shares were given: {words}")
