"""How fast files are read and written, and how much memory a large file of rubbish needs.

Run with: python -m tests.benchmarks.intake_speed
"""

from __future__ import annotations

import random
import resource
import tempfile
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from time import perf_counter

from tracker.errors import ImportRefusedError
from tracker.intake.logbook import read_files
from tracker.intake.write import write_folder

RUNS = 100_000
PACKS = 1000
RUBBISH_ROWS = 1_000_000

_RUN_HEADER = "pack,vehicle,started_at,run_min,rest_before_min,before_v,loaded_v,loaded_a,mean_a,used_mah,after_v,rest_after_min,cutoff_v,pack_c,ended_by,notes"


def run_rows(*, local: bool = False) -> Iterator[str]:
    """Yield the lines of a file of runs with every column filled, three cells a pack."""
    chance = random.Random(7)
    yield _RUN_HEADER
    for number in range(RUNS):
        time = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=37 * number)
        volts = [" ".join(f"{chance.uniform(low, low + 0.4):.3f}" for _ in range(3)) for low in (4.0, 3.3, 3.6)]
        yield (
            f"pack {number % PACKS},buggy,{time:%Y-%m-%dT%H:%M:%S}{'' if local else 'Z'},{chance.uniform(4, 20):.1f},{chance.randint(30, 9000)},"
            f"{volts[0]},{volts[1]},{chance.uniform(10, 60):.1f},{chance.uniform(5, 20):.2f},{chance.randint(300, 3000)},{volts[2]},"
            f"{chance.randint(5, 60)},9.6,{chance.uniform(-5, 35):.1f},driver,round {number}"
        )


def pack_rows() -> Iterator[str]:
    """Yield the lines of a file of packs."""
    yield "pack,chemistry,series,capacity_mah"
    for number in range(PACKS):
        yield f"pack {number},lipo,3,{2200 + number}"


def rubbish(name: str) -> Iterator[str]:
    """Yield the lines of a file in which everything is wrong in one way."""
    chance = random.Random(9)
    yield _RUN_HEADER
    for number in range(RUBBISH_ROWS):
        if name == "every cell bad":
            yield ",".join("?" * 16)
        elif name == "ragged":
            yield "a,b,c"
        elif name == "one cell bad":
            yield f"pack,car,2020-01-01T10:00Z,nan,,,,,,,,,,,,note {number}"
        else:
            yield "".join(chr(chance.randint(33, 255)) for _ in range(30))


def _timed(label: str, job: Callable[[], object]) -> None:
    start = perf_counter()
    job()
    print(f"{label}: {perf_counter() - start:.2f} s")


def _write(path: Path, lines: Iterator[str]) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.writelines(f"{line}\n" for line in lines)


def _refuse(path: Path) -> None:
    try:
        read_files([path])
    except ImportRefusedError as refusal:
        print(f"   listed {len(refusal.rows)}, counted {refusal.more:,} more; first: {refusal.rows[0].message[:60]}")


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for local in (False, True):
            _write(folder / "runs.csv", run_rows(local=local))
            _write(folder / "packs.csv", pack_rows())
            _timed(f"read {RUNS:,} runs of {PACKS:,} packs, times {'local' if local else 'in UTC'}", lambda: read_files([folder]))
        write = partial(write_folder, read_files([folder]).logbook, folder / "out")
        _timed(f"write {RUNS:,} runs", write)
        _timed("read them back", lambda: read_files([folder / "out"]))
        del write
        print(f"most memory so far: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
        for name in ("every cell bad", "ragged", "one cell bad", "byte soup"):
            path = folder / "rubbish.csv"
            _write(path, rubbish(name))
            _timed(f"refuse {RUBBISH_ROWS:,} rows, {name}", partial(_refuse, path))
        tracemalloc.start()
        _refuse(path)
        print(f"most memory while refusing byte soup: {tracemalloc.get_traced_memory()[1] / 2**20:.2f} MiB")


if __name__ == "__main__":
    main()
