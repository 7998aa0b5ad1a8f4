"""How long a recording of a million rows takes to read, to keep and to get back, and how much room: run by hand on a quiet machine."""

from __future__ import annotations

import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

import numpy as np

from tracker.domain.pack import Pack
from tracker.services import open_services

ROWS = 1_000_000
AT = datetime(2025, 5, 14, 13, 0, tzinfo=UTC)


def write(path: Path, rows: int) -> None:
    """Write a made-up drive: eight columns, noise in the last digit of each."""
    chance = np.random.default_rng(1)
    time = np.arange(rows) * 0.01
    current = np.repeat(np.abs(chance.normal(25.0, 15.0, rows // 200 + 1)), 200)[:rows] + chance.normal(0.0, 0.3, rows)
    drawn_ah = np.cumsum(current) * 0.01 / 3600.0
    cells = 4.15 - 0.8 * drawn_ah[:, None] / drawn_ah[-1] - current[:, None] * np.array([4.0, 4.0, 4.2, 5.5]) / 1000.0
    cells += chance.normal(0.0, 0.002, cells.shape)
    table = np.column_stack([time, cells.sum(axis=1), current, cells, 24.0 + 6.0 * time / time[-1]])
    with path.open("w", encoding="utf-8") as file:
        file.write("Time [s],Voltage [V],Current [A],Cell 1 [V],Cell 2 [V],Cell 3 [V],Cell 4 [V],Temp [°C]\n")
        np.savetxt(file, table, fmt=["%.2f", "%.3f", "%.2f", "%.3f", "%.3f", "%.3f", "%.3f", "%.1f"], delimiter=",")


def most_memory_mb() -> float:
    """Return the most memory this process has had."""
    if sys.platform == "win32":
        return float("nan")
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder / "log.csv", ROWS)
        with open_services(f"sqlite:///{folder / 'logbook.sqlite3'}") as services:
            services.edits.save(Pack(name="Tug 1", chemistry="lipo", series=4, capacity_ah=70.0))
            start = perf_counter()
            services.traces.look(folder / "log.csv")
            looked = perf_counter()
            note = services.traces.keep(folder / "log.csv", pack="Tug 1", started_at=AT)
            kept = perf_counter()
            services.traces.get("Tug 1", AT)
            got = perf_counter()
            services.traces.thinned("Tug 1", AT)
            thin = perf_counter()
            services.runs.assess("Tug 1")
            assessed = perf_counter()
    size = note.stored_bytes / (ROWS * 8)
    print(f"{ROWS:,} rows of 8 columns, {note.stored_bytes / 1e6:.1f} MB stored, {size:.2f} bytes a number")
    print(f"looked at            {looked - start:6.1f} s")
    print(f"read, kept, assessed {kept - looked:6.1f} s")
    print(f"given out whole      {got - kept:6.1f} s, thinned {thin - got:.1f} s")
    print(f"its run assessed     {assessed - thin:6.2f} s")
    print(f"most memory          {most_memory_mb():6.0f} MB")


if __name__ == "__main__":
    main()
