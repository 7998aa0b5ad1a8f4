"""When packs were driven, and how deep: what a calendar of the season is drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class SeasonRun:
    """One run, as far as a calendar needs it."""

    pack: str
    started_at: datetime
    """Aware, UTC."""
    grade: str | None
    """How far it took the cell that went deepest; None where that could not be told."""
