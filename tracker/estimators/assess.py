"""Whole histories in, assessed runs out: outings of one shape are estimated together."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, CellDepth, NotEnough, Quantity, RunEstimate
from tracker.domain.session import Run
from tracker.estimators import MODEL
from tracker.estimators.cell_family import CellFamily, family
from tracker.estimators.depth import Depths, depths_of, grade_of
from tracker.estimators.history import PackHistory
from tracker.estimators.intervals import estimate
from tracker.estimators.knowledge import PackKnowledge, typical
from tracker.estimators.outings import Outing, cut
from tracker.estimators.readings import Draws, Setting, lay_out
from tracker.estimators.run_charge import fit_outings
from tracker.estimators.votes import cast, doubted_cells, evidence_of, tally
from tracker.physics.uncertainty import COVERAGE_FACTOR_90

TYPED_DRAW_RELATIVE_SD = 0.25
"""A vehicle's usual current as its owner typed it. From memory."""
LEARNED_DRAW_FLOOR_SD = 0.10
"""However alike the runs so far were, the next may differ this much. From memory."""
RUNS_TO_LEARN_DRAW = 3
VAGUE_CHARGE = 0.25
"""An estimate less certain than this share of rated says nothing a person could use."""
VAGUE_SOC = 0.25
VAGUE_LOADED_V = 0.35
CHUNK = 4000
"""Outings solved at once: large enough to be quick, small enough to stay within some hundred megabytes."""

NO_EVIDENCE = "Nothing was read that says how much this run took: add a voltage after rest, the charger's count, a meter's count or the vehicle's usual current."

FULLER_AFTER = "The readings have the pack fuller after the run than before it: check what was written down and correct the run."

_UNKNOWN_LOADED = NotEnough("Neither the charge left nor a voltage under load is known well enough.")
_UNKNOWN_SOC = NotEnough("The readings say too little about the charge in this cell.")


@dataclass(frozen=True, kw_only=True, slots=True)
class PackAssessment:
    """One pack's runs with their estimates, in time order."""

    pack: str
    runs: tuple[AssessedRun, ...]


def assess_packs(
    histories: Sequence[PackHistory],
    vehicles: Mapping[str, Vehicle],
    controllers: Mapping[str, Controller],
    *,
    knowledge: Mapping[str, PackKnowledge] | None = None,
    progress: Progress | None = None,
) -> list[PackAssessment]:
    """Estimate what every run of some packs took out.

    Parameters
    ----------
    histories : Sequence[PackHistory]
        Packs with their runs and charges in time order [1]
    vehicles : Mapping[str, Vehicle]
        By name [1]
    controllers : Mapping[str, Controller]
        By name [1]
    knowledge : Mapping[str, PackKnowledge], optional
        What is known of each pack, by name; the chemistry's typical values where nothing is [1]
    progress : Progress, optional
        Told how many runs are done [1]

    Returns
    -------
    list[PackAssessment]
        In the order of `histories` [1]

    References
    ----------
    .. [1] Each step's own module.
    """
    learned = knowledge or {}
    outings = [
        outing for history in histories for outing in cut(history.pack, history.runs, history.charges, family(history.pack.chemistry))
    ]
    known = {history.pack.name: learned.get(history.pack.name) or typical(history.pack) for history in histories}
    trips = {vehicle.name: settings_of(vehicle, controllers) for vehicle in vehicles.values()}
    draws = typed_draws(vehicles.values())
    total = sum(len(history.runs) for history in histories)
    found = _estimate_all(outings, known, draws, trips, total, progress)
    taught = _learned_draws(found)
    again = [outing for outing in outings if any(_wants_draw(found[_key(run)], run, taught) for run in outing.runs)]
    if again:
        found.update(_estimate_all(again, known, {**draws, **taught}, trips, None, None))
    return [
        PackAssessment(pack=history.pack.name, runs=tuple(AssessedRun(run=run, estimate=found[_key(run)].estimate) for run in history.runs))
        for history in histories
    ]


