"""What somebody did to the logbook, one thing at a time, so that it can be taken back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run

Record = Pack | Vehicle | Controller | Run | Charge | BenchTest
"""Whatever a person writes down."""

Key = str | tuple[str, datetime]
"""What names a record: its name; of a run or charge its pack and time; of a bench test its controller and time."""

Kind = Literal["pack", "vehicle", "controller", "run", "charge", "bench"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One thing somebody did to the logbook, which can be taken back."""

    id: str
    """Given by whoever asked, so that the same request sent twice is done once; or made."""
    at: datetime
    """Aware, UTC."""
    words: str
    """Such as "Run of 'Tug 1', 25 Nov 14:30, written down"."""
    undone: bool
