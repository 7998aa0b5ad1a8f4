"""What a record must fit before it is stored: itself, the other records, and the calendar."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from tracker.domain.changes import Kind
from tracker.domain.controller import CUTOFF_MODES, Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run
from tracker.errors import FieldErrors, NotFoundError
from tracker.intake.checks import against_series, within
from tracker.intake.text import name_problem
from tracker.services.benching import checked
from tracker.services.checks import Problem, pack_problems, time_problems, unknown
from tracker.store.records import Records

SHARES_TOLERANCE = 0.001
"""So far above 1 the load shares of a vehicle's controllers may add up: thirds are written with few digits."""


def check_run(records: Records, run: Run) -> None:
    """Refuse a run whose pack or vehicle is not stored, or whose readings do not fit the pack."""
    problems = dict(_session_problems(records, run))
    vehicles = [vehicle.name for vehicle in records.vehicles()]
    if run.vehicle is not None and run.vehicle not in vehicles:
        what_to_do = "look at the spelling, or store it first (--new-vehicle, or a vehicles file)"
        problems["vehicle"] = unknown("vehicle", run.vehicle, vehicles, what_to_do)
    _refuse(problems)


def check_charge(records: Records, charge: Charge) -> None:
    """Refuse a charge whose pack is not stored, or whose readings do not fit the pack."""
    _refuse(dict(_session_problems(records, charge)))


def check_bench(records: Records, test: BenchTest) -> None:
    """Refuse what cannot be a bench test, or one of a controller that is not stored."""
    checked(test)
    known = [controller.name for controller in records.controllers()]
    if test.controller not in known:
        raise NotFoundError(f"{unknown('controller', test.controller, known, 'name one of those, or describe it first')}.")


def check_pack(records: Records, pack: Pack) -> None:
    """Refuse a pack that cannot be."""
    _refuse(dict([*_name_problems("pack", pack.name), *pack_problems(pack), *within(pack)]))


def check_controller(records: Records, controller: Controller) -> None:
    """Refuse a controller whose settings contradict each other, or whose load share is more than its vehicles have left."""
    problems = dict([*_name_problems("controller", controller.name), *_settings_problems(controller), *within(controller)])
    known = {each.name: each for each in records.controllers()} | {controller.name: controller}
    for vehicle in records.vehicles():
        words = shares_problem(vehicle, known) if controller.name in vehicle.controllers else None
        if words:
            problems["load_share"] = words
    _refuse(problems)


def check_vehicle(records: Records, vehicle: Vehicle) -> None:
    """Refuse a vehicle that names controllers twice or ones that are not stored, or whose load shares add up to too much."""
    problems = dict(_name_problems("vehicle", vehicle.name))
    known = {each.name: each for each in records.controllers()}
    missing = [name for name in vehicle.controllers if name not in known]
    if missing:
        problems["controllers"] = unknown("controller", missing[0], list(known), "describe it first, with its cutoff mode")
    elif len(set(vehicle.controllers)) != len(vehicle.controllers):
        problems["controllers"] = "a controller is named twice; name each once."
    elif words := shares_problem(vehicle, known):
        problems["controllers"] = words
    _refuse(problems)


CHECKS: Mapping[Kind, Callable[[Records, Any], None]] = {
    "pack": check_pack,
    "vehicle": check_vehicle,
    "controller": check_controller,
    "run": check_run,
    "charge": check_charge,
    "bench": check_bench,
}


def shares_problem(vehicle: Vehicle, controllers: Mapping[str, Controller]) -> str | None:
    """Return what is wrong with the load shares of a vehicle's controllers, or None."""
    shares = [share for name in vehicle.controllers if (share := controllers[name].load_share) is not None]
    if sum(shares) <= 1 + SHARES_TOLERANCE:
        return None
    listed = " + ".join(f"{share:g}" for share in shares)
    return f"the load shares of the controllers in '{vehicle.name}' add up to {listed} = {sum(shares):g}; allowed is 1 in all."


def _session_problems(records: Records, session: Run | Charge) -> Iterator[Problem]:
    packs = {pack.name: pack for pack in records.packs()}
    if session.pack not in packs:
        raise NotFoundError(unknown("pack", session.pack, list(packs), "look at the spelling, or bring in a packs file that describes it."))
    yield from against_series(session, packs[session.pack].series)
    yield from time_problems(session, datetime.now(UTC))


def _name_problems(column: str, name: str) -> Iterator[Problem]:
    words = name_problem(name)
    if words:
        yield column, words


def _settings_problems(controller: Controller) -> Iterator[Problem]:
    mode, cutoff_v, restart_v = controller.cutoff_mode, controller.cutoff_v, controller.restart_v
    if mode not in CUTOFF_MODES:
        yield "cutoff_mode", f"'{mode}' is not known; allowed are {', '.join(CUTOFF_MODES)}."
    elif mode != "none" and cutoff_v is None:
        yield "cutoff_v", "is missing; give the voltage at which it lets go, or choose the cutoff mode none."
    if cutoff_v is not None and restart_v is not None and restart_v < cutoff_v:
        allowed = f"a controller takes hold again at its cutoff or above: allowed is {cutoff_v:g} V or more."
        yield "restart_v", f"{restart_v:g} V is below the cutoff of {cutoff_v:g} V; {allowed}"


def _refuse(problems: Mapping[str, str]) -> None:
    if problems:
        raise FieldErrors(problems)
