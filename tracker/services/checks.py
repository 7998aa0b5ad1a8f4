"""What can only be checked with the other records at hand: does a reading fit its pack, is a name known.

A problem is a column and words that say what is wrong and what is allowed, as the file checks say it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import datetime, timedelta
from difflib import get_close_matches

from tracker import chemistry
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run

Problem = tuple[str, str]

CLOCKS_APART = timedelta(days=1)
"""A time may lie this far ahead: clocks and time zones of two machines differ."""

_LISTED = 12
"""So many known names are listed in a message; beyond that a person is better served by the nearest ones."""


def pack_problems(pack: Pack) -> Iterator[Problem]:
    """Yield what is wrong with a pack that its own file cannot know."""
    if pack.chemistry not in chemistry.names():
        yield "chemistry", f"'{pack.chemistry}' is not known; allowed are {', '.join(chemistry.names())}"


def time_problems(session: Run | Charge, now: datetime) -> Iterator[Problem]:
    """Yield what is wrong with the time of a run or charge: nothing is written down before it happened."""
    column, at = ("started_at", session.started_at) if isinstance(session, Run) else ("finished_at", session.finished_at)
    if at > now + CLOCKS_APART:
        yield column, f"'{at.astimezone():%Y-%m-%d %H:%M}' is still to come; allowed are times up to now"


def settings_warning(run: Run, vehicle: Vehicle) -> str | None:
    """Return what is odd about a run's cutoff settings: not refused, for a vehicle may be rebuilt and its old runs stay as they were."""
    given, carried = len(run.cutoff_v), len(vehicle.controllers)
    if not given or given == carried:
        return None
    return f"cutoff_v: {given} {_numbers(given)}, but '{vehicle.name}' has {carried} controllers; kept as written"


def unknown(kind: str, name: str, known: Collection[str], what_to_do: str) -> str:
    """Return the words for a name that nothing stands behind."""
    if not known:
        return f"{kind} '{name}' is not known, and none is stored; {what_to_do}"
    near = get_close_matches(name, known, n=3, cutoff=0.6) if len(known) > _LISTED else sorted(known)
    listed = f" known are {', '.join(repr(each) for each in near)};" if near else ""
    return f"{kind} '{name}' is not known;{listed} {what_to_do}"


def _numbers(count: int) -> str:
    return "number" if count == 1 else "numbers"
