"""What an import would change: each record given is new, the same as the stored one, or differs from it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, fields, replace
from typing import Any, Generic, TypeVar

from tracker.domain.controller import Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run
from tracker.store.records import Records

Record = TypeVar("Record", Pack, Vehicle, Controller, Run, Charge, BenchTest)

COLUMNS = {
    "capacity_ah": "capacity_mah",
    "lead_ohm": "lead_mohm",
    "run_s": "run_min",
    "rest_before_s": "rest_before_min",
    "rest_after_s": "rest_after_min",
    "used_ah": "used_mah",
    "put_back_ah": "put_back_mah",
    "cell_ohm": "cell_mohm",
    "pack_k": "pack_c",
    "readings": "supply_v",
}
"""Fields whose column has another name, because people write another unit."""


@dataclass(frozen=True, slots=True)
class Change(Generic[Record]):
    """Records of one kind, sorted by what an import means for them."""

    new: list[Record]
    differing: list[tuple[Record, Record]]
    """What is stored, and what was given."""
    unchanged: int


@dataclass(frozen=True, slots=True)
class Changes:
    """All records of an import, sorted so."""

    packs: Change[Pack]
    vehicles: Change[Vehicle]
    controllers: Change[Controller]
    runs: Change[Run]
    charges: Change[Charge]
    bench: Change[BenchTest]


def compare(records: Records, given: Logbook) -> Changes:
    """Compare a logbook with what is stored."""
    counted = records.run_counts()
    driven = sorted({run.pack for run in given.runs} & set(counted))
    stored_packs = records.packs()
    charged = sorted({charge.pack for charge in given.charges} & {pack.name for pack in stored_packs})
    return Changes(
        packs=_sort(stored_packs, given.packs, _name),
        vehicles=_sort(records.vehicles(), given.vehicles, _name),
        controllers=_sort(records.controllers(), given.controllers, _name),
        runs=_sort_runs(records.runs(driven) if driven else (), given.runs),
        charges=_sort(records.charges(charged) if charged else (), given.charges, lambda charge: (charge.pack, charge.finished_at)),
        bench=_sort(records.bench_tests() if given.bench_tests else (), given.bench_tests, lambda test: (test.controller, test.tested_at)),
    )


def differing_columns(stored: Any, given: Any) -> list[str]:
    """Return the columns in which two records of one kind differ."""
    names = [field.name for field in fields(stored) if getattr(stored, field.name) != getattr(given, field.name)]
    return [COLUMNS.get(name, name) for name in names]


def _sort(stored: Iterable[Record], given: Iterable[Record], key: Callable[[Record], Hashable]) -> Change[Record]:
    known = {key(record): record for record in stored}
    new: list[Record] = []
    differing: list[tuple[Record, Record]] = []
    unchanged = 0
    for record in given:
        before = known.get(key(record))
        if before is None:
            new.append(record)
        elif before == record:
            unchanged += 1
        else:
            differing.append((before, record))
    return Change(new, differing, unchanged)


def _sort_runs(stored: Iterable[Run], given: Iterable[Run]) -> Change[Run]:
    """Sort runs; one given without cutoff settings leaves those that are stored with it as they are."""
    known = {(run.pack, run.started_at): run for run in stored}
    filled = []
    for run in given:
        before = known.get((run.pack, run.started_at))
        filled.append(replace(run, cutoff_v=before.cutoff_v) if before is not None and before.cutoff_v and not run.cutoff_v else run)
    return _sort(known.values(), filled, lambda run: (run.pack, run.started_at))


def _name(record: Pack | Vehicle | Controller) -> str:
    return record.name
