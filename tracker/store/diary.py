"""What was written down: runs, charges and bench tests."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Select, delete, func, literal, select, update
from sqlalchemy.orm import InstrumentedAttribute, aliased

from tracker.domain.session import BenchReading, BenchTest, Charge, Run, Volts
from tracker.errors import InputError, NotFoundError
from tracker.store.room import PackKey, Room
from tracker.store.rows import CHARGES, RUNS
from tracker.store.tables import BenchReadingRow, ChargeRow, ControllerRow, PackRow, RunEstimateRow, RunRow, VehicleRow
from tracker.store.wording import plain_errors

SessionKey = tuple[str, datetime]
"""What names a run, a charge or a bench test: what it is of, and its time."""


class Diary(Room):
    """Runs, charges and bench tests, each known by what it is of and its time.

    Estimates of other runs may lean on a run or charge that is added, changed or removed here; telling which is the
    caller's affair (`mark_stale`). Only a changed run's own estimate goes at once.
    """

    def runs(self, packs: Sequence[str] | None = None, *, since: datetime | None = None, limit_last: int | None = None) -> list[Run]:
        """Runs of the packs named, or of all, by pack and time.

        `since` leaves out those that started before; `limit_last` keeps the last so many of each pack.
        """
        found: list[Run] = []
        for condition in self._batches(packs):
            chosen = self._choose_runs().where(condition).order_by(PackRow.name, RunRow.started_at)
            found += RUNS.records(self.connection.execute(_narrow(chosen, RunRow.pack_id, RunRow.started_at, since, limit_last)))
        return found

    def run(self, pack: str, started_at: datetime) -> Run | None:
        """The run of that pack that started then, if it is stored."""
        row = self.connection.execute(self._choose_runs().where(PackRow.name == pack, RunRow.started_at == started_at)).first()
        return None if row is None else RUNS.record(row)

    def packs_driven(self, vehicles: Sequence[str]) -> tuple[str, ...]:
        """Packs that were driven in any of these vehicles, by name."""
        ids = [number for name, number in self._vehicle_ids().items() if name in set(vehicles)]
        found: set[str] = set()
        for start in range(0, len(ids), 500):
            chosen = select(PackRow.name).join(RunRow, RunRow.pack_id == PackRow.id)
            found.update(self.connection.scalars(chosen.where(RunRow.vehicle_id.in_(ids[start : start + 500])).distinct()))
        return tuple(sorted(found))

    def add_runs(self, runs: Iterable[Run]) -> None:
        """Store new runs, all or none; NotFoundError when a pack or vehicle they name is not stored."""
        packs, vehicles = self._pack_keys(), self._vehicle_ids()
        self._insert(RunRow, [self._run_values(run, packs, vehicles) for run in runs])

    def replace_run(self, run: Run, stored: SessionKey | None = None) -> None:
        """Change the stored run of that pack and time, or the one named, which may move; its estimate goes."""
        values = self._run_values(run, self._pack_keys(), self._vehicle_ids())
        with plain_errors(), self.connection.begin_nested():
            number = self._run_id(*(stored or (run.pack, run.started_at)))
            self.connection.execute(update(RunRow).where(RunRow.id == number).values(values))
            self.connection.execute(delete(RunEstimateRow).where(RunEstimateRow.run_id == number))

    def keep_settings(self, vehicle: str, settings_v: Volts) -> None:
        """Write cutoff settings into those runs of a vehicle that have none, so that they stay as driven."""
        number = self._vehicle_ids().get(vehicle)
        if number is not None:
            of_it = update(RunRow).where(RunRow.vehicle_id == number, RunRow.cutoff_v.is_(None))
            self.connection.execute(of_it.values(cutoff_v=settings_v))

    def remove_run(self, pack: str, started_at: datetime) -> None:
        """Remove a run, and its estimate with it."""
        self.connection.execute(delete(RunRow).where(RunRow.id == self._run_id(pack, started_at)))

    def charges(self, packs: Sequence[str] | None = None, *, since: datetime | None = None, limit_last: int | None = None) -> list[Charge]:
        """Charges of the packs named, or of all, by pack and time; narrowed as `runs` is."""
        found: list[Charge] = []
        for condition in self._batches(packs):
            chosen = self._choose_charges().where(condition).order_by(PackRow.name, ChargeRow.finished_at)
            found += CHARGES.records(self.connection.execute(_narrow(chosen, ChargeRow.pack_id, ChargeRow.finished_at, since, limit_last)))
        return found

    def charge(self, pack: str, finished_at: datetime) -> Charge | None:
        """The charge of that pack that finished then, if it is stored."""
        row = self.connection.execute(self._choose_charges().where(PackRow.name == pack, ChargeRow.finished_at == finished_at)).first()
        return None if row is None else CHARGES.record(row)

    def add_charges(self, charges: Iterable[Charge]) -> None:
        """Store new charges, all or none; NotFoundError when a pack they name is not stored."""
        packs = self._pack_keys()
        self._insert(ChargeRow, [self._charge_values(charge, packs) for charge in charges])

    def replace_charge(self, charge: Charge, stored: SessionKey | None = None) -> None:
        """Change the stored charge of that pack and time, or the one named, which may move."""
        values = self._charge_values(charge, self._pack_keys())
        with plain_errors(), self.connection.begin_nested():
            number = self._charge_id(*(stored or (charge.pack, charge.finished_at)))
            self.connection.execute(update(ChargeRow).where(ChargeRow.id == number).values(values))

    def remove_charge(self, pack: str, finished_at: datetime) -> None:
        """Remove a charge."""
        self.connection.execute(delete(ChargeRow).where(ChargeRow.id == self._charge_id(pack, finished_at)))

    def bench_tests(self, controller: str | None = None) -> tuple[BenchTest, ...]:
        """All bench tests, or those of one controller, by controller and time."""
        return tuple(self._bench_tests(None if controller is None else ControllerRow.name == controller))

    def bench_test(self, controller: str, tested_at: datetime) -> BenchTest | None:
        """The bench test of that controller at that time, if it is stored."""
        condition = (ControllerRow.name == controller) & (BenchReadingRow.tested_at == tested_at)
        return next(self._bench_tests(condition), None)

    def add_bench_tests(self, tests: Iterable[BenchTest]) -> None:
        """Store new bench tests, all or none; NotFoundError when a controller they name is not stored."""
        rows: list[dict[str, Any]] = []
        for test in tests:
            if not test.readings:
                raise InputError(f"the bench test of '{test.controller}' at {test.tested_at} holds no reading; give at least one.")
            number = self._id_of(ControllerRow, test.controller)
            rows += [
                {
                    "controller_id": number,
                    "tested_at": test.tested_at,
                    "position": position,
                    "supply_v": reading.supply_v,
                    "running": reading.running,
                }
                for position, reading in enumerate(test.readings, 1)
            ]
        self._insert(BenchReadingRow, rows)

    def replace_bench_test(self, test: BenchTest, stored: SessionKey | None = None) -> None:
        """Change the stored bench test of that controller and time, or the one named."""
        with self.connection.begin_nested():
            self.remove_bench_test(*(stored or (test.controller, test.tested_at)))
            self.add_bench_tests([test])

    def remove_bench_test(self, controller: str, tested_at: datetime) -> None:
        """Remove a bench test with all its readings."""
        number = self._id_of(ControllerRow, controller)
        rows = (BenchReadingRow.controller_id == number) & (BenchReadingRow.tested_at == tested_at)
        if not self.connection.execute(delete(BenchReadingRow).where(rows)).rowcount:
            raise _missing("bench test", controller, tested_at)

    def _choose_runs(self) -> Select[Any]:
        return (
            select(*RUNS.columns)
            .select_from(RunRow)
            .join(PackRow, PackRow.id == RunRow.pack_id)
            .outerjoin(VehicleRow, VehicleRow.id == RunRow.vehicle_id)
        )

    def _choose_charges(self) -> Select[Any]:
        return select(*CHARGES.columns).select_from(ChargeRow).join(PackRow, PackRow.id == ChargeRow.pack_id)

    def _run_id(self, pack: str, started_at: datetime) -> int:
        rows = (RunRow.pack_id == self._pack_key(pack).id) & (RunRow.started_at == started_at)
        number = self.connection.scalar(select(RunRow.id).where(rows))
        if number is None:
            raise _missing("run", pack, started_at)
        return number

    def _charge_id(self, pack: str, finished_at: datetime) -> int:
        rows = (ChargeRow.pack_id == self._pack_key(pack).id) & (ChargeRow.finished_at == finished_at)
        number = self.connection.scalar(select(ChargeRow.id).where(rows))
        if number is None:
            raise _missing("charge", pack, finished_at)
        return number

    def _run_values(self, run: Run, packs: dict[str, PackKey], vehicles: dict[str, int]) -> dict[str, Any]:
        pack = packs.get(run.pack) or self._pack_key(run.pack)
        if run.vehicle is not None and run.vehicle not in vehicles:
            raise NotFoundError(f"no vehicle named '{run.vehicle}' is stored; look at the spelling, capitals count.")
        for column in ("before_v", "loaded_v", "after_v"):
            _check_cells(run.pack, run.started_at, column, getattr(run, column), pack.series)
        values = RUNS.values(run)
        values["pack_id"] = pack.id
        values["vehicle_id"] = None if run.vehicle is None else vehicles[run.vehicle]
        return values

    def _charge_values(self, charge: Charge, packs: dict[str, PackKey]) -> dict[str, Any]:
        pack = packs.get(charge.pack) or self._pack_key(charge.pack)
        for column in ("end_v", "cell_ohm"):
            _check_cells(charge.pack, charge.finished_at, column, getattr(charge, column), pack.series)
        values = CHARGES.values(charge)
        values["pack_id"] = pack.id
        return values

    def _bench_tests(self, condition: ColumnElement[bool] | None) -> Iterator[BenchTest]:
        chosen = (
            select(ControllerRow.name, BenchReadingRow.tested_at, BenchReadingRow.supply_v, BenchReadingRow.running)
            .join(ControllerRow, ControllerRow.id == BenchReadingRow.controller_id)
            .order_by(ControllerRow.name, BenchReadingRow.tested_at, BenchReadingRow.position)
        )
        if condition is not None:
            chosen = chosen.where(condition)
        for (controller, tested_at), rows in groupby(self.connection.execute(chosen), key=lambda row: (row[0], row[1])):
            readings = tuple(BenchReading(supply_v=row[2], running=row[3]) for row in rows)
            yield BenchTest(controller=controller, tested_at=tested_at, readings=readings)


def _narrow(
    chosen: Select[Any],
    pack_id: InstrumentedAttribute[int],
    time: InstrumentedAttribute[datetime],
    since: datetime | None,
    limit_last: int | None,
) -> Select[Any]:
    if since is not None:
        chosen = chosen.where(time >= since)
    if limit_last is not None:
        # The time of the last one wanted is looked up pack by pack along the index of (pack, time), so that no other row is read.
        other = aliased(pack_id.class_)
        its_time = getattr(other, time.key)
        earliest = select(its_time).where(other.pack_id == PackRow.id).order_by(its_time.desc()).offset(limit_last - 1).limit(1)
        beginning = literal(datetime.min.replace(tzinfo=UTC), time.type)
        chosen = chosen.where(time >= func.coalesce(earliest.correlate(PackRow).scalar_subquery(), beginning))
    return chosen


def _check_cells(pack: str, at: datetime, column: str, readings: tuple[float, ...], series: int) -> None:
    if len(readings) not in (0, 1, series):
        raise InputError(
            f"pack '{pack}' at {at}: {column} holds {len(readings)} readings; allowed is one of the whole pack or {series}, one a cell."
        )


def _missing(kind: str, name: str, at: datetime) -> NotFoundError:
    return NotFoundError(f"no {kind} of '{name}' at {at} is stored; look at the name and the time.")
