"""Writes a logbook as the same kinds of CSV file it is read from, without losing anything.

A name or a note is written exactly as it stands, because a changed name would be another pack when it is read again.
A spreadsheet may take one that begins with = + - or @ for a formula: open files from strangers as text only.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from secrets import token_hex
from typing import Any

from tracker.domain.logbook import Logbook
from tracker.domain.session import BenchTest
from tracker.domain.trace import Trace
from tracker.errors import InputError
from tracker.intake.columns import BENCH, CHARGES, CONTROLLERS, PACKS, RUNS, VEHICLES, BenchRow, FileKind
from tracker.intake.text import name_problem
from tracker.intake.trace_write import OWN_COLUMNS, trace_file_name, write_trace

_NEEDS_QUOTES = re.compile(r'[,;"\r\n\t]|^\s|\s$')


def write_folder(logbook: Logbook, folder: Path, traces: Iterable[Trace] = ()) -> tuple[Path, ...]:
    """Write all six files into a folder, made when it is not there, and one for each recording; other files in it are left alone.

    All files are written beside their places first and moved there at the end, so that a full disk or a power cut
    leaves no half of a file. Files of the same six names that stand there already are replaced.
    """
    _check_names(logbook)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"'{folder}' is a file; name a folder to export to.")
    tables: tuple[tuple[FileKind, Iterable[Any]], ...] = (
        (PACKS, logbook.packs),
        (VEHICLES, logbook.vehicles),
        (CONTROLLERS, logbook.controllers),
        (RUNS, logbook.runs),
        (CHARGES, logbook.charges),
        (BENCH, _bench_rows(logbook.bench_tests)),
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return _write_all(tables, folder, traces)
    except (OSError, ValueError) as error:
        raise InputError(f"'{folder}' cannot be written ({getattr(error, 'strerror', None) or error}); choose another folder.") from error


def left_over(folder: Path, written: Collection[Path]) -> tuple[Path, ...]:
    """Recordings in a folder that an earlier export wrote and this one did not: whoever imports the folder brings them back."""
    first = ",".join(OWN_COLUMNS)
    names = {path.name for path in written}
    others = sorted(path for path in folder.glob("trace_*.csv") if path.name not in names and path.is_file())
    return tuple(path for path in others if _begins(path, first))


def _begins(path: Path, words: str) -> bool:
    with path.open("rb") as file:
        return file.read(len(words)) == words.encode()


def _write_all(tables: Iterable[tuple[FileKind, Iterable[Any]]], folder: Path, traces: Iterable[Trace]) -> tuple[Path, ...]:
    written: list[tuple[Path, Path]] = []
    try:
        for kind, records in tables:
            beside = folder / f".{kind.file_name}.{token_hex(4)}"
            written.append((beside, folder / kind.file_name))
            _write_file(kind, records, beside)
        taken: set[str] = set()
        for trace in traces:
            name = trace_file_name(trace, taken)
            beside = folder / f".{name}.{token_hex(4)}"
            written.append((beside, folder / name))
            write_trace(trace, beside)
        for _, target in written:
            if target.is_dir():
                raise InputError(f"'{target}' is a folder and cannot be replaced by a file; nothing was changed; choose another folder.")
        for beside, target in written:
            beside.replace(target)
    finally:
        for beside, _ in written:
            beside.unlink(missing_ok=True)
    return tuple(target for _, target in written)


def _write_file(kind: FileKind, records: Iterable[Any], path: Path) -> None:
    with path.open("x", encoding="utf-8", newline="") as stream:
        stream.write(",".join(column.name for column in kind.columns) + "\n")
        stream.writelines(_lines(kind, records))
        stream.flush()
        os.fsync(stream.fileno())


def _lines(kind: FileKind, records: Iterable[Any]) -> Iterator[str]:
    columns = [(column.field, column.cell.write) for column in kind.columns]
    for record in records:
        cells = []
        for field, write in columns:
            value = getattr(record, field)
            cells.append("" if value is None or value == () or value == "" else _quoted(write(value)))
        yield ",".join(cells) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if _NEEDS_QUOTES.search(text) else text


def _bench_rows(tests: Iterable[BenchTest]) -> Iterator[BenchRow]:
    for test in tests:
        for reading in test.readings:
            yield BenchRow(controller=test.controller, tested_at=test.tested_at, supply_v=reading.supply_v, running=reading.running)


def _check_names(logbook: Logbook) -> None:
    for what, records in (("pack", logbook.packs), ("vehicle", logbook.vehicles), ("controller", logbook.controllers)):
        for record in records:
            problem = name_problem(record.name)
            if problem:
                raise InputError(f"a {what} cannot be written to a file: {problem} Rename it, then export again.")
