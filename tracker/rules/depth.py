"""Runs that took a cell too far: under the floor while loaded, or into the reserve."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.domain.conventions import DEEP_PROBABILITY
from tracker.domain.harm import TOO_DEEP
from tracker.domain.results import CellDepth, Estimate, Finding
from tracker.rules import wording
from tracker.rules.evidence import RunEvidence

_WHY = {
    "lithium": "A lithium cell driven this low loses capacity for good, and one discharged too far can fail inside and catch fire later, "
    "above all while it is charged.",
    "nickel": "The weakest cell of a nickel pack driven this low is reversed by the others, which harms it for good.",
    "lead": "A lead battery driven this low and left so grows sulphate, and does not come back to its capacity.",
}


def too_deep(evidence: RunEvidence) -> Finding | None:
    """Some cell went, or may have gone, under its floor, or ended with less than half its reserve."""
    damaging = _graded(evidence, "damaging")
    chosen = damaging or _graded(evidence, "deep")
    if not chosen:
        return None
    return Finding(
        rule=TOO_DEEP,
        severity="stop" if damaging else "caution",
        subject=evidence.pack.name,
        message=" ".join([*(_cell_words(cell, evidence) for cell in chosen), _what_to_do(evidence, bool(damaging))]),
        why=f"{_WHY[evidence.chemistry.family]} {wording.standing_of(evidence.chemistry, 'floor_v')}",
        source=wording.source_of(evidence.chemistry, "floor_v"),
        at=evidence.run.started_at,
    )


def into_the_reserve(evidence: RunEvidence) -> Finding | None:
    """No cell went deep, but some ended under the reserve that should be left."""
    low = _graded(evidence, "low")
    if not low or _graded(evidence, "damaging") or _graded(evidence, "deep"):
        return None
    reserve = wording.percent(evidence.chemistry["reserve_soc"])
    return Finding(
        rule="into-reserve",
        severity="note",
        subject=evidence.pack.name,
        message=f"{wording.cells(cell.cell for cell in low)} probably ended below the {reserve} that should be left. "
        "End the next run a little earlier.",
        why=f"A reserve covers cells that are weaker than they look and readings that are off. "
        f"{wording.standing_of(evidence.chemistry, 'reserve_soc')}",
        source=wording.source_of(evidence.chemistry, "reserve_soc"),
        at=evidence.run.started_at,
    )


def _graded(evidence: RunEvidence, grade: str) -> Sequence[CellDepth]:
    return [cell for cell in evidence.estimate.cells if cell.grade == grade]


def _cell_words(cell: CellDepth, evidence: RunEvidence) -> str:
    floor = wording.volts(evidence.chemistry["floor_v"])
    probability = cell.below_floor_probability
    if probability is not None and probability >= DEEP_PROBABILITY:
        lowest = cell.lowest_loaded_v.value if isinstance(cell.lowest_loaded_v, Estimate) else None
        put = ", at" if lowest is not None and lowest < evidence.chemistry["floor_v"] else ", though its lowest is put at"
        at = "" if lowest is None else f"{put} {wording.volts(lowest)}"
        return f"Cell {cell.cell} {wording.chance(probability)} went under its floor of {floor} under load{at}."
    left = f"with about {wording.percent(cell.soc_after.value)} left" if isinstance(cell.soc_after, Estimate) else "nearly empty"
    reserve = wording.percent(evidence.chemistry["reserve_soc"])
    return f"Cell {cell.cell} ended {left}, less than half the reserve of {reserve}."


def _what_to_do(evidence: RunEvidence, damaging: bool) -> str:
    if not damaging:
        return "End the next run earlier, and check where the controller lets go."
    if evidence.chemistry.family != "lithium":
        return "Stop earlier, raise the cutoff before the next run, and charge it gently and watched, as its maker says."
    return f"Do not charge it yet. {wording.CHECK_FIRST} Raise the controller's cutoff before the next run."
