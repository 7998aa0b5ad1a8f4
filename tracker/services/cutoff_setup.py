"""What a cutoff plan is made from: the pack as learned, the model's runs, and where its controllers let go."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.domain.bench import BenchResult
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.planning import CutoffTask
from tracker.domain.results import AssessedRun, Estimate, NotEnough
from tracker.domain.trace import TraceSummary
from tracker.errors import NotFoundError
from tracker.estimators import MODEL
from tracker.estimators.cutoff import TRIP_SD_V
from tracker.estimators.cutoff_scenes import Setup
from tracker.estimators.intervals import estimate
from tracker.estimators.learned import learned_from
from tracker.estimators.memory import read_if_sound
from tracker.estimators.pack_state import PackStates
from tracker.estimators.planned_load import LEAST_RUNS, planned_load
from tracker.estimators.present_cutoffs import Trips
from tracker.services.benching import thresholds
from tracker.services.checks import unknown
from tracker.services.recorded import summaries
from tracker.store.records import Records

CELL_TRIP_SD_V = 0.02
"""How far a controller lets go from its setting, of one cell, before it was tested on the bench. From memory."""
STARTS = 40
"""How full a pack is plugged in is taken from so many runs: the latest."""
NO_CUTOFF = NotEnough("It has no cutoff.")
NO_SETTING = NotEnough("Neither a setting nor a bench test tells where it lets go.")
NO_RESTART = NotEnough("Not known where it runs again.")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Known:
    """The pack and the model a plan is asked for, and all that is stored of them; estimates as they are stored."""

    pack: Pack
    vehicle: Vehicle
    controllers: tuple[Controller, ...]
    trips: tuple[Trips, ...]
    states: PackStates
    learned: bool
    runs: tuple[AssessedRun, ...]
    """Those that tell what the model draws."""
    recordings: tuple[TraceSummary, ...]
    starts_soc: tuple[float, ...]


def packs_of_plan(records: Records, pack: str, vehicle: str) -> tuple[str, ...]:
    """Return the packs whose runs may count in a plan; NotFoundError when pack or model is not stored."""
    _find(records, pack, vehicle)
    return tuple(sorted({pack, *records.packs_driven((vehicle,))}))


def known_of(records: Records, pack: str, vehicle: str) -> Known:
    """Return everything a plan is made from that is stored; NotFoundError when pack or model is not."""
    on, model, controllers = _find(records, pack, vehicle)
    stored = records.knowledge([pack], MODEL).get(pack)
    memory = None if stored is None else read_if_sound(stored.payload)
    tested = thresholds(records, model.controllers)
    of_pack = _runs(records, (pack,), None)
    own = [each for each in of_pack if each.run.vehicle == vehicle]
    began = [state for each in of_pack if (state := _start(each)) is not None]
    driven = records.packs_driven((vehicle,))
    return Known(
        pack=on,
        vehicle=model,
        controllers=controllers,
        trips=tuple(trips_of(controller, tested.get(controller.name)) for controller in controllers),
        states=learned_from(on, memory).states(),
        learned=memory is not None and len(memory.digests) >= LEAST_RUNS,
        runs=tuple(own if len(own) >= LEAST_RUNS else _runs(records, driven, vehicle)),
        recordings=tuple(_recordings(records, driven, vehicle)),
        starts_soc=tuple(began[-STARTS:]),
    )


def setup_of(known: Known, task: CutoffTask) -> Setup:
    """Return what a plan is made from."""
    return Setup(
        pack=known.pack,
        vehicle=known.vehicle,
        controllers=known.controllers,
        trips=known.trips,
        states=known.states,
        learned=known.learned,
        load=planned_load(task, known.pack, known.vehicle, known.runs, known.recordings),
        starts_soc=known.starts_soc,
    )


def _find(records: Records, pack: str, vehicle: str) -> tuple[Pack, Vehicle, tuple[Controller, ...]]:
    packs = {each.name: each for each in records.packs()}
    vehicles = {each.name: each for each in records.vehicles()}
    if pack not in packs:
        raise NotFoundError(f"{unknown('pack', pack, packs, 'name one of those, or bring it in with a packs file')}.")
    if vehicle not in vehicles:
        raise NotFoundError(f"{unknown('vehicle', vehicle, vehicles, 'name one of those, or bring it in with a vehicles file')}.")
    known = {controller.name: controller for controller in records.controllers()}
    return packs[pack], vehicles[vehicle], tuple(known[name] for name in vehicles[vehicle].controllers)


def trips_of(controller: Controller, tested: BenchResult | None) -> Trips:
    """Return where a controller lets go and runs again: by its bench tests where they tell, else as it is set."""
    if controller.cutoff_mode == "none":
        return Trips(trip_v=NO_CUTOFF, restart_v=NO_RESTART)
    # A bench supply stands for a pack; what a controller that counts cells made of it is not written down.
    if tested is not None and isinstance(tested.trip_v, Estimate) and controller.cutoff_mode == "pack_v":
        restart = tested.restart_v if isinstance(tested.restart_v, Estimate) else NO_RESTART
        return Trips(trip_v=tested.trip_v, restart_v=restart, latches=bool(tested.latches), tested=True)
    if controller.cutoff_v is None:
        return Trips(trip_v=NO_SETTING, restart_v=NO_RESTART)
    sd = CELL_TRIP_SD_V if controller.cutoff_mode == "cell_v" else TRIP_SD_V
    restart = NO_RESTART if controller.restart_v is None else estimate(controller.restart_v, sd)
    return Trips(trip_v=estimate(controller.cutoff_v, sd), restart_v=restart)


def _recordings(records: Records, packs: tuple[str, ...], vehicle: str) -> list[TraceSummary]:
    """Return what the recordings of a model show, on whatever pack, in time order."""
    found = summaries(records, packs) if packs else {}
    if not found:
        return []
    runs = sorted((run for run in records.runs(packs) if run.vehicle == vehicle), key=lambda run: run.started_at)
    return [found[run.pack, run.started_at] for run in runs if (run.pack, run.started_at) in found]


def _start(assessed: AssessedRun) -> float | None:
    """Charge of the cells as a run began, their mean."""
    known = [cell.soc_before.value for cell in assessed.estimate.cells if isinstance(cell.soc_before, Estimate)]
    return sum(known) / len(known) if known else None


def _runs(records: Records, packs: tuple[str, ...], vehicle: str | None) -> list[AssessedRun]:
    if not packs:
        return []
    estimates = records.estimates(packs, MODEL)
    runs = [run for run in records.runs(packs) if vehicle in (None, run.vehicle) and (run.pack, run.started_at) in estimates]
    runs.sort(key=lambda run: run.started_at)
    return [AssessedRun(run=run, estimate=estimates[run.pack, run.started_at]) for run in runs]
