"""What the parts of `Records` share: the connection and the numbers behind the names."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, insert, select, true

from tracker.errors import NotFoundError
from tracker.store.tables import Base, ControllerRow, PackRow, VehicleRow
from tracker.store.wording import plain_errors

_MOST_NAMED = 500
"""A statement may only hold so many values; more packs than this are asked for in several."""


class PackKey(NamedTuple):
    """What the rows of a pack are filed under, and how many cells its readings may name."""

    id: int
    series: int


class Room:
    """One transaction on one connection."""

    def __init__(self, connection: Connection, version: Callable[[], Hashable | None] | None = None) -> None:
        self.connection = connection
        """For the use of `tracker.store` alone."""
        self._version = version
        self._packs: dict[str, PackKey] | None = None
        self._asked: dict[str, PackKey] = {}
        """Packs asked for one by one, until all are known."""

    @property
    def version(self) -> Hashable | None:
        """What this transaction sees is the same as what another of the same version sees; None where that cannot be told."""
        return None if self._version is None else self._version()

    def _pack_keys(self) -> dict[str, PackKey]:
        if self._packs is None:
            rows = self.connection.execute(select(PackRow.name, PackRow.id, PackRow.series))
            self._packs = {name: PackKey(number, series) for name, number, series in rows}
        return self._packs

    def _pack_key(self, name: str) -> PackKey:
        known = self._asked if self._packs is None else self._packs
        if name in known:
            return known[name]
        if self._packs is None:
            row = self.connection.execute(select(PackRow.id, PackRow.series).where(PackRow.name == name)).first()
            if row is not None:
                return self._asked.setdefault(name, PackKey(*row))
        raise NotFoundError(f"no pack named '{name}' is stored; look at the spelling, capitals count.")

    def _forget_keys(self) -> None:
        self._packs = None
        self._asked.clear()

    def _vehicle_ids(self) -> dict[str, int]:
        return {name: number for name, number in self.connection.execute(select(VehicleRow.name, VehicleRow.id))}  # noqa: C416 - typed rows

    def _id_of(self, table: type[VehicleRow | ControllerRow], name: str) -> int:
        number = self.connection.scalar(select(table.id).where(table.name == name))
        if number is None:
            raise NotFoundError(f"no {table.__tablename__} named '{name}' is stored; look at the spelling, capitals count.")
        return number

    def _batches(self, packs: Sequence[str] | None) -> Iterator[ColumnElement[bool]]:
        """Conditions that choose the packs named, in order of name; more than one where they are many."""
        if packs is None:
            yield true()
            return
        if len(packs) > 1:
            self._pack_keys()
        ids = [self._pack_key(name).id for name in sorted(set(packs))]
        for start in range(0, len(ids), _MOST_NAMED):
            yield PackRow.id.in_(ids[start : start + _MOST_NAMED])

    def _insert(self, table: type[Base], rows: list[dict[str, Any]]) -> None:
        """Insert all rows or none of them."""
        if rows:
            with plain_errors(), self.connection.begin_nested():
                self.connection.execute(insert(table), rows)
