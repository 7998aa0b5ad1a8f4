"""An estimate of a run as compact text and back, to the last digit.

The text is a JSON list without names; what stands where is said by the functions below, each with its way back
beside it. The model's version stands in a column of its own.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, NamedTuple

from tracker.domain.results import GRADES, CellDepth, Estimate, EvidenceVote, Finding, NotEnough, Quantity, RunEstimate
from tracker.store.columns import ImpossibleValueError

_write = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode
_read = json.JSONDecoder().decode


class Written(NamedTuple):
    """An estimate as it is stored, and which of a pack's runs it is of."""

    started_at: datetime
    model: str
    worst_grade: str | None
    text: str


def written(started_at: datetime, estimate: RunEstimate) -> Written:
    """Return an estimate made ready to be stored; that takes a while, and can be done where there is no database."""
    return Written(started_at, estimate.model, worst_grade(estimate), text_of(estimate))


def text_of(estimate: RunEstimate) -> str:
    """Return an estimate as text; a number that is none is refused."""
    parts = [
        _quantity_out(estimate.used_ah),
        [_vote_out(vote) for vote in estimate.evidence],
        [_cell_out(cell) for cell in estimate.cells],
        [_finding_out(finding) for finding in estimate.findings],
    ]
    try:
        return _write(parts)
    except ValueError as error:
        raise ImpossibleValueError(f"an estimate holds something that is not a number and cannot be stored ({error}).") from error


def estimate_of(text: str, model: str) -> RunEstimate:
    """Return the estimate a text was made of."""
    used, votes, cells, findings = _read(text)
    return RunEstimate(
        model=model,
        used_ah=_quantity_in(used),
        evidence=tuple([_vote_in(vote) for vote in votes]),
        cells=tuple([_cell_in(cell) for cell in cells]),
        findings=tuple([_finding_in(finding) for finding in findings]),
    )


def worst_grade(estimate: RunEstimate) -> str | None:
    """Return the grade of the cell driven furthest; None when none could be graded."""
    grades = {cell.grade for cell in estimate.cells}
    known = [grade for grade in GRADES if grade in grades]
    # A grade this version does not know is still kept rather than lost.
    return known[0] if known else next((grade for grade in sorted(g for g in grades if g)), None)


def _quantity_out(quantity: Quantity) -> list[float] | str:
    if isinstance(quantity, NotEnough):
        return quantity.why
    return [quantity.value, quantity.low, quantity.high, quantity.sd]


def _quantity_in(part: Any) -> Quantity:
    if type(part) is str:
        return NotEnough(part)
    value, low, high, sd = part
    return Estimate(value=value, low=low, high=high, sd=sd)


def _vote_out(vote: EvidenceVote) -> list[Any]:
    return [vote.kind, _quantity_out(vote.used_ah), vote.weight, bool(vote.disagrees), vote.words]


def _vote_in(part: Any) -> EvidenceVote:
    kind, used_ah, weight, disagrees, words = part
    return EvidenceVote(kind=kind, used_ah=_quantity_in(used_ah), weight=weight, disagrees=disagrees, words=words)


def _cell_out(cell: CellDepth) -> list[Any]:
    return [
        int(cell.cell),
        _quantity_out(cell.soc_before),
        _quantity_out(cell.soc_after),
        _quantity_out(cell.lowest_loaded_v),
        cell.below_floor_probability,
        cell.below_reserve_probability,
        cell.below_half_reserve_probability,
        cell.grade,
    ]


def _cell_in(part: Any) -> CellDepth:
    number, before, after, lowest_v, floor, reserve, half_reserve, grade = part
    return CellDepth(
        cell=number,
        soc_before=_quantity_in(before),
        soc_after=_quantity_in(after),
        lowest_loaded_v=_quantity_in(lowest_v),
        below_floor_probability=floor,
        below_reserve_probability=reserve,
        below_half_reserve_probability=half_reserve,
        grade=grade,
    )


def _finding_out(finding: Finding) -> list[Any]:
    at = None if finding.at is None else finding.at.isoformat()
    return [finding.rule, finding.severity, finding.subject, finding.message, finding.why, finding.source, at]


def _finding_in(part: Any) -> Finding:
    rule, severity, subject, message, why, source, at = part
    return Finding(
        rule=rule,
        severity=severity,
        subject=subject,
        message=message,
        why=why,
        source=source,
        at=None if at is None else datetime.fromisoformat(at),
    )
