"""One import: checks files against what is stored, then stores what they bring; any refusal refuses all of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from itertools import islice
from typing import Any

from tracker.domain.controller import Vehicle
from tracker.domain.exchange import RowDifference
from tracker.domain.progress import Progress
from tracker.domain.results import ImportReport
from tracker.errors import BadRow, ImportRefusedError, InputError
from tracker.intake.checks import against_series
from tracker.intake.logbook import Intake, Place, key_of
from tracker.services.as_driven import carriers, keep_as_driven, mark_driven
from tracker.services.checks import Problem, pack_problems, settings_warning, time_problems, unknown
from tracker.services.comparing import Change, Changes, compare, differing_columns
from tracker.services.differing import MOST_SHOWN, row_difference
from tracker.store.records import Records

MOST_LISTED = 50
"""So many bad rows are listed; further ones are counted."""

ROWS_AT_ONCE = 10_000

NAME_COLUMNS = {
    "packs": "pack",
    "vehicles": "vehicle",
    "controllers": "controller",
    "runs": "pack",
    "charges": "pack",
    "bench": "controller",
}
"""The first column of each kind's key."""


class Import:
    """Files read, about to be stored in one transaction."""

    def __init__(self, records: Records, intake: Intake, *, update: bool, progress: Progress | None) -> None:
        self._records = records
        self._given = intake.logbook
        self._places: Mapping[tuple[str, ...], Place] = intake.places
        self._update = update
        self._progress = progress
        self._bad: list[BadRow] = []
        self._more = 0
        self._warnings = list(intake.warnings)

    def run(self, *, dry_run: bool) -> ImportReport:
        """Check, compare and store; raises ImportRefusedError with every bad row."""
        self._tell("checking", 0)
        self._check()
        self._refuse_if_bad()
        changes = compare(self._records, self._given)
        self._check_differences(changes)
        self._refuse_if_bad()
        self._store(changes)
        self._refuse_if_bad()
        kinds = {name: getattr(changes, name) for name in NAME_COLUMNS}
        return ImportReport(
            added={name: len(change.new) for name, change in kinds.items()},
            unchanged={name: change.unchanged for name, change in kinds.items()},
            updated={name: len(change.differing) for name, change in kinds.items()},
            warnings=tuple(self._warnings),
            differences=self._differences(changes),
            dry_run=dry_run,
        )

    def _check(self) -> None:
        packs = {pack.name: pack for pack in (*self._records.packs(), *self._given.packs)}
        controllers = {each.name for each in (*self._records.controllers(), *self._given.controllers)}
        for pack in self._given.packs:
            self._note("packs", pack, pack_problems(pack))
        for vehicle in self._given.vehicles:
            what_to_do = "describe it in a controllers file, for its cutoff mode must be known"
            missing = [name for name in vehicle.controllers if name not in controllers]
            self._note("vehicles", vehicle, (("controllers", unknown("controller", name, controllers, what_to_do)) for name in missing))
        for test in self._given.bench_tests:
            if test.controller not in controllers:
                what_to_do = "describe it in a controllers file"
                self._note("bench", test, [("controller", unknown("controller", test.controller, controllers, what_to_do))])
        what_to_do = "look at the spelling, or describe it in a packs file"
        # Looking for names that are near takes a while, and a wrong name is seldom alone.
        no_pack = cache(lambda name: [("pack", unknown("pack", name, packs, what_to_do))])
        now = datetime.now(UTC)
        for kind, sessions in (("runs", self._given.runs), ("charges", self._given.charges)):
            for session in sessions:
                known = packs.get(session.pack)
                self._note(kind, session, against_series(session, known.series) if known else no_pack(session.pack))
                self._note(kind, session, time_problems(session, now))

    def _check_differences(self, changes: Changes) -> None:
        if self._update:
            return
        for kind, column in NAME_COLUMNS.items():
            change: Change[Any] = getattr(changes, kind)
            for stored, given in change.differing:
                columns = differing_columns(stored, given)
                words = f"this {_singular(kind)} is stored with another {_and(columns)}; correct the row, or replace what is stored with --update"
                self._note(kind, given, [(columns[0] if columns else column, words)])

    def _differences(self, changes: Changes) -> tuple[RowDifference, ...]:
        pairs = ((kind, stored, given) for kind in NAME_COLUMNS for stored, given in getattr(changes, kind).differing)
        return tuple(
            row_difference(kind, stored, given, self._places[key_of(kind, given)]) for kind, stored, given in islice(pairs, MOST_SHOWN)
        )

    def _store(self, changes: Changes) -> None:
        records = self._records
        keep_as_driven(records, [given for _, given in changes.controllers.differing], [given for _, given in changes.vehicles.differing])
        for controller in _all(changes.controllers):
            records.put_controller(controller)
        for vehicle in _all(changes.vehicles):
            records.put_vehicle(vehicle)
        vehicles = self._name_new_vehicles()
        for pack in _all(changes.packs):
            try:
                records.put_pack(pack)
            except InputError as refusal:  # readings stored for every cell do not fit another number of cells
                self._note("packs", pack, [("series", str(refusal))])
        self._refuse_if_bad()
        self._warn_of_settings(changes, vehicles)
        self._store_sessions(changes)
        self._mark_stale(changes)

    def _store_sessions(self, changes: Changes) -> None:
        records = self._records
        total = len(changes.runs.new) + len(changes.charges.new)
        done = 0
        for runs in _parts(changes.runs.new):
            records.add_runs(runs)
            done += len(runs)
            self._tell("storing", done, total)
        for charges in _parts(changes.charges.new):
            records.add_charges(charges)
            done += len(charges)
            self._tell("storing", done, total)
        for _, run in changes.runs.differing:
            records.replace_run(run)
        for _, charge in changes.charges.differing:
            records.replace_charge(charge)
        records.add_bench_tests(changes.bench.new)
        for _, test in changes.bench.differing:
            records.replace_bench_test(test)

    def _mark_stale(self, changes: Changes) -> None:
        records = self._records
        changed = {given.name for _, given in changes.packs.differing}
        changed |= {each.pack for each in (*_all(changes.runs), *_all(changes.charges))}
        for pack in sorted(changed):
            records.mark_stale(pack)
        vehicles = {vehicle.name for _, vehicle in changes.vehicles.differing}
        vehicles |= carriers(records.vehicles(), [given.name for _, given in changes.controllers.differing])
        mark_driven(records, vehicles)

    def _name_new_vehicles(self) -> dict[str, Vehicle]:
        """Store vehicles that runs name and nothing describes; a person with packs and runs alone should still get in."""
        known = {vehicle.name: vehicle for vehicle in self._records.vehicles()}
        described = sorted(known)
        unnamed: dict[str, list[Any]] = {}
        for run in self._given.runs:
            if run.vehicle is not None and run.vehicle not in known:
                unnamed.setdefault(run.vehicle, []).append(run)
        for name, runs in unnamed.items():
            known[name] = Vehicle(name=name)
            self._records.put_vehicle(known[name])
            words = unknown(
                "vehicle", name, described, "it was stored by its name alone; describe it in a vehicles file and import that with --update"
            )
            self._warnings.append(f"{self._where('runs', runs[0])}: vehicle: {words}{_and_more(len(runs))}")
        return known

    def _warn_of_settings(self, changes: Changes, vehicles: Mapping[str, Vehicle]) -> None:
        first: dict[str, tuple[Any, str]] = {}
        counts: dict[str, int] = {}
        for run in _all(changes.runs):
            vehicle = None if run.vehicle is None else vehicles.get(run.vehicle)
            words = settings_warning(run, vehicle) if vehicle is not None and vehicle.controllers else None
            if vehicle is not None and words:
                first.setdefault(vehicle.name, (run, words))
                counts[vehicle.name] = counts.get(vehicle.name, 0) + 1
        for name, (run, words) in first.items():
            self._warnings.append(f"{self._where('runs', run)}: {words}{_and_more(counts[name])}")

    def _note(self, kind: str, record: Any, problems: Iterable[Problem]) -> None:
        for column, words in problems:
            if len(self._bad) < MOST_LISTED:
                place = self._places[key_of(kind, record)]
                self._bad.append(BadRow(place.file, place.line, column, f"{words.removesuffix('.')}."))
            else:
                self._more += 1

    def _where(self, kind: str, record: Any) -> str:
        place = self._places[key_of(kind, record)]
        return f"{place.file}:{place.line}"

    def _refuse_if_bad(self) -> None:
        if self._bad:
            raise ImportRefusedError(sorted(self._bad, key=lambda row: (row.file, row.line)), self._more)

    def _tell(self, label: str, done: int, total: int | None = None) -> None:
        if self._progress is not None:
            self._progress(label, done, total)


def _all(change: Change[Any]) -> list[Any]:
    return [*change.new, *(given for _, given in change.differing)]


def _parts(items: Sequence[Any]) -> Iterable[Sequence[Any]]:
    return (items[start : start + ROWS_AT_ONCE] for start in range(0, len(items), ROWS_AT_ONCE))


def _singular(kind: str) -> str:
    return "bench test" if kind == "bench" else kind.removesuffix("s")


def _and(columns: Sequence[str]) -> str:
    return columns[0] if len(columns) == 1 else f"{', '.join(columns[:-1])} and {columns[-1]}"


def _and_more(count: int) -> str:
    return f" (and {count - 1:,} more {'row' if count == 2 else 'rows'})" if count > 1 else ""
