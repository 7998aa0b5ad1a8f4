"""What a pack's history teaches about it: capacity, resistance, restlessness, fade and its own voltage curve."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tracker.domain.results import Finding, Quantity


@dataclass(frozen=True, kw_only=True, slots=True)
class CellHealth:
    """One cell as it is known now."""

    cell: int
    """From 1 at the pack's negative end."""
    capacity_ah: Quantity
    resistance_ohm: Quantity
    """At 25 °C and half charge."""
    excess_loss_per_month: Quantity
    """Charge it loses by standing beyond what its neighbours lose, over its capacity."""


@dataclass(frozen=True, kw_only=True, slots=True)
class HealthPoint:
    """What was known of the cells after one outing, from all that was written down about it and the outings after it."""

    at: datetime
    """Start of its last run."""
    runs: int
    """Runs of the pack so far."""
    full_cycles: float
    """Charge drawn so far over rated capacity."""
    capacity_ah: tuple[Quantity, ...]
    """One a cell."""
    resistance_ohm: tuple[Quantity, ...]
    """One a cell, at 25 °C and half charge."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CurveReading:
    """One rested voltage and the state of charge everything else says the cell had."""

    at: datetime
    """Start of the run it belongs to."""
    cell: int | None
    """None for the mean cell of a pack total."""
    soc: float
    voltage_v: float
    weight: float
    """How much it counted, 0…1: near 0 for one set aside."""


@dataclass(frozen=True, kw_only=True, slots=True)
class OwnCurve:
    """The pack's own rested voltage against state of charge at 25 °C, beside its chemistry's."""

    soc: tuple[float, ...]
    family_v: tuple[float, ...]
    own_v: tuple[float, ...]
    own_low_v: tuple[float, ...]
    own_high_v: tuple[float, ...]
    """Ends of the 90 % interval."""
    readings: tuple[CurveReading, ...]
    learned: bool
    """False while the curve is still the chemistry's with the spread between makes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Outlook:
    """How a pack fades, and what that means for it."""

    full_cycles: float
    """Charge drawn over rated capacity."""
    weighted_cycles: float
    """The same, each run weighted by what its depth costs against a full cycle."""
    fade_per_100_cycles: Quantity
    """Share of capacity lost in 100 weighted cycles."""
    runs_left: Quantity
    """Runs like those so far until 80 % of rated, a convention."""
    resistance_growth: Quantity
    """Mean resistance now over what it was at the start of the history."""
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PackHealth:
    """One pack as its history shows it."""

    pack: str
    chemistry: str
    rated_ah: float
    runs: int
    deep_runs: int
    capacity_ah: Quantity
    """Of its weakest cell: a pack gives no more than that."""
    health: Quantity
    """That capacity over the rated one."""
    cells: tuple[CellHealth, ...]
    weakest_cell: int | None
    """None where the evidence does not single one out."""
    weakest_ratio: Quantity
    """Capacity of the weakest cell over the mean of the others."""
    restless_cells: tuple[int, ...]
    outlook: Outlook
    next: str
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PackLearning:
    """All of it, for the pack's page: how it stands, how it got there, and its own curve."""

    health: PackHealth
    points: tuple[HealthPoint, ...]
    """In time order."""
    curve: OwnCurve
