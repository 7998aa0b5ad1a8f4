"""What the tool says: estimates with their intervals, votes of the evidence, depth of each cell, findings."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from tracker.domain.exchange import RowDifference
from tracker.domain.session import Charge, Run


@dataclass(frozen=True, kw_only=True, slots=True)
class Estimate:
    """A value with its central 90 % interval and standard uncertainty, all in the same unit."""

    value: float
    low: float
    high: float
    sd: float


@dataclass(frozen=True, slots=True)
class NotEnough:
    """No estimate, and in words why not."""

    why: str


Quantity = Estimate | NotEnough

EVIDENCE_KINDS = ("rest_voltage", "load_voltage", "charger", "meter", "trace", "usual_draw")
GRADES = ("damaging", "deep", "low", "fine")
"""How far a cell was driven, worst first."""

SEVERITIES = ("stop", "caution", "note")
"""How pressing a finding is, most pressing first."""


@dataclass(frozen=True, kw_only=True, slots=True)
class EvidenceVote:
    """What one kind of evidence says the run took out, by itself, and how much it counted."""

    kind: str
    used_ah: Quantity
    weight: float
    """Share of the answer, 0…1; all votes of a run sum to 1 or are all 0."""
    disagrees: bool
    words: str = ""
    """What was read and, when it disagrees, what is odd about it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CellDepth:
    """How far one run took one cell."""

    cell: int
    soc_before: Quantity
    soc_after: Quantity
    lowest_loaded_v: Quantity
    below_floor_probability: float | None
    below_reserve_probability: float | None
    below_half_reserve_probability: float | None
    grade: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """Something a person should know: what, why (with its source) and what to do, in plain words."""

    rule: str
    severity: str
    subject: str
    """The pack, controller or vehicle concerned."""
    message: str
    """What was found, and what to do about it."""
    why: str
    source: str | None = None
    at: datetime | None = None
    """Start of the run or end of the charge concerned, when there is one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RunEstimate:
    """What one run took out of a pack, and of each cell."""

    model: str
    used_ah: Quantity
    evidence: tuple[EvidenceVote, ...]
    cells: tuple[CellDepth, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class AssessedRun:
    """A run as written down, with what it is estimated to have taken."""

    run: Run
    estimate: RunEstimate


@dataclass(frozen=True, kw_only=True, slots=True)
class PackState:
    """One pack as it stands now: a row of the box."""

    pack: str
    chemistry: str
    series: int
    capacity_ah: float
    state: str
    """ready, charge, rest, store, retire or unknown"""
    next: str
    """What to do next, in a sentence."""
    soc: Quantity
    """Mean state of charge now."""
    runs: int
    deep_runs: int
    last_used_at: datetime | None
    last_depth: Quantity
    """Depth of discharge of its deepest cell after the last run."""
    last_grade: str | None
    deepest_cell: int | None
    capacity: Quantity
    """Capacity now, where it has been learned [Ah]."""
    health: Quantity
    """Capacity over rated."""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PackRecord:
    """Everything about one pack, for its page."""

    state: PackState
    runs: tuple[AssessedRun, ...]
    """In time order."""
    charges: tuple[Charge, ...]
    findings: tuple[Finding, ...]
    floor_v: float
    reserve_soc: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ImportReport:
    """What an import brought, or would bring."""

    added: dict[str, int] = field(default_factory=dict)
    unchanged: dict[str, int] = field(default_factory=dict)
    updated: dict[str, int] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    differences: tuple[RowDifference, ...] = ()
    """The first of the rows that differ from what is stored; `updated` counts them all."""
    dry_run: bool = False
