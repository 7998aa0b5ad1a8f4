"""How long it takes to import and assess 100,000 runs of 1,000 packs, with what memory, and to log one run or charge.

Run with: python -m tests.benchmarks.services_speed
"""

from __future__ import annotations

import dataclasses
import random
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from resource import RUSAGE_CHILDREN, RUSAGE_SELF, getrusage
from statistics import median
from time import perf_counter, process_time

from tracker.domain.session import Charge
from tracker.services import Services, open_services

PACKS, RUNS_EACH = 1000, 100
LONG_HISTORY = 500
START = datetime(2023, 1, 1, 9, tzinfo=UTC)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        files = _files(Path(folder))
        with open_services(f"sqlite:///{Path(folder) / 'logbook.sqlite3'}") as services:
            _timed("import 100,000 runs, new", lambda: services.exchange.import_files(files))
            _timed("import 100,000 runs, the same again", lambda: services.exchange.import_files(files))
            _timed("assess 100,000 runs of 1,000 packs", services.runs.refresh)
            _timed("states of 1,000 packs", services.packs.states)
            _timed("record of one pack", lambda: services.packs.record("pack 1"))
            _timed("read 100,000 assessed runs", services.runs.assess)
            print(f"most memory: {_most_mb(RUSAGE_SELF):.0f} MB here, {_most_mb(RUSAGE_CHILDREN):.0f} MB in a process that helps")
            _log_runs(services, "pack 1")
            _grow(services, "pack 2", LONG_HISTORY)
            _log_runs(services, "pack 2")


def _log_runs(services: Services, pack: str) -> None:
    assessed = services.runs.assess(pack)
    template = assessed[-1].run
    runs, charges = [], []
    for number in range(20):
        run = dataclasses.replace(template, started_at=template.started_at + timedelta(days=number + 1))
        runs.append(_seconds(partial(services.runs.log, run)))
        charge = Charge(pack=pack, finished_at=run.started_at + timedelta(hours=3), put_back_ah=3.0, goal="full")
        charges.append(_seconds(partial(services.charges.log, charge)))
    for what, times in (("run", runs), ("charge", charges)):
        print(
            f"log one {what} of a pack with {len(assessed)} runs: {1000 * median(times):.0f} ms (median), {1000 * max(times):.0f} ms (worst)"
        )


def _grow(services: Services, pack: str, runs: int) -> None:
    """Give a pack so many runs, with a charge after each, every other one counted."""
    template = services.runs.assess(pack)[-1].run
    chance = random.Random(5)
    with services.runs._store.writing() as records:
        for number in range(runs - RUNS_EACH):
            at = template.started_at + timedelta(days=number + 1)
            records.add_runs([dataclasses.replace(template, started_at=at)])
            count_ah = round(3.0 * chance.gauss(1.0, 0.015), 3) if number % 2 else None
            records.add_charges([Charge(pack=pack, finished_at=at + timedelta(hours=3), put_back_ah=count_ah, goal="full")])
        records.mark_stale(pack)
    _timed(f"learn a pack with {runs} runs from nothing", lambda: services.runs.assess(pack))


def _seconds(job: Callable[[], object]) -> float:
    start = perf_counter()
    job()
    return perf_counter() - start


def _most_mb(who: int) -> float:
    return getrusage(who).ru_maxrss / 1024.0


def _files(folder: Path) -> list[Path]:
    texts = {"packs": _packs(), "controllers": iter(["controller,cutoff_mode,cutoff_v", "left,pack_v,6.4"])}
    texts |= {"vehicles": iter(["vehicle,controllers,usual_a", "buggy,left,14"]), "runs": _runs()}
    paths = []
    for kind, lines in texts.items():
        paths.append(folder / f"{kind}.csv")
        paths[-1].write_text("\n".join(lines) + "\n", encoding="utf-8")
    return paths


def _packs() -> Iterator[str]:
    yield "pack,chemistry,series,capacity_mah"
    for number in range(PACKS):
        yield f"pack {number},lipo,2,5000"


def _runs() -> Iterator[str]:
    chance = random.Random(3)
    yield "pack,vehicle,started_at,run_min,rest_before_min,before_v,after_v,rest_after_min,pack_c,ended_by"
    for number in range(PACKS * RUNS_EACH):
        started_at = START + timedelta(days=number // PACKS, minutes=number % 60)
        left_v = chance.uniform(3.68, 3.85)
        before, after = (" ".join(f"{volts + chance.gauss(0, 0.01):.2f}" for _ in range(2)) for volts in (4.17, left_v))
        yield f"pack {number % PACKS},buggy,{started_at:%Y-%m-%dT%H:%MZ},{chance.uniform(9, 15):.1f},60,{before},{after},30,{chance.randint(5, 30)},driver"


def _timed(label: str, job: Callable[[], object]) -> None:
    start, busy = perf_counter(), process_time()
    job()
    print(f"{label}: {perf_counter() - start:.2f} s, of which {process_time() - busy:.2f} s computing")


if __name__ == "__main__":
    main()
