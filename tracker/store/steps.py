"""Rows as they were before and after a change, kept as text, compared with what is stored and put back."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Date, LargeBinary, Select, Table, and_, select

from tracker.store.columns import Numbers, Utc
from tracker.store.tables import WORKED_OUT, Base, ChangeRow

Row = dict[str, Any]
Numbered = tuple[str, int]
"""A table and the number of a row in it."""

_MOST_NAMED = 500


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """The rows of one table that a condition chooses, or some columns of them."""

    table: str
    where: Mapping[str, Any]
    """Column and value, or a list of values."""
    rows: tuple[Row, ...] = ()
    """By primary key."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One group before and after a change."""

    table: str
    where: Mapping[str, Any]
    before: tuple[Row, ...]
    after: tuple[Row, ...]


def look(connection: Connection, table: str, where: Mapping[str, Any], columns: Sequence[str] | None = None) -> Group:
    """Return the rows a condition chooses, as they stand now."""
    of = Base.metadata.tables[table]
    names = [column.name for column in of.c] if columns is None else [*_keys(of), *(name for name in columns if name not in _keys(of))]
    rows: list[Row] = []
    for condition in _conditions(of, where):
        chosen: Select[Any] = select(*(of.c[name] for name in names)).where(condition).order_by(*(of.c[name] for name in _keys(of)))
        rows += [dict(zip(names, row, strict=True)) for row in connection.execute(chosen)]
    return Group(table=table, where=dict(where), rows=tuple(rows))


def with_all_below(connection: Connection, table: str, number: int) -> list[Group]:
    """Return a row and everything somebody wrote down that goes with it, the row first."""
    found = [look(connection, table, {"id": number})]
    for group in found:  # grows while it is gone through
        of = Base.metadata.tables[group.table]
        numbers = [row["id"] for row in group.rows] if "id" in of.c else []
        if numbers:
            below = (look(connection, child.name, {column.name: numbers}) for child, column in children(of))
            found += [each for each in below if each.rows]
    return found


def children(table: Table) -> list[tuple[Table, Column[Any]]]:
    """Return the tables of what people wrote down that name rows of this one, and the columns they do it with."""
    tables = (other for other in Base.metadata.sorted_tables if other.name not in WORKED_OUT and other.name != ChangeRow.__tablename__)
    return [(other, key.parent) for other in tables for key in other.foreign_keys if key.column.table is table]


def parents(table: Table) -> dict[str, str]:
    """Return for each column that names a row of another table, which table."""
    return {key.parent.name: key.column.table.name for key in table.foreign_keys}


def differences(before: Iterable[Group], after: Iterable[Group]) -> tuple[Step, ...]:
    """Return the groups that differ, a group that was not looked at counting as empty."""
    ends = {_name(group): group for group in after}
    starts = {_name(group): group for group in before}
    steps = []
    for name in dict.fromkeys([*starts, *ends]):
        group = starts.get(name) or ends[name]
        was, now = (side[name].rows if name in side else () for side in (starts, ends))
        if was != now:
            step = Step(table=group.table, where=group.where, before=was, after=now)
            steps.append(_narrowed(step) if was and now and isinstance(step.where.get("id"), list) else step)
    return tuple(steps)


def _narrowed(step: Step) -> Step:
    """Return a step over many rows with those alone that were changed."""
    was, now = ({row["id"]: row for row in rows} for rows in (step.before, step.after))
    changed = {number for number in {**was, **now} if was.get(number) != now.get(number)}
    before, after = (tuple(row for row in rows if row["id"] in changed) for rows in (step.before, step.after))
    return replace(step, where={"id": sorted(changed)}, before=before, after=after)


def as_it_stands(connection: Connection, step: Step) -> tuple[Row, ...]:
    """Return the rows of a step as they are stored now, in the columns the step knows."""
    known = step.after or step.before
    return look(connection, step.table, step.where, list(known[0])).rows


def numbers_of(step: Step, *, before: bool) -> set[Numbered]:
    """Return the rows a step holds, before or after."""
    return {(step.table, row["id"]) for row in (step.before if before else step.after) if "id" in row}


def named_by(step: Step) -> set[Numbered]:
    """Return the rows of other tables that a step's rows named before the change."""
    columns = parents(Base.metadata.tables[step.table])
    return {(table, row[name]) for row in step.before for name, table in columns.items() if row.get(name) is not None}


def renumbered(step: Step, numbers: Mapping[Numbered, int]) -> Step:
    """Return a step that speaks of rows by other numbers."""
    columns = {"id": step.table, **parents(Base.metadata.tables[step.table])}

    def number(name: str, value: Any) -> Any:
        if isinstance(value, list):
            return [number(name, each) for each in value]
        return numbers.get((columns[name], value), value) if name in columns and isinstance(value, int) else value

    def rows(given: tuple[Row, ...]) -> tuple[Row, ...]:
        return tuple({name: number(name, value) for name, value in row.items()} for row in given)

    where = {name: number(name, value) for name, value in step.where.items()}
    return replace(step, where=where, before=rows(step.before), after=rows(step.after))


def text_of(steps: Iterable[Step]) -> str:
    """Return steps as text that `steps_of` reads back exactly."""
    return json.dumps(
        [
            {
                "table": step.table,
                "where": _written(step.table, step.where),
                "before": [_written(step.table, row) for row in step.before],
                "after": [_written(step.table, row) for row in step.after],
            }
            for step in steps
        ],
        separators=(",", ":"),
        allow_nan=False,
    )


def steps_of(text: str) -> tuple[Step, ...]:
    """Return the steps kept as text."""
    return tuple(
        Step(
            table=each["table"],
            where=_read(each["table"], each["where"]),
            before=tuple(_read(each["table"], row) for row in each["before"]),
            after=tuple(_read(each["table"], row) for row in each["after"]),
        )
        for each in json.loads(text)
    )


def _conditions(table: Table, where: Mapping[str, Any]) -> list[ColumnElement[bool]]:
    """Return conditions that together choose the rows; more than one where very many are named."""
    (name, value), *others = where.items()
    rest = [table.c[other] == given for other, given in others]
    if not isinstance(value, list):
        return [and_(table.c[name] == value, *rest)]
    return [and_(table.c[name].in_(value[start : start + _MOST_NAMED]), *rest) for start in range(0, len(value), _MOST_NAMED)]


def _keys(table: Table) -> list[str]:
    return [column.name for column in table.primary_key]


def _name(group: Group) -> tuple[str, str]:
    return group.table, repr(sorted(group.where.items()))


def _written(table: str, row: Mapping[str, Any]) -> Row:
    return {name: _plain(value) for name, value in row.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, date):  # also a moment
        return value.isoformat()
    return base64.b64encode(value).decode() if isinstance(value, bytes) else value


def _read(table: str, row: Mapping[str, Any]) -> Row:
    columns = Base.metadata.tables[table].c
    return {name: _stored(columns[name].type, value) for name, value in row.items()}


def _stored(kind: Any, value: Any) -> Any:
    if isinstance(kind, Numbers):
        return tuple(value)
    if value is None:
        return None
    if isinstance(kind, Utc):
        return datetime.fromisoformat(value)
    if isinstance(kind, Date):
        return date.fromisoformat(value)
    return base64.b64decode(value) if isinstance(kind, LargeBinary) else value
