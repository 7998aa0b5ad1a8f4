"""How a row of a file differs from what is stored, field by field, both in the words a file would use."""

from __future__ import annotations

from typing import Any

from tracker.domain.exchange import FieldDifference, RowDifference
from tracker.domain.session import BenchTest
from tracker.intake.columns import BENCH, KINDS, FileKind
from tracker.intake.logbook import Place

MOST_SHOWN = 50
"""So many rows are told field by field; further ones are counted."""

_KINDS = {kind.name: kind for kind in KINDS}


def row_difference(kind: str, stored: Any, given: Any, place: Place) -> RowDifference:
    """Return what is different between a stored record and the one a file gives."""
    of = _KINDS[kind]
    at = getattr(given, of.key[1]) if len(of.key) > 1 else None
    fields = _readings(stored, given) if of is BENCH else _fields(of, stored, given)
    return RowDifference(kind=kind, name=getattr(given, of.key[0]), at=at, file=place.file, line=place.line, fields=fields)


def _fields(kind: FileKind, stored: Any, given: Any) -> tuple[FieldDifference, ...]:
    found = []
    for column in kind.columns:
        values = getattr(stored, column.field), getattr(given, column.field)
        if values[0] != values[1]:
            before, after = ("" if value is None or value in ((), "") else column.cell.write(value) for value in values)
            found.append(FieldDifference(column=column.name, stored=before, given=after))
    return tuple(found)


def _readings(stored: BenchTest, given: BenchTest) -> tuple[FieldDifference, ...]:
    """A bench test is rows of readings: it is enough to say how many, and which is the first that is another."""
    pairs = zip(stored.readings, given.readings, strict=False)
    first = next((place for place, (one, other) in enumerate(pairs) if one != other), min(len(stored.readings), len(given.readings)))
    before, after = (_reading(test, first) for test in (stored, given))
    return (FieldDifference(column=BENCH.column_of("supply_v"), stored=before, given=after),)


def _reading(test: BenchTest, place: int) -> str:
    said = f"{len(test.readings):,} readings"
    if place >= len(test.readings):
        return said
    reading = test.readings[place]
    return f"{said}, number {place + 1} at {reading.supply_v:g} V {'running' if reading.running else 'stopped'}"
