"""What happened: runs, charges and bench tests, as a person wrote them down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

ENDINGS = ("driver", "cutoff", "alarm", "other")
"""What ended a run."""

GOALS = ("full", "storage", "partial")
"""What a charge was meant to reach."""

Volts = tuple[float, ...]
"""One number is the pack's total; as many as cells in series are the cells from the negative end; none is not recorded."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """One drive on one pack. Its key is the pack and the time it started (aware, UTC)."""

    pack: str
    started_at: datetime
    run_s: float
    vehicle: str | None = None
    rest_before_s: float | None = None
    before_v: Volts = ()
    loaded_v: Volts = ()
    """The lowest voltage seen under load."""
    loaded_a: float | None = None
    """The current at that moment."""
    mean_a: float | None = None
    used_ah: float | None = None
    """Counted by a meter in the model."""
    after_v: Volts = ()
    rest_after_s: float | None = None
    cutoff_v: Volts = ()
    """The controllers' settings as driven, in the order of the vehicle's controllers."""
    pack_k: float | None = None
    ended_by: str | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Charge:
    """One charge of one pack. Its key is the pack and the time it finished (aware, UTC)."""

    pack: str
    finished_at: datetime
    put_back_ah: float | None = None
    end_v: Volts = ()
    goal: str | None = None
    cell_ohm: tuple[float, ...] = ()
    """Resistance of each cell as a charger or meter showed it."""
    pack_k: float | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchReading:
    """One reading while a bench supply is turned down and up."""

    supply_v: float
    running: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchTest:
    """All readings of one controller that carry the same time, in the order taken."""

    controller: str
    tested_at: datetime
    readings: tuple[BenchReading, ...]
