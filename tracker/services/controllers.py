"""Speed controllers and the vehicles that carry them."""

from __future__ import annotations

from pathlib import Path

from tracker.domain.bench import BenchFileResult, BenchResult, Meter
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.session import BenchTest
from tracker.errors import ConflictError
from tracker.services.benching import checked, file_results, result_of_one, stored_results
from tracker.services.fitting import check_bench
from tracker.services.noting import put
from tracker.store.database import Store


class Controllers:
    """Controllers and vehicles."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def all(self) -> tuple[Controller, ...]:
        """Every controller, by name."""
        with self._store.reading() as records:
            return records.controllers()

    def vehicles(self) -> tuple[Vehicle, ...]:
        """Every vehicle, by name."""
        with self._store.reading() as records:
            return records.vehicles()

    def tests(self, name: str) -> tuple[BenchTest, ...]:
        """Every bench test of one controller, in time order; NotFoundError when the controller is not stored."""
        with self._store.reading() as records:
            return records.bench_tests(records.controller(name).name)

    def bench(self, controller: str | None = None, meter: Meter | None = None) -> tuple[BenchResult, ...]:
        """What the stored bench tests show of every controller, or of the one named; NotFoundError where none of it is stored."""
        with self._store.reading() as records:
            return stored_results(records, controller, meter)

    def bench_file(
        self, path: Path, controller: str | None = None, meter: Meter | None = None, delay_s: float | None = None
    ) -> BenchFileResult:
        """What a bench file shows, judged beside what is stored of its controllers; nothing of it is stored."""
        with self._store.reading() as records:
            return file_results(records, path, controller, meter, delay_s)

    def preview_bench(self, test: BenchTest) -> BenchResult:
        """What a bench test shows by itself, as far as it has come; nothing is stored. FieldErrors when it cannot be one."""
        checked(test)
        with self._store.reading() as records:
            return result_of_one(records, test)

    def log_bench(self, test: BenchTest) -> BenchResult:
        """Store a bench test, and return what all tests of its controller show with it.

        NotFoundError when the controller is not stored, FieldErrors when it cannot be a test, ConflictError when one of that time is stored.
        """
        checked(test)
        with self._store.writing() as records:
            check_bench(records, test)
            if records.bench_test(test.controller, test.tested_at) is not None:
                at = f"{test.tested_at.astimezone():%Y-%m-%d %H:%M:%S}"
                raise ConflictError(f"A bench test of '{test.controller}' at {at} is stored already; give another time.")
            put(records, test)
            [result] = stored_results(records, test.controller, None)
            return result

    def save(self, record: Controller | Vehicle) -> None:
        """Store a controller or vehicle, or change the one of that name."""
        with self._store.writing() as records:
            put(records, record)
