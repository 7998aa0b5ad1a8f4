"""Taking a change back: every row it touched is put back as it was, or none of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NoReturn

from sqlalchemy import Connection, Table, bindparam, func, insert, select, update

from tracker.errors import ConflictError
from tracker.store.changes import NotedChange
from tracker.store.records import Records
from tracker.store.steps import Group, Numbered, Row, Step, as_it_stands, children, named_by, numbers_of, parents, renumbered
from tracker.store.tables import Base
from tracker.store.wording import plain_errors

_WORDS = {"bench_reading": "bench test", "trace": "recording", "vehicle_controller": "vehicle's list of controllers"}


def take_back(records: Records, noted: NotedChange) -> tuple[Step, ...]:
    """Put the rows of a change back as they were before it, mark it taken back, and return its steps.

    Raises
    ------
    ConflictError
        When something it touched has been changed, removed or come into use since; it says what.
    """
    others = [each for each in records.noted_changes() if each.change.id != noted.change.id]
    steps = _with_free_numbers(records, noted, others)
    _Check(records, noted, others, steps).run()
    try:
        with plain_errors():
            _put_back(records, steps)
    except ConflictError as error:
        raise ConflictError(f"this cannot be taken back: {noted.change.words}. Now {error}") from error
    records.mark_undone(noted.change.id)
    return steps


def _with_free_numbers(records: Records, noted: NotedChange, others: Sequence[NotedChange]) -> tuple[Step, ...]:
    """Give rows that come back other numbers where theirs were given away meanwhile, also in what older changes say of them."""
    numbers: dict[Numbered, int] = {}
    for step in noted.steps:
        table = Base.metadata.tables[step.table]
        if "id" not in table.c:
            continue
        returning = sorted(number for _, number in numbers_of(step, before=True) - numbers_of(step, before=False))
        for number in returning:
            if records.connection.scalar(select(table.c.id).where(table.c.id == number)) is not None:
                numbers[step.table, number] = _unused(records.connection, table, [noted, *others], numbers)
    if not numbers:
        return noted.steps
    for each in [noted, *others]:
        if each.change.at <= noted.change.at:
            records.rewrite_steps(each.change.id, [renumbered(step, numbers) for step in each.steps])
    return tuple(renumbered(step, numbers) for step in noted.steps)


def _unused(connection: Connection, table: Table, noted: Sequence[NotedChange], given: Mapping[Numbered, int]) -> int:
    used = {number for each in noted for step in each.steps for side in (True, False) for number in numbers_of(step, before=side)}
    known = [number for name, number in used if name == table.name] + [number for (name, _), number in given.items() if name == table.name]
    return max(connection.scalar(select(func.max(table.c.id))) or 0, *known, 0) + 1


class _Check:
    """Whether a change can be taken back now."""

    def __init__(self, records: Records, noted: NotedChange, others: Sequence[NotedChange], steps: Sequence[Step]) -> None:
        self._connection = records.connection
        self._noted = noted
        self._others = others
        self._steps = steps
        self._gone = _given_away(others, noted.change.at)

    def run(self) -> None:
        """Raise ConflictError when it cannot."""
        returning: set[Numbered] = set()
        for step in self._steps:
            kept = numbers_of(step, before=False)
            back = numbers_of(step, before=True)
            stands = as_it_stands(self._connection, step)
            if stands != step.after or kept & self._gone:
                self._refuse(step, _differing(step, stands) | kept & self._gone or kept | back)
            for parent in named_by(step) - returning:
                self._check_parent(step, parent)
            returning |= back
        for step in self._steps:
            for number in numbers_of(step, before=False) - numbers_of(step, before=True):
                self._check_unused(step, number)

    def _check_parent(self, step: Step, parent: Numbered) -> None:
        table = Base.metadata.tables[parent[0]]
        there = self._connection.scalar(select(table.c.id).where(table.c.id == parent[1])) is not None
        if not there or parent in self._gone:
            self._refuse(step, {parent})

    def _check_unused(self, step: Step, number: Numbered) -> None:
        for table, column in children(Base.metadata.tables[step.table]):
            keys = list(table.primary_key)
            own = {tuple(row[key.name] for key in keys) for other in self._steps if other.table == table.name for row in other.after}
            naming = {tuple(row) for row in self._connection.execute(select(*keys).where(column == number[1]))}
            if naming - own:
                self._refuse(step, {number}, f"a {_WORDS.get(table.name, table.name)} was written down that hangs on it")

    def _refuse(self, step: Step, numbers: set[Numbered], otherwise: str | None = None) -> NoReturn:
        head = f"this cannot be taken back: {self._noted.change.words}."
        at = self._noted.change.at
        later = [each for each in reversed(self._others) if not each.change.undone and each.change.at > at]
        # A row that is gone may have left its number to another, which later changes speak of.
        deleting = [each for each in later if numbers & _removed(each)]
        for each in deleting or [each for each in later if _touches(each, step, numbers)]:
            raise ConflictError(f"{head} Since then: {each.change.words}. Take that back first.")
        what = (
            otherwise or f"the {_WORDS.get(step.table, step.table)} it touched has been changed or removed since, by an import or elsewhere"
        )
        raise ConflictError(f"{head} Since then {what}; change it by hand.")


def _differing(step: Step, stands: tuple[Row, ...]) -> set[Numbered]:
    """Return the rows that are not as the change left them."""
    was, now = ({row["id"]: row for row in rows if "id" in row} for rows in (step.after, stands))
    return {(step.table, number) for number in {**was, **now} if was.get(number) != now.get(number)}


def _given_away(others: Sequence[NotedChange], at: datetime) -> set[Numbered]:
    """Return the numbers that no longer carry the row they carried at that time, though another row may carry them now."""
    events: list[tuple[datetime, NotedChange, bool]] = []
    for each in others:
        events += [(each.change.at, each, False)] if each.change.at > at else []
        events += [(each.undone_at, each, True)] if each.undone_at is not None and each.undone_at > at else []
    as_then = "as then"
    now: dict[Numbered, str] = {}
    left: dict[tuple[str, Numbered], str] = {}
    for _, each, undoing in sorted(events, key=lambda event: event[0]):
        name = each.change.id
        for number in _made(each) if undoing else _removed(each):
            left[name, number] = now.get(number, as_then)
            now[number] = ""
        for number in _removed(each) if undoing else _made(each):
            now[number] = left.get((name, number), "older") if undoing else name
    return {number for number, carried in now.items() if carried != as_then}


def _removed(noted: NotedChange) -> set[Numbered]:
    return {number for step in noted.steps for number in numbers_of(step, before=True) - numbers_of(step, before=False)}


def _made(noted: NotedChange) -> set[Numbered]:
    return {number for step in noted.steps for number in numbers_of(step, before=False) - numbers_of(step, before=True)}


def _touches(noted: NotedChange, step: Step, numbers: set[Numbered]) -> bool:
    for other in noted.steps:
        named = {(table, row.get(name)) for row in other.after for name, table in parents(Base.metadata.tables[other.table]).items()}
        if numbers & (numbers_of(other, before=True) | numbers_of(other, before=False) | named):
            return True
        if other.table == step.table and other.where == step.where:
            return True
    return False


def _put_back(records: Records, steps: Sequence[Step]) -> None:
    for step in reversed(steps):
        records.delete_rows([Group(table=step.table, where=step.where, rows=_leaving(step))])
    for step in steps:
        _change_rows(records.connection, step)
    for step in steps:
        coming = _coming(step)
        if coming:
            records.connection.execute(insert(Base.metadata.tables[step.table]), list(coming))


def _leaving(step: Step) -> tuple[Row, ...]:
    """Return the rows that have to go; of those without a number of their own all, so that none stands in another's way."""
    kept = {number for _, number in numbers_of(step, before=True)}
    return tuple(row for row in step.after if "id" not in row or row["id"] not in kept)


def _coming(step: Step) -> tuple[Row, ...]:
    there = {number for _, number in numbers_of(step, before=False)}
    return tuple(row for row in step.before if "id" not in row or row["id"] not in there)


def _change_rows(connection: Connection, step: Step) -> None:
    table = Base.metadata.tables[step.table]
    now: dict[Any, Row] = {row["id"]: row for row in step.after if "id" in row}
    rows = [row for row in step.before if "id" in row and row["id"] in now and now[row["id"]] != row]
    if rows:
        values: dict[str, Any] = {name: bindparam(f"new_{name}") for name in rows[0]}
        changing = update(table).where(table.c.id == bindparam("number")).values(values)
        connection.execute(changing, [{"number": row["id"], **{f"new_{name}": value for name, value in row.items()}} for row in rows])
