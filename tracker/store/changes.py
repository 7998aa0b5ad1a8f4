"""What was done to the logbook: noted with the rows as they were before and after, the newest kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import Select, delete, func, select, update

from tracker.domain.changes import Change, Key, Kind
from tracker.store.room import Room
from tracker.store.steps import Group, Step, look, steps_of, text_of, with_all_below
from tracker.store.tables import Base, ChangeRow, ChargeRow, ControllerRow, PackRow, RunRow

KEPT = 500
"""So many changes can be taken back; older ones are forgotten."""

Noted = tuple[str, datetime, str, datetime | None, str, str]

_NO_STEPS = text_of(())
_PLAIN = (ChangeRow.id, ChangeRow.at, ChangeRow.words, ChangeRow.undone_at)
_SETTING = ("pack_id", "started_at", "cutoff_v")
"""Of a run, so that its settings are never put back into another run that came to carry its number."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NotedChange:
    """A change as it is kept."""

    change: Change
    asked: str
    steps: tuple[Step, ...]
    undone_at: datetime | None


class Changes(Room):
    """Changes, and the rows they touch."""

    def note_change(self, number: str, words: str, asked: str, steps: Iterable[Step]) -> Change:
        """Keep what was done; the oldest beyond so many are forgotten."""
        at = self._next_moment()
        self._insert(ChangeRow, [{"id": number, "at": at, "words": words, "asked": asked, "steps": text_of(steps), "undone_at": None}])
        oldest = self.connection.scalar(select(ChangeRow.at).order_by(ChangeRow.at.desc()).offset(KEPT).limit(1))
        if oldest is not None:
            self.connection.execute(delete(ChangeRow).where(ChangeRow.at <= oldest))
        return Change(id=number, at=at, words=words, undone=False)

    def noted_change(self, number: str) -> NotedChange | None:
        """The change of that id, with all that is kept of it."""
        return next(iter(self._noted(_choose_noted().where(ChangeRow.id == number))), None)

    def noted_changes(self) -> list[NotedChange]:
        """Every change with all that is kept of it, oldest first."""
        return self._noted(_choose_noted().order_by(ChangeRow.at))

    def changes(self, limit: int) -> tuple[Change, ...]:
        """Changes that changed anything, newest first."""
        chosen = select(*_PLAIN).where(ChangeRow.steps != _NO_STEPS).order_by(ChangeRow.at.desc()).limit(max(0, limit))
        return tuple(_change(*row) for row in self.connection.execute(chosen))

    def last_change(self) -> Change | None:
        """The newest change that changed anything and was not taken back."""
        chosen = select(*_PLAIN).where(ChangeRow.steps != _NO_STEPS, ChangeRow.undone_at.is_(None)).order_by(ChangeRow.at.desc()).limit(1)
        return next((_change(*row) for row in self.connection.execute(chosen)), None)

    def mark_undone(self, number: str) -> None:
        """Mark a change as taken back."""
        self.connection.execute(update(ChangeRow).where(ChangeRow.id == number).values(undone_at=self._next_moment()))

    def rewrite_steps(self, number: str, steps: Iterable[Step]) -> None:
        """Keep other steps of a change, because rows it speaks of have other numbers now."""
        self.connection.execute(update(ChangeRow).where(ChangeRow.id == number).values(steps=text_of(steps)))

    def rows_of(self, kind: Kind, key: Key) -> list[Group]:
        """The rows a record consists of; none when it is not stored."""
        if kind == "bench":
            condition = {"controller_id": self._id_of(ControllerRow, key[0]), "tested_at": key[1]}
            return [look(self.connection, "bench_reading", condition)]
        number = self._number_of(kind, key)
        if number is None:
            return []
        own = look(self.connection, kind, {"id": number})
        return [own, look(self.connection, "vehicle_controller", {"vehicle_id": number})] if kind == "vehicle" else [own]

    def rows_with_all_below(self, kind: Kind, key: Key) -> list[Group]:
        """The rows of a record, and of everything that goes with it when it is removed."""
        number = None if kind == "bench" else self._number_of(kind, key)
        return self.rows_of(kind, key) if number is None else with_all_below(self.connection, kind, number)

    def settings_as_driven(self, vehicles: Iterable[str]) -> list[Group]:
        """The settings every run of these vehicles was driven with."""
        ids = self._vehicle_ids()
        found = [look(self.connection, "run", {"vehicle_id": ids[name]}, _SETTING) for name in vehicles if name in ids]
        rows = sorted((row for group in found for row in group.rows), key=lambda row: int(row["id"]))
        return [Group(table="run", where={"id": [row["id"] for row in rows]}, rows=tuple(rows))] if rows else []

    def delete_rows(self, groups: Iterable[Group]) -> None:
        """Delete the rows of groups, the last group first."""
        for group in reversed(list(groups)):
            table = Base.metadata.tables[group.table]
            keys = [column.name for column in table.primary_key]
            if keys == ["id"]:
                numbers = [row["id"] for row in group.rows]
                for start in range(0, len(numbers), 500):
                    self.connection.execute(delete(table).where(table.c.id.in_(numbers[start : start + 500])))
            else:
                for row in group.rows:
                    self.connection.execute(delete(table).where(*(table.c[key] == row[key] for key in keys)))
        self._forget_keys()

    def packs_in(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """Packs that steps touch, themselves or in their runs and charges, by the names they have now."""
        numbers: set[int] = set()
        for step in steps:
            column = {"pack": "id", "run": "pack_id", "charge": "pack_id"}.get(step.table)
            if column is not None:
                numbers.update(row[column] for row in (*step.before, *step.after))
        return tuple(sorted(name for name, key in self._fresh_keys().items() if key in numbers))

    def vehicles_in(self, steps: Iterable[Step]) -> tuple[str, ...]:
        """Vehicles that steps touch, themselves or in their controllers, by the names they have now."""
        vehicles: set[int] = set()
        controllers: set[int] = set()
        for step in steps:
            chosen = {"vehicle": vehicles, "controller": controllers}.get(step.table)
            if chosen is not None:
                chosen.update(row["id"] for row in (*step.before, *step.after))
        carried = Base.metadata.tables["vehicle_controller"]
        for vehicle, controller in self.connection.execute(select(carried.c.vehicle_id, carried.c.controller_id)):
            if controller in controllers:
                vehicles.add(vehicle)
        return tuple(sorted(name for name, number in self._vehicle_ids().items() if number in vehicles))

    def _next_moment(self) -> datetime:
        """Return now, but later than every change and every taking back, also where a clock was set back."""
        known = self.connection.execute(select(func.max(ChangeRow.at), func.max(ChangeRow.undone_at))).one()
        last = max((at for at in known if at is not None), default=None)
        now = datetime.now(UTC)
        return now if last is None or now > last else last + timedelta(microseconds=1)

    def _fresh_keys(self) -> dict[str, int]:
        return {name: number for name, number in self.connection.execute(select(PackRow.name, PackRow.id))}  # noqa: C416 - typed rows

    def _number_of(self, kind: Kind, key: Key) -> int | None:
        if isinstance(key, str):
            named = Base.metadata.tables[kind]
            return self.connection.scalar(select(named.c.id).where(named.c.name == key))
        timed, at = (RunRow, RunRow.started_at) if kind == "run" else (ChargeRow, ChargeRow.finished_at)
        chosen = select(timed.id).join(PackRow, PackRow.id == timed.pack_id).where(PackRow.name == key[0], at == key[1])
        return self.connection.scalar(chosen)

    def _noted(self, chosen: Select[*Noted]) -> list[NotedChange]:
        return [
            NotedChange(change=_change(number, at, words, undone_at), asked=asked, steps=steps_of(steps), undone_at=undone_at)
            for number, at, words, undone_at, asked, steps in self.connection.execute(chosen)
        ]


def _choose_noted() -> Select[*Noted]:
    return select(*_PLAIN, ChangeRow.asked, ChangeRow.steps)


def _change(number: str, at: datetime, words: str, undone_at: datetime | None) -> Change:
    return Change(id=number, at=at, words=words, undone=undone_at is not None)
