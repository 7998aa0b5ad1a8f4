"""A file with bench tests by itself: rows as in the logbook, or the recording of a slowly moving supply."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tracker.domain.bench import BenchRamp
from tracker.domain.session import BenchTest
from tracker.errors import InputError
from tracker.intake.cells import choice, number
from tracker.intake.columns import KNOWN_COLUMNS, Column, FileKind
from tracker.intake.logbook import read_files
from tracker.intake.refusals import Refusals
from tracker.intake.separators import open_text, split_header
from tracker.intake.table_file import TableFile

_LONGEST_HEADER = 100_000
_BLANK_LINES = 50
"""So many lines are looked at for the header of a recording."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RampRow:
    """One row of a recording."""

    time_s: float
    supply_v: float
    running: bool


RAMP = FileKind(
    "recorded ramp",
    "reading",
    RampRow,
    ("time_s",),
    (
        Column("time_s", "time_s", number(-1e12, 1e12, "s"), required=True),
        Column("supply_v", "supply_v", number(0, 1000, "V"), required=True),
        Column("motor", "running", choice({"running": True, "stopped": False}), required=True),
    ),
)


@dataclass(frozen=True, slots=True)
class BenchFile:
    """What a file holds of bench tests."""

    tests: tuple[BenchTest, ...] = ()
    ramps: tuple[BenchRamp, ...] = ()
    warnings: tuple[str, ...] = ()


def read_bench_file(path: Path, controller: str | None = None) -> BenchFile:
    """Read a bench file, or a recording with the columns time_s, supply_v and motor; `controller` names whose recording it is."""
    if _is_ramp(path):
        return _read_ramp(path, controller or path.stem)
    intake = read_files([path])
    if not intake.logbook.bench_tests:
        raise InputError(
            f"{path} holds no bench test; needed is a file with the columns controller, tested_at, supply_v and motor, one row a reading, "
            "or a recording with time_s, supply_v and motor."
        )
    return BenchFile(tests=intake.logbook.bench_tests, warnings=intake.warnings)


def _is_ramp(path: Path) -> bool:
    try:
        with open_text(path) as stream:
            lines = (stream.readline(_LONGEST_HEADER) for _ in range(_BLANK_LINES))
            header = next((line for line in lines if line.strip()), "")
    except OSError:  # told, with what else is wrong, when the file is read as a logbook's
        return False
    _, names = split_header(header, KNOWN_COLUMNS)
    return {"time_s", "supply_v"} <= set(names) and "controller" not in names


def _read_ramp(path: Path, controller: str) -> BenchFile:
    label, refusals = str(path), Refusals()
    warnings: list[str] = []
    rows: list[RampRow] = []
    with open_text(path) as stream:
        table = TableFile(stream, label, refusals, warnings, (RAMP,))
        for line, row in table.records():
            if rows and row.time_s <= rows[-1].time_s:
                problem = f"{row.time_s:g} does not come after {rows[-1].time_s:g}; allowed are times in the order taken."
                refusals.add(label, line, "time_s", problem)
            rows.append(row)
    if refusals.any:
        raise refusals.error()
    if not rows:
        raise InputError(f"{path} holds no reading; needed are rows with time_s, supply_v and motor.")
    ramp = BenchRamp(
        controller=controller,
        time_s=tuple(row.time_s for row in rows),
        supply_v=tuple(row.supply_v for row in rows),
        running=tuple(row.running for row in rows),
    )
    return BenchFile(ramps=(ramp,), warnings=tuple(warnings))
