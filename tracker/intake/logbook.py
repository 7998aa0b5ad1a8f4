"""From files and folders to one checked logbook, or to a refusal that lists everything wrong with them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.progress import Progress
from tracker.domain.session import BenchReading, BenchTest
from tracker.intake import checks
from tracker.intake.columns import BENCH, CHARGES, CONTROLLERS, KINDS, KNOWN_COLUMNS, PACKS, RUNS, VEHICLES, BenchRow, FileKind
from tracker.intake.paths import files_of
from tracker.intake.refusals import Refusals
from tracker.intake.separators import LONGEST_ROW, foreign_format, open_text, split_header
from tracker.intake.table_file import TableFile
from tracker.intake.text import shown
from tracker.intake.trace_file import is_trace

Key = tuple[str, ...]
"""The kind of a record and what tells it from others: ("pack", name), ("run", pack, time in UTC as ISO 8601), …"""

_ROWS_BETWEEN_NEWS = 2000


class Place(NamedTuple):
    """Where a record was read."""

    file: str
    line: int


@dataclass(frozen=True, slots=True)
class Intake:
    """What files held, where each record stood, and what was odd about them."""

    logbook: Logbook
    places: dict[Key, Place] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    traces: tuple[Path, ...] = ()
    """Files that are recordings, not read yet."""


_KINDS = {kind.name: kind for kind in KINDS}


def key_of(kind: str, record: Any) -> Key:
    """Return the key under which `Intake.places` holds the place of a record; `kind` is as packs, runs, bench, …"""
    of = _KINDS[kind]
    parts = (getattr(record, field) for field in of.key)
    return (of.one, *(part.isoformat() if isinstance(part, datetime) else part for part in parts))


def read_files(paths: Sequence[Path], progress: Progress | None = None, *, names: Mapping[Path, str] | None = None) -> Intake:
    """Read files, and all CSV files of folders; `names` says what a person calls a file, where that is not its path.

    Raises
    ------
    ImportRefusedError
        When anything at all is wrong with any of them; it lists the first fifty bad places and counts the others.
    """
    refusals = Refusals()
    warnings: list[str] = []
    collection = _Collection(refusals)
    for path in files_of(paths, refusals, warnings):
        _read_file(path, (names or {}).get(path, str(path)), collection, warnings, progress)
    collection.cross_check()
    if refusals.any:
        raise refusals.error()
    return Intake(collection.logbook(), collection.places, tuple(warnings), tuple(collection.traces))


def kind_of_file(path: Path) -> str | None:
    """Return which kind of file this is by its header, `recording` among them, or None when it is none of them."""
    if foreign_format(path) is not None:
        return None
    if _is_recording(path):
        return "recording"
    with open_text(path) as stream:
        kind = TableFile(stream, str(path), Refusals(), []).kind
    return None if kind is None else kind.name


def _read_file(path: Path, label: str, collection: _Collection, warnings: list[str], progress: Progress | None) -> None:
    refusals = collection.refusals
    refusals.begin(label)
    try:
        foreign = foreign_format(path)
        if foreign is not None:
            refusals.add(label, 1, "file", foreign)
            return
        if _is_recording(path):
            collection.traces.append(path)
            return
        with open_text(path) as stream:
            table = TableFile(stream, label, refusals, warnings)
            collection.take(table, label, _telling(table.records(), f"reading {Path(label).name}, rows", progress))
    except OSError as error:
        refusals.add(label, 1, "file", f"cannot be read ({error.strerror or error}); look at its rights and its disk.")


def _is_recording(path: Path) -> bool:
    """Tell whether a file is no logbook's but a recording's; its header alone is looked at."""
    with open_text(path) as stream:
        _, names = split_header(next((line for line in iter(lambda: stream.readline(LONGEST_ROW), "") if line.strip()), ""), KNOWN_COLUMNS)
    return not any(set(names).issuperset(kind.required) for kind in KINDS) and is_trace(path)


def _telling(records: Iterator[tuple[int, Any]], label: str, progress: Progress | None) -> Iterator[tuple[int, Any]]:
    done = 0
    for done, entry in enumerate(records, 1):
        if progress is not None and done % _ROWS_BETWEEN_NEWS == 0:
            progress(label, done, None)
        yield entry
    if progress is not None:
        progress(label, done, None)


class _Collection:
    """The records read so far. When so much is wrong that no more is listed, records are no longer kept."""

    def __init__(self, refusals: Refusals) -> None:
        self.refusals = refusals
        self.places: dict[Key, Place] = {}
        self.traces: list[Path] = []
        self._records: dict[str, dict[Key, Any]] = {kind.name: {} for kind in KINDS}

    def take(self, table: TableFile, label: str, records: Iterator[tuple[int, Any]]) -> None:
        """Take all records of one file."""
        if table.kind is BENCH:
            records = self._tests(records)
        for line, record in records:
            if self.refusals.full:
                self._forget()
            else:
                self._add(table, record, Place(label, line))

    def _tests(self, rows: Iterator[tuple[int, Any]]) -> Iterator[tuple[int, BenchTest]]:
        """Yield the tests of one file: rows of the same controller and time are one, in the order of the file."""
        tests: dict[tuple[str, datetime], tuple[int, list[BenchReading]]] = {}
        for line, row in rows:
            if self.refusals.full:
                tests.clear()
            elif isinstance(row, BenchRow):
                _, readings = tests.setdefault((row.controller, row.tested_at), (line, []))
                readings.append(BenchReading(supply_v=row.supply_v, running=row.running))
        for (controller, tested_at), (line, readings) in tests.items():
            yield line, BenchTest(controller=controller, tested_at=tested_at, readings=tuple(readings))

    def _add(self, table: TableFile, record: Any, place: Place) -> None:
        kind = table.kind
        if kind is None:
            return
        key, known = key_of(kind.name, record), self._records[kind.name]
        earlier = known.setdefault(key, record)
        if earlier is record:
            self.places[key] = place
        elif earlier != record:
            self.refusals.add(*place, kind.column_of(kind.key[0]), _contradiction(kind, record, earlier, self.places[key]))

    def _forget(self) -> None:
        self.places.clear()
        for known in self._records.values():
            known.clear()

    def cross_check(self) -> None:
        """Hold runs and charges against the packs that stand in the same files."""
        series = {pack.name: pack.series for pack in self._of(PACKS) if isinstance(pack, Pack)}
        for kind in (RUNS, CHARGES):
            for record in self._of(kind):
                if record.pack in series:
                    for column, message in checks.against_series(record, series[record.pack]):
                        self.refusals.add(*self.places[key_of(kind.name, record)], column, message)

    def _of(self, kind: FileKind) -> tuple[Any, ...]:
        return tuple(self._records[kind.name].values())

    def logbook(self) -> Logbook:
        """Return all records."""
        return Logbook(
            packs=self._of(PACKS),
            vehicles=self._of(VEHICLES),
            controllers=self._of(CONTROLLERS),
            runs=self._of(RUNS),
            charges=self._of(CHARGES),
            bench_tests=self._of(BENCH),
        )


def _contradiction(kind: FileKind, record: Any, earlier: Any, place: Place) -> str:
    if kind is BENCH:
        differing = ["readings"]
    else:
        differing = [column.name for column in kind.columns if getattr(record, column.field) != getattr(earlier, column.field)]
    what = f"pack {shown(record.pack)} at this time" if kind in (RUNS, CHARGES) else "that name"
    what = "that controller at this time" if kind is BENCH else what
    return f"a {kind.one} of {what} stands at {place.file}:{place.line} with other {', '.join(differing)}; keep one of the two."
