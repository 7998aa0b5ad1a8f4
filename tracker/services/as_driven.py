"""Runs keep the settings they were driven with, whatever becomes of controllers and vehicles later."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from tracker.domain.controller import Controller, Vehicle
from tracker.store.records import Records


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
