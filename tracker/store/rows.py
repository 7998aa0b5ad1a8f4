"""Between records of the domain and rows of the tables: fields and columns of the same name belong together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import Any, Generic, TypeVar, cast

from sqlalchemy.orm import InstrumentedAttribute

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.results import Finding
from tracker.domain.session import Charge, Run
from tracker.store.garbage import collector_resting
from tracker.store.tables import Base, ChargeRow, ControllerRow, FindingRow, PackRow, RunRow, VehicleRow

Record = TypeVar("Record")


class Conversion(Generic[Record]):
    """Turns records of one type into rows of one table and back.

    Parameters
    ----------
    record : type
        A dataclass of the domain.
    table : type
        Its table.
    elsewhere : InstrumentedAttribute or None
        For each field that is not a column of that table: the column it is read from, or None when it is not read here.
    """

    def __init__(self, record: type[Record], table: type[Base], **elsewhere: InstrumentedAttribute[Any] | None) -> None:
        self._record = record
        names = [field.name for field in fields(cast(Any, record))]
        self._own = tuple(name for name in names if name not in elsewhere)
        self._read = tuple(name for name in names if name not in elsewhere or elsewhere[name] is not None)
        self.columns: tuple[InstrumentedAttribute[Any], ...] = tuple(elsewhere.get(name) or getattr(table, name) for name in self._read)

    def values(self, record: Record) -> dict[str, Any]:
        """Return a record's fields that are columns of its table."""
        return {name: getattr(record, name) for name in self._own}

    def records(self, rows: Iterable[Sequence[Any]], **others: Any) -> list[Record]:
        """Return the records of rows selected as `columns`."""
        make, names = self._record, self._read
        with collector_resting():
            return [make(**dict(zip(names, row, strict=True)), **others) for row in rows]

    def record(self, row: Sequence[Any], **others: Any) -> Record:
        """Return the record of one row selected as `columns`."""
        return self.records([row], **others)[0]


PACKS = Conversion(Pack, PackRow)
CONTROLLERS = Conversion(Controller, ControllerRow)
VEHICLES = Conversion(Vehicle, VehicleRow, controllers=None)
RUNS = Conversion(Run, RunRow, pack=PackRow.name, vehicle=VehicleRow.name)
CHARGES = Conversion(Charge, ChargeRow, pack=PackRow.name)
FINDINGS = Conversion(Finding, FindingRow)