@dataclass(frozen=True, slots=True)
class _Found:
    run: Run
    estimate: RunEstimate
    direct: bool
    """Whether something other than the usual draw says what the run took."""


def _key(run: Run) -> tuple[str, object]:
    return run.pack, run.started_at


def settings_of(vehicle: Vehicle, controllers: Mapping[str, Controller]) -> tuple[Setting, ...]:
    """Cutoffs of a vehicle's controllers as they stand.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle [1]
    controllers : Mapping[str, Controller]
        By name [1]

    Returns
    -------
    tuple[Setting, ...]
        Mode and voltage in the order of the vehicle's controllers [V]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    known = [controllers.get(name) for name in vehicle.controllers]
    return tuple(("none", None) if item is None else (item.cutoff_mode, item.cutoff_v) for item in known)


def typed_draws(vehicles: Iterable[Vehicle]) -> Draws:
    """Usual currents as owners typed them.

    Parameters
    ----------
    vehicles : Iterable[Vehicle]
        Vehicles, some with a usual current [1]

    Returns
    -------
    Draws
        Mean current and relative spread, by vehicle alone [A], [1]

    References
    ----------
    .. [1] No source: bookkeeping.
    """
    return {(None, vehicle.name): (vehicle.usual_a, TYPED_DRAW_RELATIVE_SD) for vehicle in vehicles if vehicle.usual_a is not None}


def _learned_draws(found: Mapping[tuple[str, object], _Found]) -> Draws:
    """What each vehicle drew from each pack in the runs that show it by other evidence, by median and spread.

    Each pack teaches itself alone, so that the answer does not hang on which packs are looked at together.
    """
    currents: dict[tuple[str, str], list[float]] = defaultdict(list)
    for item in found.values():
        used = item.estimate.used_ah
        if item.direct and item.run.vehicle is not None and not isinstance(used, NotEnough) and used.sd < 0.15 * abs(used.value):
            currents[item.run.pack, item.run.vehicle].append(used.value * 3600.0 / item.run.run_s)
    draws: Draws = {}
    for key, values in currents.items():
        if len(values) >= RUNS_TO_LEARN_DRAW:
            middle = float(np.median(values))
            spread = 1.4826 * float(np.median(np.abs(np.asarray(values) - middle))) / middle
            draws[key] = (middle, max(spread, LEARNED_DRAW_FLOOR_SD))
    return draws


def _wants_draw(found: _Found, run: Run, draws: Draws) -> bool:
    return not found.direct and (run.pack, run.vehicle) in draws


def _estimate_all(
    outings: Sequence[Outing], known: Mapping[str, PackKnowledge], draws: Draws,
    trips: Mapping[str, tuple[Setting, ...]], total: int | None, progress: Progress | None,
) -> dict[tuple[str, object], _Found]:  # fmt: skip
    groups: dict[tuple[str, int, int], list[Outing]] = defaultdict(list)
    for outing in outings:
        groups[outing.pack.chemistry, outing.pack.series, len(outing.runs)].append(outing)
    found: dict[tuple[str, object], _Found] = {}
    for (chemistry, _, _), members in groups.items():
        for first in range(0, len(members), CHUNK):
            part = members[first : first + CHUNK]
            for item in _estimate_shape(part, family(chemistry), [known[outing.pack.name] for outing in part], draws, trips):
                found[_key(item.run)] = item
            if progress is not None:
                progress("runs assessed", len(found), total)
    return found


def _estimate_shape(
    outings: Sequence[Outing], cells: CellFamily, known: Sequence[PackKnowledge], draws: Draws,
    trips: Mapping[str, tuple[Setting, ...]],
) -> list[_Found]:  # fmt: skip
    readings = lay_out(outings, cells, draws, trips)
    fit = fit_outings(readings, cells, known)
    votes = tally(cast(readings, fit, cells, known), fit)
    depths = _plain(depths_of(readings, fit, cells, known))
    charge, charge_sd = fit.charge.tolist(), fit.charge_sd.tolist()
    found: list[_Found] = []
    for i, outing in enumerate(outings):
        rated = outing.pack.capacity_ah
        for j, run in enumerate(outing.runs):
            evidence = evidence_of(votes, fit, (i, j), run, rated)
            gap = votes.gap[i][j]
            # Readings that contradict each other cannot all be right: the answer lies between, and is as unsure as they are apart.
            used = _used(charge[i][j] - gap / 2.0, math.hypot(charge_sd[i][j], gap / 2.0), rated, bool(evidence), contradicted=bool(gap))
            doubted = frozenset(range(1, outing.pack.series + 1)) if gap else doubted_cells(votes, (i, j), run)
            one = RunEstimate(model=MODEL, used_ah=used, evidence=evidence, cells=_cells(depths[i][j], doubted))
            found.append(_Found(run, one, any(vote.kind != "usual_draw" for vote in evidence)))
    return found


def _plain(depths: Depths) -> list[list[list[list[float]]]]:
    """Depths as plain lists, outing by outing, run by run, cell by cell: quicker to pick from than arrays."""
    fields = (
        depths.soc_before, depths.soc_before_sd, depths.soc_after, depths.soc_after_sd, depths.lowest_v, depths.lowest_sd_v,
        depths.below_floor, depths.below_reserve, depths.below_half_reserve,
    )  # fmt: skip
    plain: list[list[list[list[float]]]] = np.stack(fields, axis=-1).tolist()
    return plain


def _used(charge: float, sd: float, rated_ah: float, any_evidence: bool, *, contradicted: bool) -> Quantity:
    if not any_evidence:
        return NotEnough(NO_EVIDENCE)
    answer = estimate(charge * rated_ah, sd * rated_ah, low=0.0)
    if sd > VAGUE_CHARGE:
        span = f"anything from {1000 * answer.low:,.0f} to {1000 * answer.high:,.0f} mAh"
        if contradicted:
            return NotEnough(f"The readings contradict each other and leave {span} open: check what was written down and correct the run.")
        return NotEnough(f"The readings leave {span} open: a voltage of each cell after rest or the charger's count would settle it.")
    # An interval that lies wholly below nothing used is no answer.
    return answer if charge + COVERAGE_FACTOR_90 * sd > 0.0 else NotEnough(FULLER_AFTER)


def _cells(depths: Sequence[Sequence[float]], doubted: frozenset[int]) -> tuple[CellDepth, ...]:
    cells: list[CellDepth] = []
    for number, values in enumerate(depths, start=1):
        before, before_sd, after, after_sd, lowest_v, lowest_sd_v, floor, reserve, half = values
        if number in doubted:
            cells.append(_doubted(number, _soc(before, before_sd)))
            continue
        sure = after_sd <= VAGUE_SOC
        # A loaded voltage that was read says how deep a cell went even where the charge left is not known.
        sure_volts = lowest_sd_v <= VAGUE_LOADED_V
        cells.append(
            CellDepth(
                cell=number,
                soc_before=_soc(before, before_sd),
                soc_after=_soc(after, after_sd),
                lowest_loaded_v=estimate(lowest_v, lowest_sd_v, low=0.0) if sure_volts else _UNKNOWN_LOADED,
                below_floor_probability=floor if sure or sure_volts else None,
                below_reserve_probability=reserve if sure else None,
                below_half_reserve_probability=half if sure else None,
                grade=grade_of(floor, reserve, half) if sure else None,
            )
        )
    return tuple(cells)


def _doubted(cell: int, soc_before: Quantity) -> CellDepth:
    """A cell whose reading did not fit may be misread or in trouble; only another reading can tell, so nothing is claimed."""
    again = NotEnough("What was written down does not fit together: check it, or measure this cell again.")
    return CellDepth(
        cell=cell,
        soc_before=soc_before,
        soc_after=again,
        lowest_loaded_v=again,
        below_floor_probability=None,
        below_reserve_probability=None,
        below_half_reserve_probability=None,
        grade=None,
    )


def _soc(value: float, sd: float) -> Quantity:
    if sd > VAGUE_SOC:
        return _UNKNOWN_SOC
    return estimate(value, sd, low=0.0, high=1.0)
