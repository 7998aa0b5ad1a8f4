"""Between the texts of a form and a record, by the names of the columns in the logbook's files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from tracker.domain.changes import Kind, Record
from tracker.domain.session import BenchTest
from tracker.errors import FieldErrors
from tracker.intake.columns import BENCH, CHARGES, CONTROLLERS, PACKS, RUNS, VEHICLES, FileKind
from tracker.intake.record import parse_bench, parse_charge, parse_controller, parse_pack, parse_run, parse_vehicle
from tracker.intake.text import CellError, join_names, notes
from tracker.intake.times import moment, moment_text
from tracker.services.naming import check_kind, kind_of

_FILES: Mapping[Kind, FileKind] = {"pack": PACKS, "vehicle": VEHICLES, "controller": CONTROLLERS, "run": RUNS, "charge": CHARGES}
_PARSERS: Mapping[Kind, Callable[[Mapping[str, str]], Record]] = {
    "pack": parse_pack,
    "vehicle": parse_vehicle,
    "controller": parse_controller,
    "run": parse_run,
    "charge": parse_charge,
    "bench": parse_bench,
}


def record_from(kind: Kind, texts: Mapping[str, str]) -> Record:
    """Return a record from texts by column name; an empty text is not recorded. FieldErrors names every column at fault.

    A time without an offset is this machine's local time. Notes are kept as they stand, but for the ends of their
    lines, which browsers send in a form of their own.
    """
    check_kind(kind)
    record = _PARSERS[kind](texts)
    if isinstance(record, BenchTest):
        return record
    try:
        return replace(record, notes=notes(texts.get("notes", "").replace("\r\n", "\n")))
    except CellError as problem:
        raise FieldErrors({"notes": str(problem)}) from problem


def texts_from(record: Record) -> dict[str, str]:
    """Return the texts of a record by column name, of which `record_from` makes the same record again."""
    if isinstance(record, BenchTest):
        numbers, words = (next(each for each in BENCH.columns if each.field == field).cell.write for field in ("supply_v", "running"))
        return {
            "controller": record.controller,
            "tested_at": time_text(record.tested_at),
            "supply_v": " ".join(numbers(reading.supply_v) for reading in record.readings),
            "motor": " ".join(words(reading.running) for reading in record.readings),
        }
    texts = {}
    for column in _FILES[kind_of(record)].columns:
        value = getattr(record, column.field)
        if isinstance(value, datetime):
            texts[column.name] = time_text(value)
        else:
            texts[column.name] = "" if value in (None, (), "") else column.cell.write(value)
    return texts


def columns_of(kind: Kind) -> tuple[str, ...]:
    """Return the columns of a kind of record, in the order they are written in."""
    check_kind(kind)
    return tuple(column.name for column in (BENCH if kind == "bench" else _FILES[kind]).columns)


def names_text(names: Iterable[str]) -> str:
    """Return names as one text, as the column of a vehicle's controllers holds them."""
    return join_names(names)


def time_text(at: datetime) -> str:
    """Return a time in the local zone, as short as it can be said; with an offset where the local time alone would not tell."""
    local = at.astimezone().replace(tzinfo=None)
    text = local.isoformat(timespec="microseconds" if local.microsecond else "seconds" if local.second else "minutes")
    try:
        unmistakable = moment(text) == at
    except CellError:  # a time that came twice as the clocks were set back
        unmistakable = False
    return text if unmistakable else moment_text(at)
