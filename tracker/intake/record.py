"""One record from texts by column name, as a form or a command gives them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchReading, BenchTest, Charge, Run
from tracker.errors import FieldErrors
from tracker.intake import checks
from tracker.intake.columns import BENCH, CHARGES, CONTROLLERS, PACKS, RUNS, VEHICLES, Column, FileKind
from tracker.intake.numbers import DecimalMark
from tracker.intake.text import CellError, either

__all__ = ["FieldErrors", "parse_bench", "parse_charge", "parse_controller", "parse_pack", "parse_run", "parse_vehicle"]

Record = TypeVar("Record")


def parse_run(fields: Mapping[str, str]) -> Run:
    """Return a run from texts by column name; raises FieldErrors naming every column at fault."""
    return _parsed(RUNS, fields, Run)


def parse_charge(fields: Mapping[str, str]) -> Charge:
    """Return a charge from texts by column name; raises FieldErrors naming every column at fault."""
    return _parsed(CHARGES, fields, Charge)


def parse_pack(fields: Mapping[str, str]) -> Pack:
    """Return a pack from texts by column name; raises FieldErrors naming every column at fault."""
    return _parsed(PACKS, fields, Pack)


def parse_vehicle(fields: Mapping[str, str]) -> Vehicle:
    """Return a vehicle from texts by column name; raises FieldErrors naming every column at fault."""
    return _parsed(VEHICLES, fields, Vehicle)


def parse_controller(fields: Mapping[str, str]) -> Controller:
    """Return a controller from texts by column name; raises FieldErrors naming every column at fault."""
    return _parsed(CONTROLLERS, fields, Controller)


def parse_bench(fields: Mapping[str, str]) -> BenchTest:
    """Return a bench test; supply_v and motor hold as many items as there are readings, separated by blanks."""
    problems = _strangers(BENCH, fields)
    mark = _mark_of(BENCH, fields)
    values: dict[str, Any] = {}
    for column in BENCH.columns:
        try:
            text = _text(column, fields)
            items = [text] if column.field in BENCH.key else text.split()
            values[column.field] = [column.cell.reader(mark)(item) for item in items]
        except CellError as problem:
            problems[column.name] = str(problem)
    supply_v, running = values.get("supply_v", ()), values.get("running", ())
    if not problems and len(supply_v) != len(running):
        problems["motor"] = f"{len(running)} words are given for {len(supply_v)} voltages; allowed is one of running and stopped for each."
    if problems:
        raise FieldErrors(problems)
    readings = tuple(BenchReading(supply_v=volts, running=turning) for volts, turning in zip(supply_v, running, strict=True))
    return BenchTest(controller=values["controller"][0], tested_at=values["tested_at"][0], readings=readings)


def _parsed(kind: FileKind, fields: Mapping[str, str], record: type[Record]) -> Record:
    problems = _strangers(kind, fields)
    values: dict[str, Any] = {}
    mark = _mark_of(kind, fields)
    for column in kind.columns:
        try:
            text = _text(column, fields)
            if text:
                values[column.field] = column.cell.reader(mark)(text)
        except CellError as problem:
            problems[column.name] = str(problem)
    if problems:
        raise FieldErrors(problems)
    made = record(**values)
    problems = dict(checks.within(made))
    if problems:
        raise FieldErrors(problems)
    return made


def _strangers(kind: FileKind, fields: Mapping[str, str]) -> dict[str, str]:
    known = [column.name for column in kind.columns]
    return {name: f"is not a column of a {kind.one}; allowed are {either(known)}." for name in fields if name not in known}


def _mark_of(kind: FileKind, fields: Mapping[str, str]) -> DecimalMark:
    mark = DecimalMark(points_expected=True)
    for column in kind.columns:
        if column.cell.limits is not None:
            for item in fields.get(column.name, "").split():
                mark.learn(item, column.cell.limits)
    return mark


def _text(column: Column, fields: Mapping[str, str]) -> str:
    text = fields.get(column.name, "").strip()
    if column.required and not text:
        raise CellError(f"is missing; allowed: {column.cell.words}.")
    return text
