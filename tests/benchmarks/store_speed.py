"""How long the store takes over many runs: ``python -m tests.benchmarks.store_speed [--runs N] [--packs N] [--database URL]``.

Not a test: it prints a table and judges nothing. Without a URL it works on a file in a throw-away folder.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tracker.domain.pack import Pack
from tracker.domain.results import CellDepth, Estimate, EvidenceVote, NotEnough, RunEstimate
from tracker.domain.session import Run
from tracker.store.copying import backup, restore
from tracker.store.database import Store, open_store

START = datetime(2020, 1, 1, tzinfo=UTC)
SERIES = 3


def quantity(value: float) -> Estimate:
    """Return an estimate with as many digits as a computed one has."""
    return Estimate(value=value / 3, low=value / 3.1, high=value / 2.9, sd=value / 30.7)


def estimate(number: int) -> RunEstimate:
    """Return an estimate of ordinary size."""
    kinds = ("rest_voltage", "load_voltage", "charger")
    return RunEstimate(
        model="speed",
        used_ah=quantity(3.1 + number * 1e-5),
        evidence=tuple(EvidenceVote(kind=kind, used_ah=quantity(3.3), weight=1 / 3, disagrees=False, words="3 readings") for kind in kinds),
        cells=tuple(
            CellDepth(
                cell=cell,
                soc_before=quantity(2.9),
                soc_after=quantity(0.7 + number * 1e-6),
                lowest_loaded_v=quantity(10.1) if number % 2 else NotEnough("no reading under load"),
                below_floor_probability=0.1 / 3,
                below_reserve_probability=0.2 / 3,
                below_half_reserve_probability=0.01 / 3,
                grade="fine" if number % 10 else "deep",
            )
            for cell in range(1, SERIES + 1)
        ),
    )


def names(packs: int) -> list[str]:
    """Return names of so many packs."""
    return [f"Pack {number:05d}" for number in range(packs)]


def runs(count: int, packs: list[str]) -> Iterator[Run]:
    """Return so many runs spread over the packs."""
    for number in range(count):
        yield Run(
            pack=packs[number % len(packs)],
            started_at=START + timedelta(hours=number // len(packs), microseconds=number % 7),
            run_s=600.0 + number % 300,
            rest_before_s=3600.0,
            before_v=(4.19, 4.18, 4.2),
            loaded_v=(3.41, 3.39, 3.44),
            loaded_a=31.5,
            after_v=(3.71, 3.7, 3.74),
            rest_after_s=900.0,
            ended_by="driver",
        )


@contextmanager
def timed(what: str) -> Iterator[None]:
    """Print how long it took."""
    begun = time.perf_counter()
    yield
    print(f"| {what:<44} | {time.perf_counter() - begun:8.3f} s |", flush=True)


def measure(store: Store, count: int, packs: int, folder: Path) -> None:
    """Print one row a measurement."""
    named = names(packs)
    made = list(runs(count, named))
    by_pack = {name: [(run.started_at, estimate(i)) for i, run in enumerate(made[at::packs])] for at, name in enumerate(named)}
    with store.writing() as records:
        for name in named:
            records.put_pack(Pack(name=name, chemistry="lipo", series=SERIES, capacity_ah=5.0))
    with timed(f"add {count:,} runs of {packs:,} packs"), store.writing() as records:
        records.add_runs(made)
    with timed("read all runs"), store.reading() as records:
        records.runs()
    with timed("read the runs of one pack"), store.reading() as records:
        records.runs([named[0]])
    with timed("the last 3 runs of every pack"), store.reading() as records:
        records.runs(limit_last=3)
    with timed("save all estimates, pack by pack"), store.writing() as records:
        for name, estimates in by_pack.items():
            records.save_estimates(name, estimates)
    with timed("save them again in their place"), store.writing() as records:
        for name, estimates in by_pack.items():
            records.save_estimates(name, estimates)
    reads: tuple[tuple[str, Callable[[], object]], ...] = ()
    with store.reading() as records:
        reads = (
            ("read all estimates", records.estimates),
            ("the last estimate of every pack", records.last_estimates),
            ("packs waiting for an estimate", lambda: records.stale_packs("speed")),
            ("deep runs of every pack", records.deep_counts),
            ("runs of every pack", records.run_counts),
            ("rows in every table", records.counts),
        )
        for what, read in reads:
            with timed(what):
                read()
    one = Run(pack=named[0], started_at=START - timedelta(days=1), run_s=600.0)
    with timed("add one run and its estimate"), store.writing() as records:
        records.add_runs([one])
        records.save_estimates(named[0], [(one.started_at, estimate(1))])
    with timed("back up"):
        copy = backup(store, folder / "copy.sqlite3")
    print(f"| {'size of the copy':<44} | {copy.stat().st_size / 1e6:7.1f} MB |")
    with timed("restore"):
        restore(store, copy)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100_000)
    parser.add_argument("--packs", type=int, default=1_000)
    parser.add_argument("--database", help="an empty database; what it holds is replaced")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        url = given.database or f"sqlite:///{folder / 'speed.sqlite3'}"
        with timed("open a new database"):
            store = open_store(url)
        with store:
            measure(store, given.runs, given.packs, folder)
        with timed("open it again"):
            open_store(url).close()


if __name__ == "__main__":
    main()
