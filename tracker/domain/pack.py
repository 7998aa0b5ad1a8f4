"""A battery pack as its owner describes it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, kw_only=True, slots=True)
class Pack:
    """A battery pack: cells in series, each perhaps several in parallel.

    Cells are counted from the pack's negative end, from 1, as on the balance lead.
    A parallel group counts as one cell.
    """

    name: str
    chemistry: str
    series: int
    parallel: int = 1
    capacity_ah: float
    """Rated capacity."""
    continuous_c: float | None = None
    """Rated continuous discharge, in multiples of the capacity an hour."""
    acquired_on: date | None = None
    retired_on: date | None = None
    notes: str = ""
