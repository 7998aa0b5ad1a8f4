"""What can only be checked with the other records at hand: does a reading fit its pack, is a name known.

A problem is a column and words that say what is wrong and what is allowed, as the file checks say it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from difflib import get_close_matches

from tracker import chemistry
from tracker.domain.controller import Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import Charge, Run

Problem = tuple[str, str]

_LISTED = 12
"""So many known names are listed in a message; beyond that a person is better served by the nearest ones."""


def pack_problems(pack: Pack) -> Iterator[Problem]:
    """Yield what is wrong with a pack that its own file cannot know."""
    if pack.chemistry not in chemistry.names():
        yield "chemistry", f"'{pack.chemistry}' is not known; allowed are {', '.join(chemistry.names())}"


def run_problems(run: Run, pack: Pack) -> Iterator[Problem]:
    """Yield the readings of a run that do not fit its pack."""
    for column, volts in (("before_v", run.before_v), ("loaded_v", run.loaded_v), ("after_v", run.after_v)):
        if _wrong_length(len(volts), pack):
            yield column, _length_words(len(volts), pack)


def charge_problems(charge: Charge, pack: Pack) -> Iterator[Problem]:
    """Yield the readings of a charge that do not fit its pack."""
    if _wrong_length(len(charge.end_v), pack):
        yield "end_v", _length_words(len(charge.end_v), pack)
    if charge.cell_ohm and len(charge.cell_ohm) != pack.series:
        given = len(charge.cell_ohm)
        yield "cell_mohm", f"{given} {_numbers(given)} for '{pack.name}' with {pack.series} in series; allowed is one number a cell"


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


def _wrong_length(given: int, pack: Pack) -> bool:
    return given not in (0, 1, pack.series)


def _length_words(given: int, pack: Pack) -> str:
    allowed = "one number" if pack.series == 1 else f"one number for the pack or {pack.series}, one a cell"
    return f"{given} {_numbers(given)} for '{pack.name}' with {pack.series} in series; allowed is {allowed}"


def _numbers(count: int) -> str:
    return "number" if count == 1 else "numbers"
