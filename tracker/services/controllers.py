"""Speed controllers and the vehicles that carry them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from tracker.domain.bench import BenchFileResult, BenchResult, Meter
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.session import BenchTest
from tracker.errors import ConflictError, FieldErrors, NotFoundError
from tracker.services.benching import checked, file_results, result_of_one, stored_results
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

    def bench(self, controller: str | None = None, meter: Meter | None = None) -> tuple[BenchResult, ...]:
        """What the stored bench tests show of every controller, or of the one named; NotFoundError where none of it is stored."""
        with self._store.reading() as records:
            return stored_results(records, controller, meter)

    def bench_file(
        self, path: Path, controller: str | None = None, meter: Meter | None = None, delay_s: float | None = None
    ) -> BenchFileResult:
        """What a bench file shows, judged beside what is stored of its controllers; nothing of it is stored."""
        with self._store.reading() as records:
            return file_results(records, path, controller, meter, delay_s)

    def preview_bench(self, test: BenchTest) -> BenchResult:
        """What a bench test shows by itself, as far as it has come; nothing is stored. FieldErrors when it cannot be one."""
        checked(test)
        with self._store.reading() as records:
            return result_of_one(records, test)

    def log_bench(self, test: BenchTest) -> BenchResult:
        """Store a bench test, and return what all tests of its controller show with it.

        NotFoundError when the controller is not stored, FieldErrors when it cannot be a test, ConflictError when one of that time is stored.
        """
        checked(test)
        with self._store.writing() as records:
            known = [controller.name for controller in records.controllers()]
            if test.controller not in known:
                raise NotFoundError(f"{unknown('controller', test.controller, known, 'name one of those, or describe it first')}.")
            if records.bench_test(test.controller, test.tested_at) is not None:
                at = f"{test.tested_at.astimezone():%Y-%m-%d %H:%M:%S}"
                raise ConflictError(f"A bench test of '{test.controller}' at {at} is stored already; give another time.")
            records.add_bench_tests([test])
            [result] = stored_results(records, test.controller, None)
            return result

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

    A vehicle with a controller that has no cutoff is left as it is: a run cannot say "none" for one of several. Where a
    controller now counts in cells instead of packs, or the other way about, what past runs hold is put in its new terms.
    """
    stored = {each.name: each for each in records.controllers()}
    given = {each.name: each for each in controllers if each.name in stored}
    moved = [name for name, new in given.items() if (new.cutoff_mode, new.cutoff_v) != (stored[name].cutoff_mode, stored[name].cutoff_v)]
    before = {each.name: each for each in records.vehicles()}
    rewired = {vehicle.name for vehicle in vehicles if vehicle.name in before and vehicle.controllers != before[vehicle.name].controllers}
    for name in carriers(before.values(), moved) | rewired:
        carried = [stored[controller] for controller in before[name].controllers]
        settings = [each.cutoff_v for each in carried if each.cutoff_mode != "none" and each.cutoff_v is not None]
        if carried and len(settings) == len(carried):
            records.keep_settings(name, tuple(settings))
        modes = [(each.cutoff_mode, given.get(each.name, each).cutoff_mode) for each in carried]
        if any((old == "cell_v") != (new == "cell_v") for old, new in modes):
            _put_in_new_terms(records, name, modes)


def _put_in_new_terms(records: Records, vehicle: str, modes: Sequence[tuple[str, str]]) -> None:
    """Turn the settings of a vehicle's past runs from volts a cell into volts of the pack, or back."""
    series = {pack.name: pack.series for pack in records.packs()}
    for run in records.runs(records.packs_driven((vehicle,))):
        if run.vehicle == vehicle and len(run.cutoff_v) == len(modes):
            volts = (_in_new_terms(value, old, new, series[run.pack]) for value, (old, new) in zip(run.cutoff_v, modes, strict=True))
            records.replace_run(replace(run, cutoff_v=tuple(volts)))


def _in_new_terms(cutoff_v: float, old: str, new: str, series: int) -> float:
    if (old == "cell_v") == (new == "cell_v"):
        return cutoff_v
    return round(cutoff_v * series if old == "cell_v" else cutoff_v / series, 4)


def mark_driven(records: Records, vehicles: Iterable[str]) -> None:
    """Mark every pack stale that was driven in one of these vehicles."""
    for pack in records.packs_driven(tuple(vehicles)):
        records.mark_stale(pack)


def _check_carried(records: Records, vehicle: Vehicle) -> None:
    known = [controller.name for controller in records.controllers()]
    for name in vehicle.controllers:
        if name not in known:
            raise FieldErrors({"controllers": unknown("controller", name, known, "describe it first, with its cutoff mode")})
