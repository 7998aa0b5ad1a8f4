"""The columns of every kind of file: the one table that reading, single records and writing go by.

The limits are those of what can be stored: they keep out what cannot be at all. A reading that is merely hard to
believe passes, because the estimates weigh readings against each other and name the one that disagrees.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from tracker import chemistry
from tracker.domain.controller import CUTOFF_MODES, Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import ENDINGS, GOALS, Charge, Run
from tracker.intake.cells import (
    Cell,
    KindCell,
    ListCell,
    celsius,
    choice,
    day,
    milli,
    minutes,
    moment,
    name,
    names,
    notes,
    number,
    whole,
    yes_or_no,
)
from tracker.intake.numbers import Limits

HIGHEST_CELL_V = 5.0
"""No cell of any chemistry here reaches it: the highest charge limit is 4.35 V."""
MOST_IN_SERIES = 100
_HIGHEST_V = 1000.0
_HIGHEST_A = 10_000.0
_HIGHEST_MAH = 10_000_000.0
_LONGEST_RUN_MIN = 100_000.0
_LONGEST_REST_MIN = 10_000_000.0


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what it is called in files, which field of the record it fills, and what its cells are."""

    name: str
    field: str
    cell: Cell
    required: bool = False


@dataclass(frozen=True, slots=True)
class FileKind:
    """One kind of file."""

    name: str
    """As people call such a file, and the name of the file it is written to."""
    one: str
    """What one row holds."""
    record: Callable[..., Any]
    """Makes the record of one row from its fields."""
    key: tuple[str, ...]
    """The fields that tell one record from another."""
    columns: tuple[Column, ...]

    @property
    def file_name(self) -> str:
        """Name of the file it is written to."""
        return f"{self.name}.csv"

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns it must have."""
        return tuple(column.name for column in self.columns if column.required)

    def column_of(self, field: str) -> str:
        """Return the name of the column that fills the field."""
        return next(column.name for column in self.columns if column.field == field)


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchRow:
    """One row of a bench file: one reading, and which test it belongs to."""

    controller: str
    tested_at: datetime
    supply_v: float
    running: bool


@cache
def _chemistries() -> tuple[str, ...]:
    return chemistry.names()


def _volts() -> ListCell:
    return ListCell(
        number(0, _HIGHEST_V, "V", above=True),
        f"numbers above 0 up to {_HIGHEST_V:g} V, one for the pack or one for each cell",
        most=MOST_IN_SERIES,
        several=Limits(0, HIGHEST_CELL_V, "V", low_excluded=True),
    )


def _settings() -> ListCell:
    return ListCell(
        number(0, _HIGHEST_V, "V", above=True),
        f"numbers above 0 up to {_HIGHEST_V:g} V, one for each controller of the vehicle",
        most=MOST_IN_SERIES,
    )


PACKS = FileKind(
    "packs",
    "pack",
    Pack,
    ("name",),
    (
        Column("pack", "name", name(), required=True),
        Column("chemistry", "chemistry", KindCell(_chemistries), required=True),
        Column("series", "series", whole(1, MOST_IN_SERIES), required=True),
        Column("parallel", "parallel", whole(1, 10_000)),
        Column("capacity_mah", "capacity_ah", milli(10, _HIGHEST_MAH, "mAh"), required=True),
        Column("continuous_c", "continuous_c", number(0, 10_000, "times the capacity", above=True)),
        Column("acquired_on", "acquired_on", day()),
        Column("retired_on", "retired_on", day()),
        Column("notes", "notes", notes()),
    ),
)

VEHICLES = FileKind(
    "vehicles",
    "vehicle",
    Vehicle,
    ("name",),
    (
        Column("vehicle", "name", name(), required=True),
        Column("controllers", "controllers", names()),
        Column("lead_mohm", "lead_ohm", milli(0, 100_000, "mΩ")),
        Column("usual_a", "usual_a", number(0, _HIGHEST_A, "A", above=True)),
        Column("notes", "notes", notes()),
    ),
)

CONTROLLERS = FileKind(
    "controllers",
    "controller",
    Controller,
    ("name",),
    (
        Column("controller", "name", name(), required=True),
        Column("cutoff_mode", "cutoff_mode", KindCell(lambda: CUTOFF_MODES), required=True),
        Column("cutoff_v", "cutoff_v", number(0, _HIGHEST_V, "V", above=True)),
        Column("restart_v", "restart_v", number(0, _HIGHEST_V, "V", above=True)),
        Column("load_share", "load_share", number(0, 1)),
        Column("powers_receiver", "powers_receiver", yes_or_no()),
        Column("notes", "notes", notes()),
    ),
)

RUNS = FileKind(
    "runs",
    "run",
    Run,
    ("pack", "started_at"),
    (
        Column("pack", "pack", name(), required=True),
        Column("vehicle", "vehicle", name()),
        Column("started_at", "started_at", moment(), required=True),
        Column("run_min", "run_s", minutes(0, _LONGEST_RUN_MIN, above=True), required=True),
        Column("rest_before_min", "rest_before_s", minutes(0, _LONGEST_REST_MIN)),
        Column("before_v", "before_v", _volts()),
        Column("loaded_v", "loaded_v", _volts()),
        Column("loaded_a", "loaded_a", number(0, _HIGHEST_A, "A")),
        Column("mean_a", "mean_a", number(0, _HIGHEST_A, "A")),
        Column("used_mah", "used_ah", milli(0, _HIGHEST_MAH, "mAh")),
        Column("after_v", "after_v", _volts()),
        Column("rest_after_min", "rest_after_s", minutes(0, _LONGEST_REST_MIN)),
        Column("cutoff_v", "cutoff_v", _settings()),
        Column("pack_c", "pack_k", celsius(-100, 150)),
        Column("ended_by", "ended_by", KindCell(lambda: ENDINGS)),
        Column("notes", "notes", notes()),
    ),
)

CHARGES = FileKind(
    "charges",
    "charge",
    Charge,
    ("pack", "finished_at"),
    (
        Column("pack", "pack", name(), required=True),
        Column("finished_at", "finished_at", moment(), required=True),
        Column("put_back_mah", "put_back_ah", milli(0, _HIGHEST_MAH, "mAh")),
        Column("end_v", "end_v", _volts()),
        Column("goal", "goal", KindCell(lambda: GOALS)),
        Column(
            "cell_mohm",
            "cell_ohm",
            ListCell(milli(0, 100_000, "mΩ", above=True), "numbers above 0 up to 100000 mΩ, one for each cell", most=MOST_IN_SERIES),
        ),
        Column("pack_c", "pack_k", celsius(-100, 150)),
        Column("notes", "notes", notes()),
    ),
)

BENCH = FileKind(
    "bench",
    "bench test",
    BenchRow,
    ("controller", "tested_at"),
    (
        Column("controller", "controller", name(), required=True),
        Column("tested_at", "tested_at", moment(), required=True),
        Column("supply_v", "supply_v", number(0, _HIGHEST_V, "V"), required=True),
        Column("motor", "running", choice({"running": True, "stopped": False}), required=True),
    ),
)

KINDS = (PACKS, VEHICLES, CONTROLLERS, RUNS, CHARGES, BENCH)
KNOWN_COLUMNS = frozenset(column.name for kind in KINDS for column in kind.columns)
