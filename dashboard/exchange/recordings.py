"""A logger's file on its way to its run: how it is to be read, as the address says, and the runs it may belong to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tracker.domain.session import Run
from tracker.domain.trace import TraceReading
from tracker.errors import FieldErrors

COLUMN, UNIT = "col.", "unit."
"""Before the name of a role: the header that plays it, and its unit."""
SIGN = "discharge"
NEW_RUN = "new"
"""In place of a run: one made from the recording."""
MOST_RUNS = 40
CLOSE = timedelta(minutes=20)
"""A run that was written down as begun so near the file's own time is most likely the one it recorded."""


@dataclass(frozen=True, slots=True)
class RunChoice:
    """A run a recording may belong to."""

    run: Run
    apart: timedelta | None
    """How much later than the run the file begins; None where the file tells no time."""
    recorded: bool
    """Whether it has a recording already."""


def reading_of(asked: Mapping[str, str]) -> TraceReading | None:
    """How a file is to be read, as an address or a form says; None where everything is to be found out."""
    columns = {name.removeprefix(COLUMN): value for name, value in asked.items() if name.startswith(COLUMN) and value}
    units = {name.removeprefix(UNIT): value for name, value in asked.items() if name.startswith(UNIT) and value}
    sign = asked.get(SIGN) or None
    return TraceReading(columns=columns, units=units, discharge=sign) if columns or units or sign else None


def reading_query(reading: TraceReading) -> dict[str, str]:
    """The same as parts of an address."""
    columns = {f"{COLUMN}{role}": header for role, header in reading.columns.items()}
    units = {f"{UNIT}{role}": unit for role, unit in reading.units.items()}
    return columns | units | ({SIGN: reading.discharge} if reading.discharge else {})


def run_choices(runs: Sequence[Run], began_at: datetime | None, recorded: frozenset[datetime]) -> list[RunChoice]:
    """The runs of a pack, those nearest the file's time first; the newest first where it tells none."""
    choices = [RunChoice(run, None if began_at is None else began_at - run.started_at, run.started_at in recorded) for run in runs]
    if began_at is None:
        return sorted(choices, key=lambda one: one.run.started_at, reverse=True)[:MOST_RUNS]
    return sorted(choices, key=lambda one: abs(one.apart or timedelta()))[:MOST_RUNS]


def likely(choices: Sequence[RunChoice]) -> RunChoice | None:
    """The run a recording most likely belongs to, where one is near enough."""
    first = choices[0] if choices else None
    return first if first is not None and first.apart is not None and abs(first.apart) <= CLOSE else None


def moment_of(text: str) -> datetime:
    """A day and a time as typed; without a zone it is local, and refused in the hour that comes twice or never."""
    try:
        found = datetime.fromisoformat(text.strip())
        first, second = found.astimezone(), found.replace(fold=1).astimezone()
    except (ValueError, OverflowError) as error:  # no time, or one beyond the calendar
        words = f"'{text[:40]}' is no day and time; write it as 2026-05-02T14:30:00"
        raise FieldErrors({"started_at": words if text.strip() else "is missing; write it as 2026-05-02T14:30:00"}) from error
    if first.utcoffset() != second.utcoffset():
        offsets = f"{first:%z} or {second:%z}"
        raise FieldErrors({"started_at": f"'{text[:40]}' came twice or never here, as the clocks were changed; add its offset, {offsets}"})
    return first
