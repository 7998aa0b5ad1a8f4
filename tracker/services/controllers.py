"""Speed controllers and the vehicles that carry them."""

from __future__ import annotations

from collections.abc import Iterable

from tracker.domain.controller import Controller, Vehicle
from tracker.errors import FieldErrors
from tracker.services.checks import unknown
from tracker.store.database import Store
from tracker.store.records import Records


class Controllers:
    """Controllers and vehicles."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def all(self) -> tuple[Controller, ...]:
        """Every controller, by name."""
        with self._store.reading() as records:
            return records.controllers()

    def vehicles(self) -> tuple[Vehicle, ...]:
        """Every vehicle, by name."""
        with self._store.reading() as records:
            return records.vehicles()

    def save(self, record: Controller | Vehicle) -> None:
        """Store a controller or vehicle, or change the one of that name."""
        with self._store.writing() as records:
            if isinstance(record, Vehicle):
                _check_carried(records, record)
                keep_as_driven(records, vehicles=[record])
                records.put_vehicle(record)
                touched = {record.name}
            else:
                keep_as_driven(records, controllers=[record])
                records.put_controller(record)
                touched = carriers(records.vehicles(), [record.name])
            mark_driven(records, touched)


def carriers(vehicles: Iterable[Vehicle], controllers: Iterable[str]) -> set[str]:
    """Return the vehicles that carry any of these controllers."""
    wanted = set(controllers)
    return {vehicle.name for vehicle in vehicles if wanted.intersection(vehicle.controllers)}


def keep_as_driven(records: Records, controllers: Iterable[Controller] = (), vehicles: Iterable[Vehicle] = ()) -> None:
    """Write the settings that stood until now into past runs that name none, before these records change them.

    A vehicle with a controller that has no cutoff is left as it is: a run cannot say "none" for one of several.
    """
    stored = {each.name: each for each in records.controllers()}
    moved = [
        given.name
        for given in controllers
        if given.name in stored and (given.cutoff_mode, given.cutoff_v) != (stored[given.name].cutoff_mode, stored[given.name].cutoff_v)
    ]
    before = {each.name: each for each in records.vehicles()}
    rewired = {given.name for given in vehicles if given.name in before and given.controllers != before[given.name].controllers}
    for name in carriers(before.values(), moved) | rewired:
        carried = [stored[controller] for controller in before[name].controllers]
        settings = [each.cutoff_v for each in carried if each.cutoff_mode != "none" and each.cutoff_v is not None]
        if carried and len(settings) == len(carried):
            records.keep_settings(name, tuple(settings))


def mark_driven(records: Records, vehicles: Iterable[str]) -> None:
    """Mark every pack stale that was driven in one of these vehicles."""
    for pack in records.packs_driven(tuple(vehicles)):
        records.mark_stale(pack)


def _check_carried(records: Records, vehicle: Vehicle) -> None:
    known = [controller.name for controller in records.controllers()]
    for name in vehicle.controllers:
        if name not in known:
            raise FieldErrors({"controllers": unknown("controller", name, known, "describe it first, with its cutoff mode")})
