"""From fitted outings to what is said of each run: charge used, how the evidence voted, depth and grade of each cell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.domain.conventions import DEEP_PROBABILITY
from tracker.domain.results import CellDepth, NotEnough, Quantity, RunEstimate
from tracker.domain.session import Run
from tracker.estimators import MODEL
from tracker.estimators.cell_family import CellFamily
from tracker.estimators.depth import Depths, depths_of, grade_of
from tracker.estimators.intervals import estimate
from tracker.estimators.knowledge import PackKnowledge
from tracker.estimators.outing_fit import OutingFit
from tracker.estimators.outings import Outing
from tracker.estimators.readings import Readings
from tracker.estimators.votes import cast, doubted_cells, evidence_of, tally
from tracker.physics.uncertainty import COVERAGE_FACTOR_90

VAGUE_CHARGE = 0.25
"""An estimate less certain than this share of rated says nothing a person could use."""
VAGUE_SOC = 0.25
VAGUE_LOADED_V = 0.35

NO_EVIDENCE = "Nothing was read that says how much this run took: add a voltage after rest, the charger's count, a meter's count or the vehicle's usual current."

FULLER_AFTER = "The readings have the pack fuller after the run than before it: check what was written down and correct the run."

_UNKNOWN_LOADED = NotEnough("Neither the charge left nor a voltage under load is known well enough.")
_UNKNOWN_SOC = NotEnough("The readings say too little about the charge in this cell.")


@dataclass(frozen=True, slots=True)
class Said:
    """A run and what is said of it."""

    run: Run
    estimate: RunEstimate


def estimates_of(
    outings: Sequence[Outing], readings: Readings, fit: OutingFit, cells: CellFamily, known: PackKnowledge
) -> list[list[Said]]:
    """What is said of the runs of some outings of one shape.

    Parameters
    ----------
    outings : Sequence[Outing]
        N of them [1]
    readings : Readings
        What was read [1]
    fit : OutingFit
        The answer [1]
    cells : CellFamily
        The chemistry made ready [1]
    known : PackKnowledge
        What is known of each pack apart from the outing [1]

    Returns
    -------
    list[list[Said]]
        Of each outing, its runs in order [Ah], [1], [V]

    References
    ----------
    .. [1] Each step's own module.
    """
    votes = tally(cast(readings, fit, cells, known), fit)
    depths = _plain(depths_of(readings, fit, cells, known))
    charge, charge_sd = fit.charge.tolist(), fit.charge_sd.tolist()
    found: list[list[Said]] = []
    for i, outing in enumerate(outings):
        rated = outing.pack.capacity_ah
        of_outing: list[Said] = []
        for j, run in enumerate(outing.runs):
            evidence = evidence_of(votes, fit, (i, j), run, rated)
            gap = votes.gap[i][j]
            # Readings that contradict each other cannot all be right: the answer lies between, and is as unsure as they are apart.
            used = _used(charge[i][j] - gap / 2.0, math.hypot(charge_sd[i][j], gap / 2.0), rated, bool(evidence), contradicted=bool(gap))
            doubted = frozenset(range(1, outing.pack.series + 1)) if gap else doubted_cells(votes, (i, j), run)
            said = RunEstimate(
                model=MODEL, used_ah=used, evidence=evidence, cells=_cells(depths[i][j], doubted, under_load=bool(run.loaded_v))
            )
            of_outing.append(Said(run, said))
        found.append(of_outing)
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
        return NotEnough(
            f"The readings leave {span} open: a voltage of each cell with the minutes it had rested, or the charger's count, would settle it."
        )
    # An interval that lies wholly below nothing used is no answer.
    return answer if charge + COVERAGE_FACTOR_90 * sd > 0.0 else NotEnough(FULLER_AFTER)


def _cells(depths: Sequence[Sequence[float]], doubted: frozenset[int], *, under_load: bool) -> tuple[CellDepth, ...]:
    cells: list[CellDepth] = []
    for number, values in enumerate(depths, start=1):
        before, before_sd, after, after_sd, lowest_v, lowest_sd_v, floor, reserve, half = values
        if number in doubted:
            own = _doubted(number, _soc(before, before_sd))
            grade = _by_voltage(floor, known=under_load and lowest_sd_v <= VAGUE_LOADED_V)
            if grade is not None:
                # Whatever the readings at rest are worth: a voltage under load that was read below the floor stands.
                own = replace(own, lowest_loaded_v=estimate(lowest_v, lowest_sd_v, low=0.0), below_floor_probability=floor, grade=grade)
            cells.append(own)
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
                grade=grade_of(floor, reserve, half) if sure else _by_voltage(floor, known=under_load and sure_volts),
            )
        )
    return tuple(cells)


def _by_voltage(floor: float, *, known: bool) -> str | None:
    """Grade a cell whose charge is not known by a voltage under load that was read: only ever as deep, for it cannot tell the rest."""
    return grade_of(floor, 0.0, 0.0) if known and floor >= DEEP_PROBABILITY else None


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
